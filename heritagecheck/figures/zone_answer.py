"""Why the answer of a zone is what it is: its eight gates, and the harm of each option."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from heritagecheck.cards import Picture
from heritagecheck.figures.svg import (
    DARK,
    GRID,
    LETTERS,
    LIGHT,
    LINE,
    MIDDLE,
    QUIET,
    Scale,
    element,
    group,
    mark,
    number,
    path,
    picture,
    text,
    wrapped,
)
from heritagecheck.judgement.harm.treat_or_leave import per_cent
from heritagecheck.judgement.options import option_name
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.recommendation import Recommendation

# -- Gates -----------------------------------------------------------------------------------------

# What each gate asks about, in a word.
ABOUT = ("value", "reason", "cause", "fabric", "hazards", "method", "trials", "least harm")
# Two lines are as wide as a phone, where nothing is shrunk.
A_LINE, GATE_STEP, HIGH = 4, 86, 66  # gates, pixel, pixel


def draw_gates(recommendation: Recommendation) -> Picture:
    """The eight gates as marks: disc passed, barred square not passed, ring not known."""
    marks, words = [], []
    for place, (gate, about) in enumerate(zip(recommendation.gates, ABOUT, strict=True)):
        line, at = divmod(place, A_LINE)
        x, y = GATE_STEP // 2 + GATE_STEP * at, 20 + HIGH * line
        if at:
            marks.append(path(f"M{x - GATE_STEP + 16} {y}H{x - 16}", stroke=LINE, stroke_width=1.5))
        shown = text(x, y + 5, str(gate.number), fill=LIGHT if gate.result == "passed" else DARK)
        name = text(x, y + 36, about, font_size=13)
        marks.append(group(str(gate), _shape(gate.result, x, y), shown, name))
        words.append(f"{gate.number} {about} {gate.result}")
    return picture(
        GATE_STEP * A_LINE, HIGH * -(-len(recommendation.gates) // A_LINE) - 4,
        f"Gates of {recommendation.zone}: {', '.join(words)}",
        element("g", *marks, font_size=14, text_anchor="middle"),
    )  # fmt: skip


def _shape(result: str, x: int, y: int) -> str:
    """Mark of a gate. They differ in shape as well as in tone."""
    if result == "passed":
        return element("circle", cx=x, cy=y, r=13)
    if result == "not passed":
        square = element("rect", x=x - 13, y=y - 13, width=26, height=26, fill=LIGHT, stroke=DARK,
                         stroke_width=3)  # fmt: skip
        return square + path(f"M{x - 13} {y + 19}h26", stroke=DARK, stroke_width=4)
    return element("circle", cx=x, cy=y, r=13, fill=LIGHT, stroke=DARK, stroke_width=2,
                   stroke_dasharray="3 3")  # fmt: skip


# -- Harm ------------------------------------------------------------------------------------------

MARKS = (("disc", "#1d1d1b"), ("square", "#1f6f8b"), ("triangle", "#a5650f"),
         ("diamond", "#75619b"))  # fmt: skip
SHOWN_IN_FIGURE = 3
WORST = 10
# No wider than a phone shows at full size: nothing is ever shrunk below what can be read.
WIDTH, NAMES, COLUMN = 350.0, 22.0, 62.0  # pixel
LEFT, RIGHT = 112.0, 338.0  # pixel, where the scale runs
LINE_HIGH, STEP, APART, MARK = 15.0, 12.0, 8.0, 8.0  # pixel, heights
Harm = Mapping[str, tuple[float, float, float]]
# Total harm, least share of simulations in which it does less harm than leaving, and members for
# whom it passes; where no member gave weights, whether it does.
COLUMNS = ("total harm", "share for it", "members for it")
WITHOUT_MEMBERS = (*COLUMNS[:2], "enough for it")


def draw_harm(recommendation: Recommendation) -> Picture:
    """
    Harm by option: mean and the range that holds 90 % of the simulations.

    Parameters
    ----------
    recommendation : Recommendation
        What was recommended.

    Returns
    -------
    Picture
        Above, a line for leaving and for at most three treatments, the least harmful first and
        the one recommended always among them, each with its mark, total harm, the least share of
        simulations that favour it over the members, and how many members it passes for, or whether
        it passes with equal weights. Below, a
        band for each criterion on one scale from 0 (none) to 10 (worst).
    """
    tests = recommendation.leading(SHOWN_IN_FIGURE)
    soilings = recommendation.evidence.zone.soiling_codes
    names = ["leave", *(option_name(test.option, soilings) for test in tests)]
    harms = [recommendation.harm_of_leaving, *(test.harm for test in tests)]
    looks = MARKS[: len(names)]
    heads = COLUMNS if all(test.weights_given for test in tests) else WITHOUT_MEMBERS
    key, top = _key(names, list(_numbers(recommendation)), heads)
    scale = Scale(0, WORST, LEFT, RIGHT)
    band = STEP * len(names) + APART
    bottom = top + band * len(CRITERIA)
    options = [
        _harms(name, harm, scale, [top + band * row + (APART + STEP) / 2 + STEP * place
                                   for row in range(len(CRITERIA))], look)
        for place, (name, harm, look) in enumerate(zip(names, harms, looks, strict=True))
    ]  # fmt: skip
    return picture(
        WIDTH, bottom + 2 * LINE_HIGH + 9, _in_words(recommendation), *key,
        _grid(scale, top, bottom), _criteria(top, band), *options,
    )  # fmt: skip


def _key(
    names: list[str], numbers: list[tuple[str, str, str]], columns: tuple[str, ...]
) -> tuple[list[str], float]:
    """Mark, name and numbers of each option, line by line; and where they end."""
    places = [WIDTH - 2 - COLUMN * (len(COLUMNS) - at - 0.5) for at in range(len(COLUMNS))]
    heads = [
        text(x, LINE_HIGH * (line + 1), word)
        for x, name in zip(places, columns, strict=True)
        for line, word in enumerate(name.split(maxsplit=1))
    ]
    drawn = [element("g", *heads, fill=QUIET, text_anchor="middle")]
    top = 2 * LINE_HIGH + 8
    for name, said, (shape, shade) in zip(names, numbers, MARKS, strict=False):
        lines = wrapped(name, WIDTH - NAMES - COLUMN * len(COLUMNS))
        foot = top + LINE_HIGH / 2 + MIDDLE * LETTERS
        drawn.append(path(mark(shape, NAMES / 2 - 4, top + LINE_HIGH / 2, MARK + 2), fill=shade))
        drawn += [text(NAMES, foot + LINE_HIGH * at, words) for at, words in enumerate(lines)]
        drawn += [
            text(x, foot, word, text_anchor="middle")
            for x, word in zip(places, said, strict=True)
            if word
        ]
        top += LINE_HIGH * len(lines) + 5
    return drawn, top + 4


def _harms(name: str, harm: Harm, scale: Scale, heights: list[float], look: tuple[str, str]) -> str:
    """Mean and range of one option, criterion by criterion."""
    shape, shade = look
    ranges, means = "", ""
    for y, criterion in zip(heights, CRITERIA, strict=True):
        mean, low, high = harm[criterion]
        ranges += f"M{number(scale(low))} {number(y)}H{number(scale(high))}"
        means += mark(shape, scale(mean), y, MARK)
    return group(name, path(ranges, stroke=shade, stroke_width=2), path(means, fill=shade))


def _criteria(top: float, band: float) -> str:
    """Names of the criteria, each at the middle of its band."""
    drawn = []
    for row, name in enumerate(CRITERIA):
        lines = wrapped(name, LEFT - 10)
        first = top + band * (row + 0.5) - LINE_HIGH * (len(lines) - 1) / 2 + MIDDLE * LETTERS
        drawn += [text(0, first + LINE_HIGH * at, words) for at, words in enumerate(lines)]
    lines_between = "".join(
        f"M0 {number(top + band * row)}H{number(WIDTH)}" for row in range(len(CRITERIA) + 1)
    )
    return path(lines_between, stroke=GRID) + "".join(drawn)


def _grid(scale: Scale, top: float, bottom: float) -> str:
    """Upright lines at none, half and worst, with their numbers and what they mean below."""
    values = (0, WORST / 2, WORST)
    lines = "".join(f"M{number(scale(one))} {number(top)}V{number(bottom + 4)}" for one in values)
    foot = bottom + LINE_HIGH + 2
    numbers = [text(scale(one), foot, f"{one:g}", text_anchor="middle") for one in values]
    meant = [
        text(0, foot, "harm"),
        text(LEFT - 3, foot + LINE_HIGH, "none"),
        text(WIDTH, foot + LINE_HIGH, "worst", text_anchor="end"),
    ]
    return path(lines, stroke=LINE, stroke_width=0.6) + element("g", *numbers, *meant, fill=QUIET)


def _numbers(recommendation: Recommendation) -> Iterator[tuple[str, str, str]]:
    """Total harm, least share of simulations for it and members passing, line by line."""
    tests = recommendation.leading(SHOWN_IN_FIGURE)
    yield (f"{tests[0].total_of_leaving:.1f}" if tests else "", "", "")
    for test in tests:
        yield (
            f"{test.total:.1f}",
            per_cent(test.least_share).replace("more than ", ">").replace("less than ", "<"),
            f"{test.members_passing} of {len(test.shares)}"
            if test.weights_given
            else ("yes" if test.members_passing else "no"),
        )


def _in_words(recommendation: Recommendation) -> str:
    """What the picture shows, in words."""
    soilings = recommendation.evidence.zone.soiling_codes
    parts = [
        f"{option_name(test.option, soilings)}: total harm {test.total:.1f}, "
        f"leaving {test.total_of_leaving:.1f}"
        for test in recommendation.leading(SHOWN_IN_FIGURE)
    ]
    return f"Harm from 0 to 10 by criterion, mean and 90 % range. {'; '.join(parts)}".strip()

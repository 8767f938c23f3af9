"""Harm of leaving and of treating, criterion by criterion, with its doubt."""

from __future__ import annotations

from collections.abc import Mapping

from heritagecheck.cards import Picture
from heritagecheck.figures.chart import Scale
from heritagecheck.figures.svg import (
    GRID,
    LETTERS,
    MIDDLE,
    QUIET,
    element,
    group,
    mark,
    number,
    path,
    picture,
    text,
    wrapped,
)
from heritagecheck.judgement.options import option_name
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.precaution import per_cent
from heritagecheck.judgement.recommendation import Recommendation

MARKS = (("disc", "#1d1d1b"), ("square", "#1f6f8b"), ("triangle", "#a5650f"),
         ("diamond", "#75619b"))  # fmt: skip
SHOWN_IN_FIGURE = 3
WORST = 10
NAMES, CRITERION, COLUMN, GAP = 236.0, 88.0, 58.0, 20.0  # pixel, widths
HEAD, ROW, LINE, FOOT, MARK = 34.0, 20.0, 14.0, 18.0, 8.0  # pixel, heights
Harm = Mapping[str, tuple[float, float, float]]
# Total harm, least share of draws that favour it, and members for whom it passes.
COLUMNS = ("total harm", "draws for", "members for")


def draw_harm(recommendation: Recommendation) -> Picture:
    """
    Harm by option: mean and the range that holds 90 % of the draws.

    Parameters
    ----------
    recommendation : Recommendation
        What was recommended.

    Returns
    -------
    Picture
        A row for leaving and for at most three treatments, the least harmful first and the one
        recommended always among them. Across it a scale from 0 (none) to 10 (worst) for each
        criterion, then total harm, the least share of draws that favour it over the members, and
        how many members it passes for.
    """
    tests = recommendation.leading(SHOWN_IN_FIGURE)
    names = ["leave", *(option_name(test.option) for test in tests)]
    harms = [recommendation.harm_of_leaving, *(test.harm for test in tests)]
    starts = [NAMES + CRITERION * place for place in range(len(CRITERIA))]
    scales = [Scale(0, WORST, start, start + CRITERION - GAP) for start in starts]
    columns = [starts[-1] + CRITERION + COLUMN * (place + 0.4) for place in range(len(COLUMNS))]
    drawn, top = [], HEAD
    for name, harm, said, (shape, shade) in zip(
        names, harms, _numbers(recommendation), MARKS, strict=False
    ):
        lines = wrapped(name, NAMES - GAP / 2)
        high = ROW + LINE * (len(lines) - 1)
        drawn.append(_name(lines, top + ROW / 2))
        drawn.append(_harms(name, harm, scales, top + high / 2, shape, shade))
        foot = top + high / 2 + MIDDLE * LETTERS
        drawn += [text(x, foot, word, text_anchor="middle")
                  for x, word in zip(columns, said, strict=True) if word]  # fmt: skip
        top += high
    return picture(
        columns[-1] + 0.6 * COLUMN, top + FOOT, _in_words(recommendation), _grid(scales, top),
        _heads([*(scale(WORST / 2) for scale in scales), *columns]), *drawn,
    )  # fmt: skip


def _name(lines: list[str], middle: float) -> str:
    """Name of an option, its lines below one another."""
    feet = [middle + MIDDLE * LETTERS + LINE * place for place in range(len(lines))]
    return "".join(text(0, foot, words) for foot, words in zip(feet, lines, strict=True))


def _harms(name: str, harm: Harm, scales: list[Scale], y: float, shape: str, shade: str) -> str:
    """Mean and range of one option, criterion by criterion."""
    ranges, means = "", ""
    for scale, criterion in zip(scales, CRITERIA, strict=True):
        mean, low, high = harm[criterion]
        ranges += f"M{number(scale(low))} {number(y)}H{number(scale(high))}"
        means += mark(shape, scale(mean), y, MARK)
    return group(name, path(ranges, stroke=shade, stroke_width=2), path(means, fill=shade))


def _grid(scales: list[Scale], bottom: float) -> str:
    """Upright lines at none, half and worst of each criterion, with their numbers below."""
    places = [(scale(value), f"{value:g}") for scale in scales for value in (0, WORST / 2, WORST)]
    lines = "".join(f"M{number(x)} {number(HEAD)}V{number(bottom)}" for x, _ in places)
    numbers = [text(x, bottom + LETTERS, word) for x, word in places]
    return path(lines, stroke=GRID) + element("g", *numbers, fill=QUIET, text_anchor="middle")


def _heads(places: list[float]) -> str:
    """Names of the criteria and of the numbers over the rows, a word a line."""
    words = [
        text(x, HEAD - 6 - LINE * above, word)
        for x, name in zip(places, (*CRITERIA, *COLUMNS), strict=True)
        for above, word in enumerate(reversed(name.split()))
    ]
    return element("g", *words, text_anchor="middle")


def _numbers(recommendation: Recommendation) -> list[tuple[str, str, str]]:
    """Total harm, least share of draws for it and members passing, row by row."""
    tests = recommendation.leading(SHOWN_IN_FIGURE)
    leave = [(f"{tests[0].total_of_leaving:.1f}", "", "")] if tests else [("", "", "")]
    return leave + [
        (
            f"{test.total:.1f}",
            per_cent(test.least_share).replace("more than ", ">").replace("less than ", "<"),
            f"{test.members_passing} of {len(test.shares)}",
        )
        for test in tests
    ]


def _in_words(recommendation: Recommendation) -> str:
    """What the picture shows, in words."""
    parts = [
        f"{option_name(test.option)}: total harm {test.total:.1f}, "
        f"leaving {test.total_of_leaving:.1f}"
        for test in recommendation.leading(SHOWN_IN_FIGURE)
    ]
    return f"Harm from 0 to 10 by criterion, mean and 90 % range. {'; '.join(parts)}".strip()

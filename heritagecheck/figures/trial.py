"""Spots of one series of trial panels, what they say of removal and damage, and the window."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from heritagecheck.cards import Picture
from heritagecheck.evidence.trials.spots import SpotTrial
from heritagecheck.figures.svg import (
    DARK,
    GRID,
    LETTERS,
    LIGHT,
    LINE,
    MIDDLE,
    QUIET,
    SMALL,
    Entry,
    Scale,
    element,
    group,
    key,
    log_ticks,
    mark,
    number,
    path,
    picture,
    text,
    wrapped,
    written,
)
from heritagecheck.figures.trial_curves import CLEAN, HARM, Curves, draw_window, room_for_names
from heritagecheck.tables.cautions import WITH_CAUTIONS

if TYPE_CHECKING:
    from heritagecheck.evidence.trials.spots import SpotRead

# A triangle is damaged, a full mark is cleaned; in grey print white, middle grey and near black.
MARKS = {
    (False, False): ("still soiled, sound", "disc", DARK, LIGHT),
    (False, True): ("still soiled, damaged", "triangle", HARM, LIGHT),
    (True, False): ("cleaned, sound", "disc", CLEAN, "#5fa3bb"),
    (True, True): ("cleaned, damaged", "triangle", HARM, HARM),
}
WIDTH, LEFT, RIGHT, LOWER, BETWEEN = 700.0, 104.0, 110.0, 216.0, 30.0  # pixel
SPOTS, LARGEST_PITCH, SMALLEST_PITCH, NAME_PITCH = 240.0, 14.0, 5.0, 10.0  # pixel
LARGEST_MARK = 9.0  # pixel
TRIANGLE = 1.15  # times as large as a disc, so that it looks as large
MARK_APART = 0.022  # of the axis of settings: a mark is as wide
BEYOND = 0.06  # of the range of doses, on each side
LEAST_RANGE = 1.5  # highest over lowest end, so that there is something to tick


class _Row(NamedTuple):
    """Spots on one component with their lanes, and the lanes that they take."""

    name: list[str]
    spots: list[SpotRead]
    places: list[int]
    middles: dict[str, float]
    top: int
    height: int


def draw_trial(found: SpotTrial) -> Picture:
    """
    Spots of one series at their settings, above the curves and the window read from them.

    Parameters
    ----------
    found : SpotTrial
        As `spots` of `hc.trials.read_series` gives it.

    Returns
    -------
    Picture
        First every spot: a row for each component under the spots, that with the gentlest damage
        at the top; within a row the panels lie above one another, so that height there is no
        number. Then, where the series has a window or why it has none, the share of spots cleaned
        and damaged with their 95 % intervals, over panels like those tried. The heavy line of
        damage takes the most endangered component at each setting, as the window does, and bears
        the name of the weakest. The band is the tested window. No curve runs beyond the doses
        tried.

    Raises
    ------
    ValueError
        The series has no spot to draw.

    Examples
    --------
    >>> import heritagecheck as hc
    >>> trial = hc.trials.read_series(hc.demo_survey(), "N15-pulse")
    >>> picture = hc.figures.draw_trial(trial.spots)
    >>> "setting [J/cm² peak]; curves for 8 pulses or passes a spot, dry surface" in picture.svg
    True
    """
    if not found.rows:
        raise ValueError(f"Spots of {found.series} can't be drawn, because {found.why_not}.")
    curves = Curves.of(found)
    across = Scale(*_limits(found), LEFT, WIDTH - max(RIGHT, room_for_names(curves)), True)
    entries, top = key([_entry(state) for state in MARKS], WIDTH)
    rows = _rows(found, across)
    lanes = _lanes(rows, top + 4)
    drawn, bottom = [entries], lanes.end
    if curves is not None:
        up = Scale(0, 100, bottom + BETWEEN + LOWER, bottom + BETWEEN)
        drawn.append(draw_window(curves, across, up, (lanes.start, lanes.end)))
        bottom = up.start
    drawn.append(_spots(rows, across, lanes))
    drawn.append(_settings(across, [lanes.end, bottom]))
    lines = [
        line for words in (_setting_words(found), WITH_CAUTIONS)
        for line in wrapped(words, WIDTH - LEFT)
    ]  # fmt: skip
    foot = bottom + 2 * LETTERS + 9
    drawn += [text(LEFT, foot + 15 * place, words) for place, words in enumerate(lines)]
    return picture(
        WIDTH, foot + 15 * (len(lines) - 1) + 8,
        _in_words(found, curves),
        *drawn,
    )  # fmt: skip


def _in_words(found: SpotTrial, curves: Curves | None) -> str:
    """What the picture shows, in words."""
    more = "; and how likely cleaning and damage are at each setting" if curves else ""
    return (
        f"Each trial spot of {found.series} at its setting, cleaned or not, damaged or not, by "
        f"what lay under it{more}. {found}"
    )


# -- Settings, shared by both ------------------------------------------------------------------


def _limits(found: SpotTrial) -> tuple[float, float]:
    """Ends of the axis of settings: all that were tried, and a little more."""
    tried = [row.dose for row in found.rows]
    low, high = min(tried), max(tried)
    more = max((high / low) ** BEYOND, math.sqrt(LEAST_RANGE * low / high))
    return low / more, high * more


def _settings(across: Scale, feet: list[float]) -> str:
    """Ticks of the settings under both pictures, with their numbers under the lower one."""
    places = [(across(tick), written(tick)) for tick in log_ticks(across.low, across.high)]
    steps = "".join(f"M{number(x)} {number(foot)}v4" for foot in dict.fromkeys(feet)
                    for x, _ in places)  # fmt: skip
    steps += "".join(f"M{number(across.start)} {number(foot)}H{number(across.end)}"
                     for foot in dict.fromkeys(feet))  # fmt: skip
    numbers = [text(x, feet[-1] + LETTERS + 5, word) for x, word in places]
    return path(steps, stroke=LINE) + element("g", *numbers, fill=QUIET, text_anchor="middle")


def _setting_words(found: SpotTrial) -> str:
    """Name of the axis of settings, and for what the curves hold."""
    label = f"setting [{found.dose_unit}]" if found.dose_unit else "setting"
    return f"{label}; curves for {found.conditions}" if found.conditions else label


# -- Spots -------------------------------------------------------------------------------------


def _rows(found: SpotTrial, across: Scale) -> list[_Row]:
    """One row for each component, that with the gentlest damage first."""
    panels = sorted({spot.panel for spot in found.rows})
    apart = MARK_APART * math.log(across.high / across.low)
    named = any(spot.component for spot in found.rows)
    kinds: dict[str, list[SpotRead]] = {}
    for spot in sorted(found.rows, key=lambda one: (one.dose, one.damaged, one.cleaned)):
        kinds.setdefault(spot.component, []).append(spot)
    rows, top = [], 0
    for name in sorted(kinds, key=lambda kind: _first_damage(kinds[kind])):
        places, middles, height = _places(kinds[name], panels, apart)
        rows.append(
            _Row(
                wrapped(name or ("not named" if named else "spots"), LEFT - 12), kinds[name],
                [top + place for place in places],
                {panel: top + middle for panel, middle in middles.items()}, top, height,
            )
        )  # fmt: skip
        top += height + 1
    return rows


def _first_damage(spots: list[SpotRead]) -> tuple[float, float, str]:
    """Gentlest setting that damaged, then the larger share damaged, then the name."""
    hit = [spot.dose for spot in spots if spot.damaged]
    return min(hit, default=math.inf), -len(hit) / len(spots), spots[0].component


def _places(
    spots: list[SpotRead], panels: list[str], apart: float
) -> tuple[list[int], dict[str, float], int]:
    """Lane of each spot so that no two meet, middle of each panel's lanes, how many lanes."""
    lanes, middles, first = [0] * len(spots), {}, 0
    for panel in panels:
        ends: list[float] = []
        for place, spot in enumerate(spots):
            if spot.panel != panel:
                continue
            x = math.log(spot.dose)
            free = [lane for lane, end in enumerate(ends) if x - end >= apart]
            lane = free[0] if free else len(ends)
            ends[lane : lane + 1] = [x]
            lanes[place] = first + lane
        middles[panel] = first + (max(len(ends), 1) - 1) / 2
        first += max(len(ends), 1)
    return lanes, middles, first


def _lanes(rows: list[_Row], top: float) -> Scale:
    """Where the lanes lie: as high as they can be, or as the names of their rows ask."""
    count = rows[-1].top + rows[-1].height + 1
    pitch = min(max(SPOTS / count, SMALLEST_PITCH), LARGEST_PITCH)
    pitch = max(pitch, *((len(row.name) + 0.3) * LETTERS / (row.height + 1) for row in rows))
    return Scale(-1, count - 1, top, top + pitch * count)


def _spots(rows: list[_Row], across: Scale, lanes: Scale) -> str:
    """Every spot at its setting, with what it showed as a mark."""
    pitch = lanes(1) - lanes(0)
    size = min(0.95 * pitch, LARGEST_MARK)
    edges = "".join(
        f"M{number(across.start)} {number(lanes(row.top - 1))}H{number(across.end)}"
        for row in rows[1:]
    )
    drawn = [
        group("edges of the rows", path(edges, stroke=GRID)),
        path(f"M{number(across.start)} {number(lanes.start)}V{number(lanes.end)}", stroke=LINE),
    ]
    # Damaged spots are drawn on top.
    for state in sorted(MARKS, key=lambda state: state[1]):
        name, shape, edge, face = MARKS[state]
        large = size * (TRIANGLE if state[1] else 1)
        steps = "".join(
            mark(shape, across(spot.dose), lanes(place), large)
            for row in rows
            for spot, place in zip(row.spots, row.places, strict=True)
            if (spot.cleaned, spot.damaged) == state
        )
        drawn.append(group(name, path(steps, fill=face, stroke=edge)))
    for row in rows:
        middle = lanes(row.top + (row.height - 1) / 2) + MIDDLE * LETTERS
        first = middle - LETTERS * (len(row.name) - 1) / 2
        drawn += [text(LEFT - 8, first + LETTERS * place, words, text_anchor="end")
                  for place, words in enumerate(row.name)]  # fmt: skip
    middles = list(rows[0].middles.items())
    apart = [pitch * (two[1] - one[1]) for one, two in pairwise(middles)]
    if min(apart, default=math.inf) > NAME_PITCH:
        drawn += [
            text(across.end + 6, lanes(place) + MIDDLE * SMALL, panel, fill=QUIET, font_size=SMALL)
            for panel, place in middles
        ]
    return "".join(drawn)


def _entry(state: tuple[bool, bool]) -> Entry:
    """What a mark of one state says, for the key."""
    name, shape, edge, face = MARKS[state]
    size = LARGEST_MARK * (TRIANGLE if state[1] else 1)
    return Entry(name, lambda x, y: path(mark(shape, x, y, size), fill=face, stroke=edge))

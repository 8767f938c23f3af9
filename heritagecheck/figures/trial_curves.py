"""Curves of removal and damage with their uncertainty, and the tested window between them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, Self

import numpy as np

from heritagecheck.evidence.trials.curves.window import Window
from heritagecheck.evidence.trials.spot_fits import Curve, DrawnFit, FloatArray, drawn_fits
from heritagecheck.evidence.trials.spots import SpotTrial
from heritagecheck.figures.colours import REFERENCE
from heritagecheck.figures.svg import (
    DARK,
    GRID,
    LETTERS,
    LIGHT,
    LINE,
    MIDDLE,
    QUIET,
    SMALL,
    UNSEEN,
    Scale,
    element,
    group,
    line,
    number,
    path,
    text,
    through,
    width_of,
    wrapped,
)

CLEAN, HARM = REFERENCE, "#8c1c13"
STROKES = ("1.5 2.5", "10 3", "10 3 2 3", "4 2.5")
BAR = 1.04  # width of the bar that replaces a curve if one dose was tried, as a ratio


class Style(NamedTuple):
    """How a curve looks, and its name."""

    name: str
    colour: str
    strokes: str | None
    width: float


@dataclass(frozen=True)
class Curves:
    """
    Curves of a series as they are drawn, and what was read from them.

    Parameters
    ----------
    drawn : list of tuple
        Each curve and its style: removal, damage, then the other components.
    window : Window
        What was read from them.
    used : tuple of float or None
        Setting of the panels themselves.
    reach : float
        Highest dose at which removal was tried.
    """

    drawn: list[tuple[Curve, Style]]
    window: Window
    used: tuple[float, float] | None
    reach: float

    @classmethod
    def of(cls, found: SpotTrial) -> Self | None:
        """Curves of a series."""
        fits = drawn_fits(found)
        if found.window is None or fits is None:
            return None
        removal, damage = fits
        reach = max(high for _, high in removal.tried.values())
        return cls(_both(removal, damage), found.window, found.used, reach)


def _both(removal: DrawnFit, damage: DrawnFit) -> list[tuple[Curve, Style]]:
    """Curves of removal and of damage, and those of the other components."""
    # As the window: removal by what is hardest to clean, damage by what is most endangered.
    cleans, harms = removal.curves, damage.curves
    weakest = f"damage, {damage.weakest}" if damage.weakest else "damage"
    drawn = [
        (_bar(_across(cleans, np.min), -1), Style("removal", CLEAN, None, 2.4)),
        (_bar(_across(harms, np.max), 1), Style(weakest, HARM, "8 4", 2.4)),
    ]
    if damage.weakest:
        others = [one for one in damage.tried if one != damage.weakest]
        for place, one in enumerate(others):
            style = Style(one, HARM, STROKES[place % len(STROKES)], 1.3)
            drawn.append((_bar(_within(harms[one], *damage.tried[one]), 1), style))
    return drawn


def _across(curves: dict[str, Curve], reach: Callable[..., FloatArray]) -> Curve:
    """Curve of the group that counts at each dose: the lowest of all, or the highest."""
    every = np.array(list(curves.values()))
    return Curve(*reach(every, axis=0))


def _within(curve: Curve, low: float, high: float) -> Curve:
    """Part of a curve between two doses."""
    here = (curve.dose >= low) & (curve.dose <= high)
    return Curve(*(values[here] for values in curve))


def _bar(curve: Curve, side: int) -> Curve:
    """A curve; for a single dose a bar on one side of it, so that two fit side by side."""
    if curve.dose.size > 1:
        return curve
    dose = np.sort(np.append(curve.dose, curve.dose * BAR**side))
    return Curve(dose, *(np.repeat(values, 2) for values in curve[1:]))


HATCH = 7.0  # pixel between two strokes
LEADER, SAMPLE, LONGEST_NAME = 6.0, 30.0, 190.0  # pixel
Box = tuple[float, float, float, float]


def room_for_names(curves: Curves | None) -> float:
    """Width that the names of the curves take right of them."""
    names = [style.name for _, style in curves.drawn] if curves else []
    widest = max((width_of(name) for name in names), default=0.0)
    return LEADER + SAMPLE + 6 + min(widest, LONGEST_NAME)


def draw_window(curves: Curves, across: Scale, up: Scale, spots: tuple[float, float]) -> str:
    """Curves with the window between them, which runs through the spots above them too."""
    heights = [spots, (up.end, up.start)]
    taken: list[Box] = []
    bar = "" if curves.used is None else _used(curves.used, across, up, taken)
    lines = [_line(curve, style, across, up) for curve, style in curves.drawn]
    return element(
        "g",
        _band_of_window(curves, across, heights),
        _percents(across, up),
        _interval(*curves.drawn[0], across, up),
        _interval(*curves.drawn[1], across, up, hatched=True),
        _window_in_words(curves, across, heights[1][0] - 7),
        *lines,
        *_names(curves.drawn, across, up),
        *_asked(curves, across, up, taken),
        bar,
    )


# -- The window --------------------------------------------------------------------------------


def _band_of_window(curves: Curves, across: Scale, heights: list[tuple[float, float]]) -> str:
    """Band of the tested window in both pictures; nothing where there is none."""
    window = curves.window
    if window.setting is None:
        return ""
    left = across(max(window.low, across.low))
    right = across(min(window.high, across.high))
    return group("tested window", *(
        element("rect", x=left, y=top, width=right - left, height=bottom - top, fill=UNSEEN)
        for top, bottom in heights
    ))  # fmt: skip


def _window_in_words(curves: Curves, across: Scale, foot: float) -> str:
    """The window in words over its band; or that there is none."""
    window = curves.window
    if window.setting is None:
        # Only where the spots say so; else they leave open whether one would.
        reached = window.low <= curves.reach
        known = window.margin_high < 1 or (reached and window.margin <= 1)
        words = "no setting does both" if known else "no setting is shown to do both"
        x = (across.start + across.end) / 2
    else:
        low, high = window.written
        words = f"tested window {low} to {high}"
        x = across(math.sqrt(window.low * window.high))
    half = width_of(words) / 2
    middle = min(max(x, across.start + half), across.end - half)
    return text(middle, foot, words, text_anchor="middle")


# -- How they are drawn ------------------------------------------------------------------------


def _percents(across: Scale, up: Scale) -> str:
    """Lines at every twenty per cent, with their numbers and what they count."""
    places = [(up(value), f"{value}") for value in range(0, 101, 20)]
    lines = "".join(f"M{number(across.start)} {number(y)}H{number(across.end)}" for y, _ in places)
    edge = f"M{number(across.start)} {number(up.end)}V{number(up.start)}"
    numbers = [text(across.start - 6, y + MIDDLE * LETTERS, word) for y, word in places]
    x, y = across.start - 40, (up.start + up.end) / 2
    name = text(x, y, "probability [%]", text_anchor="middle",
                transform=f"rotate(-90 {number(x)} {number(y)})")  # fmt: skip
    return (
        path(lines, stroke=GRID, stroke_width=0.8)
        + path(edge, stroke=LINE)
        + element("g", *numbers, fill=QUIET, text_anchor="end")
        + name
    )


def _interval(
    curve: Curve, style: Style, across: Scale, up: Scale, *, hatched: bool = False
) -> str:
    """Interval at each dose: tinted, or hatched within its edge."""
    there = np.stack([curve.dose, curve.low], axis=1)
    back = np.stack([curve.dose, curve.high], axis=1)[::-1]
    area = through(np.concatenate([there, back]), across, up, closed=True)
    title = f"{style.name}, 95 % interval"
    if not hatched:
        return group(title, path(area, fill=style.colour, fill_opacity=0.22))
    return group(
        title, path(area, stroke_width=0.7), path(_hatch(curve, across, up)),
        stroke=style.colour, stroke_width=0.9, stroke_opacity=0.5,
    )  # fmt: skip


def _hatch(curve: Curve, across: Scale, up: Scale) -> str:
    """Slanting strokes within an interval, each cut off where it leaves it."""
    # Strokes of one's own, as a pattern would need a name that no other picture on the page has.
    places = [across(dose) for dose in curve.dose.tolist()]
    x = np.arange(places[0], places[-1], 0.5)
    top, foot = (
        np.interp(x, places, [up(value) for value in values.tolist()])
        for values in (curve.high, curve.low)
    )
    strokes = []
    for start in np.arange(places[0] + up.end, places[-1] + up.start, HATCH):
        y = start - x
        inside = np.concatenate([[False], (y >= top) & (y <= foot), [False]])
        turns = np.flatnonzero(inside[1:] != inside[:-1])
        strokes += [
            line([(float(x[one]), float(y[one])), (float(x[two - 1]), float(y[two - 1]))])
            for one, two in zip(turns[::2], turns[1::2], strict=True)
        ]
    return "".join(strokes)


def _line(curve: Curve, style: Style, across: Scale, up: Scale) -> str:
    """Estimate at each dose."""
    points = np.stack([curve.dose, curve.estimate], axis=1)
    return group(style.name, _stroked(through(points, across, up), style))


def _stroked(steps: str, style: Style) -> str:
    """Path in the stroke of a curve."""
    return path(steps, stroke=style.colour, stroke_width=style.width,
                stroke_dasharray=style.strokes)  # fmt: skip


def _names(named: list[tuple[Curve, Style]], across: Scale, up: Scale) -> list[str]:
    """Name of each curve right of it with a piece of its line, apart where they would meet."""
    named = sorted(named, key=lambda one: (-one[0].estimate[-1], -one[0].estimate.mean()))
    lines = [wrapped(style.name, LONGEST_NAME) for _, style in named]
    gap = (max(map(len, lines)) + 0.15) * LETTERS
    ends = [up(float(curve.estimate[-1])) for curve, _ in named]
    drawn = []
    for (curve, style), words, end, y in zip(
        named, lines, ends, _apart(ends, gap, up.start, up.end), strict=True
    ):
        x = across.end + LEADER
        leader = line([(across(float(curve.dose[-1])), end), (x, y)])
        first = y + MIDDLE * LETTERS - LETTERS * (len(words) - 1) / 2
        drawn.append(
            element(
                "g", path(leader, stroke=LINE, stroke_width=0.6),
                _stroked(f"M{number(x)} {number(y)}h{number(SAMPLE)}", style),
                *(text(x + SAMPLE + 6, first + LETTERS * place, word, fill=style.colour)
                  for place, word in enumerate(words)),
            )
        )  # fmt: skip
    return drawn


def _apart(wanted: list[float], gap: float, foot: float, top: float) -> list[float]:
    """Heights from the top downwards, near those wanted and at least a gap apart."""
    gap = min(gap, (foot - top) / max(len(wanted) - 1, 1))
    found: list[float] = []
    for place, y in enumerate(wanted):
        room = foot - gap * (len(wanted) - 1 - place)
        found.append(max(min(y, room), found[-1] + gap if found else top))
    return found


def _asked(curves: Curves, across: Scale, up: Scale, taken: list[Box]) -> list[str]:
    """Hairlines at the required removal and the limit of damage, labelled where there is room."""
    drawn = []
    removed, damaged = (
        f"{100 * share:g} %" for share in (curves.window.removed_share, curves.window.damage_limit)
    )
    for name, words, share, shade in (
        ("removal required", f"removal required: {removed}", curves.window.removed_share, CLEAN),
        ("damage excluded", f"damage of more than {damaged} excluded",
         curves.window.damage_limit, HARM),
    ):  # fmt: skip
        y = up(100 * share)
        hair = f"M{number(across.start)} {number(y)}H{number(across.end)}"
        x = _free_place(curves, width_of(words, SMALL), y, across, up, taken)
        plate = _plate(words, x, y - 4, shade, taken)
        drawn.append(group(name, path(hair, stroke=shade, stroke_width=0.8), plate))
    return drawn


def _plate(words: str, x: float, foot: float, shade: str, taken: list[Box]) -> str:
    """Small words on a light ground, so that lines below do not cross them."""
    box = (x - 2, foot - SMALL + 1, x + width_of(words, SMALL) + 2, foot + 3)
    taken.append(box)
    return element("rect", x=box[0], y=box[1], width=box[2] - box[0], height=box[3] - box[1],
                   fill=LIGHT, fill_opacity=0.75) + text(
        x, foot, words, fill=shade, font_size=SMALL
    )  # fmt: skip


def _free_place(
    curves: Curves, wide: float, y: float, across: Scale, up: Scale, taken: list[Box]
) -> float:
    """Where along a hair line its name meets the fewest lines, and no other name."""
    lines = [
        ([across(dose) for dose in one.dose.tolist()], [up(at) for at in one.estimate.tolist()])
        for one, _ in curves.drawn
    ]

    def met(start: float) -> int:
        x = np.linspace(start, start + wide, 50)
        heights = np.array([np.interp(x, *one, np.nan, np.nan) for one in lines])
        covered = any(
            left < start + wide and start < right and top < y and y - SMALL < foot + 3
            for left, top, right, foot in taken
        )
        hit = int(((heights <= y) & (heights >= y - 1.3 * SMALL)).sum())
        return hit + 1000 * covered

    last = across.end - wide - 4
    starts: list[float] = np.linspace(across.start + 4, last, 9).tolist()
    return min(starts, key=met)


def _used(used: tuple[float, float], across: Scale, up: Scale, taken: list[Box]) -> str:
    """Bar at the foot over the setting of the panels themselves."""
    left, right = across(used[0]), across(used[1])
    bar = element("rect", x=left, y=up.start - 3, width=right - left, height=6.0, fill=DARK)
    x = (left + right - width_of("panels", SMALL)) / 2
    return group("setting of the panels", bar, _plate("panels", x, up.start - 7, DARK, taken))

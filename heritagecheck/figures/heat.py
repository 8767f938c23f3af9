"""Heat of a laser's pulses: temperature of a surface over time, and how hot each depth gets."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from heritagecheck.cards import Picture
from heritagecheck.evidence.laser.heat.heated_surface import (
    NEVER_A_PASS,
    OF_ONE_DIMENSION,
    HeatCourse,
    SurfaceTemperature,
)
from heritagecheck.figures.line_plot import paper
from heritagecheck.figures.svg import (
    Entry,
    Scale,
    element,
    key,
    path,
    picture,
    text,
    through,
    wrapped,
)
from heritagecheck.figures.trial_curves import HARM

FloatArray = NDArray[np.float64]
WIDTH, LEFT, RIGHT, HIGH, BETWEEN = 700.0, 72.0, 16.0, 170.0, 56.0  # pixel
HOT, RANGE = "#b4531b", "#f2d9c4"
_HEADROOM = 1.08
_BEYOND_KNOWN = 1.15  # of the highest temperature that is known: higher curves leave the picture
_TIMES = ((1e-6, 1e9, "ns"), (1e-3, 1e6, "µs"), (1.0, 1e3, "ms"))


def draw_heat(found: SurfaceTemperature) -> Picture:
    """
    Temperature of a surface over the pulses, and the hottest that each depth gets.

    Each with its range over the properties, and the temperature of alteration. Curves leave the
    picture where the properties are no longer known.
    """
    course = found.course
    if course is None:
        raise ValueError(f"There is no temperature to draw. {' '.join(found.no_number.values())}")
    entries, top = key(_entries(found), WIDTH - LEFT, LEFT)
    highest = _highest(found, course)
    first = Scale(0, highest, top + 26 + HIGH, top + 26)
    second = Scale(0, highest, first.start + BETWEEN + 26 + HIGH, first.start + BETWEEN + 26)
    time, unit, curves = _over_time(course)
    depth, hottest = _into_the_depth(found, course)
    drawn = [
        entries,
        _heading(first, f"Temperature of {_named(found)} [°C] over time [{unit}]"),
        *_panel(found, Scale(0, float(time[-1]), LEFT, WIDTH - RIGHT), first, time, curves),
        _heading(second, f"Hottest that each depth of {found.surface.name} gets [°C], depth [µm]"),
        *_panel(
            found, Scale(float(depth[0]), float(depth[-1]), LEFT, WIDTH - RIGHT, True), second,
            depth, hottest,
        ),
    ]  # fmt: skip
    foot = second.start + 42
    lines = wrapped(f"{OF_ONE_DIMENSION} {NEVER_A_PASS}", WIDTH - LEFT)
    drawn += [text(LEFT, foot + 15 * place, words) for place, words in enumerate(lines)]
    alt = f"Temperature over time and by depth. {found}"
    return picture(WIDTH, foot + 15 * (len(lines) - 1) + 8, alt, *drawn)


def _named(found: SurfaceTemperature) -> str:
    """The surface, and what lies on it."""
    return found.surface.name + (f" under {found.layer.name}" if found.layer else "")


def _highest(found: SurfaceTemperature, course: HeatCourse) -> float:
    """Upper end of both axes: the hottest, or somewhat above what is known and what alters."""
    known = max(found.known_to_c, found.alters_from_c or 0)
    hottest = max(float(course.surface_c.max()), found.alters_from_c or 0)
    return min(_HEADROOM * hottest, _BEYOND_KNOWN * known)


def _over_time(course: HeatCourse) -> tuple[FloatArray, str, FloatArray]:
    """Times in a unit that suits them, and the three curves."""
    last = float(course.time_s[-1] - course.time_s[0])
    factor, unit = next(((by, unit) for up_to, by, unit in _TIMES if last < up_to), (1.0, "s"))
    return (course.time_s - course.time_s[0]) * factor, unit, course.surface_c


def _into_the_depth(found: SurfaceTemperature, course: HeatCourse) -> tuple[FloatArray, FloatArray]:
    """Depths below the layer as far as heat came, and the three curves there."""
    below = course.depth_um - course.layer_um
    warm = (below > 0) & (course.hottest_c[2] > course.hottest_c[2, -1] + 1)
    within = warm if warm.sum() > 1 else below > 0
    return below[within], course.hottest_c[:, within]


def _panel(
    found: SurfaceTemperature, across: Scale, up: Scale, x: FloatArray, curves: FloatArray
) -> list[str]:
    """Axes, the range as a band, the curve of the values, and the line of alteration."""
    ruled, numbers, frame = paper(across, up)
    drawn = [*ruled, frame, numbers]
    shown = np.minimum(curves, up.high)
    edge = np.concatenate([np.column_stack([x, shown[1]]), np.column_stack([x, shown[2]])[::-1]])
    # The stroke shows what a pulse makes narrower than a pixel.
    drawn.append(path(through(edge, across, up, closed=True), fill=RANGE, stroke=RANGE))
    for begin, end in _runs(curves[0] <= up.high):
        part = np.column_stack([x[begin:end], curves[0, begin:end]])
        drawn.append(path(through(part, across, up), stroke=HOT, stroke_width=1.8))
    if found.alters_from_c is not None:
        y = up(found.alters_from_c)
        drawn.append(
            path(f"M{across.start} {y:.2f}H{across.end}", stroke=HARM, stroke_width=1.6,
                 stroke_dasharray="8 4")
        )  # fmt: skip
    return drawn


def _runs(inside: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches of a curve that lie within the picture."""
    turns = np.flatnonzero(np.diff(inside.astype(int))) + 1
    ends = [0, *turns.tolist(), inside.size]
    return [(a, b) for a, b in pairwise(ends) if inside[a] and b - a > 1]


def _heading(up: Scale, words: str) -> str:
    """What a panel shows, above it."""
    return text(LEFT, up.end - 10, words, font_weight=600)


def _entries(found: SurfaceTemperature) -> list[Entry]:
    """What band and lines mean."""
    entries = [
        Entry("by the values of the table", lambda x, y: path(
            f"M{x - 10} {y}h20", stroke=HOT, stroke_width=1.8)),
        Entry("over their ranges", lambda x, y: element(
            "rect", x=x - 10, y=y - 6, width=20.0, height=12.0, fill=RANGE)),
    ]  # fmt: skip
    if found.alters_from_c is not None:
        words = f"alteration from {found.alters_from_c:g} °C ({found.alters_source})"
        entries.append(
            Entry(words, lambda x, y: path(
                f"M{x - 12} {y}h24", stroke=HARM, stroke_width=1.6, stroke_dasharray="8 4"))
        )  # fmt: skip
    return entries

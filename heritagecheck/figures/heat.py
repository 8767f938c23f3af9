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
from heritagecheck.figures.svg import (
    Entry,
    FloatArray,
    axes,
    beside,
    element,
    path,
    picture,
    plotted,
    text,
    through,
    wrapped,
)
from heritagecheck.figures.trial_curves import HARM

FOOT = 15.0  # pixel, height of a line of words below
HOT, RANGE = "#b4531b", "#f2d9c4"
VALUES = {"stroke": HOT, "stroke_width": 1.8}
ALTERED = {"stroke": HARM, "stroke_width": 1.6, "stroke_dasharray": "8 4"}
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
    time, unit, curves = _over_time(course)
    depth, hottest = _into_the_depth(found, course)
    surface, highest = found.surface.name, _highest(found, course)
    covered = surface + (f" under {found.layer.name}" if found.layer else "")
    both = beside(
        [
            _panel(found, highest, time, curves, f"time [{unit}], {covered}"),
            _panel(
                found, highest, depth, hottest, f"depth in {surface} [µm], each at its hottest",
                log=True,
            ),
        ],
        2, "",
    )  # fmt: skip
    wide, high = both.size
    lines = wrapped(f"{OF_ONE_DIMENSION} {NEVER_A_PASS}", wide)
    words = [text(0, high + FOOT * (place + 1), line) for place, line in enumerate(lines)]
    return picture(
        wide, high + FOOT * len(lines) + 8, f"Temperature over time and by depth. {found}",
        both.svg, *words,
    )  # fmt: skip


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
    found: SurfaceTemperature,
    highest: float,
    x: FloatArray,
    curves: FloatArray,
    name: str,
    *,
    log: bool = False,
) -> Picture:
    """The range as a band, the curve of the values, and the line of alteration."""
    across, up = axes(float(x[0]), float(x[-1]), curves)
    across = across._replace(logarithmic=log)
    up = up._replace(low=0.0, high=highest)
    shown = np.minimum(curves, up.high)
    edge = np.concatenate([np.column_stack([x, shown[1]]), np.column_stack([x, shown[2]])[::-1]])
    # The stroke shows what a pulse makes narrower than a pixel.
    drawn = [path(through(edge, across, up, closed=True), fill=RANGE, stroke=RANGE)]
    for begin, end in _runs(curves[0] <= up.high):
        part = np.column_stack([x[begin:end], curves[0, begin:end]])
        drawn.append(path(through(part, across, up), **VALUES))
    if found.alters_from_c is not None:
        y = up(found.alters_from_c)
        drawn.append(path(f"M{across.start} {y:.2f}H{across.end}", **ALTERED))
    return plotted(drawn, _entries(found), across, up, (name, "temperature [°C]"), "")


def _runs(inside: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches of a curve that lie within the picture."""
    turns = np.flatnonzero(np.diff(inside.astype(int))) + 1
    ends = [0, *turns.tolist(), inside.size]
    return [(a, b) for a, b in pairwise(ends) if inside[a] and b - a > 1]


def _entries(found: SurfaceTemperature) -> list[Entry]:
    """What band and lines mean."""
    entries = [
        Entry("by the values of the table", lambda x, y: path(f"M{x - 10} {y}h20", **VALUES)),
        Entry("over their ranges", lambda x, y: element(
            "rect", x=x - 10, y=y - 6, width=20.0, height=12.0, fill=RANGE)),
    ]  # fmt: skip
    if found.alters_from_c is not None:
        words = f"alteration from {found.alters_from_c:g} °C ({found.alters_source})"
        entries.append(Entry(words, lambda x, y: path(f"M{x - 12} {y}h24", **ALTERED)))
    return entries

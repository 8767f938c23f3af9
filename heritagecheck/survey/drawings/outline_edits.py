"""Outlines are written, looked at, split and joined: rings of corners in metres on the drawing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.survey.drawings.outline import Outline, self_crossing
from heritagecheck.survey.drawings.path_data import NUMBER, FloatArray

Rings = Sequence[ArrayLike]  # each of shape (n, 2): metres from the left and from the top
BETWEEN_PARTS = "|"
FARTHEST_M = 10_000.0  # beyond it a corner is a slip of the pen
SMALLEST_M2 = 1e-6
SLIVER_M2 = 1e-3  # common practice: what hand-drawn neighbours leave between them
ROOMY = 0.8  # of the radius of the largest circle within a zone
EXAMPLE = "such as 0 0; 2.5 0; 2.5 1.2"


def rings_of(text: str | None) -> list[FloatArray]:
    """
    Rings of corners [m] of an outline written as text, each of shape (n, 2).

    A first corner that is repeated at the end is left out. ValueError if a corner is not two
    numbers, or is farther away than any wall reaches.
    """
    found = []
    for part in (text or "").split(BETWEEN_PARTS) if text else ():
        corners = [_corner(one) for one in part.split(";")]
        if len(corners) > 1 and corners[0] == corners[-1]:
            corners.pop()
        found.append(np.array(corners))
    return found


def _corner(text: str) -> tuple[float, float]:
    """One corner from its text."""
    numbers = text.split()
    if len(numbers) != 2 or not all(NUMBER.fullmatch(number) for number in numbers):
        comma = " Write decimal points, no commas." if "," in text else ""
        raise ValueError(
            f"{text.strip() or 'an empty corner'} must be two numbers in metres separated by a "
            f"blank.{comma} Separate corners by semicolons and parts by {BETWEEN_PARTS}, {EXAMPLE}"
        )
    x, y = map(float, numbers)
    if not max(abs(x), abs(y)) <= FARTHEST_M:
        raise ValueError(
            f"{text.strip()} lies more than {FARTHEST_M:,.0f} m away. Write metres from the left "
            "and from the top of the drawing"
        )
    return x, y


def as_text(rings: Rings) -> str:
    """Rings [m] as a record holds them, to the millimetre; equal neighbours are written once."""
    parts = []
    for ring in rings:
        corners = [f"{_short(x)} {_short(y)}" for x, y in np.asarray(ring, dtype=float)]
        kept = [
            one for one, before in zip(corners, [None, *corners], strict=False) if one != before
        ]
        parts.append("; ".join(kept[:-1] if kept[0] == kept[-1] and len(kept) > 1 else kept))
    return f" {BETWEEN_PARTS} ".join(parts)


def _short(metres: float) -> str:
    """A length to the millimetre."""
    return f"{round(metres, 3) + 0.0:.3f}".rstrip("0").rstrip(".")


def outline_faults(rings: Rings) -> str:
    """What is wrong with an outline [m], in one sentence; empty where nothing is."""
    made = [np.asarray(ring, dtype=float) for ring in rings]
    if not made:
        return "nothing is drawn. Give its outline three points or more"
    for ring in made:
        if len(ring) < 3:
            x, y = ring[0]
            return (
                f"its part at {x:.2f} m from the left, {y:.2f} m from the top has {len(ring)} "
                "points. An outline needs three or more"
            )
    try:
        crossing = self_crossing(made)
    except ValueError as why:
        return str(why)
    if crossing is not None:
        x, y = crossing
        return (
            f"its outline crosses itself at {x:.2f} m from the left, {y:.2f} m from the top. "
            "Draw it again there"
        )
    return "" if area_of(made) >= SMALLEST_M2 else "its outline encloses nothing"


def area_of(rings: Rings) -> float:
    """Area of an outline without its holes [m²]; a ring within a ring is a hole."""
    return Outline("", tuple(np.asarray(ring, dtype=float) for ring in rings)).area_m2


def label_point(rings: Rings) -> FloatArray:
    """Place for the code of a zone, shape (2,) [m]: well inside its largest part."""
    from shapely import maximum_inscribed_circle

    part = max(_parts(_area(rings)), key=lambda one: one.area)
    radius = maximum_inscribed_circle(part)
    # The middle of a long zone reads better than one of the many largest circles within it.
    middle = part.centroid
    roomy = part.contains(middle) and part.boundary.distance(middle) > ROOMY * radius.length
    return np.array(middle.coords[0] if roomy else radius.coords[0])


def split_outline(rings: Rings, line: ArrayLike) -> tuple[list[FloatArray], list[FloatArray]]:
    """
    An outline cut in two along a line, all in metres: rings of the larger side, then the other's.

    Parts that the line does not touch go to the side on which they lie. ValueError if the line has
    no length, ends within the outline, or does not cross it.
    """
    from shapely import LineString, Point
    from shapely.ops import split

    points = np.asarray(line, dtype=float)
    if len(points) < 2 or not np.ptp(points, axis=0).max() > 0:
        raise ValueError("The line needs two different points.")
    cut, whole = LineString(points), _area(rings)
    if any(whole.contains(Point(end)) for end in (points[0], points[-1])):
        raise ValueError(
            "The line ends within the outline. Draw it across: begin and end outside it."
        )
    pieces = [one for part in _parts(whole) for one in split(part, cut).geoms]
    if len(pieces) == len(_parts(whole)):
        raise ValueError("The line does not cross the outline. Draw it from side to side.")
    left = [pieces[0]] if len(pieces) == 2 else [one for one in pieces if _is_left(one, points)]
    sides = [left, [one for one in pieces if one not in left]]
    sides.sort(key=lambda side: -sum(one.area for one in side))
    smaller = sum(one.area for one in sides[1])
    if smaller < SLIVER_M2:
        raise ValueError(
            f"The line cuts off only {smaller * 1e4:.1f} cm². Draw it further from the edge."
        )
    first, second = ([ring for one in side for ring in _rings(one)] for side in sides)
    return first, second


def _is_left(piece: Any, line: FloatArray) -> bool:
    """On which side of a line a piece lies: seen from the part of the line nearest to it."""
    place = np.array(piece.representative_point().coords[0])
    start, along = line[:-1], np.diff(line, axis=0)
    length = np.maximum((along**2).sum(axis=1), 1e-12)
    share = np.clip(((place - start) * along).sum(axis=1) / length, 0, 1)
    gaps = np.hypot(*(start + share[:, np.newaxis] * along - place).T)
    near = int(np.argmin(gaps))
    (a, b), (c, d) = along[near], place - start[near]
    return bool(a * d - b * c > 0)


def join_outlines(one: Rings, other: Rings) -> list[FloatArray]:
    """Two outlines as one [m], in parts if they do not touch; slivers between them are closed."""
    found = []
    for part in _parts(_area(one).union(_area(other))):
        outer, *holes = _rings(part)
        found += [outer, *(hole for hole in holes if area_of([hole]) >= SLIVER_M2)]
    return found


def overlap_m2(one: Rings, other: Rings) -> float:
    """Area that two outlines share."""
    return float(_area(one).intersection(_area(other)).area)


def _area(rings: Rings) -> Any:
    """What an odd number of rings hold."""
    from shapely import Polygon, make_valid

    found: Any = Polygon()
    for ring in rings:
        found = found.symmetric_difference(make_valid(Polygon(np.asarray(ring, dtype=float))))
    return found


def _parts(area: Any) -> list[Any]:
    """Polygons of which an area is made; what has no area is left out."""
    if area.geom_type == "Polygon":
        return [] if area.is_empty else [area]
    return [one for part in getattr(area, "geoms", ()) for one in _parts(part)]


def _rings(polygon: Any) -> list[FloatArray]:
    """Rings of a polygon, the outer first; their first corner is not repeated."""
    return [np.array(one.coords)[:-1] for one in (polygon.exterior, *polygon.interiors)]

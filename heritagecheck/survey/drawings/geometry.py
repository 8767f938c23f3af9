"""Zones as they are drawn on an elevation: outlines in metres, their areas, what lies in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.errors import SurveyError
from heritagecheck.survey.drawings.drawing import fault, look_at, placements, view_box
from heritagecheck.survey.drawings.elevations import elevation_of
from heritagecheck.survey.drawings.path_data import FloatArray, followed
from heritagecheck.survey.drawings.self_crossing import BoolArray, self_crossing
from heritagecheck.survey.records import Elevation
from heritagecheck.survey.survey import Survey

FLAT_M = 0.001  # how far a straight step may lie from its curve
STRETCH = 0.02  # common practice: by so much may width and height of a drawing disagree
SMALLEST_M2 = 1e-6
MOST_TOGETHER = 100_000  # points of all outlines of a drawing, with curves cut


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """
    Outline of one zone, in metres to the right of and down from the drawing's left top.

    A point belongs to the zone where an odd number of its rings hold it, so that a ring in a ring
    is a hole. Rings are closed: their first point is not repeated.
    """

    zone: str
    rings: tuple[FloatArray, ...]

    @property
    def area_m2(self) -> float:
        """Area without its holes, in square metres."""
        return float(sum(ring_signs(self.rings) * [abs(signed_area(one)) for one in self.rings]))

    def contains(self, points: ArrayLike) -> BoolArray:
        """Which points lie in the zone, shape (n, 2) [m]; one that is not finite lies nowhere."""
        places = np.asarray(points, dtype=float)
        order = np.argsort(places[:, 1], kind="stable")
        x, y = places[order].T
        inside = np.zeros(len(places), dtype=bool)
        for ring in self.rings:
            ends = np.roll(ring, -1, axis=0)
            low, high = np.minimum(ring[:, 1], ends[:, 1]), np.maximum(ring[:, 1], ends[:, 1])
            first, last = np.searchsorted(y, low), np.searchsorted(y, high)
            for edge in np.flatnonzero(first < last):
                span = slice(first[edge], last[edge])
                (x1, y1), (x2, y2) = ring[edge], ends[edge]
                inside[span] ^= x[span] < x1 + (y[span] - y1) * ((x2 - x1) / (y2 - y1))
        found = np.empty_like(inside)
        found[order] = inside
        return found


def outlines(survey: Survey, elevation: str) -> dict[str, Outline]:
    """Outlines of the zones of an elevation, as its drawing gives them."""
    item = elevation_of(survey, elevation)
    drawing = look_at(survey.file(item.drawing))
    faults = [fault(item, said) for said in drawing.faults]
    if faults and not len(drawing.root):
        raise SurveyError(faults)
    left, top, width, height = view_box(drawing.root, item)
    scale = item.width_m / width
    faults += _stretched(item, scale, item.height_m / height)
    count = 0
    found: dict[str, Outline] = {}
    for path, matrix in placements(drawing.root, item).items():
        code, drawn = path.get("data-zone", ""), path.get("d")
        if drawn is None:
            continue  # the drawing's own faults say why
        if code in found:
            faults.append(fault(item, f"zone {code} is drawn twice. Draw its parts as one outline"))
        into_metres = np.diag([scale, scale, 1.0]) @ _moved(-left, -top) @ matrix
        try:
            found[code] = _outline(code, drawn, into_metres)
        except ValueError as error:
            faults.append(fault(item, f"zone {code}: {error}"))
            continue
        count += sum(map(len, found[code].rings))
        if count > MOST_TOGETHER:
            said = f"its outlines take more than {MOST_TOGETHER:,} points. Simplify them"
            raise SurveyError([*faults, fault(item, said)])
    if faults:
        raise SurveyError(faults)
    return found


def signed_area(ring: FloatArray) -> float:
    """Area of a ring, by the shoelace formula; positive where it runs clockwise, y downwards."""
    x, y = (ring - ring[:1]).T  # taken from its first point, or far from the origin digits are lost
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def ring_signs(rings: Sequence[FloatArray]) -> FloatArray:
    """1 for rings that add to a zone, -1 for holes: an odd number of larger rings holds them."""
    order = np.argsort([-abs(signed_area(ring)) for ring in rings], kind="stable")
    signs = np.ones(len(rings))
    ends = np.concatenate([np.roll(rings[place], -1, axis=0) for place in order])
    starts = np.concatenate([rings[place] for place in order])
    larger = 0  # edges of the rings that were seen before
    for place in order:
        x, y = _point_in(rings[place])[0]
        (x1, y1), (x2, y2) = starts[:larger].T, ends[:larger].T
        cut = np.flatnonzero((y1 > y) != (y2 > y))
        share = (y - y1[cut]) / (y2[cut] - y1[cut])
        if np.count_nonzero(x < x1[cut] + share * (x2[cut] - x1[cut])) % 2:
            signs[place] = -1
        larger += len(rings[place])
    return signs


def _point_in(ring: FloatArray) -> FloatArray:
    """Find a point well inside a ring, shape (1, 2)."""
    levels = np.unique(ring[:, 1])
    if len(levels) < 2:
        return ring[:1]
    widest = int(np.argmax(np.diff(levels)))
    y = (levels[widest] + levels[widest + 1]) / 2
    ends = np.roll(ring, -1, axis=0)
    cut = (ring[:, 1] > y) != (ends[:, 1] > y)
    (x1, y1), (x2, y2) = ring[cut].T, ends[cut].T
    x = np.sort(x1 + (y - y1) * (x2 - x1) / (y2 - y1))
    spans = x[1::2] - x[::2]
    best = 2 * int(np.argmax(spans))
    return np.array([[(x[best] + x[best + 1]) / 2, y]])


def _moved(right: float, down: float) -> FloatArray:
    """Matrix of a shift."""
    return np.array([[1, 0, right], [0, 1, down], [0, 0, 1.0]])


def _stretched(item: Elevation, across: float, down: float) -> list[Any]:
    """Fault where width and height of an elevation do not fit its drawing."""
    if abs(down / across - 1) <= STRETCH:
        return []
    fits = item.height_m * across / down
    return [
        fault(
            item,
            f"with width_m = {item.width_m:g} its height is {fits:.3g} m, but height_m = "
            f"{item.height_m:g}. Correct one of them, or the drawing's viewBox",
        )
    ]


def _outline(code: str, drawn: str, into_metres: FloatArray) -> Outline:
    """One outline in metres, or why it will not do."""
    scale = float(np.linalg.norm(into_metres[:2, :2], 2))
    if not scale:
        raise ValueError("its transform leaves nothing of it")
    rings = [
        ring @ into_metres[:2, :2].T + into_metres[:2, 2]
        for ring in followed(drawn, FLAT_M / scale)
    ]
    if not rings:
        raise ValueError("nothing is drawn. Give its outline three points or more")
    for ring in rings:
        if len(ring) < 3:
            x, y = ring[0]
            raise ValueError(
                f"its part at {x:.2f} m from the left, {y:.2f} m from the top has {len(ring)} "
                "points. An outline needs three or more"
            )
    crossing = self_crossing(rings)
    if crossing is not None:
        x, y = crossing
        raise ValueError(
            f"its outline crosses itself at {x:.2f} m from the left, {y:.2f} m from the top. "
            "Draw it again there"
        )
    found = Outline(code, tuple(rings))
    if found.area_m2 < SMALLEST_M2:
        raise ValueError("its outline encloses nothing")
    return found

"""The outline of one zone in metres: its area, and what lies in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.drawings.self_crossing import BoolArray


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

"""The outline of one zone in metres: its area, and what lies in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.survey.drawings.path_data import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """
    Outline of one zone, in metres to the right of and down from the drawing's top left.

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
        """Which points lie in the zone, shape (n, 2) [m]; a point that is not finite does not."""
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
    """1 for rings that add to a zone, -1 for holes, which lie in an odd number of larger rings."""
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
    """A point well inside a ring, shape (1, 2)."""
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


# -- Outlines that cross themselves ----------------------------------------------------------------

BoolArray = np.ndarray[Any, np.dtype[np.bool_]]
IntArray = np.ndarray[Any, np.dtype[np.int64]]

# Common practice: a drawing at 1:50 with numbers to a tenth of a millimetre errs by so much.
ROUNDING_M = 0.002
AT_ONCE = 200_000  # pairs that are held against one another, which takes some 50 MB
MOST_PAIRS = 100_000  # of edges whose boxes meet: four hundred that all lie over one another


def self_crossing(rings: Sequence[FloatArray]) -> tuple[float, float] | None:
    """Where an outline crosses itself, or one of its rings another; touching is allowed."""
    thin = [ring for ring in map(_thinned, rings) if len(ring) > 2]
    if not thin:
        return None
    start = np.concatenate(thin)
    sizes = [len(ring) for ring in thin]
    first = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    after = np.concatenate(
        [np.roll(np.arange(n), -1) + f for n, f in zip(sizes, first, strict=True)]
    )
    before = np.empty_like(after)
    before[after] = np.arange(len(after))
    for pairs in _pairs(start, start[after]):
        one, other = _near(start, after, *pairs)
        for place in (
            _crossed(start, after, one, other),
            _passed(start, before, after, one, other),
            _passed(start, before, after, other, one),
        ):
            if place is not None:
                return place
    return None


def _thinned(ring: FloatArray) -> FloatArray:
    """A ring without points that lie within rounding of the last one kept."""
    kept = [ring[0]]
    for point in ring[1:]:
        if np.hypot(*(point - kept[-1])) > ROUNDING_M:
            kept.append(point)
    if len(kept) > 1 and np.hypot(*(kept[-1] - kept[0])) <= ROUNDING_M:
        kept.pop()
    return np.array(kept)


def _pairs(start: FloatArray, end: FloatArray) -> Iterator[tuple[IntArray, IntArray]]:
    """Pairs of edges whose boxes meet, in batches."""
    # Along the axis on which fewer of them lie side by side the edges are sorted, so that each is
    # held only against those that begin before it ends.
    low, high = np.minimum(start, end) - ROUNDING_M, np.maximum(start, end) + ROUNDING_M
    sorted_by = [np.argsort(low[:, axis], kind="stable") for axis in (0, 1)]
    behind = [
        np.searchsorted(low[order, axis], high[order, axis], side="right")
        for axis, order in enumerate(sorted_by)
    ]
    axis = int(behind[1].sum() < behind[0].sum())
    order, last = sorted_by[axis], behind[axis]
    counts = last - np.arange(1, len(order) + 1)
    before = np.concatenate([[0], np.cumsum(counts)])
    across = 1 - axis
    found = first = 0
    while first < len(order):
        stop = max(first + 1, int(np.searchsorted(before, before[first] + AT_ONCE)) - 1)
        one = np.repeat(np.arange(first, stop), counts[first:stop])
        other = one + 1 + np.arange(len(one)) - (before[one] - before[first])
        one, other = order[one], order[other]
        meet = (low[one, across] <= high[other, across]) & (low[other, across] <= high[one, across])
        found += int(np.count_nonzero(meet))
        if found > MOST_PAIRS:
            raise ValueError(
                "its lines lie so close together that crossings can't be looked for. Draw it "
                "with fewer points"
            )
        yield np.minimum(one, other)[meet], np.maximum(one, other)[meet]
        first = stop


def _near(
    start: FloatArray, after: IntArray, one: IntArray, other: IntArray
) -> tuple[IntArray, IntArray]:
    """Only pairs of which neither edge lies wholly on one side of the other's line."""
    a, b, c, d = start[one], start[after[one]], start[other], start[after[other]]
    low, high = np.sort([_beyond(c, a, b), _beyond(d, a, b)], axis=0)
    near = (low <= ROUNDING_M) & (high >= -ROUNDING_M)
    return one[near], other[near]


def _crossed(
    start: FloatArray, after: IntArray, one: IntArray, other: IntArray
) -> tuple[float, float] | None:
    """Where one edge crosses another, with each end beyond it by more than rounding."""
    a, b, c, d = start[one], start[after[one]], start[other], start[after[other]]
    far = [_beyond(c, a, b), _beyond(d, a, b), _beyond(a, c, d), _beyond(b, c, d)]
    deep = (np.abs(far) > ROUNDING_M).all(axis=0) & (far[0] * far[1] < 0) & (far[2] * far[3] < 0)
    if not deep.any():
        return None
    pair = int(np.argmax(deep))
    share = far[2][pair] / (far[2][pair] - far[3][pair])
    x, y = a[pair] + share * (b[pair] - a[pair])
    return float(x), float(y)


def _beyond(point: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """Distances of points from the lines through two others; the sign gives the side."""
    along, to = end - start, point - start
    return np.asarray(_cross(along, to) / np.hypot(*along.T))


def _cross(one: FloatArray, other: FloatArray) -> FloatArray:
    """Cross product of vectors in a plane."""
    return np.asarray(one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0])


def _passed(
    start: FloatArray, before: IntArray, after: IntArray, corner: IntArray, edge: IntArray
) -> tuple[float, float] | None:
    """Where a corner lies on an edge and the outline continues on the other side."""
    apart = (edge != corner) & (edge != before[corner])
    corner, edge = corner[apart], edge[apart]
    at, a, b = start[corner], start[edge], start[after[edge]]
    along = b - a
    share = np.clip(((at - a) * along).sum(axis=1) / (along**2).sum(axis=1), 0, 1)
    touches = np.hypot(*(at - a - share[:, np.newaxis] * along).T) <= ROUNDING_M
    if not touches.any():
        return None
    corner, edge, at = corner[touches], edge[touches], at[touches]
    # Where two corners meet, the other outline turns there too: its arms are the next points.
    a, b = start[edge], start[after[edge]]
    a = np.where(_close(a, at), start[before[edge]], a)
    b = np.where(_close(b, at), start[after[after[edge]]], b)
    arms = [
        np.arctan2(*(arm - at).T[::-1]) for arm in (start[before[corner]], start[after[corner]])
    ]
    angle = np.arctan2(*(a - at).T[::-1])
    sector = (np.arctan2(*(b - at).T[::-1]) - angle) % (2 * np.pi)
    sides = [_side((arm - angle) % (2 * np.pi), sector) for arm in arms]
    through = sides[0] * sides[1] < 0
    if not through.any():
        return None
    x, y = at[int(np.argmax(through))]
    return float(x), float(y)


def _close(points: FloatArray, others: FloatArray) -> BoolArray:
    """Which points lie within rounding of others, shape (n, 1)."""
    return np.asarray(np.hypot(*(points - others).T) <= ROUNDING_M)[:, np.newaxis]


def _side(angle: FloatArray, sector: FloatArray) -> FloatArray:
    """1 within a sector, -1 outside, 0 along its arms, where the side is not certain."""
    margin = 0.05  # radians; nearer to an arm, rounding of the points decides the side
    inside = (angle > margin) & (angle < sector - margin)
    outside = (angle > sector + margin) & (angle < 2 * np.pi - margin)
    return inside.astype(float) - outside

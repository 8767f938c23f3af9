"""Whether an outline crosses itself, as a slip of the pen does."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from heritagecheck.survey.drawings.path_data import FloatArray

BoolArray = np.ndarray[Any, np.dtype[np.bool_]]
IntArray = np.ndarray[Any, np.dtype[np.int64]]

# Common practice: a drawing at 1:50 with numbers to a tenth of a millimetre errs by so much.
ROUNDING_M = 0.002
AT_ONCE = 200_000  # pairs that are held against one another, which takes some 50 MB
MOST_PAIRS = 100_000  # of edges whose boxes meet: four hundred that all lie over one another


def self_crossing(rings: Sequence[FloatArray]) -> tuple[float, float] | None:
    """Where an outline crosses itself, or one of its rings another; a touch does not count."""
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
    """Leave out the points of a ring that lie within the rounding of the last one kept."""
    kept = [ring[0]]
    for point in ring[1:]:
        if np.hypot(*(point - kept[-1])) > ROUNDING_M:
            kept.append(point)
    if len(kept) > 1 and np.hypot(*(kept[-1] - kept[0])) <= ROUNDING_M:
        kept.pop()
    return np.array(kept)


def _pairs(start: FloatArray, end: FloatArray) -> Iterator[tuple[IntArray, IntArray]]:
    """Pairs of edges whose boxes meet, some at a time."""
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
    """Leave out the pairs in which one edge lies wholly on one side of the other's line."""
    a, b, c, d = start[one], start[after[one]], start[other], start[after[other]]
    low, high = np.sort([_beyond(c, a, b), _beyond(d, a, b)], axis=0)
    near = (low <= ROUNDING_M) & (high >= -ROUNDING_M)
    return one[near], other[near]


def _crossed(
    start: FloatArray, after: IntArray, one: IntArray, other: IntArray
) -> tuple[float, float] | None:
    """Where one edge crosses another, each of whose ends lies beyond it by more than rounding."""
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
    """How far points lie from the lines through two others; the sign tells the side."""
    along, to = end - start, point - start
    return np.asarray(_cross(along, to) / np.hypot(*along.T))


def _cross(one: FloatArray, other: FloatArray) -> FloatArray:
    """Cross product of vectors in a plane."""
    return np.asarray(one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0])


def _passed(
    start: FloatArray, before: IntArray, after: IntArray, corner: IntArray, edge: IntArray
) -> tuple[float, float] | None:
    """Where a corner lies on an edge, and the outline goes on beyond that edge."""
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
    """Which points lie within the rounding of others, shape (n, 1)."""
    return np.asarray(np.hypot(*(points - others).T) <= ROUNDING_M)[:, np.newaxis]


def _side(angle: FloatArray, sector: FloatArray) -> FloatArray:
    """1 within a sector, -1 outside, 0 along its arms, where no side can be told."""
    margin = 0.05  # radians
    inside = (angle > margin) & (angle < sector - margin)
    outside = (angle > sector + margin) & (angle < 2 * np.pi - margin)
    return inside.astype(float) - outside

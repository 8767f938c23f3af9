"""
The confidence interval of a colour difference between two means: what goes in, and its tables.

Ours, because a difference can't be negative: a bootstrap, as general libraries offer it, never
covers a true 0 (docs/colour_intervals.md says how often this one holds the truth).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from heritagecheck.evidence.colour.colour_difference import FloatArray
from heritagecheck.evidence.colour.interval_ends import ends_of_pairs, share_below

_AXES = 3
_TAIL_POINTS = 51  # points beyond the critical distance
_FEWEST_POINTS = 1024
_MOST_POINTS = 65_536
_DIMENSIONS = np.linspace(1.0, 3.0, 41)
_POINTS_PROBABILITY = 2048
_LIMITS = 8
# Allowances for not knowing where on the shell the truth lies, by simulation: for each dimension
# beyond the first, and for few readings.
_NUISANCE, _FEW = 1.6, 2.0
# Steps of an evenly filling sequence: powers of the root of x^4 = x + 1, and of x^5 = x + 1
# (generalised golden ratios).
_GOLDEN_3, _GOLDEN_4 = 1.2207440846057596, 1.1673039782614187


@dataclass(frozen=True, slots=True, eq=False)
class MeanPairs:
    """Pairs of means with the joint error of each pair, one row a pair."""

    first: FloatArray  # (pairs, 3) means of the reference side
    second: FloatArray  # (pairs, 3) means of the soiled side
    error: FloatArray  # (pairs, 3, 3) covariance of second - first
    pull: FloatArray  # (pairs, 3, 3) how far `first` moves with an error of second - first
    rest: FloatArray  # (pairs, 3, 3) covariance of the colour midway that the gap does not explain
    freedom: FloatArray  # (pairs,) degrees of freedom of `error`

    @property
    def t_squared(self) -> FloatArray:
        """Hotelling's T² of equal means."""
        gap = (self.second - self.first)[..., None]
        square: FloatArray = (gap * np.linalg.solve(self.error, gap)).sum(axis=(-2, -1))
        return square

    @property
    def p_value(self) -> FloatArray:
        """P-value of equal means."""
        from scipy.special import fdtrc

        rest = self.freedom - _AXES + 1
        found: FloatArray = fdtrc(_AXES, rest, self.t_squared * rest / (_AXES * self.freedom))
        return found


def freedom_of(parts: Sequence[tuple[FloatArray, FloatArray | float]]) -> FloatArray:
    """
    Degrees of freedom of a sum of estimated covariances (Krishnamoorthy and Yu 2004).

    `parts` are covariances of shape (..., p, p), each with its own degrees of freedom.
    """
    total = sum(part for part, _ in parts)
    axes = parts[0][0].shape[-1]
    loss: FloatArray | float = 0.0
    for part, freedom in parts:
        share = np.linalg.solve(total, part)
        trace = np.trace(share, axis1=-2, axis2=-1)
        loss = loss + (np.trace(share @ share, axis1=-2, axis2=-1) + trace**2) / freedom
    return np.asarray((axes + axes**2) / loss, dtype=float)


def unpaired(
    first: FloatArray,
    second: FloatArray,
    of_first: FloatArray,
    of_second: FloatArray,
    freedom: tuple[FloatArray | float, FloatArray | float],
    systematic: FloatArray | None = None,
) -> MeanPairs:
    """Pairs of independent means, with the covariances of the means."""
    parts = [(of_first, freedom[0]), (of_second, freedom[1])]
    return _joint(first, second, (of_first, of_second, 0.0 * of_first), parts, systematic)


def paired(
    first: FloatArray,
    second: FloatArray,
    of_means: tuple[FloatArray, FloatArray, FloatArray],
    freedom: FloatArray | float,
    systematic: FloatArray | None = None,
) -> MeanPairs:
    """Pairs of means of the same spots: covariances of first, of second, and between them."""
    of_first, of_second, between = of_means
    of_gap = of_first + of_second - between - np.swapaxes(between, -1, -2)
    return _joint(first, second, of_means, [(of_gap, freedom)], systematic)


def _joint(
    first: FloatArray,
    second: FloatArray,
    of_means: tuple[FloatArray, FloatArray, FloatArray],
    parts: list[tuple[FloatArray, FloatArray | float]],
    systematic: FloatArray | None,
) -> MeanPairs:
    """Put together what moves the gap, and what moves the colour midway beside it."""
    of_first, of_second, between = of_means
    back = np.swapaxes(between, -1, -2)
    with_first = between - of_first  # covariance of first with the gap
    with_middle = (with_first + of_second - back) / 2
    if systematic is not None:
        # Half of it on either side: it moves the gap and leaves the colour midway.
        parts = [*parts, (np.broadcast_to(systematic, of_first.shape), np.inf)]
        with_first = with_first - systematic / 2
    error = np.asarray(sum(part for part, _ in parts))
    inverse = np.linalg.inv(error)
    middle = (of_first + of_second + between + back) / 4
    rest = middle - with_middle @ inverse @ np.swapaxes(with_middle, -1, -2)
    return MeanPairs(first, second, error, with_first @ inverse, rest, freedom_of(parts))


def intervals(pairs: MeanPairs, level: float, *, plain: bool = False) -> FloatArray:
    """Value, lower and upper end of the colour difference of each pair of means."""
    known, estimated = _critical(level, pairs.freedom)
    shown = pairs.t_squared > estimated[:, -1]
    return ends_of_pairs(
        pairs.first, pairs.second, pairs.error, pairs.pull, pairs.rest,
        shown, known, estimated, _points(level), 1 - level, plain,
    )  # fmt: skip


def confidence_above(pairs: MeanPairs, delta_e: float, limit: float) -> float:
    """Confidence that the true CIEDE2000 of the one pair lies above a limit."""
    # How often readings would show less than they do, were the true difference just at the limit.
    # Near 0 a larger limit may be told more surely than a smaller one, which it proves as well: so
    # larger limits up to `delta_e` are asked too, and the best counts.
    larger = delta_e * np.linspace(0, 1, _LIMITS + 1)
    limits = np.array([limit, *larger[larger > limit]])
    points = _scattered(float(pairs.freedom[0]))
    shares = share_below(
        pairs.first, pairs.second, pairs.error, pairs.pull, pairs.rest, limits, points
    )
    return float(shares.max())


def _critical(level: float, freedom: FloatArray) -> tuple[FloatArray, FloatArray]:
    """
    Critical squared distances in one to three dimensions, shapes (d,) and (pairs, d).

    The first are those of a known spread (chi-squared), the second those of an estimated one
    (Hotelling's T²), which in one dimension are Student's t squared.
    """
    from scipy.special import fdtri, gammaincinv

    known = 2 * gammaincinv(_DIMENSIONS / 2, level)
    counted = 1 + _NUISANCE * (_DIMENSIONS - 1) + (_FEW / freedom[:, None]) ** 2
    counted = np.minimum(counted, _AXES)
    rest = freedom[:, None] - counted + 1
    return known, counted * freedom[:, None] / rest * fdtri(counted, rest, level)


@lru_cache(maxsize=8)
def _points(level: float) -> FloatArray:
    """Evenly spread normal points with their opposites, longest first, shape (points, 3)."""
    from scipy.special import gammaincinv

    count = int(np.clip(np.ceil(_TAIL_POINTS / (1 - level)), _FEWEST_POINTS, _MOST_POINTS)) // 2
    steps = _GOLDEN_3 ** -np.arange(1.0, 4.0)
    far, height, turn = ((0.5 + np.arange(1, count + 1)[:, None] * steps) % 1).T
    height, turn = 2 * height - 1, 2 * np.pi * turn
    across = np.sqrt(1 - height**2)
    sphere = np.stack([height, across * np.cos(turn), across * np.sin(turn)], axis=-1)
    half = np.sqrt(2 * gammaincinv(1.5, far))[:, None] * sphere
    points = np.concatenate([half, -half])
    return np.ascontiguousarray(points[np.argsort(-(points**2).sum(axis=1), kind="stable")])


@lru_cache(maxsize=8)
def _scattered(freedom: float) -> FloatArray:
    """Evenly spread points of a t distribution in three dimensions, shape (points, 3)."""
    from scipy.special import chdtri, ndtri

    steps = _GOLDEN_4 ** -np.arange(1.0, 5.0)
    cube = (0.5 + np.arange(1, _POINTS_PROBABILITY + 1)[:, None] * steps) % 1
    scale = np.sqrt(freedom / chdtri(freedom, cube[:, 3]))
    return np.ascontiguousarray(ndtri(cube[:, :3]) * scale[:, None])

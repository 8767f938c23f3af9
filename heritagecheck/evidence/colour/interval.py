"""
Confidence interval of the colour difference between two means, for many pairs at once.

It is our own because a difference can't be negative: a bootstrap, as general libraries offer it,
never covers a true 0. docs/colour_intervals.md has the method, and how often it covers the truth.

In short: CIEDE2000 near the measured pair is nearly a quadratic form, so the colours at a given
difference lie on an ellipsoid, the shell. Coordinates are turned and scaled until the error of the
gap between the means has unit spread. An end of the interval is the difference whose shell lies at
the critical distance from the measured gap. How far that is depends on how curved the shell is,
which evenly spread points measure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.colour.colour_difference import FloatArray, ciede2000

BoolArray = NDArray[np.bool_]

_AXES = 3
_TAIL_POINTS = 51  # how many of the points are to lie beyond the critical distance
_FEWEST_POINTS = 1024
_MOST_POINTS = 65_536
# A flat shell acts as one dimension, one that closes around the gap as three.
_DIMENSIONS = np.linspace(1.0, 3.0, 41)
_POINTS_PROBABILITY = 2048
_LIMITS = 8
# Allowances for not knowing where on the shell the truth lies, found by simulation: for each
# dimension beyond the first, and for few readings.
_NUISANCE, _FEW = 1.6, 2.0
# Steps of an evenly filling sequence: powers of the root of x^4 = x + 1, and of x^5 = x + 1
# (generalised golden ratios).
_GOLDEN_3, _GOLDEN_4 = 1.2207440846057596, 1.1673039782614187
_ROUNDS = 12  # a critical distance settles in three to six
_NEWTON = 30  # Newton steps, all from the same side; a few are enough
_SMALL = 1e-9
_NEAR = 0.2  # [CIEDE2000] below it the form at the colour midway needs no correction
_STEP = 0.02  # [CIELAB units] wide enough for the sums, narrow enough for the curve
_AT_ONCE = 128  # ends found together, so that all stays in the processor's cache
_FIRST_LOOK = 6  # times as many of the longest points as lie beyond the quantile
# Half a step along each axis, then along each two axes: six differences determine the form.
_ALONG = _STEP / 2 * np.concatenate([np.eye(3), [[1, 1, 0], [1, 0, 1], [0, 1, 1]]])


@dataclass(frozen=True, slots=True, eq=False)
class MeanPairs:
    """Pairs of means with the joint error of each pair; one row a pair."""

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

        # T² with m degrees of freedom, times (m - p + 1) / (p m), is F with p and m - p + 1.
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
    systematic: FloatArray | None = None,
) -> MeanPairs:
    """Combine the errors that move the gap with those that move the colour midway as well."""
    of_first, of_second, between = of_means
    back = np.swapaxes(between, -1, -2)
    with_first = between - of_first  # covariance of first with the gap
    with_middle = (with_first + of_second - back) / 2
    if systematic is not None:
        # Half of it on either side: it moves the gap, but not the colour midway.
        parts = [*parts, (np.broadcast_to(systematic, of_first.shape), np.inf)]
        with_first = with_first - systematic / 2
    error = np.asarray(sum(part for part, _ in parts))
    inverse = np.linalg.inv(error)
    middle = (of_first + of_second + between + back) / 4
    rest = middle - with_middle @ inverse @ np.swapaxes(with_middle, -1, -2)
    return MeanPairs(first, second, error, with_first @ inverse, rest, freedom_of(parts))


# -- The interval, and how surely a limit is passed ------------------------------------------------


def intervals(pairs: MeanPairs, level: float, *, plain: bool = False) -> FloatArray:
    """Value, lower and upper end of each colour difference; the lower is 0 where none is shown."""
    first, second = pairs.first, pairs.second
    known, estimated = _critical(level, pairs.freedom)
    shown = pairs.t_squared > estimated[:, -1]
    value = _difference(first, second, plain)
    root = _factor(pairs.error if plain else _whole_error(pairs))
    which = np.concatenate([np.flatnonzero(shown), np.arange(len(first))])
    up = np.arange(len(which)) >= np.count_nonzero(shown)
    found = np.empty(len(which))
    for start in range(0, len(which), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        one = which[part]
        found[part] = _ends(
            first[one], second[one], root[one], pairs.pull[one],
            known, estimated[one], _points(level), 1 - level, up[part], plain,
        )  # fmt: skip
    ends = np.stack([value, np.zeros_like(value), value], axis=1)
    ends[which[~up], 1] = np.minimum(found[~up], value[which[~up]])
    ends[:, 2] = np.maximum(found[up], value)
    return ends


def confidence_above(pair: MeanPairs, delta_e: float, limit: float) -> float:
    """Confidence that the true CIEDE2000 of the one pair lies above a limit."""
    # How often the readings would show a smaller difference if the true one were exactly the limit.
    # Near 0 the test of a larger limit can be more powerful than that of a smaller one. Passing the
    # larger proves the smaller, so larger limits up to `delta_e` are tried too and the best counts.
    larger = delta_e * np.linspace(0, 1, _LIMITS + 1)
    limits = np.array([limit, *larger[larger > limit]])
    return float(_share_below(pair, limits, _scattered(float(pair.freedom[0]))).max())


def _share_below(pair: MeanPairs, limits: FloatArray, points: FloatArray) -> FloatArray:
    """
    How often the readings would show less if the true CIEDE2000 were exactly each limit.

    What they show is measured by the distance to the shell of that limit, negative inside.
    """
    count = (len(limits), 1)
    root = np.tile(_factor(_whole_error(pair)), (*count, 1))
    first, second = np.tile(pair.first, count), np.tile(pair.second, count)
    pull = np.tile(pair.pull, (*count, 1))
    gap = second - first
    pair_1, pair_2 = first, second
    for _ in range(_ROUNDS):
        widths, back, y = _whitened(_form(pair_1, pair_2, pull, False), root, gap)
        # A coordinate of exactly 0 has no direction in which to move to the shell.
        far = np.maximum(np.abs(y), _SMALL * limits[:, None] / np.sqrt(widths))
        push = _push(widths, _axes_first(far[:, None]), limits)
        share = widths / widths.max(axis=1, keepdims=True)
        at = np.copysign(far / (1 + (push - 1) * share), y)
        moved = _times(back, at)
        pair_1 = first + _times(pull, moved - gap)
        pair_2 = pair_1 + moved
    shown = _beside_shell(widths, _axes_first(y[:, None]), limits)
    around = _axes_first(at[:, None]) + _axes_first(points[None])
    return np.asarray((_beside_shell(widths, around, limits) < shown).mean(axis=1))


def _critical(level: float, freedom: FloatArray) -> tuple[FloatArray, FloatArray]:
    """
    Critical squared distances in one to three dimensions, shapes (d,) and (pairs, d).

    The first are those of a known spread (chi-squared), the second those of an estimated one
    (Hotelling's T²), which in one dimension are Student's t squared.
    """
    from scipy.special import fdtri, gammaincinv

    known = 2 * gammaincinv(_DIMENSIONS / 2, level)
    counted = 1 + _NUISANCE * (_DIMENSIONS - 1) + (_FEW / freedom[:, None]) ** 2
    counted = np.minimum(counted, _AXES)  # no more dimensions than colour has
    rest = freedom[:, None] - counted + 1
    return known, counted * freedom[:, None] / rest * fdtri(counted, rest, level)


@lru_cache(maxsize=8)
def _points(level: float) -> FloatArray:
    """Evenly spread normal points with their opposites, longest first, shape (points, 3)."""
    # A fixed sequence rather than random numbers: the same readings always give the same digits.
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


# -- Ends of the interval --------------------------------------------------------------------------


def _axes_first(points: FloatArray) -> FloatArray:
    """
    Points of shape (pair, point, 3) as (3, pair, point), in memory too.

    numpy then runs over all points of an axis at once, not over three numbers at a time.
    """
    return np.ascontiguousarray(points.transpose(2, 0, 1))


def _beside_shell(widths: FloatArray, y: FloatArray, size: FloatArray) -> FloatArray:
    """Squared distance of each y, shape (3, pair, point), to the shell; negative inside."""
    inside = (widths.T[:, :, None] * y**2).sum(axis=0) < size[:, None] ** 2
    found = _to_shell(widths, y, size)
    return np.where(inside, -found, found)


def _difference(first: FloatArray, second: FloatArray, plain: bool) -> FloatArray:
    """CIEDE2000 of each pair, or its Euclidean distance if `plain`."""
    if plain:
        return np.asarray(np.sqrt(((second - first) ** 2).sum(axis=-1)))
    return ciede2000(first, second, 1)


def _times(matrices: FloatArray, vectors: FloatArray) -> FloatArray:
    """Product of each matrix with its vector."""
    return np.asarray((matrices * vectors[:, None, :]).sum(axis=2))


def _form(first: FloatArray, second: FloatArray, pull: FloatArray, plain: bool) -> FloatArray:
    """
    Matrix G whose form gap' G gap is the squared difference of the pair.

    CIEDE2000 is such a form to first order at the colour midway. Further away its slope differs,
    so the form is given the true slope by the BFGS update of quasi-Newton methods (Nocedal and
    Wright 2006, eq. 6.19), and is scaled so that it is exact for the pair itself.
    """
    form = np.tile(np.eye(3), (len(first), 1, 1))
    if plain:
        return form
    middle, gap = (first + second) / 2, second - first
    moved = _STEP * pull.transpose(2, 0, 1)
    steps = _STEP * np.eye(3)[:, None, :]
    around = _ALONG[:, None, :]
    # All in one call, as a call for a few pairs takes as long.
    ones = np.concatenate([middle - around, first + moved, first - moved, first[None]])
    twos = np.concatenate(
        [middle + around, second + moved + steps, second - moved - steps, second[None]]
    )
    parts = ciede2000(ones, twos, 1)
    squares = (parts[:6] / _STEP) ** 2
    form[:, range(3), range(3)] = squares[:3].T
    for (i, j), both in zip(((0, 1), (0, 2), (1, 2)), squares[3:], strict=True):
        form[:, i, j] = form[:, j, i] = (both - squares[i] - squares[j]) / 2
    slope, value = ((parts[6:9] - parts[9:12]) / (2 * _STEP)).T, parts[12]
    by_form = _times(form, gap)
    square, along = (gap * by_form).sum(axis=1), (gap * slope).sum(axis=1)
    near, rises = value < _NEAR, along > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        turned = form + (
            (value / along)[:, None, None] * slope[:, :, None] * slope[:, None, :]
            - by_form[:, :, None] * by_form[:, None, :] / square[:, None, None]
        )
        scale = np.where(rises, value / along, value**2 / square)
        scaled = scale[:, None, None] * np.where(rises[:, None, None], turned, form)
    return np.where(near[:, None, None], form, scaled)


def _factor(matrix: FloatArray) -> FloatArray:
    """Lower Cholesky factor of each 3 x 3 matrix."""
    root = np.zeros_like(matrix)
    for i in range(3):
        for j in range(i + 1):
            total = matrix[:, i, j] - (root[:, i, :j] * root[:, j, :j]).sum(axis=1)
            # Rounding may leave a singular matrix a pivot just below 0.
            root[:, i, j] = np.sqrt(np.maximum(total, 1e-300)) if i == j else total / root[:, j, j]
    return root


def _axes(matrix: FloatArray) -> tuple[FloatArray, FloatArray]:
    """
    Eigenvalues and eigenvectors (columns) of symmetric 3 x 3 matrices, by Jacobi rotations.

    Their order and signs change continuously with the matrix, those of LAPACK do not. The points
    are laid along them, so a swap would make the end of an interval jump.
    """
    # The eigenvectors are stacked below the matrix: one operation rotates the columns of both.
    both = np.concatenate([matrix, np.tile(np.eye(3), (len(matrix), 1, 1))], axis=1)
    work = both[:, :3]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for _ in range(20):
            off = np.abs(work[:, 0, 1]) + np.abs(work[:, 0, 2]) + np.abs(work[:, 1, 2])
            if (off <= 1e-13 * np.abs(np.einsum("nii->ni", work)).sum(axis=1)).all():
                break
            for p, q in ((0, 1), (0, 2), (1, 2)):
                beside = work[:, p, q]
                slant = (work[:, q, q] - work[:, p, p]) / (2 * beside)
                size = np.abs(slant) + np.sqrt(slant * slant + 1)
                tangent = np.where(beside == 0, 0.0, np.where(slant >= 0, 1, -1) / size)
                c = 1 / np.sqrt(tangent * tangent + 1)
                s = (tangent * c)[:, None]
                c = c[:, None]
                x, y = both[:, :, p], both[:, :, q]
                both[:, :, p], both[:, :, q] = c * x - s * y, s * x + c * y
                x, y = work[:, p], work[:, q]
                work[:, p], work[:, q] = c * x - s * y, s * x + c * y
    return np.maximum(np.einsum("nii->ni", work), 1e-14), both[:, 3:]


def _whitened(
    form: FloatArray, root: FloatArray, gap: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Widths of the form, the way back, and the gap, where the gap's error has unit spread."""
    values, turned = _axes(_product(_product(np.swapaxes(root, 1, 2), form), root))
    inner = np.empty_like(gap)
    for i in range(3):
        total = gap[:, i] - (root[:, i, :i] * inner[:, :i]).sum(axis=1)
        inner[:, i] = total / root[:, i, i]
    return values, _product(root, turned), _times(np.swapaxes(turned, 1, 2), inner)


def _product(first: FloatArray, second: FloatArray) -> FloatArray:
    """Product of each pair of matrices."""
    return np.asarray((first[:, :, :, None] * second[:, None]).sum(axis=2))


def _push(widths: FloatArray, far: FloatArray, size: FloatArray) -> FloatArray:
    """
    Multiplier of the point of the shell sum(widths x²) = size² that lies nearest to each y.

    `far` holds the sizes of the parts of y, shape (3, pair, point). The point is
    x_i = y_i / (1 + (push - 1) widths_i / widest). Newton's steps on 1 / |x| climb from below and
    never overshoot, as in trust-region methods (Moré and Sorensen 1983).
    """
    share = (widths / widths.max(axis=1, keepdims=True)).T[:, :, None]
    scale = (np.sqrt(widths) / size[:, None]).T[:, :, None]
    parts = far * scale
    push: FloatArray = np.maximum.reduce(1 + (parts - 1) / share)
    lower, squares = np.empty_like(parts), np.empty_like(parts)
    for _ in range(_NEWTON):
        np.multiply(push - 1, share, out=lower)
        lower += 1
        np.divide(parts, lower, out=squares)
        squares *= squares
        square = squares[0] + squares[1] + squares[2]
        squares *= share
        squares /= lower
        move = squares[0] + squares[1] + squares[2]
        np.divide(square * (np.sqrt(square) - 1), move, out=move)
        push += move
        # Newton converges quadratically: the next relative step would be 1e-8.
        if (np.abs(move) <= 1e-4 * push).all():
            break
    return push


def _to_shell(widths: FloatArray, y: FloatArray, size: FloatArray) -> FloatArray:
    """Squared distance from each y, shape (3, pair, point), to the shell, shape (pair, point)."""
    far = np.maximum(np.abs(y), (_SMALL * size[:, None] / np.sqrt(widths)).T[:, :, None])
    share = (widths / widths.max(axis=1, keepdims=True)).T[:, :, None]
    pushed = (_push(widths, far, size) - 1) * share
    off = far * pushed / (1 + pushed)
    return np.asarray(off[0] ** 2 + off[1] ** 2 + off[2] ** 2)


def _upper_quantile(
    widths: FloatArray,
    at: FloatArray,
    size: FloatArray,
    points: FloatArray,
    tail: float,
    known: FloatArray,
) -> FloatArray:
    """
    Squared distance to the shell that a share `tail` of the points around `at` exceeds.

    `at` lies on the shell, so no point is further from the shell than its own length. As the points
    are sorted by length, only those that can matter are calculated. The same points are compared
    with the plane that touches the shell, for which the answer is known. Their error there is
    corrected here, in proportion to how much the shell is like its plane.
    """
    place = max(tail * len(points) - 0.5, 0.0)
    lower = int(place)
    length = (points**2).sum(axis=1)
    normal = widths * at
    normal /= np.sqrt((normal**2).sum(axis=1, keepdims=True))
    flat = (
        points[:, 0] * normal[:, :1] + points[:, 1] * normal[:, 1:2] + points[:, 2] * normal[:, 2:]
    ) ** 2
    looked = min(_FIRST_LOOK * (lower + 2), len(points))
    here, around = _axes_first(at[:, None]), _axes_first(points[None])
    curved = _to_shell(widths, here + around[:, :, :looked], size)
    least = np.partition(curved, looked - lower - 2, axis=1)[:, looked - lower - 2].min()
    left = around[:, :, looked : np.searchsorted(-length, -least)]
    if left.size:
        curved = np.hstack([curved, _to_shell(widths, here + left, size)])
    found, plane = _placed(curved, lower, place), _placed(flat, lower, place)
    likeness = np.clip((known[-1] - found) / (known[-1] - known[0]), 0.0, 1.0)
    return np.asarray(found * (1 + likeness * (known[0] / plane - 1)))


def _placed(squares: FloatArray, lower: int, place: float) -> FloatArray:
    """Value at a (fractional) place among the largest of each row, counted from 0."""
    last = squares.shape[1] - 1
    order = np.partition(squares, [last - lower - 1, last - lower], axis=1)
    high, low = order[:, last - lower], order[:, last - lower - 1]
    return np.asarray(high + (place - lower) * (low - high))


def _extreme(widths: FloatArray, y: FloatArray, reach: FloatArray, up: BoolArray) -> FloatArray:
    """Point of the ball of radius `reach` around y where sum(widths x²) is largest, or least."""
    signed = np.where(up, -1.0, 1.0)[:, None] * widths
    size = np.maximum(np.abs(y), 1e-8)
    slope = widths * size
    shift = np.maximum((slope / reach[:, None] - signed).max(axis=1), 0.0)
    for _ in range(_NEWTON):
        below = signed + shift[:, None]
        parts = (slope / below) ** 2
        square = parts.sum(axis=1)
        move = (np.sqrt(square) / reach - 1) * square / (parts / below).sum(axis=1)
        shift = shift + move
        if (np.abs(move) <= 1e-12 * shift).all():
            break
    turn = np.where(up, -1.0, 1.0)[:, None]
    moved = size - turn * slope / (signed + shift[:, None])
    return np.asarray(np.where(y >= 0, moved, -moved))


def _allowed(quantile: FloatArray, known: FloatArray, estimated: FloatArray) -> FloatArray:
    """Critical squared distance for an estimated spread, from that for a known one."""
    place = np.clip(np.searchsorted(known, quantile) - 1, 0, len(known) - 2)
    row = np.arange(len(quantile))
    share = np.minimum((quantile - known[place]) / (known[place + 1] - known[place]), 1.0)
    low, high = estimated[row, place], estimated[row, place + 1]
    below = estimated[:, 0] * quantile / known[0]
    return np.where(quantile <= known[0], below, low + share * (high - low))


def _whole_error(pairs: MeanPairs) -> FloatArray:
    """Covariance of the gap, widened along the gap for the error of the colour midway."""
    # CIEDE2000 depends on where in colour space the gap lies: an error of that place acts as if the
    # gap were longer or shorter, in proportion to the slope of log ΔE00 there.
    first, second = pairs.first, pairs.second
    steps = _STEP * np.eye(3)[:, None, :]
    above = ciede2000(first + steps, second + steps, 1)
    below = ciede2000(first - steps, second - steps, 1)
    some = (above > 1e-12) & (below > 1e-12)
    ratio = np.divide(above, below, out=np.ones_like(above), where=some)
    slope = (np.log(ratio) / (2 * _STEP)).T
    relative = np.minimum((slope * _times(pairs.rest, slope)).sum(axis=1), 1.0)
    gap = second - first
    return np.asarray(pairs.error + relative[:, None, None] * gap[:, :, None] * gap[:, None, :])


def _ends(
    first: FloatArray,
    second: FloatArray,
    root: FloatArray,
    pull: FloatArray,
    known: FloatArray,
    estimated: FloatArray,
    points: FloatArray,
    tail: float,
    up: BoolArray,
    plain: bool,
) -> FloatArray:
    """Upper or lower end of each interval, as `up` says."""
    gap = second - first
    pair_1, pair_2 = first.copy(), second.copy()
    critical, found = estimated[:, 0].copy(), np.full(len(first), -1.0)
    left = np.arange(len(first))
    for _ in range(_ROUNDS):
        form = _form(pair_1[left], pair_2[left], pull[left], plain)
        widths, back, y = _whitened(form, root[left], gap[left])
        # A lower end stays this side of 0, where the gap has no direction.
        nearest = np.where(up[left], np.inf, 0.999999 * (y**2).sum(axis=1))
        at = _extreme(widths, y, np.sqrt(np.minimum(critical[left], nearest)), up[left])
        moved = _times(back, at)
        pair_1[left] = first[left] + _times(pull[left], moved - gap[left])
        pair_2[left] = pair_1[left] + moved
        before = found[left]
        found[left] = _difference(pair_1[left], pair_2[left], plain)
        # Far finer than any printed digit.
        moves = np.abs(found[left] - before) > 1e-5 * found[left]
        if not moves.any():
            break
        left, widths, at = left[moves], widths[moves], at[moves]
        size = np.sqrt((widths * at**2).sum(axis=1))
        quantile = _upper_quantile(widths, at, size, points, tail, known)
        critical[left] = _allowed(quantile, known, estimated[left])
    return found

"""Compiled loops of the interval of a colour difference; loaded only when first needed."""

from math import atan2, cos, exp, floor, hypot, log, pi, sin, sqrt

import numba
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_ROUNDS = 12  # a critical distance that settles takes three to six
_NEWTON = 30  # Newton steps, each from the same side; a few do
_SMALL = 1e-9
_NEAR = 0.2  # [CIEDE2000] below which the form needs no other slope
_STEP = 0.02  # [CIELAB units] wide enough for the sums, narrow enough for the curve


@numba.njit(cache=True)
def _ciede2000(l_1: float, a_1: float, b_1: float, l_2: float, a_2: float, b_2: float) -> float:
    """CIEDE2000 of one pair, in the steps of `_difference.ciede2000`."""
    seventh = ((hypot(a_1, b_1) + hypot(a_2, b_2)) / 2) ** 7
    stretch = 1.5 - 0.5 * sqrt(seventh / (seventh + 25.0**7))
    a_1, a_2 = stretch * a_1, stretch * a_2
    c_1, c_2 = hypot(a_1, b_1), hypot(a_2, b_2)
    h_1, h_2 = atan2(b_1, a_1) % (2 * pi), atan2(b_2, a_2) % (2 * pi)
    turn, h_mean = 0.0, h_1 + h_2
    if c_1 * c_2 != 0:
        turn, h_mean = h_2 - h_1, h_mean / 2
        if abs(turn) > pi * (1 + 1e-9 / 180):
            turn += -2 * pi if turn > 0 else 2 * pi
            h_mean += pi if h_mean < pi else -pi
    l_mean, c_mean = (l_1 + l_2) / 2, (c_1 + c_2) / 2
    t = (
        1
        - 0.17 * cos(h_mean - pi / 6)
        + 0.24 * cos(2 * h_mean)
        + 0.32 * cos(3 * h_mean + pi / 30)
        - 0.20 * cos(4 * h_mean - 0.35 * pi)
    )
    from_50 = (l_mean - 50) ** 2
    term_l = (l_2 - l_1) / (1 + 0.015 * from_50 / sqrt(20 + from_50))
    term_c = (c_2 - c_1) / (1 + 0.045 * c_mean)
    term_h = 2 * sqrt(c_1 * c_2) * sin(turn / 2) / (1 + 0.015 * c_mean * t)
    seventh = c_mean**7
    blue = pi / 3 * exp(-(((h_mean * 180 / pi - 275) / 25) ** 2))
    r_t = -2 * sqrt(seventh / (seventh + 25.0**7)) * sin(blue)
    square = term_l**2 + term_c**2 + term_h**2 + r_t * term_c * term_h
    return sqrt(max(square, 0.0))


@numba.njit(cache=True)
def _difference(first: FloatArray, second: FloatArray, plain: bool) -> float:
    """CIEDE2000 of one pair, or its plain distance."""
    if plain:
        return sqrt(((second - first) ** 2).sum())
    return _ciede2000(first[0], first[1], first[2], second[0], second[1], second[2])


@numba.njit(cache=True)
def _form(first: FloatArray, second: FloatArray, pull: FloatArray, plain: bool) -> FloatArray:
    """
    Matrix G whose form gap' G gap is the squared difference of the pair.

    CIEDE2000 is such a form to first order at the colour midway. Further off its slope is another:
    the form then takes the true slope by the update of quasi-Newton methods (Nocedal and Wright
    2006, eq. 6.19), and is scaled so that it holds for the pair itself.
    """
    form = np.eye(3)
    if plain:
        return form
    middle, gap = (first + second) / 2, second - first
    step = np.zeros(3)
    for i in range(3):
        for j in range(i, 3):
            step[:] = 0.0
            step[i] += _STEP / 2
            if j > i:
                step[j] += _STEP / 2
            form[i, j] = (_difference(middle - step, middle + step, False) / _STEP) ** 2
    for i in range(3):
        for j in range(i + 1, 3):
            form[i, j] = form[j, i] = (form[i, j] - form[i, i] - form[j, j]) / 2
    by_form = form @ gap
    square, value = (gap * by_form).sum(), _difference(first, second, False)
    if value < _NEAR:
        return form
    slope = np.zeros(3)
    for i in range(3):
        step[:] = 0.0
        step[i] = _STEP
        moved = pull @ step
        above = _difference(first + moved, second + moved + step, False)
        below = _difference(first - moved, second - moved - step, False)
        slope[i] = (above - below) / (2 * _STEP)
    along = (gap * slope).sum()
    if along <= 0:
        return np.asarray(form * (value**2 / square))
    for i in range(3):
        for j in range(3):
            form[i, j] += value * slope[i] * slope[j] / along - by_form[i] * by_form[j] / square
    return np.asarray(form * (value / along))


@numba.njit(cache=True)
def _factor(matrix: FloatArray) -> FloatArray:
    """Lower Cholesky factor of a 3 x 3 matrix."""
    root = np.zeros((3, 3))
    for i in range(3):
        for j in range(i + 1):
            total = matrix[i, j]
            for k in range(j):
                total -= root[i, k] * root[j, k]
            root[i, j] = sqrt(max(total, 1e-300)) if i == j else total / root[j, j]
    return root


@numba.njit(cache=True)
def _axes(matrix: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Eigenvalues and eigenvectors (columns) of a symmetric 3 x 3 matrix, by Jacobi's turns."""
    work, turned = matrix.copy(), np.eye(3)
    for _ in range(20):
        off = abs(work[0, 1]) + abs(work[0, 2]) + abs(work[1, 2])
        if off <= 1e-15 * (abs(work[0, 0]) + abs(work[1, 1]) + abs(work[2, 2])):
            break
        for p in range(2):
            for q in range(p + 1, 3):
                if work[p, q] == 0:
                    continue
                slant = (work[q, q] - work[p, p]) / (2 * work[p, q])
                tangent = (1.0 if slant >= 0 else -1.0) / (abs(slant) + sqrt(slant * slant + 1))
                c = 1 / sqrt(tangent * tangent + 1)
                s = tangent * c
                for k in range(3):
                    x, y = work[k, p], work[k, q]
                    work[k, p], work[k, q] = c * x - s * y, s * x + c * y
                for k in range(3):
                    x, y = work[p, k], work[q, k]
                    work[p, k], work[q, k] = c * x - s * y, s * x + c * y
                for k in range(3):
                    x, y = turned[k, p], turned[k, q]
                    turned[k, p], turned[k, q] = c * x - s * y, s * x + c * y
    values = np.empty(3)
    for i in range(3):
        values[i] = max(work[i, i], 1e-14)
    return values, turned


@numba.njit(cache=True)
def _whitened(
    form: FloatArray, root: FloatArray, gap: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Widths of the form, back-turn, and the gap, where the gap's error has unit spread."""
    values, turned = _axes(root.T @ form @ root)
    back = root @ turned
    inner = np.zeros(3)
    for i in range(3):
        total = gap[i]
        for j in range(i):
            total -= root[i, j] * inner[j]
        inner[i] = total / root[i, i]
    return values, back, turned.T @ inner


@numba.njit(cache=True)
def _pull(widths: FloatArray, y_0: float, y_1: float, y_2: float, size: float) -> float:
    """
    Multiplier of the point of the shell sum(widths x²) = size² that lies nearest to y.

    The point is x_i = y_i / (1 + (pull - 1) widths_i / widest). Newton's steps on 1 / |x| climb
    from below and never overshoot, as in trust-region methods (Moré and Sorensen 1983).
    """
    widest = max(widths[0], widths[1], widths[2])
    r_0, r_1, r_2 = widths[0] / widest, widths[1] / widest, widths[2] / widest
    t_0 = max(sqrt(widths[0]) * abs(y_0) / size, _SMALL)
    t_1 = max(sqrt(widths[1]) * abs(y_1) / size, _SMALL)
    t_2 = max(sqrt(widths[2]) * abs(y_2) / size, _SMALL)
    pull = max(1 + (t_0 - 1) / r_0, 1 + (t_1 - 1) / r_1, 1 + (t_2 - 1) / r_2)
    for _ in range(_NEWTON):
        v_0, v_1, v_2 = 1 / (1 + (pull - 1) * r_0), 1 / (1 + (pull - 1) * r_1), 0.0
        v_2 = 1 / (1 + (pull - 1) * r_2)
        s_0, s_1, s_2 = (t_0 * v_0) ** 2, (t_1 * v_1) ** 2, (t_2 * v_2) ** 2
        square = s_0 + s_1 + s_2
        length = sqrt(square)
        move = square * (length - 1) / (s_0 * r_0 * v_0 + s_1 * r_1 * v_1 + s_2 * r_2 * v_2)
        pull += move
        if abs(move) <= 1e-6 * pull:
            break
    return float(pull)


@numba.njit(cache=True)
def _to_shell(widths: FloatArray, y_0: float, y_1: float, y_2: float, size: float) -> float:
    """Squared distance from y to the shell."""
    pull = _pull(widths, y_0, y_1, y_2, size)
    widest = max(widths[0], widths[1], widths[2])
    total = 0.0
    for width, y in zip(widths, (y_0, y_1, y_2)):  # noqa: B905  # the compiler knows no strict=
        share = width / widest
        floor_y = _SMALL * size / sqrt(width)
        total += (max(abs(y), floor_y) * (pull - 1) * share / (1 + (pull - 1) * share)) ** 2
    return total


@numba.njit(cache=True)
def _keep(largest: FloatArray, found: float) -> None:
    """Put a number in its place among the largest, which stand in falling order."""
    if found <= largest[-1]:
        return
    i = len(largest) - 1
    while i > 0 and largest[i - 1] < found:
        largest[i] = largest[i - 1]
        i -= 1
    largest[i] = found


@numba.njit(cache=True)
def _upper_quantile(
    widths: FloatArray,
    at: FloatArray,
    size: float,
    points: FloatArray,
    tail: float,
    known: FloatArray,
) -> float:
    """
    Squared distance to the shell that a share `tail` of the points around `at` exceeds.

    `at` lies on the shell, so no point is further from it than its own length. As the points come
    longest first, the search ends when the rest can no longer matter. The same points are held
    against the plane that touches the shell, for which the answer is known: what they miss there
    is corrected here, the more so the more the shell is like its plane.
    """
    place = max(tail * len(points) - 0.5, 0.0)
    lower = floor(place)
    curved, flat = np.zeros(lower + 2), np.zeros(lower + 2)
    normal = widths * at
    normal /= sqrt((normal**2).sum())
    for z in points:
        length = z[0] ** 2 + z[1] ** 2 + z[2] ** 2
        if length <= curved[-1] and length <= flat[-1]:
            break
        _keep(flat, (z[0] * normal[0] + z[1] * normal[1] + z[2] * normal[2]) ** 2)
        if length > curved[-1]:
            _keep(curved, _to_shell(widths, at[0] + z[0], at[1] + z[1], at[2] + z[2], size))
    part = place - lower
    found = curved[lower] + part * (curved[lower + 1] - curved[lower])
    plane = flat[lower] + part * (flat[lower + 1] - flat[lower])
    likeness = min(max((known[-1] - found) / (known[-1] - known[0]), 0.0), 1.0)
    return float(found * (1 + likeness * (known[0] / plane - 1)))


@numba.njit(cache=True)
def _extreme(widths: FloatArray, y: FloatArray, reach: float, up: bool) -> FloatArray:
    """Point of the ball of radius `reach` around y where sum(widths x²) is largest, or least."""
    sign = -1.0 if up else 1.0
    size = np.maximum(np.abs(y), 1e-8)
    slope = widths * size
    shift = 0.0
    for i in range(3):
        shift = max(shift, slope[i] / reach - sign * widths[i])
    for _ in range(_NEWTON):
        square, turn = 0.0, 0.0
        for i in range(3):
            below = sign * widths[i] + shift
            part = (slope[i] / below) ** 2
            square += part
            turn += part / below
        move = (sqrt(square) / reach - 1) * square / turn
        shift += move
        if abs(move) <= 1e-12 * shift:
            break
    found = np.empty(3)
    for i in range(3):
        moved = size[i] - sign * slope[i] / (sign * widths[i] + shift)
        found[i] = moved if y[i] >= 0 else -moved
    return found


@numba.njit(cache=True)
def _allowed(quantile: float, known: FloatArray, estimated: FloatArray) -> float:
    """Critical squared distance where the spread is estimated, from the one where it is known."""
    if quantile <= known[0]:
        return float(estimated[0] * quantile / known[0])
    return float(np.interp(quantile, known, estimated))


@numba.njit(cache=True)
def _doubt(
    first: FloatArray, second: FloatArray, error: FloatArray, rest: FloatArray, plain: bool
) -> FloatArray:
    """Covariance of the gap, widened along the gap for what the colour midway adds."""
    if plain:
        return error
    slope, step = np.zeros(3), np.zeros(3)
    for i in range(3):
        step[:] = 0.0
        step[i] = _STEP
        above = _difference(first + step, second + step, False)
        below = _difference(first - step, second - step, False)
        if above > 1e-12 and below > 1e-12:
            slope[i] = log(above / below) / (2 * _STEP)
    relative = 0.0
    for i in range(3):
        for j in range(3):
            relative += slope[i] * rest[i, j] * slope[j]
    gap = second - first
    widened = error.copy()
    for i in range(3):
        for j in range(3):
            widened[i, j] += min(relative, 1.0) * gap[i] * gap[j]
    return widened


@numba.njit(cache=True)
def _end(
    first: FloatArray,
    second: FloatArray,
    root: FloatArray,
    pull: FloatArray,
    known: FloatArray,
    estimated: FloatArray,
    points: FloatArray,
    tail: float,
    up: bool,
    plain: bool,
) -> float:
    """Upper or lower end of the interval."""
    gap = second - first
    pair_1, pair_2 = first.copy(), second.copy()
    critical, found = estimated[0], -1.0
    for _ in range(_ROUNDS):
        widths, back, y = _whitened(_form(pair_1, pair_2, pull, plain), root, gap)
        if not up:
            critical = min(critical, 0.999999 * (y**2).sum())
        at = _extreme(widths, y, sqrt(critical), up)
        moved = back @ at
        pair_1 = first + pull @ (moved - gap)
        pair_2 = pair_1 + moved
        before, found = found, _difference(pair_1, pair_2, plain)
        if abs(found - before) <= 1e-5 * found:
            break
        size = sqrt((widths * at**2).sum())
        quantile = _upper_quantile(widths, at, size, points, tail, known)
        critical = _allowed(quantile, known, estimated)
    return found


@numba.njit(cache=True)
def ends_of_pair(
    first: FloatArray,
    second: FloatArray,
    error: FloatArray,
    pull: FloatArray,
    rest: FloatArray,
    shown: bool,
    known: FloatArray,
    estimated: FloatArray,
    points: FloatArray,
    tail: float,
    plain: bool,
) -> tuple[float, float, float]:
    """Value, lower and upper end for one pair of means; the lower is 0 where nothing is shown."""
    value = _difference(first, second, plain)
    root = _factor(_doubt(first, second, error, rest, plain))
    low = 0.0
    if shown:
        low = _end(first, second, root, pull, known, estimated, points, tail, False, plain)
    high = _end(first, second, root, pull, known, estimated, points, tail, True, plain)
    return value, min(low, value), max(high, value)


@numba.njit(cache=True, parallel=True)
def ends_of_pairs(
    first: FloatArray,
    second: FloatArray,
    error: FloatArray,
    pull: FloatArray,
    rest: FloatArray,
    shown: NDArray[np.bool_],
    known: FloatArray,
    estimated: FloatArray,
    points: FloatArray,
    tail: float,
    plain: bool,
) -> FloatArray:
    """`ends_of_pair` for each of many pairs, shape (pairs, 3)."""
    found = np.empty((len(first), 3))
    for i in numba.prange(len(first)):
        found[i] = ends_of_pair(
            first[i], second[i], error[i], pull[i], rest[i], shown[i],
            known, estimated[i], points, tail, plain,
        )  # fmt: skip
    return found


@numba.njit(cache=True)
def share_below(
    first: FloatArray,
    second: FloatArray,
    error: FloatArray,
    pull: FloatArray,
    rest: FloatArray,
    limit: float,
    points: FloatArray,
) -> float:
    """
    How often readings would show less than they do, were the true CIEDE2000 just `limit`.

    What they show is their distance to the shell of that difference, negative inside.
    """
    root = _factor(_doubt(first, second, error, rest, False))
    gap = second - first
    pair_1, pair_2 = first.copy(), second.copy()
    for _ in range(_ROUNDS):
        widths, back, y = _whitened(_form(pair_1, pair_2, pull, False), root, gap)
        push = _pull(widths, y[0], y[1], y[2], limit)
        at = np.empty(3)
        for i in range(3):
            least = _SMALL * limit / sqrt(widths[i])
            size = max(abs(y[i]), least) / (1 + (push - 1) * widths[i] / widths.max())
            at[i] = size if y[i] >= 0 else -size
        moved = back @ at
        pair_1 = first + pull @ (moved - gap)
        pair_2 = pair_1 + moved
    shown = _to_shell(widths, y[0], y[1], y[2], limit)
    if (widths * y**2).sum() < limit**2:
        shown = -shown
    below = 0
    for point in points:
        z = at + point
        found = _to_shell(widths, z[0], z[1], z[2], limit)
        if (widths * z**2).sum() < limit**2:
            found = -found
        below += found < shown
    return below / len(points)

"""Compiled loops of fits of largest likelihood, for many at once; loaded when first needed."""

from math import exp, expm1, inf, log, log1p, sqrt

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.compile_loops import compiled

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_STEPS = 100  # Newton steps; a fit that exists takes five to ten
_LEVEL = 1e-10  # a rise over all doses [logit] below which a curve is flat


@compiled()
def _log_share(eta: float) -> float:
    """Logarithm of the logistic function, without overflow."""
    if eta > 0:
        return -log1p(exp(-eta))
    return eta - log1p(exp(eta))


@compiled()
def _slopes(eta: float, spots: float, events: float, cloglog: bool) -> tuple[float, float]:
    """First and second derivative of a class's log likelihood with respect to eta."""
    if cloglog:
        m = exp(min(eta, 40.0))
        if m < 1e-300:
            return events, 0.0
        e = expm1(m)
        ratio = m / e if e < inf else 0.0
        curve = ratio * (1 - m - ratio) if e < inf else 0.0
        return events * ratio - (spots - events) * m, events * curve - (spots - events) * m
    p = 1 / (1 + exp(-eta)) if eta > -700 else 0.0
    return events - spots * p, -spots * p * (1 - p)


@compiled()
def _class_log_likelihood(eta: float, spots: float, events: float, cloglog: bool) -> float:
    """Log likelihood of one class, without the binomial coefficient."""
    if cloglog:
        m = exp(min(eta, 40.0))
        found = -(spots - events) * m
        if events > 0:
            # Where m is tiny, log(1 - exp(-m)) is eta itself.
            found += events * (log(-expm1(-m)) if m > 1e-300 else eta)
        return found
    rise = _log_share(eta)
    return events * rise + (spots - events) * (rise - eta)


@compiled()
def _constant(spots: float, events: float) -> float:
    """Largest log likelihood of one class or of all taken as one."""
    found = 0.0
    if events > 0:
        found += events * log(events / spots)
    if events < spots:
        found += (spots - events) * log((spots - events) / spots)
    return found


@compiled()
def _start(
    x: FloatArray, spots: FloatArray, events: FloatArray, cloglog: bool
) -> tuple[float, float]:
    """Intercept and slope by least squares on smoothed frequencies."""
    w = wx = wxx = wy = wxy = 0.0
    for c in range(x.size):
        p = (events[c] + 0.5) / (spots[c] + 1)
        y = log(-log1p(-p)) if cloglog else log(p / (1 - p))
        weight = spots[c] * p * (1 - p)
        w += weight
        wx += weight * x[c]
        wxx += weight * x[c] * x[c]
        wy += weight * y
        wxy += weight * x[c] * y
    slope = (w * wxy - wx * wy) / (w * wxx - wx * wx)
    return (wy - slope * wx) / w, slope


@compiled()
def _newton(
    x: FloatArray, spots: FloatArray, events: FloatArray, cloglog: bool
) -> tuple[float, float]:
    """Intercept and slope of largest likelihood, where there is one."""
    a, b = _start(x, spots, events, cloglog)
    reach = np.abs(x).max()
    for _ in range(_STEPS):
        g0 = g1 = h00 = h01 = h11 = 0.0
        for c in range(x.size):
            first, second = _slopes(a + b * x[c], spots[c], events[c], cloglog)
            g0 += first
            g1 += first * x[c]
            h00 -= second
            h01 -= second * x[c]
            h11 -= second * x[c] * x[c]
        det = h00 * h11 - h01 * h01
        if not det > 0:
            # Everything lies in a flat tail: halve towards a constant and try again.
            a, b = a / 2, b / 2
            continue
        da = (h11 * g0 - h01 * g1) / det
        db = (h00 * g1 - h01 * g0) / det
        size = abs(da) + abs(db) * reach
        scale = min(1.0, 3.0 / size) if size > 0 else 1.0
        a += scale * da
        b += scale * db
        # The next step would be the square of this one.
        if size < 1e-9 * (1 + abs(a)):
            break
    return a, b


@compiled()
def _state(x: FloatArray, spots: FloatArray, events: FloatArray) -> tuple[int, float, float]:
    """0 fit exists, 1 parted rising, 2 parted falling, 3 none happened, 4 all, 5 one dose."""
    lowest_event = lowest_none = inf
    highest_event = highest_none = -inf
    for c in range(x.size):
        if events[c] > 0:
            lowest_event = min(lowest_event, x[c])
            highest_event = max(highest_event, x[c])
        if events[c] < spots[c]:
            lowest_none = min(lowest_none, x[c])
            highest_none = max(highest_none, x[c])
    state = 0
    if lowest_event == inf:
        state = 3
    elif lowest_none == inf:
        state = 4
    elif min(lowest_event, lowest_none) == max(highest_event, highest_none):
        state = 5
    elif highest_none <= lowest_event:
        state = 1
    elif highest_event <= lowest_none:
        state = 2
    return state, (highest_none + lowest_event) / 2, (highest_event + lowest_none) / 2


@compiled()
def _limits(
    x: FloatArray, spots: FloatArray, events: FloatArray, cloglog: bool, target: float
) -> tuple[float, float, float, float, int]:
    """
    Intercept, slope, place of the target and log likelihood, approached or reached; and the state.

    State 6 is a curve that falls: no dose of the target belongs to it.
    """
    state, rising, falling = _state(x, spots, events)
    if state == 0:
        a, b = _newton(x, spots, events, cloglog)
        size = 0.0
        for c in range(x.size):
            size += _class_log_likelihood(a + b * x[c], spots[c], events[c], cloglog)
        if abs(b) * (x.max() - x.min()) < _LEVEL:
            return a, 0.0, inf if a < target else -inf, size, state
        if b < 0:
            return a, b, inf, size, 6
        return a, b, (target - a) / b, size, state
    size = 0.0
    for c in range(x.size):
        size += _constant(spots[c], events[c])
    if state in (1, 3):
        return -inf, inf if state == 1 else 0.0, rising if state == 1 else inf, size, state
    if state in (2, 4):
        return inf, -inf if state == 2 else 0.0, falling if state == 2 else -inf, size, state
    a = _flat(events.sum() / spots.sum(), cloglog)
    return a, 0.0, inf if a < target else -inf, size, state


@compiled(nogil=True)
def maximum_likelihood(
    x: FloatArray, spots: FloatArray, events: FloatArray, cloglog: bool, target: float
) -> tuple[FloatArray, IntArray]:
    """Fit each row of events: intercept, slope, place of the target, log likelihood."""
    found = np.empty((events.shape[0], 4))
    states = np.empty(events.shape[0], np.int64)
    middle = x.mean()
    centred = x - middle
    for row in range(events.shape[0]):
        a, b, place, size, state = _limits(centred, spots, events[row], cloglog, target)
        found[row, 0] = a - b * middle if state in (0, 5, 6) else a
        found[row, 1] = b
        found[row, 2] = place + middle
        found[row, 3] = size
        states[row] = state
    return found, states


@compiled()
def _profile(
    place: float,
    x: FloatArray,
    spots: FloatArray,
    events: FloatArray,
    cloglog: bool,
    target: float,
    slope: float,
) -> tuple[float, float, float]:
    """Largest log likelihood with the target at `place`, its slope and its change."""
    low, high = 0.0, inf
    for _ in range(_STEPS):
        g = h = 0.0
        for c in range(x.size):
            first, second = _slopes(target + slope * (x[c] - place), spots[c], events[c], cloglog)
            g += first * (x[c] - place)
            h -= second * (x[c] - place) ** 2
        if g > 0:
            low = slope
        else:
            high = slope
        step = g / h if h > 0 else inf
        new = slope + step
        if not low <= new <= high:
            new = (low + high) / 2 if high < inf else 2 * slope + 1e-3
        change = abs(new - slope)
        slope = new
        if change <= 1e-13 * (1 + slope) or slope < 1e-14:
            break
    size = moved = 0.0
    for c in range(x.size):
        eta = target + slope * (x[c] - place)
        size += _class_log_likelihood(eta, spots[c], events[c], cloglog)
        moved -= slope * _slopes(eta, spots[c], events[c], cloglog)[0]
    return size, slope, moved


@compiled()
def _flat(p: float, cloglog: bool) -> float:
    """Linear predictor of a curve that is p everywhere."""
    if p <= 0:
        return -inf
    if p >= 1:
        return inf
    return log(-log1p(-p)) if cloglog else log(p / (1 - p))


@compiled()
def _end(
    side: float,
    start: float,
    step: float,
    slope: float,
    best: float,
    half: float,
    x: FloatArray,
    spots: FloatArray,
    events: FloatArray,
    cloglog: bool,
    target: float,
) -> float:
    """Where the profile falls `half` below the best, on one side; infinite if never."""
    flat = _flat(events.sum() / spots.sum(), cloglog)
    # Far beyond the doses the curve is a constant, below the target on the upper side.
    bounded = flat > target if side > 0 else flat < target
    far = 0.0
    if bounded:
        for c in range(x.size):
            far += _class_log_likelihood(target, spots[c], events[c], cloglog)
    else:
        far = _constant(spots.sum(), events.sum())
    if best - far <= half:
        return side * inf
    inside, outside = start, side * inf
    place = start + side * step
    for _ in range(_STEPS):
        size, slope, moved = _profile(place, x, spots, events, cloglog, target, slope)
        gap = best - size - half
        if gap > 0:
            outside = place
        else:
            inside = place
        new = place + gap / moved if moved * side < 0 else side * inf
        # Newton inside the bracket; doubling while there is none, halving where it leaves it.
        if not (min(inside, outside) < new < max(inside, outside)):
            doubled = place + 2 * (place - start)
            new = doubled if abs(outside) == inf else (inside + outside) / 2
        elif abs(outside) == inf and abs(new - start) > 4 * abs(place - start):
            new = start + 4 * (place - start)
        if abs(new - place) <= 1e-12 * (1 + abs(place)):
            return new
        place = new
        if slope < 1e-12:
            slope = 1e-3
    return place


@compiled(nogil=True)
def profile_intervals(
    x: FloatArray, spots: FloatArray, events: FloatArray, cloglog: bool, target: float, half: float
) -> FloatArray:
    """Place of the target and both ends of its profile interval, for each row of events."""
    found = np.empty((events.shape[0], 3))
    middle = x.mean()
    centred = x - middle
    reach = centred.max() - centred.min()
    for row in range(events.shape[0]):
        a, b, place, best, state = _limits(centred, spots, events[row], cloglog, target)
        found[row, 0] = place + middle
        found[row, 1], found[row, 2] = -inf, inf
        falling = state in (2, 5, 6) or (state == 0 and b <= 0)
        if falling:
            continue
        slope = b if state == 0 else 10 / (reach + 1e-300)
        start = place
        if state in (3, 4):
            slope = 1 / (reach + 1e-300)
            start = centred.max() + reach if state == 3 else centred.min() - reach
        step = reach / 4
        if state == 0:
            step = _first_step(a, b, place, half, centred, spots, events[row], cloglog)
        for k, side in enumerate((-1.0, 1.0)):
            end = _end(
                side, start, step, slope, best, half, centred, spots, events[row], cloglog, target
            )
            found[row, 1 + k] = end + middle
    return found


@compiled()
def _first_step(
    a: float,
    b: float,
    place: float,
    half: float,
    x: FloatArray,
    spots: FloatArray,
    events: FloatArray,
    cloglog: bool,
) -> float:
    """Half width of the interval by the curvature at the best fit."""
    h00 = h01 = h11 = 0.0
    for c in range(x.size):
        second = _slopes(a + b * x[c], spots[c], events[c], cloglog)[1]
        h00 -= second
        h01 -= second * (x[c] - place)
        h11 -= second * (x[c] - place) ** 2
    information = (h00 - h01 * h01 / h11) * b * b
    return sqrt(2 * half / information)

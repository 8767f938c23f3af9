"""
How large a counted share may be, and how small: damaged spots among those read.

The bounds are those of scipy.stats.binomtest (Clopper and Pearson, Biometrika 26(4), 404-413,
1934), straight from its special functions: its search for a root has fewer digits, and its import
takes a second of the first assessment.
"""

from __future__ import annotations

import math

_MOST = 10_000_000  # more spots than any survey reads: beyond it the question was mistyped


def upper_bound(events: int, count: int, level: float = 0.95) -> float:
    """Exact one-sided upper bound of a share: how large it may still be."""
    # The spots are read independently: those of one panel resemble one another, and counted as if
    # they did not, they look surer than they are.
    from scipy.special import betaincinv

    level = _checked(events, count, level)
    if events == 0:
        # About 3/n at 95 %: no damage is not no risk (Hanley and Lippman-Hand 1983).
        return -math.expm1(math.log1p(-level) / count)
    return 1.0 if events == count else float(betaincinv(events + 1, count - events, level))


def lower_bound(events: int, count: int, level: float = 0.95) -> float:
    """Exact one-sided lower bound of a share: how large it is at least."""
    return 1 - upper_bound(count - events, count, level)


def count_needed(share: float, level: float = 0.95, events: int = 0) -> int:
    """Spots to read before damage is shown to be rarer than a given share."""
    # The plan is fixed before reading: who adds spots until the number pleases gets a bound that
    # is too low.
    from scipy.special import bdtr

    if not 0 < share < 1:
        raise ValueError(f"share = {share:g}: it lies between 0 and 1; 1 % is 0.01.")
    _checked(events, max(events, 1), level)

    def shown(count: int) -> bool:
        # The bound lies at or below the share when so few events would be rarer than 1 - level.
        return bool(bdtr(events, count, share) <= 1 - level)

    low, high = events, max(2 * events, 1)
    while not shown(high):
        low, high = high, 2 * high
        if high > _MOST:
            raise ValueError(
                f"share = {share:g} would take more than ten million spots. Was it given in %?"
            )
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if shown(middle) else (middle, high)
    return high


def _checked(events: int, count: int, level: float) -> float:
    """Return the level, once events, count and level make sense together."""
    for name, value in (("events", events), ("count", count)):
        if not (math.isfinite(value) and value == int(value) and value >= 0):
            raise ValueError(f"{name} = {value:g}: it must be a whole number of 0 or more.")
    if count < 1:
        raise ValueError("count = 0: nothing was read, so no share can be given.")
    if events > count:
        raise ValueError(f"events = {events} can't be more than count = {count}.")
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g}: it lies between 0 and 1, such as 0.95.")
    return float(level)

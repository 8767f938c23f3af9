"""Intervals of a counted share that published tables print and the package does not offer."""

import math

from scipy import stats


def wilson(events: int, count: int, level: float) -> tuple[float, float]:
    """E. B. Wilson, J. Am. Stat. Assoc. 22, 209-212 (1927); by scipy."""
    found = stats.binomtest(events, count).proportion_ci(level, "wilson")
    return found.low, found.high


def jeffreys(events: int, count: int, level: float) -> tuple[float, float]:
    """Equal tails under Jeffreys' prior (L. D. Brown et al., Stat. Sci. 16(2), 101-133, 2001)."""
    low, high = stats.beta(events + 0.5, count - events + 0.5).ppf(
        [(1 - level) / 2, (1 + level) / 2]
    )
    return low, high


def point_count_two_sigma(share_pct: float, points: int) -> float:
    """2 sqrt(p (100 - p)/n) [%] (L. van der Plas, A. C. Tobi, Am. J. Sci. 263(1), 87-90, 1965)."""
    return 2 * math.sqrt(share_pct * (100 - share_pct) / points)

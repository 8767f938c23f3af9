"""Limits in words: rounded to the side on which they still hold."""

from __future__ import annotations

import math
from collections.abc import Callable

LEAST_SHARE = 0.001  # of spots, in words: digits of smaller ones are a grid's, not the spots'
_NOISE = 1e-9  # of the last digit: what a sum in binary leaves is no digit


def rounded_down(x: float, digits: int = 2) -> float:
    """Round to so many digits, never up: for what a thing may be at most."""
    return _rounded(x, digits, math.floor, _NOISE)


def rounded_up(x: float, digits: int = 2) -> float:
    """Round to so many digits, never down: for what a thing must be at least."""
    return _rounded(x, digits, math.ceil, -_NOISE)


def _rounded(x: float, digits: int, whole: Callable[[float], int], noise: float) -> float:
    """Round at the last digit that counts."""
    if x == 0 or not math.isfinite(x):
        return x
    last = math.floor(math.log10(abs(x))) - digits + 1
    return float(f"{whole(x / 10.0**last + noise)}e{last}")

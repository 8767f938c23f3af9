"""A mean of repeated parts of a surface, with its confidence interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from heritagecheck.evidence.surface.height_map import FloatArray


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with the ends of its confidence interval [µm]; NaN where it is not known."""

    value: float
    low: float
    high: float

    def __str__(self) -> str:
        if not math.isfinite(self.value):
            return "not known"
        digits = digits_for(self.high - self.value)
        if not math.isfinite(self.high):
            return f"{self.value:.3g} µm"
        return f"{self.value:.{digits}f} µm ({self.low:.{digits}f} to {self.high:.{digits}f} µm)"


def digits_for(error: float) -> int:
    """Decimals with which a number of this error is printed: its error then has two digits."""
    if not (math.isfinite(error) and error > 0):
        return 1
    return min(max(1 - math.floor(math.log10(error)), 0), 3)


def interval_of(values: FloatArray, level: float) -> Interval:
    """Mean of independent parts with the interval of Student's t; open where there is one only."""
    from scipy.special import stdtrit

    known = values[np.isfinite(values)]
    if not known.size:
        return Interval(math.nan, math.nan, math.nan)
    mean = float(known.mean())
    if known.size == 1:
        return Interval(mean, -math.inf, math.inf)
    error = float(known.std(ddof=1)) / math.sqrt(known.size)
    reach = float(stdtrit(known.size - 1, (1 + level) / 2)) * error
    return Interval(mean, mean - reach, mean + reach)

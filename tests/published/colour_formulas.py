"""
Statistics of readings that published tables print and no result of the package is made of.

They stand on other ground than the package does, so that its tests hold `compare` against them.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from heritagecheck.evidence import colour
from heritagecheck.evidence.colour.interval import freedom_of

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Sample:
    """A set of readings, known by its mean, its covariance and its number."""

    mean: FloatArray
    covariance: FloatArray
    n: int


@dataclass(frozen=True)
class MeanTest:
    """Hotelling's test of equal means: T², and the F that it is read as."""

    t_squared: float
    f: float
    df_1: float
    df_2: float
    freedom: float
    p_value: float

    def critical(self, level: float) -> float:
        """T² that equal means exceed with probability 1 - level."""
        return float(
            self.df_1 * self.freedom / self.df_2 * stats.f.ppf(level, self.df_1, self.df_2)
        )


def hotelling_against(readings: ArrayLike, mean: ArrayLike) -> MeanTest:
    """One set against a known mean (H. Hotelling, Ann. Math. Stat. 2, 360-378, 1931)."""
    one = sample(readings)
    return tested(one.mean - np.asarray(mean), one.covariance / one.n, one.n - 1)


def hotelling_paired(first: ArrayLike, second: ArrayLike) -> MeanTest:
    """Differences at the same spots against 0 (Hotelling 1931)."""
    gaps = table(second) - table(first)
    return hotelling_against(gaps, np.zeros(gaps.shape[1]))


def hotelling_pooled(first: ArrayLike | Sample, second: ArrayLike | Sample) -> MeanTest:
    """Two sets of equal spread (Hotelling 1931)."""
    one, two = sample(first), sample(second)
    freedom = one.n + two.n - 2
    common = ((one.n - 1) * one.covariance + (two.n - 1) * two.covariance) / freedom
    return tested(two.mean - one.mean, common * (1 / one.n + 1 / two.n), freedom)


def hotelling_unequal(first: ArrayLike | Sample, second: ArrayLike | Sample) -> MeanTest:
    """
    Two sets whose spreads may differ, with the degrees of freedom that `compare` takes.

    K. Krishnamoorthy, J. Yu, Stat. Probab. Lett. 66, 161-169 (2004); with one channel they are
    Welch's.
    """
    one, two = sample(first), sample(second)
    of_one, of_two = one.covariance / one.n, two.covariance / two.n
    freedom = float(freedom_of(((of_one, one.n - 1), (of_two, two.n - 1))))
    return tested(two.mean - one.mean, of_one + of_two, freedom)


def tested(gap: FloatArray, error: FloatArray, freedom: float) -> MeanTest:
    """T² of a gap with the covariance of its error, and the F that belongs to it."""
    channels = len(gap)
    rest = freedom - channels + 1
    t_squared = float(gap @ np.linalg.solve(error, gap))
    f = t_squared * rest / (channels * freedom)
    return MeanTest(t_squared, f, channels, rest, freedom, float(stats.f.sf(f, channels, rest)))


def sample(readings: ArrayLike | Sample) -> Sample:
    """Mean, covariance and number of readings."""
    if isinstance(readings, Sample):
        return readings
    values = table(readings)
    return Sample(values.mean(axis=0), np.atleast_2d(np.cov(values.T)), len(values))


def table(readings: ArrayLike) -> FloatArray:
    """Readings as a table, one a row; a plain list is one channel."""
    values = np.asarray(readings, dtype=np.float64)
    return values[:, None] if values.ndim == 1 else values


def adjusted_p(p_values: ArrayLike, method: str) -> FloatArray:
    """
    P-values raised for having asked so many times: BH, BY, Holm or Bonferroni.

    Y. Benjamini, Y. Hochberg, J. R. Stat. Soc. B 57, 289-300 (1995); Y. Benjamini, D. Yekutieli,
    Ann. Stat. 29, 1165-1188 (2001); S. Holm, Scand. J. Stat. 6, 65-70 (1979).
    """
    values = np.asarray(p_values, dtype=np.float64)
    if method in {"BH", "BY"}:
        return stats.false_discovery_control(values, method=method.lower())
    if method == "Bonferroni":
        return np.minimum(values * values.size, 1)
    order = np.argsort(values, kind="stable")
    stepped = np.maximum.accumulate(values[order] * np.arange(values.size, 0, -1))
    found = np.empty(values.size)
    found[order] = np.minimum(stepped, 1)
    return found


@dataclass(frozen=True)
class OneSet:
    """
    Mean and spread of readings of one surface, and their colour difference from their mean.

    MCDM as ASTM E2214 and R. S. Berns, Billmeyer and Saltzman's Principles of Color Technology
    (2000), give it; `half_width` of the 95 % t interval of each mean.
    """

    mean: FloatArray
    sd: FloatArray
    half_width: FloatArray
    mcdm: float
    mcdm_ab: float
    largest_ab: float


def one_set(readings: ArrayLike) -> OneSet:
    """Mean, spread and MCDM of readings, shape (n, 3)."""
    values = np.asarray(readings, dtype=np.float64)
    mean, sd, n = values.mean(axis=0), values.std(axis=0, ddof=1), len(values)
    away = colour.delta_e(mean, values)
    away_ab = colour.delta_e(mean, values, "CIE76")
    half_width = stats.t.ppf(0.975, n - 1) * sd / math.sqrt(n)
    return OneSet(mean, sd, half_width, away.mean(), away_ab.mean(), away_ab.max())

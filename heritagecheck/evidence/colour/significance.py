"""Do means differ at all, how many zones differ, and which readings stand apart."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.colour.difference_formulas import FloatArray
from heritagecheck.evidence.colour.interval import freedom_of
from heritagecheck.evidence.colour.lab import checked_lab, checked_level, covariance

Adjustment = Literal["BH", "BY", "Holm", "Bonferroni"]

_ADJUSTMENTS = ("BH", "BY", "Holm", "Bonferroni")
_FEWEST_ROBUST = 10
# Largest squared robust distance that one set in twenty reaches without any outlying reading, by
# number of readings: 1,000 sets of normal readings each, by benchmarks/colour_interval.py.
_CLEAN_SETS = (
    (10, 582.2), (12, 368.9), (15, 168.3), (20, 159.9), (30, 74.7), (50, 37.0), (100, 23.8),
    (200, 22.3),
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """A set of readings, told by its mean, its covariance and its number."""

    mean: FloatArray
    covariance: FloatArray
    n: int


@dataclass(frozen=True, slots=True)
class MeanTest:
    """Hotelling's test of equal means: T², and the F that it is read as."""

    t_squared: float
    f: float
    df_1: float
    df_2: float
    freedom: float
    p_value: float

    def critical(self, level: float = 0.95) -> float:
        """T² that equal means exceed with probability 1 - level."""
        from scipy.special import fdtri

        scale = self.t_squared_per_f
        return float(scale * fdtri(self.df_1, self.df_2, checked_level(level)))

    @property
    def t_squared_per_f(self) -> float:
        """What F is multiplied by to give T²."""
        return self.df_1 * self.freedom / self.df_2


def hotelling_against(readings: ArrayLike, mean: ArrayLike) -> MeanTest:
    """
    Hotelling's T² of one set of readings against a mean that is known.

    Parameters
    ----------
    readings : array_like, shape (n, p) with n above p
        Readings, one a row; L*, a*, b* or other channels. [CIELAB units]
    mean : array_like, shape (p,)
        The mean to test against, such as that of a colour standard.

    Returns
    -------
    MeanTest
        `t_squared`, `f` with `df_1` and `df_2` degrees of freedom, `freedom` n - 1 of the
        covariance, `p_value` [0 to 1], and `critical(level)`.

    Raises
    ------
    ValueError
        Too few readings, values that are not finite, a mean of another length, or readings
        without a spread in some direction.

    References
    ----------
    .. [1] H. Hotelling, "The generalization of Student's ratio," Ann. Math. Stat. 2, 360-378
       (1931).

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> tile = [[94.1, -0.6, 2.1], [94.3, -0.5, 2.2], [94.0, -0.6, 2.3], [94.2, -0.7, 2.1],
    ...         [94.1, -0.5, 2.0]]
    >>> print(f"{colour.hotelling_against(tile, [94.2, -0.6, 2.1]).p_value:.2f}")
    0.77
    """
    sample = _sample(readings, "readings")
    known = np.asarray(mean, dtype=np.float64)
    if known.shape != sample.mean.shape:
        raise ValueError(
            f"mean has shape {known.shape} but the readings have {len(sample.mean)} channels."
        )
    gap = sample.mean - known
    return _tested(gap, sample.covariance / sample.n, sample.n - 1)


def hotelling_paired(first: ArrayLike, second: ArrayLike) -> MeanTest:
    """
    Hotelling's T² of two sets of readings of the same spots.

    Parameters
    ----------
    first, second : array_like, shape (n, p) with n above p
        Readings, row i of both at the same spot. [CIELAB units]

    Returns
    -------
    MeanTest
        As for `hotelling_against`, of the differences against 0.

    Raises
    ------
    ValueError
        As for `hotelling_against`; the sets differ in shape.

    References
    ----------
    .. [1] H. Hotelling, "The generalization of Student's ratio," Ann. Math. Stat. 2, 360-378
       (1931).

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> before = [[58.2, 0.8, 6.1], [57.0, 1.1, 6.9], [59.5, 0.7, 5.8], [56.1, 1.3, 7.2],
    ...           [58.8, 0.9, 6.6]]
    >>> after = [[60.1, 0.7, 5.2], [59.4, 1.0, 6.1], [61.2, 0.7, 5.1], [58.6, 1.0, 6.2],
    ...          [60.5, 0.8, 5.9]]
    >>> print(f"{colour.hotelling_paired(before, after).p_value:.3f}")
    0.010
    """
    values_1, values_2 = _table(first, "first"), _table(second, "second")
    if values_1.shape != values_2.shape:
        raise ValueError(
            f"first has shape {values_1.shape} but second has {values_2.shape}: paired readings "
            "are of the same spots, in the same order."
        )
    return hotelling_against(values_2 - values_1, np.zeros(values_1.shape[1]))


def hotelling_pooled(first: ArrayLike | Sample, second: ArrayLike | Sample) -> MeanTest:
    """
    Hotelling's two-sample T² for sets of readings of equal spread.

    Parameters
    ----------
    first, second : array_like, shape (n, p), or Sample
        Readings, or their mean, covariance and number. [CIELAB units]

    Returns
    -------
    MeanTest
        As for `hotelling_against`, with n1 + n2 - 2 degrees of freedom of the covariance.

    Raises
    ------
    ValueError
        As for `hotelling_against`; the sets differ in channels.

    Notes
    -----
    Soiled stone mostly varies more, or less, than clean stone: then `hotelling_unequal` is right,
    and this test is too sure or too shy, the more so the more the numbers differ.

    References
    ----------
    .. [1] H. Hotelling, "The generalization of Student's ratio," Ann. Math. Stat. 2, 360-378
       (1931).

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> first = colour.Sample([48.1, 1.9, 8.3], [[1, 0, 0], [0, 0.1, 0], [0, 0, 0.2]], 12)
    >>> second = colour.Sample([49.0, 1.8, 8.5], [[1, 0, 0], [0, 0.1, 0], [0, 0, 0.2]], 10)
    >>> print(f"{colour.hotelling_pooled(first, second).t_squared:.2f}")
    6.05
    """
    one, two = _two(first, second)
    freedom = one.n + two.n - 2
    common = ((one.n - 1) * one.covariance + (two.n - 1) * two.covariance) / freedom
    return _tested(two.mean - one.mean, common * (1 / one.n + 1 / two.n), freedom)


def hotelling_unequal(first: ArrayLike | Sample, second: ArrayLike | Sample) -> MeanTest:
    """
    Hotelling's two-sample T² for sets of readings whose spreads may differ.

    Parameters
    ----------
    first, second : array_like, shape (n, p), or Sample
        Readings, or their mean, covariance and number. [CIELAB units]

    Returns
    -------
    MeanTest
        As for `hotelling_against`, with the degrees of freedom of [1]_. With one channel they are
        Welch's, and T² is his t squared. This is the test of `compare`.

    Raises
    ------
    ValueError
        As for `hotelling_against`; the sets differ in channels.

    References
    ----------
    .. [1] K. Krishnamoorthy, J. Yu, "Modified Nel and Van der Merwe test for the multivariate
       Behrens-Fisher problem," Stat. Probab. Lett. 66, 161-169 (2004).

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> first = colour.Sample([48.1, 1.9, 8.3], [[4, 0, 0], [0, 0.3, 0], [0, 0, 0.6]], 12)
    >>> second = colour.Sample([49.0, 1.8, 8.5], [[1, 0, 0], [0, 0.1, 0], [0, 0, 0.2]], 10)
    >>> print(f"{colour.hotelling_unequal(first, second).freedom:.1f}")
    17.6
    """
    one, two = _two(first, second)
    of_one, of_two = one.covariance / one.n, two.covariance / two.n
    freedom = float(freedom_of(((of_one, one.n - 1), (of_two, two.n - 1))))
    return _tested(two.mean - one.mean, of_one + of_two, freedom)


def adjusted_p(p_values: ArrayLike, method: Adjustment = "BH") -> FloatArray:
    """
    P-values of many zones, raised for having asked so many times.

    Parameters
    ----------
    p_values : array_like, shape (zones,)
        P-values of single zones. [0 to 1]
    method : {"BH", "BY", "Holm", "Bonferroni"}
        Share of false findings among all findings, for zones that are independent or lean the same
        way [1]_, or for any [2]_; or the chance of even one false finding [3]_ (Holm is never
        worse than Bonferroni).

    Returns
    -------
    numpy.ndarray, shape (zones,)
        Adjusted p-values: those at or below 0.05 are the findings at 5 %. [0 to 1]

    Raises
    ------
    ValueError
        No p-value, one that is not between 0 and 1, or an unknown method.

    Notes
    -----
    Of a hundred zones that do not differ at all, five have a p-value below 0.05.

    References
    ----------
    .. [1] Y. Benjamini, Y. Hochberg, "Controlling the false discovery rate," J. R. Stat. Soc. B
       57, 289-300 (1995).
    .. [2] Y. Benjamini, D. Yekutieli, "The control of the false discovery rate in multiple
       testing under dependency," Ann. Stat. 29, 1165-1188 (2001).
    .. [3] S. Holm, "A simple sequentially rejective multiple test procedure," Scand. J. Stat. 6,
       65-70 (1979).

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> colour.adjusted_p([0.001, 0.02, 0.04, 0.3]).round(3)
    array([0.004, 0.04 , 0.053, 0.3  ])
    """
    from scipy.stats import false_discovery_control

    values = np.asarray(p_values, dtype=np.float64)
    if values.ndim != 1 or not values.size:
        raise ValueError(f"p_values has shape {values.shape}: one p-value a zone is expected.")
    if not ((values >= 0) & (values <= 1)).all():
        raise ValueError("p_values holds values that do not lie between 0 and 1.")
    if method not in _ADJUSTMENTS:
        raise ValueError(f"method = {method!r} is not known. Known: {', '.join(_ADJUSTMENTS)}.")
    if method in {"BH", "BY"}:
        return np.asarray(false_discovery_control(values, method=method.lower()))
    if method == "Bonferroni":
        return np.minimum(values * values.size, 1.0)
    order = np.argsort(values, kind="stable")
    stepped = np.maximum.accumulate(values[order] * np.arange(values.size, 0, -1))
    found = np.empty(values.size)
    found[order] = np.minimum(stepped, 1.0)
    return found


@dataclass(frozen=True, slots=True)
class Outlying:
    """Readings that stand apart from the others, to be looked at."""

    rows: tuple[int, ...]
    critical: float
    distance: FloatArray = field(repr=False, compare=False)

    def __str__(self) -> str:
        if not self.rows:
            return f"None of {len(self.distance)} readings stands apart."
        named = ", ".join(f"{row + 1} ({self.distance[row]:.1f})" for row in self.rows)
        return (
            f"Readings that stand apart, with their distance where {self.critical:.1f} is usual at "
            f"most: {named}. Look at their spots before leaving any out."
        )


def outlying(lab: ArrayLike, seed: int = 0) -> Outlying:
    """
    Readings that stand apart from the bulk of their set: shown, never dropped.

    Parameters
    ----------
    lab : array_like, shape (n, 3) with n of at least 10
        L*, a*, b* of single readings of one surface. [CIELAB units]
    seed : int
        Of the search for the bulk.

    Returns
    -------
    Outlying
        `rows`, which readings stand apart, counted from 0; `distance` of each reading from the
        robust centre, in robust spreads; `critical`, the largest distance that 19 of 20 sets
        without any outlying reading keep.

    Raises
    ------
    ValueError
        Fewer than 10 readings, or readings without a spread.

    Notes
    -----
    The bulk is the half with the narrowest spread (minimum covariance determinant [1]_), so that a
    few readings on a vein, a repair or a wet spot do not hide each other. The usual chi-squared
    limit names readings in most small sets; this limit was simulated for sets of normal readings.
    What stands apart may be a slip, or the one reading that saw something: a person decides.

    References
    ----------
    .. [1] P. J. Rousseeuw, K. Van Driessen, "A fast algorithm for the minimum covariance
       determinant estimator," Technometrics 41, 212-223 (1999); as in scikit-learn.

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> granite = [[61.2, 0.4, 3.1], [58.9, 0.7, 3.8], [63.4, 0.2, 2.7], [60.3, 0.5, 3.6],
    ...            [57.8, 0.9, 3.9], [62.0, 0.3, 3.3], [59.6, 0.6, 3.0], [61.7, 0.5, 3.4],
    ...            [60.8, 0.4, 2.8], [58.2, 0.8, 3.5], [41.0, 6.5, 14.2], [62.6, 0.1, 3.2]]
    >>> colour.outlying(granite).rows
    (10,)
    """
    values = _table(checked_lab(lab, "lab"), "lab")
    n = len(values)
    if n < _FEWEST_ROBUST:
        raise ValueError(
            f"lab holds {n} readings: at least {_FEWEST_ROBUST} are needed to tell the bulk of "
            "them from those apart. Look at the spots instead."
        )
    _sample(values, "lab")
    distance = robust_distance(values, seed)
    numbers, squares = np.array(_CLEAN_SETS).T
    critical = math.exp(np.interp(math.log(n), np.log(numbers), np.log(squares)) / 2)
    return Outlying(
        tuple(int(row) for row in np.flatnonzero(distance > critical)), critical, distance
    )


def robust_distance(values: FloatArray, seed: int) -> FloatArray:
    """Distance of each reading from the centre of the bulk, in its spreads."""
    from sklearn.covariance import MinCovDet

    bulk = MinCovDet(random_state=seed).fit(values)
    distance: FloatArray = np.sqrt(np.asarray(bulk.mahalanobis(values), dtype=float))
    return distance


def _tested(gap: FloatArray, error: FloatArray, freedom: float) -> MeanTest:
    """T² of a gap with the covariance of its error, and the F that belongs to it."""
    from scipy.special import fdtrc

    channels = len(gap)
    rest = freedom - channels + 1
    t_squared = float(gap @ np.linalg.solve(error, gap))
    f = t_squared * rest / (channels * freedom)
    return MeanTest(
        t_squared, f, float(channels), float(rest), float(freedom), float(fdtrc(channels, rest, f))
    )


def _two(first: ArrayLike | Sample, second: ArrayLike | Sample) -> tuple[Sample, Sample]:
    one, two = _sample(first, "first"), _sample(second, "second")
    if len(one.mean) != len(two.mean):
        raise ValueError(
            f"first has {len(one.mean)} channels but second has {len(two.mean)}: both sets must "
            "hold the same channels."
        )
    return one, two


def _sample(readings: ArrayLike | Sample, name: str) -> Sample:
    """Mean, covariance and number of readings, with a spread in every direction."""
    if isinstance(readings, Sample):
        mean = np.asarray(readings.mean, dtype=np.float64)
        spread, n = np.asarray(readings.covariance, dtype=np.float64), readings.n
        if mean.ndim != 1 or spread.shape != (mean.size, mean.size):
            raise ValueError(
                f"{name}: a mean of shape {mean.shape} and a covariance of shape {spread.shape} "
                "do not fit: p and (p, p) are expected."
            )
    else:
        values = _table(readings, name)
        mean, spread, n = values.mean(axis=0), covariance(values), len(values)
    if n <= mean.size:
        raise ValueError(
            f"{name} holds {n} readings of {mean.size} channels: more readings than channels are "
            "needed."
        )
    widths = np.linalg.eigvalsh(spread)
    if widths[0] <= 1e-12 * widths[-1]:
        raise ValueError(f"{name}: in some direction the readings have no spread.")
    return Sample(mean, spread, n)


def _table(readings: ArrayLike | Sample, name: str) -> FloatArray:
    """Readings as a table, one a row; a plain list is one channel."""
    values = np.asarray(readings, dtype=np.float64)
    if values.ndim == 1:
        values = values[:, None]
    if values.ndim != 2 or len(values) < 2 or not np.isfinite(values).all():
        raise ValueError(
            f"{name} has shape {values.shape}: two readings or more are expected, one a row, all "
            "finite numbers."
        )
    return values

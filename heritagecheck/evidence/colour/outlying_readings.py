"""Which readings of a set lie apart from the others: shown, never dropped."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.colour.lab_input import FloatArray, checked_lab, covariance

FEWEST_ROBUST = 10
# Largest squared robust distance that one set in twenty reaches without any outlying reading, by
# number of readings: 1,000 sets of normal readings each, by benchmarks/colour_interval.py.
_CLEAN_SETS = (
    (10, 582.2), (12, 368.9), (15, 168.3), (20, 159.9), (30, 74.7), (50, 37.0), (100, 23.8),
    (200, 22.3),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outlying:
    """Readings that lie apart from the others, to be looked at."""

    rows: tuple[int, ...]
    critical: float
    distance: FloatArray = field(repr=False, compare=False)

    def __str__(self) -> str:
        if not self.rows:
            return f"None of {len(self.distance)} readings is an outlier."
        named = ", ".join(f"{row + 1} ({self.distance[row]:.1f})" for row in self.rows)
        return (
            f"Readings that lie apart, with their distance ({self.critical:.1f} is usual at most): "
            f"{named}. Look at their spots before leaving any out."
        )


def outlying(lab: ArrayLike, seed: int = 0) -> Outlying:
    """
    Readings that lie apart from the bulk of their set: shown, never dropped.

    Parameters
    ----------
    lab : array_like, shape (n, 3) with n of at least 10
        L*, a*, b* of single readings of one surface. [CIELAB units]
    seed : int
        Of the search for the bulk.

    Returns
    -------
    Outlying
        `rows`, which readings lie apart, counted from 0; `distance` of each reading from the
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
    What lies apart may be a slip, or the one reading that saw something: a person decides.

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
    values = checked_lab(lab, "lab")
    if values.ndim != 2:
        raise ValueError(f"lab has shape {values.shape}: one row a reading is expected, (n, 3).")
    n = len(values)
    if n < FEWEST_ROBUST:
        raise ValueError(
            f"lab holds {n} readings: at least {FEWEST_ROBUST} are needed to tell the bulk of "
            "them from those that lie apart. Look at the spots instead."
        )
    widths = np.linalg.eigvalsh(covariance(values))
    if widths[0] <= 1e-12 * widths[-1]:
        raise ValueError("lab: the readings do not vary in some direction, so none is an outlier.")
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

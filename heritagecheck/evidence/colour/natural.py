"""How a clean reference varies by itself, and how many readings it takes to know a mean."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.colour.difference_formulas import FloatArray, ciede2000
from heritagecheck.evidence.colour.lab import (
    checked_lab,
    checked_level,
    checked_readings,
    covariance,
)

_NATURAL_LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class NaturalVariation:
    """Mean and spread of readings of one surface."""

    n: int
    mean: tuple[float, float, float]
    half_width: tuple[float, float, float]
    sd: tuple[float, float, float]
    mcdm: float
    mcdm_ab: float
    largest: float
    largest_ab: float
    level: float
    covariance: FloatArray = field(repr=False, compare=False)

    def __str__(self) -> str:
        l_star, a_star, b_star = self.mean
        return (
            f"Mean of {self.n} readings L* {l_star:.1f}, a* {a_star:.1f}, b* {b_star:.1f}; "
            f"they lie {self.mcdm:.1f} ΔE00 from it on average and {self.largest:.1f} at most."
        )


def natural_variation(lab_reference: ArrayLike, level: float = 0.95) -> NaturalVariation:
    """
    Mean, spread and mean colour difference from the mean (MCDM) of readings of one surface.

    Parameters
    ----------
    lab_reference : array_like, shape (n, 3) with n of at least 2
        L*, a*, b* of single readings, spread over the area. [CIELAB units]
    level : float
        Confidence of `half_width`. [0 to 1]

    Returns
    -------
    NaturalVariation
        `n`; `mean`, `sd` (divisor n - 1) and `covariance` (3 × 3) of L*, a*, b*; `half_width` of
        the t interval of each mean; `mcdm` and `largest`, mean and largest CIEDE2000 of the
        readings from their mean [1]_ [2]_; `mcdm_ab` and `largest_ab`, the same in ΔE*ab.
        [CIELAB units, ΔE]

    Raises
    ------
    ValueError
        Not a table of L*, a*, b* with two readings or more, a value that is not finite, or a
        level outside 0 to 1.

    Notes
    -----
    The mean lies nearer to the readings than the true mean does, so that `mcdm` of n readings is
    low by about the factor sqrt((n - 1) / n). What varies here is what the readings saw: one bed
    and one surface, or several.

    References
    ----------
    .. [1] ASTM E2214, Standard practice for specifying and verifying the performance of
       color-measuring instruments (mean color difference from the mean).
    .. [2] R. S. Berns, Billmeyer and Saltzman's Principles of Color Technology, 3rd ed.,
       Wiley (2000).

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> sheltered = [[57.1, 1.2, 7.6], [58.4, 0.9, 8.1], [55.9, 1.5, 7.2], [60.2, 0.7, 8.4],
    ...              [56.6, 1.4, 7.9], [59.3, 1.0, 7.0], [57.8, 1.1, 8.8], [54.7, 1.6, 7.4]]
    >>> print(colour.natural_variation(sheltered))  # doctest: +NORMALIZE_WHITESPACE
    Mean of 8 readings L* 57.5, a* 1.2, b* 7.8; they lie 1.5 ΔE00 from it on average and 2.7 at
    most.
    """
    from scipy.special import stdtrit

    checked_level(level)
    values = checked_lab(lab_reference, "lab_reference")
    if values.ndim != 2 or len(values) < 2:
        raise ValueError(
            f"lab_reference has shape {values.shape}: two readings or more are expected, one a "
            "row, (n, 3)."
        )
    n, mean, spread = len(values), values.mean(axis=0), covariance(values)
    sd = np.sqrt(np.diag(spread))
    half_width = stdtrit(n - 1, (1 + level) / 2) * sd / math.sqrt(n)
    away, away_ab = ciede2000(mean, values, 1), np.sqrt(((values - mean) ** 2).sum(axis=1))
    return NaturalVariation(
        n, three(mean), three(half_width), three(sd),
        float(away.mean()), float(away_ab.mean()), float(away.max()), float(away_ab.max()),
        float(level), spread,
    )  # fmt: skip


def three(values: FloatArray) -> tuple[float, float, float]:
    """L*, a*, b* as plain numbers."""
    return float(values[0]), float(values[1]), float(values[2])


def reach(n_reference: int) -> float:
    """How far one further reading may lie from the reference, in squared spreads."""
    from scipy.special import fdtri

    rest = n_reference - 3
    furthest = 3 * (n_reference**2 - 1) / (n_reference * rest)
    return float(furthest * fdtri(3, rest, _NATURAL_LEVEL))


def natural_outline(
    lab_reference: ArrayLike, channels: tuple[int, int] = (1, 2), points: int = 121
) -> FloatArray:
    """
    Outline of the natural spread of a reference, as its shadow on one plane of CIELAB.

    Parameters
    ----------
    lab_reference : array_like, shape (n, 3) with n of at least 5
        L*, a*, b* of single readings of clean reference stone. [CIELAB units]
    channels : tuple of int
        The plane: 0 for L*, 1 for a*, 2 for b*.
    points : int
        How many points the outline has.

    Returns
    -------
    numpy.ndarray, shape (points, 2)
        The closed outline. [CIELAB units]

    Raises
    ------
    ValueError
        As for `compare`.

    Notes
    -----
    The outline belongs to the body in which 95 % of single further readings are expected (the
    prediction ellipsoid of `inside_natural`, see `compare`). What lies outside its shadow lies
    outside the body; what lies inside both shadows may still lie outside the body.

    Examples
    --------
    >>> from heritagecheck import colour
    >>> sheltered = [(61, 0.2, 3.1), (62, 0.1, 3.4), (60, 0.4, 2.8), (63, 0.3, 3.6),
    ...              (61, 0.0, 2.9), (62, 0.2, 3.2)]
    >>> outline = colour.natural_outline(sheltered)
    >>> outline.shape
    (121, 2)
    """
    reference = checked_readings(lab_reference, "lab_reference")
    pair = list(channels)
    spread = covariance(reference)[np.ix_(pair, pair)]
    turn = np.linspace(0, 2 * np.pi, points)
    circle = np.stack([np.cos(turn), np.sin(turn)])
    shadow = math.sqrt(reach(len(reference))) * np.linalg.cholesky(spread) @ circle
    return np.asarray(reference.mean(axis=0)[pair] + shadow.T, dtype=float)


def readings_needed(sd: float, half_width: float, level: float = 0.95) -> int:
    """
    Smallest count of readings after which a mean is known to within a given half-width.

    Parameters
    ----------
    sd : float
        Standard deviation of single readings, from earlier readings. [CIELAB units]
    half_width : float
        Half the width the interval of the mean may have. [CIELAB units]
    level : float
        Confidence of that interval. [0 to 1]

    Returns
    -------
    int
        Smallest n of at least 2 with t(1 - a/2, n - 1) sd / sqrt(n) <= half_width.

    Raises
    ------
    ValueError
        sd or half_width is not positive, level lies outside 0 to 1, or a thousand
        million readings would not do.

    Notes
    -----
    Student's t replaces the normal quantile because the spread is itself estimated
    [1]_; the normal form asks for one to four readings too few. The readings must be
    taken independently over the whole area: repeats on one spot do not count.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.2.2.

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> colour.readings_needed(sd=2.5, half_width=1.0)
    27
    """
    from scipy.special import ndtri, stdtrit

    for name, value in (("sd", sd), ("half_width", half_width)):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} = {value:g}: it must be a finite number above 0.")
    tail = 1 - (1 - checked_level(level)) / 2
    normal = float(ndtri(tail)) * sd / half_width
    if not normal * normal < 1e9:
        raise ValueError(
            f"A half-width of {half_width:g} with sd = {sd:g} asks for more than a thousand "
            "million readings. Was a decimal point lost?"
        )
    # The normal form never asks for more than the t form, so counting up from it misses nothing.
    count = max(2, math.ceil(normal**2))
    while stdtrit(count - 1, tail) * sd / math.sqrt(count) > half_width:
        count += 1
    return count

"""Colour-meter readings become a colour difference with its doubt and the natural variation."""

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence._difference import (
    FloatArray,
    cie94_weights,
    ciede2000,
    cmc_weights,
    plain_chroma,
    plain_hue_deg,
)
from heritagecheck.evidence._spectra import (
    lab_from_reflectance,
    lab_from_xyz,
    white_point,
    xyy_from_munsell,
    xyz_from_reflectance,
)
from heritagecheck.evidence.meter import lab_of_munsell, readings_from
from heritagecheck.survey.instruments import read_meter_file

__all__ = [
    "ColourDifference",
    "Components",
    "chroma",
    "compare",
    "components",
    "delta_e",
    "display_colour",
    "hue_angle_deg",
    "lab_from_reflectance",
    "lab_from_xyz",
    "lab_of_munsell",
    "natural_outline",
    "read_meter_file",
    "readings_from",
    "readings_needed",
    "white_point",
    "xyy_from_munsell",
    "xyz_from_reflectance",
]

Formula = Literal["CIEDE2000", "CIE76", "CIE94", "CMC"]

_FORMULAS = ("CIEDE2000", "CIE76", "CIE94", "CMC")
_CHANNELS = ("L*", "a*", "b*")
_FEWEST = 5  # readings a side: three spreads and their slants need more than four
_FEW = 10  # below this a caution says that the doubt itself is poorly known
_WIDE_REFERENCE = 8.0  # natural variation [CIEDE2000] beyond what granite shows: two surfaces?
_NATURAL_LEVEL = 0.95


def delta_e(
    lab_1: ArrayLike,
    lab_2: ArrayLike,
    formula: Formula = "CIEDE2000",
    *,
    k_l: float = 1,
    textiles: bool = False,
    cmc: tuple[float, float] = (2, 1),
) -> FloatArray:
    """
    Colour difference between two colours, or two arrays of colours.

    Parameters
    ----------
    lab_1, lab_2 : array_like, shape (..., 3)
        L*, a*, b* of both colours, under one illuminant and observer. [CIELAB units]
        The shapes are broadcast. Colour 1 is the reference of CIE94 and CMC.
    formula : {"CIEDE2000", "CIE76", "CIE94", "CMC"}
        CIEDE2000 [1]_ [2]_, the plain distance of 1976 [3]_, CIE94 [4]_ or CMC(l:c) [5]_.
    k_l : float
        Weight kL of lightness in CIEDE2000 and CIE94: 2 halves what L* contributes.
    textiles : bool
        CIE94 with its textile constants kL = 2, K1 = 0.048, K2 = 0.014. As they bring
        their own kL, `k_l` is then left at 1 (or may say 2).
    cmc : tuple of float
        The weights l and c of CMC: (2, 1) for acceptability, (1, 1) for perceptibility.

    Returns
    -------
    numpy.ndarray, shape (...)
        The difference, zero or more, in units of its formula.

    Raises
    ------
    ValueError
        The formula is unknown; the last axis is not L*, a*, b*; a value is not finite;
        the shapes do not fit; a weight is not positive, or belongs to another formula.

    Notes
    -----
    Always name the formula beside the number: limits set for one do not hold for
    another. CIEDE2000 was fitted to differences below about 5 on smooth samples; on
    coarse stone, and far beyond 5, it ranks rather than measures. CIE94 and CMC change
    when the two colours trade places. Hues within 1e-9 degree of opposite take the
    mean-hue branch that [1]_ prints for exactly opposite hues.

    References
    ----------
    .. [1] G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula:
       implementation notes, supplementary test data, and mathematical observations,"
       Color Res. Appl. 30(1), 21-30 (2005). DOI 10.1002/col.20070
    .. [2] ISO/CIE 11664-6, Colorimetry, Part 6: CIEDE2000 colour-difference formula.
    .. [3] ISO/CIE 11664-4, Colorimetry, Part 4: CIE 1976 L*a*b* colour space.
    .. [4] CIE 116-1995, Industrial colour-difference evaluation.
    .. [5] F. J. J. Clarke, R. McDonald, B. Rigg, "Modification to the JPC79
       colour-difference formula," J. Soc. Dyers Colour. 100, 128-132 (1984).

    Examples
    --------
    Grey granite before and after a cleaning trial, then the two spots of another trial:

    >>> from heritagecheck.evidence import colour
    >>> print(colour.delta_e([48.2, 0.9, 5.4], [57.6, 1.3, 7.9]).round(2))
    9.39
    >>> colour.delta_e([[64.1, 8.7, 24.3], [62.3, -0.4, 2.1]], [69.8, 7.9, 22.6], "CIE76").round(1)
    array([ 6. , 23.4])
    """
    _check_settings(formula, k_l, textiles, cmc)
    first, second = _pair(lab_1, lab_2)
    if formula == "CIEDE2000":
        return ciede2000(first, second, k_l)
    part = components(first, second)
    if formula == "CIE76":
        square = part.dL**2 + part.da**2 + part.db**2
    else:
        weight_l, weight_c, weight_h = (
            cie94_weights(first, k_l, textiles) if formula == "CIE94" else cmc_weights(first, cmc)
        )
        square = (part.dL / weight_l) ** 2 + (part.dC / weight_c) ** 2 + (part.dH / weight_h) ** 2
    difference: FloatArray = np.sqrt(square)
    return difference


@dataclass(frozen=True, slots=True, eq=False)
class Components:
    """The parts of a colour difference in CIELAB units, colour 2 minus colour 1."""

    dL: FloatArray
    da: FloatArray
    db: FloatArray
    dC: FloatArray
    dH: FloatArray


def components(lab_1: ArrayLike, lab_2: ArrayLike) -> Components:
    """
    Parts of a colour difference: lighter, redder, yellower, stronger, turned in hue.

    Parameters
    ----------
    lab_1, lab_2 : array_like, shape (..., 3)
        L*, a*, b* of both colours; the shapes are broadcast. [CIELAB units]

    Returns
    -------
    Components
        Arrays dL, da, db, dC and dH of shape (...), colour 2 minus colour 1.

    Raises
    ------
    ValueError
        The last axis is not L*, a*, b*, a value is not finite, or the shapes do not fit.

    Notes
    -----
    These are the quantities that EN 15886 asks a report to give [2]_. With
    C = sqrt(a² + b²) and the turn of hue Δh, dH = 2 sqrt(C1 C2) sin(Δh / 2) [1]_, so
    that dL² + dC² + dH² is the square of the 1976 difference. dH is positive where
    the hue turns from red towards yellow; it has no meaning when a colour is near grey.

    References
    ----------
    .. [1] ISO/CIE 11664-4, Colorimetry, Part 4: CIE 1976 L*a*b* colour space.
    .. [2] EN 15886:2010, Conservation of cultural property: colour measurement of surfaces.

    Examples
    --------
    Marble that yellowed in a laser trial: a little darker, and much stronger in colour.

    >>> from heritagecheck.evidence import colour
    >>> part = colour.components([80.3, 0.6, 6.1], [77.9, 2.2, 11.4])
    >>> print(f"{part.dL:.1f} {part.dC:.1f} {part.dH:.1f}")
    -2.4 5.5 -0.8
    """
    first, second = _pair(lab_1, lab_2)
    d_l, d_a, d_b = np.moveaxis(second - first, -1, 0)
    chroma_1, chroma_2 = chroma(first), chroma(second)
    (a_1, b_1), (a_2, b_2) = np.moveaxis(first, -1, 0)[1:], np.moveaxis(second, -1, 0)[1:]
    turn = np.arctan2(a_1 * b_2 - a_2 * b_1, a_1 * a_2 + b_1 * b_2)
    d_h = 2 * np.sqrt(chroma_1 * chroma_2) * np.sin(turn / 2)
    return Components(d_l, d_a, d_b, chroma_2 - chroma_1, d_h)


def chroma(lab: ArrayLike) -> FloatArray:
    """
    Strength of colour C*: 0 is grey.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        L*, a*, b*. [CIELAB units]

    Returns
    -------
    numpy.ndarray, shape (...)
        sqrt(a*² + b*²). [CIELAB units]

    Raises
    ------
    ValueError
        The last axis is not L*, a*, b*, or a value is not finite.

    References
    ----------
    .. [1] ISO/CIE 11664-4, Colorimetry, Part 4: CIE 1976 L*a*b* colour space.

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> colour.chroma([[48.2, 0.9, 5.4], [62.0, 3.0, 4.0]]).round(1)
    array([5.5, 5. ])
    """
    values = _lab(lab, "lab")
    return plain_chroma(values)


def hue_angle_deg(lab: ArrayLike) -> FloatArray:
    """
    Hue as an angle: 0 red, 90 yellow, 180 green, 270 blue.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        L*, a*, b*. [CIELAB units]

    Returns
    -------
    numpy.ndarray, shape (...)
        Angle in the plane of a* and b*, from 0 up to 360. [degrees]

    Raises
    ------
    ValueError
        The last axis is not L*, a*, b*, or a value is not finite.

    Notes
    -----
    A grey without any colour has no hue; it is given as 0.

    References
    ----------
    .. [1] ISO/CIE 11664-4, Colorimetry, Part 4: CIE 1976 L*a*b* colour space.

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> colour.hue_angle_deg([[64.1, 8.7, 24.3], [38.6, -6.8, 14.2]]).round(0)
    array([ 70., 116.])
    """
    values = _lab(lab, "lab")
    return plain_hue_deg(values[..., 1], values[..., 2])


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
    tail = 1 - (1 - _checked_level(level)) / 2
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


@dataclass(frozen=True, slots=True)
class ColourDifference:
    """How far soiled stone lies from its reference in colour, and how sure that is."""

    delta_e: float
    low: float
    high: float
    natural_variation: float
    p_value: float
    readings_needed: int
    level: float
    inside_natural: bool
    d_lab: tuple[float, float, float]
    n_soiled: int
    n_reference: int
    cautions: tuple[str, ...]
    mean_soiled: tuple[float, float, float]
    mean_reference: tuple[float, float, float]
    lab_soiled: FloatArray = field(repr=False, compare=False)
    lab_reference: FloatArray = field(repr=False, compare=False)

    def __str__(self) -> str:
        half = (self.high - self.low) / 2
        digits = 0 if half >= 5 else 1 if half >= 0.1 else 2
        shown = "The colours differ" if self.low > 0 else "No colour difference is shown"
        place = "inside" if self.inside_natural else "outside"
        return (
            f"{shown}: CIEDE2000 {self.delta_e:.{digits}f}, with {100 * self.level:g} % confidence "
            f"{self.low:.{digits}f} to {self.high:.{digits}f}; the soiled mean lies {place} the "
            f"natural spread of the reference ({self.natural_variation:.1f} on average)."
        )


def compare(
    lab_soiled: ArrayLike, lab_reference: ArrayLike, level: float = 0.95
) -> ColourDifference:
    """
    Colour difference between soiled readings and reference readings, with its interval.

    Parameters
    ----------
    lab_soiled, lab_reference : array_like, shape (n, 3) with n of at least 5
        L*, a*, b* of single readings, spread over each area. [CIELAB units]
    level : float
        Confidence of the interval. [0 to 1]

    Returns
    -------
    ColourDifference
        `delta_e`, CIEDE2000 of the two means [1]_, with its interval `low` to `high`;
        `natural_variation`, mean CIEDE2000 of the reference readings from their mean [2]_;
        `p_value` of equal means [0 to 1]; `readings_needed` on the soiled side for ±1
        CIELAB unit in its most variable direction; `level`; `inside_natural`, whether the
        soiled mean lies where 95 % of single reference readings are expected; `d_lab`,
        mean soiled minus mean reference L*, a*, b*; `n_soiled`, `n_reference`; `cautions`;
        `lab_soiled` and `lab_reference`, the readings themselves.

    Raises
    ------
    ValueError
        A side is not a table of L*, a*, b*, holds fewer than 5 readings, a value that is
        not finite or an L* outside 0 to 100, or has no spread; level is outside 0 to 1.

    Notes
    -----
    The p-value is Hotelling's T² for unequal covariances with the degrees of freedom of
    [3]_. The interval runs from the smallest to the largest CIEDE2000 over the matching
    confidence ellipsoid of the mean difference, each difference held by the most plausible
    pair of means. `low` is 0 exactly when the ellipsoid holds no difference. Such an
    interval is conservative: at 95 % it covered a true difference of 0 in about 95 % of
    simulated surveys and a true difference of 1 or more in 98 % or more, so there it is
    wider than need be. The test is known to be a little too sure where few, scattered
    readings meet many tight ones: 92 % for a true 0 with 5 against 20. It is not a
    percentile bootstrap, which never covers a true 0. Readings are taken as independent
    and roughly normal; repeats on one spot make everything look surer than it is.
    `inside_natural` uses the prediction ellipsoid of one further reference reading,
    which is very wide for few readings: inside then proves little. `natural_variation` of
    n readings is low by about the factor sqrt((n - 1) / n). A difference says nothing of
    whether it comes from soiling, patina or another bed.

    References
    ----------
    .. [1] ISO/CIE 11664-6, Colorimetry, Part 6: CIEDE2000 colour-difference formula.
    .. [2] ASTM E2214, Standard practice for specifying and verifying the performance of
       color-measuring instruments (mean color difference from the mean).
    .. [3] K. Krishnamoorthy, J. Yu, "Modified Nel and Van der Merwe test for the multivariate
       Behrens-Fisher problem," Stat. Probab. Lett. 66, 161-169 (2004).

    Examples
    --------
    Limestone: soiled readings beside readings from a sheltered face of the same bed.

    >>> from heritagecheck.evidence import colour
    >>> soiled = [[41.2, 1.8, 7.9], [43.0, 1.5, 8.8], [39.7, 2.0, 7.1], [42.1, 1.7, 8.9],
    ...           [40.4, 1.9, 7.2], [43.8, 1.4, 8.1]]
    >>> sheltered = [[57.1, 1.2, 7.6], [58.4, 0.9, 8.1], [55.9, 1.5, 7.2], [60.2, 0.7, 8.4],
    ...              [56.6, 1.4, 7.9], [59.3, 1.0, 7.0], [57.8, 1.1, 8.8], [54.7, 1.6, 7.4]]
    >>> found = colour.compare(soiled, sheltered)
    >>> print(found)  # doctest: +NORMALIZE_WHITESPACE
    The colours differ: CIEDE2000 15.8, with 95 % confidence 12.4 to 19.3; the soiled mean
    lies outside the natural spread of the reference (1.5 on average).
    >>> found.readings_needed
    14
    >>> print(found.cautions[0])
    Only 6 soiled readings: the interval is wide.
    """
    from scipy.special import fdtrc, fdtri

    _checked_level(level)
    soiled = _readings(lab_soiled, "lab_soiled")
    reference = _readings(lab_reference, "lab_reference")
    n_soiled, n_reference, axes = len(soiled), len(reference), 3
    mean_soiled, mean_reference = soiled.mean(axis=0), reference.mean(axis=0)
    gap = mean_soiled - mean_reference
    spread_soiled, spread_reference = _covariance(soiled), _covariance(reference)
    of_soiled, of_reference = spread_soiled / n_soiled, spread_reference / n_reference
    freedom = _freedom(((of_soiled, n_soiled - 1), (of_reference, n_reference - 1)))
    rest = freedom - axes + 1
    scale = axes * freedom / rest
    t_squared = float(gap @ np.linalg.solve(of_soiled + of_reference, gap))
    bound = float(scale * fdtri(axes, rest, level))
    extremes = _extremes(mean_soiled, mean_reference, of_soiled, of_reference, bound)
    natural = float(delta_e(mean_reference, reference).mean())
    low = 0.0 if t_squared <= bound else extremes[0]
    return ColourDifference(
        delta_e=float(delta_e(mean_reference, mean_soiled)),
        low=low,
        high=extremes[1],
        natural_variation=natural,
        p_value=float(fdtrc(axes, rest, t_squared / scale)),
        readings_needed=readings_needed(
            math.sqrt(np.linalg.eigvalsh(spread_soiled)[-1]), half_width=1.0, level=level
        ),
        level=float(level),
        inside_natural=bool(gap @ np.linalg.solve(spread_reference, gap) <= _reach(n_reference)),
        d_lab=(float(gap[0]), float(gap[1]), float(gap[2])),
        n_soiled=n_soiled,
        n_reference=n_reference,
        cautions=_cautions(n_soiled, n_reference, natural, low),
        mean_soiled=(float(mean_soiled[0]), float(mean_soiled[1]), float(mean_soiled[2])),
        mean_reference=(
            float(mean_reference[0]),
            float(mean_reference[1]),
            float(mean_reference[2]),
        ),
        lab_soiled=soiled,
        lab_reference=reference,
    )


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
    reference = _readings(lab_reference, "lab_reference")
    pair = list(channels)
    spread = _covariance(reference)[np.ix_(pair, pair)]
    turn = np.linspace(0, 2 * np.pi, points)
    circle = np.stack([np.cos(turn), np.sin(turn)])
    shadow = math.sqrt(_reach(len(reference))) * np.linalg.cholesky(spread) @ circle
    return np.asarray(reference.mean(axis=0)[pair] + shadow.T, dtype=float)


def _reach(n_reference: int) -> float:
    """How far one further reading may lie from the reference, in squared spreads."""
    from scipy.special import fdtri

    rest = n_reference - 3
    reach = 3 * (n_reference**2 - 1) / (n_reference * rest)
    return float(reach * fdtri(3, rest, _NATURAL_LEVEL))


def _cautions(n_soiled: int, n_reference: int, natural: float, low: float) -> tuple[str, ...]:
    found = []
    if n_soiled < _FEW:
        found.append(f"Only {n_soiled} soiled readings: the interval is wide.")
    if n_reference < _FEW:
        found.append(
            f"Only {n_reference} reference readings: the natural spread is poorly known, and to "
            "lie inside it proves little."
        )
    if natural > _WIDE_REFERENCE:
        found.append(
            f"The reference readings lie {natural:.1f} (CIEDE2000) from their mean, more than "
            f"{_WIDE_REFERENCE:g}: look whether they come from one bed and one surface."
        )
    if low == 0:
        found.append(
            "No difference is shown; the figure given is then too high, as it cannot fall below 0."
        )
    return tuple(found)


def _extremes(
    mean_soiled: FloatArray,
    mean_reference: FloatArray,
    of_soiled: FloatArray,
    of_reference: FloatArray,
    bound: float,
) -> tuple[float, float]:
    """Smallest and largest CIEDE2000 on the ellipsoid of mean differences, centre included."""
    root = np.linalg.cholesky(of_soiled + of_reference)
    # A step on the unit sphere moves both means, each by its share of the doubt.
    steps = math.sqrt(bound) * np.linalg.inv(root)
    step_soiled, step_reference = steps @ of_soiled, -steps @ of_reference

    def differences(directions: FloatArray) -> FloatArray:
        return ciede2000(
            mean_reference + directions @ step_reference, mean_soiled + directions @ step_soiled, 1
        )

    # The line to equal means is one of the directions: near it the difference has its cone.
    towards = np.linalg.solve(root, mean_reference - mean_soiled)
    length = math.sqrt(float(towards @ towards))
    line = np.array([towards, -towards]) / length if length > 0 else np.empty((0, 3))
    directions = np.concatenate([_SPHERE, line])
    values = differences(directions)
    best = [int(values.argmin()), int(values.argmax())]
    heads = directions[best]
    centre = float(ciede2000(mean_reference, mean_soiled, 1))
    low, high = min(centre, float(values[best[0]])), max(centre, float(values[best[1]]))
    for width in (0.05, 0.02, 0.008):
        around = heads[:, None, :] + width * _SPHERE[:: len(_SPHERE) // 24]
        around /= np.sqrt((around**2).sum(axis=-1, keepdims=True))
        values = differences(around)
        best = [int(values[0].argmin()), int(values[1].argmax())]
        heads = np.array([around[0, best[0]], around[1, best[1]]])
        low, high = min(low, float(values[0].min())), max(high, float(values[1].max()))
    return low, high


def _sphere(count: int) -> FloatArray:
    """Evenly spread unit directions, each with its opposite: the two sides may trade places."""
    height = (np.arange(count) + 0.5) / count
    turn = math.pi * (1 + math.sqrt(5)) * np.arange(count)
    radius = np.sqrt(1 - height**2)
    half = np.stack([height, radius * np.cos(turn), radius * np.sin(turn)], axis=-1)
    return np.concatenate([half, -half])


_SPHERE = _sphere(720)


def _freedom(sides: tuple[tuple[FloatArray, int], ...]) -> float:
    """Degrees of freedom of Krishnamoorthy and Yu for covariances of means, with n - 1 each."""
    total = sum(of_mean for of_mean, _ in sides)
    loss = 0.0
    for of_mean, free in sides:
        share = np.linalg.solve(total, of_mean)
        loss += float(np.trace(share @ share) + np.trace(share) ** 2) / free
    return (3 + 3**2) / loss


def _covariance(readings: FloatArray) -> FloatArray:
    centred = readings - readings.mean(axis=0)
    products: FloatArray = (centred[:, :, None] * centred[:, None, :]).sum(axis=0)
    return products / (len(readings) - 1)


def _check_settings(formula: str, k_l: float, textiles: bool, cmc: tuple[float, float]) -> None:
    if formula not in _FORMULAS:
        raise ValueError(f"formula = {formula!r} is not known. Known: {', '.join(_FORMULAS)}.")
    for name, weight in (("k_l", k_l), ("cmc l", cmc[0]), ("cmc c", cmc[1])):
        if not (math.isfinite(weight) and weight > 0):
            raise ValueError(f"{name} = {weight:g}: a weight must be a finite number above 0.")
    if k_l != 1 and formula not in ("CIEDE2000", "CIE94"):
        raise ValueError(f"k_l = {k_l:g} changes nothing in {formula}: leave it at 1.")
    if textiles and formula != "CIE94":
        raise ValueError(f"textiles=True belongs to CIE94, not to {formula}.")
    if textiles and k_l not in (1, 2):
        raise ValueError(f"textiles=True brings its own kL = 2: leave k_l = {k_l:g} at 1.")


def _lab(lab: ArrayLike, name: str) -> FloatArray:
    values = np.asarray(lab, dtype=np.float64)
    if values.ndim == 0 or values.shape[-1] != 3:
        raise ValueError(
            f"{name} has shape {values.shape}: its last axis must hold the three L*, a*, b*."
        )
    odd = ~np.isfinite(values)
    if odd.any():
        first = tuple(int(place) for place in np.argwhere(odd)[0])
        raise ValueError(
            f"{name} holds {int(odd.sum())} values that are not finite numbers, the first at "
            f"{first}. Leave such readings out."
        )
    return values


def _pair(lab_1: ArrayLike, lab_2: ArrayLike) -> tuple[FloatArray, FloatArray]:
    first, second = _lab(lab_1, "lab_1"), _lab(lab_2, "lab_2")
    try:
        np.broadcast_shapes(first.shape, second.shape)
    except ValueError:
        raise ValueError(
            f"lab_1 has shape {first.shape} but lab_2 has {second.shape}: give as many colours "
            "on both sides, or a single colour on one."
        ) from None
    return first, second


def _readings(lab: ArrayLike, name: str) -> FloatArray:
    values = _lab(lab, name)
    if values.ndim != 2:
        raise ValueError(f"{name} has shape {values.shape}: one row a reading is expected, (n, 3).")
    count = len(values)
    if count < _FEWEST:
        raise ValueError(f"{name} holds {count} readings: at least {_FEWEST} are needed.")
    lightness = values[:, 0]
    wrong = np.flatnonzero((lightness < 0) | (lightness > 100))
    if wrong.size:
        rows = ", ".join(f"reading {row + 1} has L* = {lightness[row]:g}" for row in wrong)
        raise ValueError(
            f"{name}: {rows}. L* runs from 0 (black) to 100 (white). Was a decimal point lost?"
        )
    same = [_CHANNELS[column] for column in range(3) if np.ptp(values[:, column]) == 0]
    if len(same) == 3:
        raise ValueError(
            f"{name}: all {count} readings are identical, and identical readings carry no spread. "
            "Give the single readings, each from its own place."
        )
    widths = np.linalg.eigvalsh(_covariance(values))
    if same or widths[0] <= 1e-9 * widths[-1]:
        where = f"never change in {' and '.join(same)}" if same else "lie in one plane"
        raise ValueError(
            f"{name}: the {count} readings {where}, so that a part of their spread is unknown. "
            "Give all decimals of the instrument, or readings from more places."
        )
    return values


def _checked_level(level: float) -> float:
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g}: a confidence lies between 0 and 1, such as 0.95.")
    return level


def display_colour(lab: ArrayLike) -> str:
    """
    Colour for a screen or a page, as near as sRGB comes to a reading.

    Parameters
    ----------
    lab : array_like, shape (3,)
        L*, a*, b* relative to the white of the reading. [CIELAB units]

    Returns
    -------
    str
        Hexadecimal sRGB such as ``"#8a8781"``; colours outside sRGB are moved to its edge.

    Notes
    -----
    For looking only: L*, a*, b* are taken as relative to the D65 white of the display, whatever
    illuminant and observer the meter used, so that grey stays grey [1]_. Never measure a screen.

    References
    ----------
    .. [1] IEC 61966-2-1:1999, sRGB colour space; conversion by colour-science.

    Examples
    --------
    >>> display_colour([50.0, 0.0, 0.0])
    '#777777'
    """
    # colour-science sets numpy's print style of 2017 for the whole process when imported.
    with np.printoptions():
        import colour as colour_science
    rgb = colour_science.XYZ_to_sRGB(colour_science.Lab_to_XYZ(np.asarray(lab, dtype=float)))
    levels = np.clip(np.round(255 * np.asarray(rgb)), 0, 255).astype(int)
    return "#" + "".join(f"{level:02x}" for level in levels)

"""Colours as L*, a*, b*: what they must be, how far apart they lie, how a screen shows them."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.survey.records.readings import FEWEST_COMPARED

# -- What is taken as colours and as readings ------------------------------------------------------

FloatArray = NDArray[np.float64]

_CHANNELS = ("L*", "a*", "b*")


def checked_lab(lab: ArrayLike, name: str) -> FloatArray:
    """Colours as an array whose last axis is L*, a*, b*, all finite."""
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


def checked_pair(lab_1: ArrayLike, lab_2: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Two arrays of colours whose shapes can be broadcast."""
    first, second = checked_lab(lab_1, "lab_1"), checked_lab(lab_2, "lab_2")
    try:
        np.broadcast_shapes(first.shape, second.shape)
    except ValueError:
        raise ValueError(
            f"lab_1 has shape {first.shape} but lab_2 has {second.shape}: give as many colours "
            "on both sides, or a single colour on one."
        ) from None
    return first, second


def checked_readings(lab: ArrayLike, name: str) -> FloatArray:
    """Single readings of one area, enough of them and with a spread in every direction."""
    values = checked_lab(lab, name)
    if values.ndim != 2:
        raise ValueError(f"{name} has shape {values.shape}: one row a reading is expected, (n, 3).")
    count = len(values)
    if count < FEWEST_COMPARED:
        raise ValueError(f"{name} holds {count} readings: at least {FEWEST_COMPARED} are needed.")
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
    widths = np.linalg.eigvalsh(covariance(values))
    if same or widths[0] <= 1e-9 * widths[-1]:
        where = f"never change in {' and '.join(same)}" if same else "lie in one plane"
        raise ValueError(
            f"{name}: the {count} readings {where}, so that a part of their spread is unknown. "
            "Give all decimals of the instrument, or readings from more places."
        )
    return values


def checked_level(level: float) -> float:
    """A confidence between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g}: a confidence lies between 0 and 1, such as 0.95.")
    return level


def covariance(readings: FloatArray, others: FloatArray | None = None) -> FloatArray:
    """Covariance of readings with divisor n - 1, or of readings with others of the same spots."""
    centred = readings - readings.mean(axis=0)
    beside = centred if others is None else others - others.mean(axis=0)
    products: FloatArray = (centred[:, :, None] * beside[:, None, :]).sum(axis=0)
    return products / (len(readings) - 1)


# -- Colour difference by a named formula ----------------------------------------------------------

Formula = Literal["CIEDE2000", "CIE76", "CIE94", "CMC"]

_FORMULAS = ("CIEDE2000", "CIE76", "CIE94", "CMC")
_KNEE = 6 / 29
_HALF_TURN = 180 + 1e-9  # opposite hues stay on one branch whatever the last bit says


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
    first, second = checked_pair(lab_1, lab_2)
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
    """Parts of a colour difference: lighter, redder, yellower, stronger, turned in hue."""
    # What EN 15886 asks a report to give, as ISO/CIE 11664-4 defines it: dL² + dC² + dH² is the
    # square of the 1976 difference. dH is positive from red towards yellow, and means nothing near
    # grey. By the sine of half the turn it keeps its digits where two hues are nearly equal.
    first, second = checked_pair(lab_1, lab_2)
    gap = second - first
    chroma_1, chroma_2 = plain_chroma(first), plain_chroma(second)
    a_1, b_1, a_2, b_2 = first[..., 1], first[..., 2], second[..., 1], second[..., 2]
    turn = np.arctan2(a_1 * b_2 - a_2 * b_1, a_1 * a_2 + b_1 * b_2)
    d_h = 2 * np.sqrt(chroma_1 * chroma_2) * np.sin(turn / 2)
    return Components(gap[..., 0], gap[..., 1], gap[..., 2], chroma_2 - chroma_1, d_h)


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


# The sums of the formulas, on arrays that are already checked.


def plain_chroma(lab: FloatArray) -> FloatArray:
    """Distance from the neutral axis."""
    return np.hypot(lab[..., 1], lab[..., 2])


def ciede2000(first: FloatArray, second: FloatArray, k_l: float) -> FloatArray:
    """CIEDE2000 in the steps of Sharma, Wu and Dalal 2005; names as there, bar written as mean."""
    l_1, a_1, b_1 = first[..., 0], first[..., 1], first[..., 2]
    l_2, a_2, b_2 = second[..., 0], second[..., 1], second[..., 2]
    stretch = 1.5 - 0.5 * _share_of_25((np.hypot(a_1, b_1) + np.hypot(a_2, b_2)) / 2)  # 1 + G
    a_1, a_2 = stretch * a_1, stretch * a_2
    c_1, c_2 = np.hypot(a_1, b_1), np.hypot(a_2, b_2)
    h_1, h_2 = plain_hue_deg(a_1, b_1), plain_hue_deg(a_2, b_2)
    grey = c_1 * c_2 == 0

    turn = h_2 - h_1
    across = np.abs(turn) > _HALF_TURN
    turn = np.where(grey, 0, turn - np.where(across, np.copysign(360, turn), 0))
    d_l, d_c = l_2 - l_1, c_2 - c_1
    d_h = 2 * np.sqrt(c_1 * c_2) * np.sin(np.radians(turn / 2))

    l_mean, c_mean, h_sum = (l_1 + l_2) / 2, (c_1 + c_2) / 2, h_1 + h_2
    h_mean = (h_sum + np.where(across, np.where(h_sum < 360, 360, -360), 0)) / 2
    h_mean = np.where(grey, h_sum, h_mean)
    t = (
        1
        - 0.17 * np.cos(np.radians(h_mean - 30))
        + 0.24 * np.cos(np.radians(2 * h_mean))
        + 0.32 * np.cos(np.radians(3 * h_mean + 6))
        - 0.20 * np.cos(np.radians(4 * h_mean - 63))
    )
    from_50 = (l_mean - 50) ** 2
    term_l = d_l / (k_l * (1 + 0.015 * from_50 / np.sqrt(20 + from_50)))
    term_c = d_c / (1 + 0.045 * c_mean)
    term_h = d_h / (1 + 0.015 * c_mean * t)
    blue = 60 * np.exp(-(((h_mean - 275) / 25) ** 2))  # 2 Δθ, in degrees
    r_t = -2 * _share_of_25(c_mean) * np.sin(np.radians(blue))
    square = term_l**2 + term_c**2 + term_h**2 + r_t * term_c * term_h
    difference: FloatArray = np.sqrt(np.maximum(square, 0))
    return difference


def _share_of_25(chroma_mean: FloatArray) -> FloatArray:
    """Square root of C^7 / (C^7 + 25^7), which CIEDE2000 uses twice."""
    seventh = chroma_mean**7
    share: FloatArray = np.sqrt(seventh / (seventh + 25.0**7))
    return share


def plain_hue_deg(a: FloatArray, b: FloatArray) -> FloatArray:
    """Hue as an angle from 0 up to 360 degrees."""
    # Adding 0 makes -0 a plain 0, so that grey has hue 0 and not 180.
    return np.degrees(np.arctan2(b + 0.0, a + 0.0)) % 360


def cie94_weights(
    reference: FloatArray, k_l: float, textiles: bool
) -> tuple[float, FloatArray, FloatArray]:
    """Weights of lightness, chroma and hue in CIE94; colour 1 is the reference."""
    k_1, k_2 = (0.048, 0.014) if textiles else (0.045, 0.015)
    strength = plain_chroma(reference)
    return (2 if textiles else k_l), 1 + k_1 * strength, 1 + k_2 * strength


def cmc_weights(
    reference: FloatArray, cmc: tuple[float, float]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Weights of lightness, chroma and hue in CMC(l:c); colour 1 is the reference."""
    lightness, strength, hue = (
        reference[..., 0],
        plain_chroma(reference),
        plain_hue_deg(reference[..., 1], reference[..., 2]),
    )
    # 16 replaces darker ones, for which the quotient is not defined.
    light = np.maximum(lightness, 16)
    s_l = np.where(lightness < 16, 0.511, 0.040975 * light / (1 + 0.01765 * light))
    s_c = 0.0638 * strength / (1 + 0.0131 * strength) + 0.638
    t = np.where(
        (hue >= 164) & (hue <= 345),
        0.56 + np.abs(0.2 * np.cos(np.radians(hue + 168))),
        0.36 + np.abs(0.4 * np.cos(np.radians(hue + 35))),
    )
    f = np.sqrt(strength**4 / (strength**4 + 1900))
    return cmc[0] * s_l, cmc[1] * s_c, s_c * (f * t + 1 - f)


def light_of(roots: FloatArray) -> FloatArray:
    """X/Xn, Y/Yn or Z/Zn of the cube roots of CIELAB (ISO/CIE 11664-4, turned round)."""
    # Below the knee CIELAB is a straight line.
    return np.where(roots > _KNEE, roots**3, 3 * _KNEE**2 * (roots - 4 / 29))


# -- On a screen or a page -------------------------------------------------------------------------

_WHITE_D65 = (0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290)  # IEC 61966-2-1
_SRGB_FROM_XYZ = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)  # IEC 61966-2-1


def rgb_of(lab: ArrayLike) -> NDArray[np.uint8]:
    """Red, green and blue of sRGB, 0 to 255, for colours of shape (..., 3)."""
    # For looking only. L*, a*, b* are taken as relative to the white of the display, whatever light
    # they were measured for, so that grey stays grey; what sRGB can't show moves to its edge.
    l_star, a_star, b_star = np.moveaxis(checked_lab(lab, "lab"), -1, 0)
    middle = (l_star + 16) / 116
    roots = np.stack([middle + a_star / 500, middle, middle - b_star / 200], axis=-1)
    xyz = _WHITE_D65 * light_of(roots)
    light = (xyz @ _SRGB_FROM_XYZ.T).clip(0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * coded), dtype=np.uint8)


def display_colour(lab: ArrayLike) -> str:
    """Colour of one reading as hexadecimal sRGB, such as "#8a8781"."""
    return "#" + rgb_of(lab).tobytes().hex()

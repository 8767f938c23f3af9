"""Colour differences and their parts, for colours of which each is known."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.colour.difference_formulas import (
    FloatArray,
    cie94_weights,
    ciede2000,
    cmc_weights,
    plain_chroma,
)
from heritagecheck.evidence.colour.lab import checked_pair

Formula = Literal["CIEDE2000", "CIE76", "CIE94", "CMC"]

_FORMULAS = ("CIEDE2000", "CIE76", "CIE94", "CMC")


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
    d_l, d_a, d_b = np.moveaxis(second - first, -1, 0)
    chroma_1, chroma_2 = plain_chroma(first), plain_chroma(second)
    (a_1, b_1), (a_2, b_2) = np.moveaxis(first, -1, 0)[1:], np.moveaxis(second, -1, 0)[1:]
    turn = np.arctan2(a_1 * b_2 - a_2 * b_1, a_1 * a_2 + b_1 * b_2)
    d_h = 2 * np.sqrt(chroma_1 * chroma_2) * np.sin(turn / 2)
    return Components(d_l, d_a, d_b, chroma_2 - chroma_1, d_h)


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

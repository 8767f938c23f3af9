"""The sums of the colour-difference formulas, on arrays that are already checked."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_HALF_TURN = 180 + 1e-9  # opposite hues stay on one branch whatever the last bit says


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
    # 16 stands in for the darker ones, for which the quotient is not meant.
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

"""Colours as a screen or a page can show them."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.colour.lab_input import checked_lab

_KNEE = 6 / 29  # CIE 15: below it CIELAB is a straight line
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
    xyz = _WHITE_D65 * np.where(roots > _KNEE, roots**3, 3 * _KNEE**2 * (roots - 4 / 29))
    light = (xyz @ _SRGB_FROM_XYZ.T).clip(0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * coded), dtype=np.uint8)


def display_colour(lab: ArrayLike) -> str:
    """Colour of one reading as hexadecimal sRGB, such as "#8a8781"."""
    return "#" + rgb_of(lab).tobytes().hex()

"""A colour reading as a screen or a page can show it."""

import numpy as np
from numpy.typing import ArrayLike

_KNEE = 6 / 29  # CIE 15: below it CIELAB is a straight line
_WHITE_D65 = (0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290)  # IEC 61966-2-1
_SRGB_FROM_XYZ = (
    (3.2406, -1.5372, -0.4986),
    (-0.9689, 1.8758, 0.0415),
    (0.0557, -0.2040, 1.0570),
)  # IEC 61966-2-1


def display_colour(lab: ArrayLike) -> str:
    """Colour for a screen or a page, as near as sRGB comes to a reading."""
    l_star, a_star, b_star = (float(part) for part in np.asarray(lab, dtype=float))
    middle = (l_star + 16) / 116
    xyz = [
        white * (root**3 if root > _KNEE else 3 * _KNEE**2 * (root - 4 / 29))
        for white, root in zip(
            _WHITE_D65, (middle + a_star / 500, middle, middle - b_star / 200), strict=True
        )
    ]
    levels = []
    for row in _SRGB_FROM_XYZ:
        light = sum(part * share for part, share in zip(row, xyz, strict=True))
        level = 12.92 * light if light <= 0.0031308 else 1.055 * light ** (1 / 2.4) - 0.055
        levels.append(min(max(round(255 * level), 0), 255))
    return "#" + "".join(f"{level:02x}" for level in levels)

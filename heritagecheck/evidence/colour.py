"""Colour-meter readings become a colour difference with its doubt and the natural variation."""

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence._colour.directions import directions
from heritagecheck.evidence._colour.formulas import (
    Components,
    chroma,
    components,
    delta_e,
    hue_angle_deg,
)
from heritagecheck.evidence._colour.natural import (
    NaturalVariation,
    natural_outline,
    natural_variation,
    readings_needed,
)
from heritagecheck.evidence._colour.readings import (
    VISIBLE_DELTA_E,
    ColourDifference,
    Estimate,
    SignedEstimate,
    compare,
    probability_visible,
)
from heritagecheck.evidence._colour.significance import (
    MeanTest,
    Outlying,
    Sample,
    adjusted_p,
    hotelling_against,
    hotelling_paired,
    hotelling_pooled,
    hotelling_unequal,
    outlying,
)
from heritagecheck.evidence._colour.spectra import (
    lab_from_reflectance,
    lab_from_xyz,
    white_point,
    xyy_from_munsell,
    xyz_from_reflectance,
)
from heritagecheck.evidence.meter import lab_of_munsell, readings_from
from heritagecheck.survey.instruments import read_meter_file

__all__ = [
    "VISIBLE_DELTA_E",
    "ColourDifference",
    "Components",
    "Estimate",
    "MeanTest",
    "NaturalVariation",
    "Outlying",
    "Sample",
    "SignedEstimate",
    "adjusted_p",
    "chroma",
    "compare",
    "components",
    "delta_e",
    "directions",
    "display_colour",
    "hotelling_against",
    "hotelling_paired",
    "hotelling_pooled",
    "hotelling_unequal",
    "hue_angle_deg",
    "lab_from_reflectance",
    "lab_from_xyz",
    "lab_of_munsell",
    "natural_outline",
    "natural_variation",
    "outlying",
    "probability_visible",
    "read_meter_file",
    "readings_from",
    "readings_needed",
    "white_point",
    "xyy_from_munsell",
    "xyz_from_reflectance",
]


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

from .colour_difference import Components, chroma, components, delta_e, hue_angle_deg
from .display import display_colour
from .meter_readings import lab_of_munsell, read_meter_file, readings_from
from .natural import NaturalVariation, natural_outline, natural_variation, readings_needed
from .readings import (
    VISIBLE_DELTA_E,
    ColourDifference,
    Estimate,
    SignedEstimate,
    compare,
    probability_visible,
)
from .significance import (
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
from .soiling_directions import directions
from .spectra import (
    lab_from_reflectance,
    lab_from_xyz,
    white_point,
    xyy_from_munsell,
    xyz_from_reflectance,
)

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

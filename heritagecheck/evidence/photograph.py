"""
What a photograph with a colour chart says about stone, and how sure that is.

`open_photograph` and `calibrate` make CIELAB of it, `register` and `labels` tie it to the drawing,
`difference_map`, `zone_statistics`, `soiling_cover` and `mineral_fractions` measure in it;
`measure` does all of it for one zone of a survey.
"""

from heritagecheck.evidence._photograph.calibration import Calibration, calibrate
from heritagecheck.evidence._photograph.cover import (
    SoilingClasses,
    SoilingCover,
    soiling_classes,
    soiling_cover,
)
from heritagecheck.evidence._photograph.difference_map import (
    difference_map,
    to_lab,
    zone_colours,
    zone_differences,
    zone_statistics,
)
from heritagecheck.evidence._photograph.minerals import MineralFractions, mineral_fractions
from heritagecheck.evidence._photograph.preview import (
    Appearance,
    agreed_appearance,
    appearance_of,
    resoiled,
    rgb_of,
    share_clipped,
)
from heritagecheck.evidence._photograph.registration import Registration, labels, register, shares
from heritagecheck.evidence.photographed import PhotographedZone, measure
from heritagecheck.survey.instruments.photo_file import Photograph, open_photograph

__all__ = [
    "Appearance",
    "Calibration",
    "MineralFractions",
    "Photograph",
    "PhotographedZone",
    "Registration",
    "SoilingClasses",
    "SoilingCover",
    "agreed_appearance",
    "appearance_of",
    "calibrate",
    "difference_map",
    "labels",
    "measure",
    "mineral_fractions",
    "open_photograph",
    "register",
    "resoiled",
    "rgb_of",
    "share_clipped",
    "shares",
    "soiling_classes",
    "soiling_cover",
    "to_lab",
    "zone_colours",
    "zone_differences",
    "zone_statistics",
]

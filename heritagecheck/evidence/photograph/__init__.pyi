from .calibration import Calibration, calibrate
from .cover import SoilingClasses, SoilingCover, soiling_classes, soiling_cover
from .differences import difference_map, to_lab, zone_colours, zone_differences, zone_statistics
from .minerals import MineralFractions, mineral_fractions
from .preview import Appearance, agreed_appearance, appearance_of, resoiled, rgb_of, share_clipped
from .registration import Registration, labels, register, shares
from .zone_photograph import Photograph, PhotographedZone, measure, open_photograph

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

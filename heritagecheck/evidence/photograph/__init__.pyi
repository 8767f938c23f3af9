from .calibration import calibrate
from .cover import soiling_cover
from .differences import difference_map, zone_statistics
from .minerals import mineral_fractions
from .zone_photograph import measure, open_photograph

__all__ = [
    "calibrate",
    "difference_map",
    "measure",
    "mineral_fractions",
    "open_photograph",
    "soiling_cover",
    "zone_statistics",
]

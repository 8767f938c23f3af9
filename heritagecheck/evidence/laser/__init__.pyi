from .beam import peak_fluence
from .hazard import (
    hazard_distance,
    hazard_distance_diffuse,
    hazard_distance_lens,
    optical_density,
)
from .scan import pulses_per_spot, settings
from .thresholds import ablation_depth, crater_threshold, incubated_threshold, published_thresholds

__all__ = [
    "ablation_depth",
    "crater_threshold",
    "hazard_distance",
    "hazard_distance_diffuse",
    "hazard_distance_lens",
    "incubated_threshold",
    "optical_density",
    "peak_fluence",
    "published_thresholds",
    "pulses_per_spot",
    "settings",
]

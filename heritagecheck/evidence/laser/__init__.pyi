from .beam import peak_fluence
from .hazard import hazard_distance, optical_density
from .heat.surface_temperature import surface_temperature
from .scan import pulses_per_spot, settings
from .thresholds import ablation_depth, crater_threshold, incubated_threshold

__all__ = [
    "ablation_depth",
    "crater_threshold",
    "hazard_distance",
    "incubated_threshold",
    "optical_density",
    "peak_fluence",
    "pulses_per_spot",
    "settings",
    "surface_temperature",
]

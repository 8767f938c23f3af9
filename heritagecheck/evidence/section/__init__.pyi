from .depth_profiles import altered_depth, compare_stress
from .grain_size import grain_size
from .lattice_strain import residual_stress
from .stress_readings import readings_from

__all__ = [
    "altered_depth",
    "compare_stress",
    "grain_size",
    "readings_from",
    "residual_stress",
]

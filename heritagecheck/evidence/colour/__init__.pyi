from .colour_difference import delta_e
from .comparison import compare
from .meter_readings import readings_from
from .spectra import lab_from_reflectance

__all__ = [
    "compare",
    "delta_e",
    "lab_from_reflectance",
    "readings_from",
]

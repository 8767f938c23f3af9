from .colour_difference import delta_e
from .meter_readings import lab_of_munsell, readings_from
from .reading_sets import outlying
from .readings import compare
from .soiling_directions import directions
from .spectra import lab_from_reflectance

__all__ = [
    "compare",
    "delta_e",
    "directions",
    "lab_from_reflectance",
    "lab_of_munsell",
    "outlying",
    "readings_from",
]

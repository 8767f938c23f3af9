"""The four elevations of the Quillmere Pumping Station, an invented structure, with their zones."""

from .elevations import ELEVATIONS, draw, write
from .zones import area_m2, label_points, outlines

__all__ = ["ELEVATIONS", "area_m2", "draw", "label_points", "outlines", "write"]

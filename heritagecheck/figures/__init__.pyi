from .colours import draw_colour
from .elevation import draw_elevation
from .height_map import draw_depth, draw_relief
from .photograph import draw_photographed
from .trial import draw_trial
from .zone_answer import draw_harm

__all__ = [
    "draw_colour",
    "draw_depth",
    "draw_elevation",
    "draw_harm",
    "draw_photographed",
    "draw_relief",
    "draw_trial",
]

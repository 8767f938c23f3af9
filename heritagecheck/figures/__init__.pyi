from .colours import draw_colour, draw_swatches
from .elevation import draw_elevation
from .photograph import draw_photographed
from .preview import draw_if_cleaned
from .trial import draw_trial
from .zone_answer import draw_gates, draw_harm
from .zone_location import draw_detail, draw_locator

__all__ = [
    "draw_colour",
    "draw_detail",
    "draw_elevation",
    "draw_gates",
    "draw_harm",
    "draw_if_cleaned",
    "draw_locator",
    "draw_photographed",
    "draw_swatches",
    "draw_trial",
]

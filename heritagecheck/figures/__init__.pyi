from .colours import draw_colour, draw_readings
from .elevation import draw_elevation, draw_key
from .gates import draw_gates
from .harm import SHOWN_IN_FIGURE, draw_harm
from .measured import draw_if_cleaned, draw_photographed
from .photograph import draw_cover, draw_difference_map, draw_photograph
from .preview import draw_preview
from .swatches import draw_swatches
from .trial import draw_trial
from .where import draw_detail, draw_ground, draw_locator, draw_outcome

__all__ = [
    "SHOWN_IN_FIGURE",
    "draw_colour",
    "draw_cover",
    "draw_detail",
    "draw_difference_map",
    "draw_elevation",
    "draw_gates",
    "draw_ground",
    "draw_harm",
    "draw_if_cleaned",
    "draw_key",
    "draw_locator",
    "draw_outcome",
    "draw_photograph",
    "draw_photographed",
    "draw_preview",
    "draw_readings",
    "draw_swatches",
    "draw_trial",
]

"""What it looks like: one drawing function a figure, the same for page, screen and notebook."""

from heritagecheck.figures.colours import draw_colour, draw_readings
from heritagecheck.figures.elevation import (
    draw_detail,
    draw_elevation,
    draw_ground,
    draw_key,
    draw_locator,
    draw_outcome,
)
from heritagecheck.figures.gates import draw_gates
from heritagecheck.figures.harm import SHOWN_IN_FIGURE, draw_harm
from heritagecheck.figures.measured import draw_if_cleaned, draw_photographed
from heritagecheck.figures.photograph import draw_cover, draw_difference_map, draw_photograph
from heritagecheck.figures.preview import draw_preview
from heritagecheck.figures.swatches import draw_swatches
from heritagecheck.figures.trial import draw_trial

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

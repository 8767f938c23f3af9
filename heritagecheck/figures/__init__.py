"""What it looks like: one drawing function a figure, the same for page, screen and notebook."""

from heritagecheck.figures.elevation import draw_elevation, draw_key, draw_locator
from heritagecheck.figures.gates import draw_gates
from heritagecheck.figures.harm import draw_harm
from heritagecheck.figures.swatches import draw_swatches

__all__ = [
    "draw_elevation",
    "draw_gates",
    "draw_harm",
    "draw_key",
    "draw_locator",
    "draw_swatches",
]

"""
What it looks like: one drawing function a figure, the same for page, screen and notebook.

Each is imported on first use, so that a card without photographs loads nothing that measures them.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from heritagecheck.figures.colours import draw_colour, draw_readings
    from heritagecheck.figures.elevation import draw_elevation, draw_key
    from heritagecheck.figures.gates import draw_gates
    from heritagecheck.figures.harm import SHOWN_IN_FIGURE, draw_harm
    from heritagecheck.figures.measured import draw_if_cleaned, draw_photographed
    from heritagecheck.figures.photograph import draw_cover, draw_difference_map, draw_photograph
    from heritagecheck.figures.preview import draw_preview
    from heritagecheck.figures.swatches import draw_swatches
    from heritagecheck.figures.trial import draw_trial
    from heritagecheck.figures.where import (
        draw_detail,
        draw_ground,
        draw_locator,
        draw_outcome,
    )

_PLACES = {
    "SHOWN_IN_FIGURE": "harm",
    "draw_colour": "colours",
    "draw_cover": "photograph",
    "draw_detail": "where",
    "draw_difference_map": "photograph",
    "draw_elevation": "elevation",
    "draw_gates": "gates",
    "draw_ground": "where",
    "draw_harm": "harm",
    "draw_if_cleaned": "measured",
    "draw_key": "elevation",
    "draw_locator": "where",
    "draw_outcome": "where",
    "draw_photograph": "photograph",
    "draw_photographed": "measured",
    "draw_preview": "preview",
    "draw_readings": "colours",
    "draw_swatches": "swatches",
    "draw_trial": "trial",
}

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


def __getattr__(name: str) -> Any:
    """Import a drawing function on first use (PEP 562)."""
    if name not in _PLACES:
        raise AttributeError(f"module 'heritagecheck.figures' has no attribute {name!r}")
    value = getattr(import_module(f"heritagecheck.figures.{_PLACES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """List the drawing functions."""
    return sorted(__all__)

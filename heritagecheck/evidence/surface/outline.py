"""Which pixels of a map lie within corners that somebody pointed at."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.surface.height_map import BoolArray
from heritagecheck.survey.drawings.outline import Outline


def inside(corners_px: ArrayLike, shape: tuple[int, int]) -> BoolArray:
    """Pixels whose middle lies within corners (x, y); middles are at whole numbers."""
    corners = np.asarray(corners_px, dtype=float)
    if corners.ndim != 2 or corners.shape[1] != 2 or len(corners) < 3:
        raise ValueError(f"corners_px has shape {corners.shape}: give three corners x, y or more.")
    found = np.zeros(shape, dtype=bool)
    low = np.clip(np.floor(corners.min(axis=0)).astype(int), 0, shape[::-1])
    high = np.clip(np.ceil(corners.max(axis=0)).astype(int) + 1, 0, shape[::-1])
    x, y = np.meshgrid(np.arange(low[0], high[0]), np.arange(low[1], high[1]))
    if not x.size:
        raise ValueError(
            f"The corners lie outside the map of {shape[1]} × {shape[0]} pixels. Count x to the "
            "right and y down from the pixel at the top left, which is 0 0."
        )
    outline = Outline("corners", (corners,))
    found[low[1] : high[1], low[0] : high[0]] = outline.contains(
        np.stack([x.ravel(), y.ravel()], axis=1).astype(float)
    ).reshape(x.shape)
    return found

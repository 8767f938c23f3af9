"""What a photograph says of one zone: where it was measured, how far from clean, how covered."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from heritagecheck.evidence.photograph import (
    PhotographedZone,
    agreed_appearance,
    appearance_of,
    resoiled,
    rgb_of,
)
from heritagecheck.figures.photograph import draw_cover, draw_difference_map, draw_photograph
from heritagecheck.figures.preview import draw_preview

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def draw_photographed(found: PhotographedZone, axes: list[Axes] | None = None) -> list[Axes]:
    """
    Photograph of a zone, its difference from clean stone, and what counts as soiled.

    Parameters
    ----------
    found : PhotographedZone
        As `heritagecheck.photograph.measure` gives it.
    axes : list of matplotlib Axes, optional
        Where to draw: three, or one where no clean stone is outlined.

    Returns
    -------
    list of matplotlib Axes
        Look at the first for whether outline, clean stone and chart lie where they lie on the wall.
    """
    import matplotlib.pyplot as plt

    view, cover = found.view, found.cover
    if axes is None:
        # Two beside each other at most: on a tablet the words of three would be too small.
        parts, size = ("A", (4.8, 3.8)) if cover is None else ("AB\nC.", (9.6, 7.6))
        _, drawn = plt.subplot_mosaic(parts, figsize=size, layout="constrained")
        axes = [drawn[name] for name in sorted(drawn)]
    rgb = rgb_of(view.lab)
    clean = {"clean stone": [np.array(found.photo.clean_outline) / view.cell]}
    outlines = view.outlines | (clean if found.photo.clean_outline else {})
    draw_photograph(rgb, outlines=outlines, chart=found.calibration.corners / view.cell, ax=axes[0])
    if cover is not None and view.difference is not None and view.soiled is not None:
        draw_difference_map(view.difference, pixel_mm=view.pixel_mm, ax=axes[1])
        draw_cover(rgb, view.soiled, share=cover.share, low=cover.low, high=cover.high, ax=axes[2])
    return axes


def draw_if_cleaned(
    found: PhotographedZone, *, cleanliness: float, years: float, half_time_years: float
) -> list[Axes]:
    """
    Simulate a photographed zone as it might look once it is cleaned as agreed, and years later.

    Parameters
    ----------
    found : PhotographedZone
        As `heritagecheck.photograph.measure` gives it; with clean stone outlined.
    cleanliness : float
        How far towards the clean stone the team agrees to go. [0 to 1]
    years : float
        Years after cleaning. [years]
    half_time_years : float
        Years in which half of the contrast comes back, as this place has shown. [years]

    Returns
    -------
    list of matplotlib Axes
        Today, as agreed, and later; the last two marked as simulations.

    Raises
    ------
    ValueError
        No clean stone is outlined in the photograph, or a number is not allowed.
    """
    view = found.view
    if not view.clean.any():
        raise ValueError(
            f"Photograph {found.photo.photo} outlines no clean stone, so there is nothing to aim "
            "at. Give clean_stone in its record."
        )
    aim = appearance_of(view.lab, view.clean)
    agreed = agreed_appearance(view.lab, view.in_zone.astype(int), {1: aim}, cleanliness)
    later = resoiled(agreed, view.lab, years=years, half_time_years=half_time_years)
    return list(draw_preview(rgb_of(view.lab), rgb_of(agreed), rgb_of(later), years=years))

"""What a photograph says of one zone: where it was measured, how far from clean, how covered."""

from __future__ import annotations

import numpy as np

from heritagecheck.cards import Picture
from heritagecheck.evidence.photograph import (
    PhotographedZone,
    agreed_appearance,
    appearance_of,
    resoiled,
    rgb_of,
)
from heritagecheck.figures.photograph import draw_cover, draw_difference_map, draw_photograph
from heritagecheck.figures.preview import draw_preview
from heritagecheck.figures.svg import beside

# Two beside each other at most: on a tablet the words of three would be too small.
PART = 440.0  # pixel, width of one


def draw_photographed(found: PhotographedZone) -> Picture:
    """
    Photograph of a zone, its difference from clean stone, and what counts as soiled.

    Parameters
    ----------
    found : PhotographedZone
        As `heritagecheck.photograph.measure` gives it.

    Returns
    -------
    Picture
        The photograph alone where no clean stone is outlined. Look at it first for whether
        outline, clean stone and chart lie where they lie on the wall.
    """
    view, cover = found.view, found.cover
    rgb = rgb_of(view.lab)
    clean = {"clean stone": [np.array(found.photo.clean_outline) / view.cell]}
    outlines = view.outlines | (clean if found.photo.clean_outline else {})
    drawn = [
        draw_photograph(
            rgb, outlines=outlines, chart=found.calibration.corners / view.cell, width=PART
        )
    ]
    if cover is not None and view.difference is not None and view.soiled is not None:
        drawn += [
            draw_difference_map(view.difference, pixel_mm=view.pixel_mm, width=PART),
            draw_cover(
                rgb, view.soiled, share=cover.share, low=cover.low, high=cover.high, width=PART
            ),
        ]
    return beside(drawn, 2, f"{found.photo.photo}: {' '.join(one.alt for one in drawn)}")


def draw_if_cleaned(
    found: PhotographedZone, *, cleanliness: float, years: float, half_time_years: float
) -> Picture:
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
    Picture
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
    return draw_preview(rgb_of(view.lab), rgb_of(agreed), rgb_of(later), years=years)

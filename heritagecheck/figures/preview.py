"""Today, the agreed appearance and years later side by side: simulations that say they are."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.cards import Picture
from heritagecheck.evidence.colour.colour_difference import rgb_of
from heritagecheck.evidence.photograph.preview import (
    agreed_appearance,
    appearance_of,
    resoiled,
)
from heritagecheck.evidence.photograph.zone_photograph import PhotographedZone
from heritagecheck.figures.photo_frame import checked_rgb, image, photographed, reduced
from heritagecheck.figures.svg import (
    DARK,
    FONT,
    LETTERS,
    LIGHT,
    LINE,
    beside,
    element,
    picture,
    text,
    width_of,
    wrapped,
)

TODAY = "photograph, today"
WIDTH, GAP, HIGHEST = 960.0, 12.0, 560.0  # pixel
LONGEST = 800  # pixels of a photograph along its longer side
SLOPE, VEIL, EDGE = 30, 120, 70  # degrees; opacity of the word and of its edge, of 255


def draw_preview(
    before_rgb: ArrayLike,
    after_rgb: ArrayLike,
    later_rgb: ArrayLike | None = None,
    *,
    years: float | None = None,
) -> Picture:
    """Photograph of today beside simulations of the agreed appearance and of years later."""
    if (later_rgb is None) != (years is None):
        raise ValueError("later_rgb and years belong together: give both, or neither.")
    if years is not None and not (math.isfinite(years) and years > 0):
        raise ValueError(f"years = {years:g} must be a time above 0.")
    given = {"before_rgb": before_rgb, "after_rgb": after_rgb}
    words = [TODAY, "simulation: as agreed"]
    if later_rgb is not None:
        given["later_rgb"] = later_rgb
        words.append(f"simulation: {years:g} years later")
    pictures = [checked_rgb(picture, name) for name, picture in given.items()]
    shapes = {picture.shape for picture in pictures}
    if len(shapes) > 1:
        raise ValueError(
            f"The pictures have the shapes {', '.join(map(str, sorted(shapes)))}: all must be the "
            "same view."
        )
    room = (WIDTH - GAP * (len(pictures) - 1)) / len(pictures)
    drawn = [_shown(one, word, room) for one, word in zip(pictures, words, strict=True)]
    return beside(drawn, len(drawn), f"Side by side: {', '.join(words)}.")


def _shown(pixels: NDArray[np.uint8], words: str, room: float) -> Picture:
    """One picture with what it is in its corner; across the middle too where it is simulated."""
    small = reduced(pixels, LONGEST)
    simulated = words != TODAY
    high = min(room * pixels.shape[0] / pixels.shape[1], HIGHEST)
    wide = high * pixels.shape[1] / pixels.shape[0]
    address = photographed(_burnt_in(small) if simulated else small)
    lines = wrapped(words, wide - 20)
    plate = max(width_of(line) for line in lines) + 10
    return picture(
        room, high, words,
        image(address, wide, high, sharp=small.shape[1] < wide),
        element("rect", x=0.5, y=0.5, width=wide - 1, height=high - 1, fill="none", stroke=LINE),
        element("rect", x=6.0, y=6.0, width=plate, height=16.0 * len(lines) + 4, fill=LIGHT,
                stroke=DARK, stroke_width=0.8),
        *(text(11, 21 + 16 * place, line, font_size=LETTERS) for place, line in enumerate(lines)),
    )  # fmt: skip


def _burnt_in(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Picture with the word simulation slanting across its pixels, light with a dark edge."""
    from PIL import Image, ImageDraw, ImageFont

    rows, columns = pixels.shape[:2]
    font = ImageFont.truetype(FONT, max(min(columns / 6, rows / 3), 1))
    shown = Image.fromarray(pixels)
    for shade, opacity, edge in ((DARK, EDGE, 2), (LIGHT, VEIL, 0)):
        layer = Image.new("L", (2 * columns, 2 * rows))
        ImageDraw.Draw(layer).text(
            (columns, rows), "simulation", opacity, font, "mm", stroke_width=edge
        )
        turned = layer.rotate(SLOPE, Image.Resampling.BICUBIC)
        left, top = columns // 2, rows // 2
        shown.paste(shade, mask=turned.crop((left, top, left + columns, top + rows)))
    return np.asarray(shown)


def draw_if_cleaned(
    found: PhotographedZone, *, cleanliness: float, years: float, half_time_years: float
) -> Picture:
    """Simulate a photographed zone as it might look cleaned as agreed, and years later."""
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

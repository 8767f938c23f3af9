"""Photographs that measure: chart and zones in them, what differs, what is soiled, a preview."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from heritagecheck.cards import Picture
from heritagecheck.evidence.colour.colour_difference import rgb_of
from heritagecheck.evidence.photograph.preview import (
    agreed_appearance,
    appearance_of,
    resoiled,
)
from heritagecheck.evidence.photograph.zone_photograph import PhotographedZone
from heritagecheck.figures.photo_frame import (
    BESIDE,
    FloatArray,
    Outlines,
    View,
    averaged,
    cased,
    colour_scale,
    coloured,
    false_colours,
    framed,
    image,
    levelled,
    marked,
    outlined,
    photographed,
    reduced,
    scale_bar,
    unseen_entry,
)
from heritagecheck.figures.svg import (
    DARK,
    FONT,
    LETTERS,
    LIGHT,
    LINE,
    PART,
    Entry,
    beside,
    element,
    group,
    number,
    path,
    picture,
    text,
    width_of,
    wrapped,
)

SOILED = "#8a4f0a"
STRIPES = 70  # to the longer side of a picture


def draw_difference_map(difference: FloatArray, *, pixel_mm: float) -> Picture:
    """Colour difference [CIEDE2000] pixel by pixel, in false colour; NaN where not measured."""
    view = View(difference.shape, PART, counted=False, right=BESIDE)
    shown = averaged(difference, lambda block: np.asarray(block, dtype=float), view.side)
    seen = shown[np.isfinite(shown)]
    # Of a hundred pixels one may lie beyond the scale, whose end is round.
    top = float(max(1, math.ceil(np.percentile(seen, 99))))
    whole = seen.size == shown.size
    drawn = [*coloured(view, shown / top, false_colours()), scale_bar(view, pixel_mm)]
    return framed(
        view, drawn, unseen_entry(shown),
        f"Colour difference pixel by pixel, from 0 to {top:g} ΔE00"
        f"{'' if whole else '; parts of it were not seen'}.",
        colour_scale(view, 0.0, top, "colour difference [ΔE00]", above=bool(seen.max() > top)),
    )  # fmt: skip


def draw_cover(
    photograph_rgb: NDArray[np.uint8],
    soiled: NDArray[np.bool_],
    share: float,
    low: float,
    high: float,
) -> Picture:
    """What counts as soiled, tinted and striped over the lightened photograph, and its share."""
    view = View(soiled.shape, PART)
    paled = 255 - (255 - reduced(photograph_rgb, view.side).astype(float)) * 0.55
    part = averaged(soiled, lambda block: np.asarray(block, dtype=float), view.side)
    tint = np.tile(np.array([0x8A, 0x4F, 0x0A], dtype=np.uint8), (256, 1))
    drawn = [
        view.image(photographed(paled.astype(np.uint8)), part.shape),
        view.image(levelled(_striped(part), tint, np.arange(256, dtype=np.uint8)), part.shape),
    ]
    words = f"soiled: {100 * share:.0f} % ({100 * low:.0f} to {100 * high:.0f} %)"
    return framed(view, drawn, [Entry(words, _tinted)], f"What counts as soiled: {words}.")


def draw_photograph(
    photograph_rgb: NDArray[np.uint8], outlines: Outlines, chart: FloatArray
) -> Picture:
    """
    Photograph with the zones and the colour chart as they were found in it.

    `outlines` holds the rings of each zone, `chart` its four corners, the first at its first patch,
    all as x and y. [pixel]
    """
    view = View(photograph_rgb.shape, PART)
    small = reduced(photograph_rgb, view.side)
    corners = (view.scale * chart).tolist()
    drawn = [
        view.image(photographed(small), small.shape),
        *outlined(view, outlines, chart),
        group("chart as found", cased(view.through(chart)), marked("square", corners)),
        group("its first patch", marked("diamond", corners[:1])),
    ]
    entries = [
        Entry("chart as found", _chart),
        Entry("its first patch", lambda x, y: marked("diamond", [(x, y)])),
    ]
    zones = f" of {', '.join(outlines)}" if outlines else ""
    alt = f"Photograph{zones} and the colour chart as it was found."
    return framed(view, drawn, entries, alt)


def _chart(x: float, y: float) -> str:
    """Sample of the line around a chart."""
    return cased(f"M{number(x - 10)} {number(y)}h20") + marked("square", [(x, y)])


def _tinted(x: float, y: float) -> str:
    """Sample of what counts as soiled."""
    steps = "".join(f"M{number(x - 10 + 5 * part)} {number(y + 6)}l6 -12" for part in range(3))
    return element("rect", x=x - 10, y=y - 6, width=20.0, height=12.0, fill=SOILED,
                   fill_opacity=0.45, stroke=SOILED) + path(steps, stroke=SOILED)  # fmt: skip


def _striped(part: FloatArray) -> NDArray[np.uint8]:
    """Opacity of a tint with slanting stripes, as strong as a pixel is soiled."""
    rows, columns = np.indices(part.shape)
    period = max(6, max(part.shape) // STRIPES)
    stripe = (rows + columns) % period < max(2, period // 4)
    return np.asarray((255 * part * np.where(stripe, 0.95, 0.4)).round(), dtype=np.uint8)


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
    drawn = [draw_photograph(rgb, outlines, found.calibration.corners / view.cell)]
    if cover is not None and view.difference is not None and view.soiled is not None:
        drawn += [
            draw_difference_map(view.difference, pixel_mm=view.pixel_mm),
            draw_cover(rgb, view.soiled, cover.share, cover.low, cover.high),
        ]
    return beside(drawn, 2, f"{found.photo.photo}: {' '.join(one.alt for one in drawn)}")


# -- Today, as agreed and years later: simulations that say they are -------------------------------

TODAY = "photograph, today"
ROW_WIDE, GAP, HIGHEST = 960.0, 12.0, 560.0  # pixel
LONGEST = 800  # pixels of a photograph along its longer side
SLOPE, VEIL, EDGE = 30, 120, 70  # degrees; opacity of the word and of its edge, of 255


def draw_preview(
    before_rgb: NDArray[np.uint8],
    after_rgb: NDArray[np.uint8],
    later_rgb: NDArray[np.uint8],
    years: float,
) -> Picture:
    """Photograph of today with simulations of the agreed appearance and of years later."""
    pictures = [before_rgb, after_rgb, later_rgb]
    words = [TODAY, "simulation: as agreed", f"simulation: {years:g} years later"]
    room = (ROW_WIDE - GAP * (len(pictures) - 1)) / len(pictures)
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
    return draw_preview(rgb_of(view.lab), rgb_of(agreed), rgb_of(later), years)

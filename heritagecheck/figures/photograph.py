"""Photographs that measure: chart and zones in them, what differs, what is soiled, a preview."""

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
from heritagecheck.figures.photo_frame import (
    BESIDE,
    WIDTH,
    FloatArray,
    Outlines,
    View,
    averaged,
    cased,
    checked_rgb,
    colour_scale,
    coloured,
    false_colours,
    framed,
    image,
    levelled,
    marked,
    outlined,
    photographed,
    points_in,
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


def draw_difference_map(
    difference: ArrayLike,
    *,
    pixel_mm: float | None = None,
    outlines: Outlines | None = None,
    limit: float | None = None,
    width: float = WIDTH,
) -> Picture:
    """
    Colour difference pixel by pixel, in false colour.

    Parameters
    ----------
    difference : array_like, shape (rows, columns)
        Colour difference, NaN where nothing was seen. [CIEDE2000]
    pixel_mm : float, optional
        Size of a pixel at the wall; a scale bar then stands in place of the axes. [mm]
    outlines : mapping of str to sequence of array_like, optional
        For each zone its rings, each of shape (n, 2), as x and y in the picture. [pixel]
    limit : float, optional
        Difference at the upper end of the scale; larger ones look like it. Without it, the 99th
        percentile of what is drawn, rounded up. [CIEDE2000]
    width : float
        Width of the whole. [pixel]

    Returns
    -------
    Picture

    Raises
    ------
    ValueError
        `difference` is no picture, holds a negative value or nothing seen; `pixel_mm` or `limit`
        is not above 0; a ring is none.
    """
    values = np.asanyarray(difference)
    if values.ndim != 2 or not values.size:
        raise ValueError(f"difference has shape {values.shape}: one number a pixel is expected.")
    _check_positive(pixel_mm=pixel_mm, limit=limit)
    view = View(values.shape, width, counted=pixel_mm is None, right=BESIDE)
    shown = averaged(values, lambda block: np.asarray(block, dtype=float), view.side)
    seen = shown[np.isfinite(shown)]
    if not seen.size:
        raise ValueError("difference holds no number: the photograph shows nothing to compare.")
    if seen.min() < 0:
        raise ValueError(f"difference holds {seen.min():.3g}: a colour difference is 0 or more.")
    top = float(limit or max(1, math.ceil(np.percentile(seen, 99))))
    whole = seen.size == shown.size
    drawn = [
        *coloured(view, shown / top, false_colours()),
        *outlined(view, outlines),
        "" if pixel_mm is None else scale_bar(view, pixel_mm),
    ]
    return framed(
        view, drawn, unseen_entry(shown),
        f"Colour difference pixel by pixel, from 0 to {top:g} ΔE00"
        f"{'' if whole else '; parts of it were not seen'}.",
        colour_scale(view, 0.0, top, "colour difference [ΔE00]", above=bool(seen.max() > top)),
    )  # fmt: skip


def draw_cover(
    photograph_rgb: ArrayLike,
    mask: ArrayLike,
    *,
    share: float | None = None,
    low: float | None = None,
    high: float | None = None,
    outlines: Outlines | None = None,
    width: float = WIDTH,
) -> Picture:
    """
    What counts as soiled, tinted and striped over the lightened photograph.

    Parameters
    ----------
    photograph_rgb : array_like of uint8, shape (rows, columns, 3)
        The photograph as sRGB.
    mask : array_like of bool, shape (rows, columns)
        Where it is soiled.
    share, low, high : float, optional
        Soiled share of the zone and its interval, as they were computed. [0 to 1]
    outlines : mapping of str to sequence of array_like, optional
        As for `draw_difference_map`: the share is that of a zone, seldom of the whole picture.
    width : float
        Width of the whole. [pixel]

    Returns
    -------
    Picture

    Raises
    ------
    ValueError
        The photograph is no 8-bit sRGB, the mask shows other pixels, the interval is not whole or
        not in order, or a ring is none.
    """
    photograph, where = checked_rgb(photograph_rgb, "photograph_rgb"), np.asanyarray(mask)
    if where.shape != photograph.shape[:2] or where.dtype != np.bool_:
        raise ValueError(
            f"mask must hold one bool a pixel, shape {photograph.shape[:2]}; it has shape "
            f"{where.shape} and type {where.dtype}."
        )
    words = _cover_words(share, low, high)
    view = View(photograph.shape, width)
    paled = 255 - (255 - reduced(photograph, view.side).astype(float)) * 0.55
    part = averaged(where, lambda block: np.asarray(block, dtype=float), view.side)
    tint = np.tile(np.array([0x8A, 0x4F, 0x0A], dtype=np.uint8), (256, 1))
    drawn = [
        view.image(photographed(paled.astype(np.uint8)), part.shape),
        view.image(levelled(_striped(part), tint, np.arange(256, dtype=np.uint8)), part.shape),
        *outlined(view, outlines),
    ]
    return framed(view, drawn, [Entry(words, _tinted)], f"What counts as soiled: {words}.")


def draw_photograph(
    photograph_rgb: ArrayLike,
    *,
    outlines: Outlines | None = None,
    chart: ArrayLike | None = None,
    width: float = WIDTH,
) -> Picture:
    """
    Photograph with the zones and the colour chart as they were found in it.

    Parameters
    ----------
    photograph_rgb : array_like of uint8, shape (rows, columns, 3)
        The photograph as sRGB.
    outlines : mapping of str to sequence of array_like, optional
        As for `draw_difference_map`.
    chart : array_like, shape (4, 2), optional
        Corners of the chart, x and y in order around it, the first at its first patch. [pixel]
    width : float
        Width of the whole. [pixel]

    Returns
    -------
    Picture

    Raises
    ------
    ValueError
        The photograph is no 8-bit sRGB, or the points or rings are none.
    """
    photograph = checked_rgb(photograph_rgb, "photograph_rgb")
    corners = None if chart is None else points_in(chart, "chart")
    if corners is not None and len(corners) != 4:
        raise ValueError(f"chart has {len(corners)} points: a chart has four corners.")
    view = View(photograph.shape, width)
    small = reduced(photograph, view.side)
    drawn = [view.image(photographed(small), small.shape), *outlined(view, outlines, corners)]
    entries = []
    if corners is not None:
        drawn += [
            group(
                "chart as found",
                cased(view.through(corners)),
                marked("square", (view.scale * corners).tolist()),
            ),
            group("its first patch", marked("diamond", (view.scale * corners[:1]).tolist())),
        ]
        entries += [
            Entry("chart as found", _chart),
            Entry("its first patch", lambda x, y: marked("diamond", [(x, y)])),
        ]
    zones = f" of {', '.join(outlines)}" if outlines else ""
    chart_words = " and the colour chart as it was found" if corners is not None else ""
    return framed(view, drawn, entries, f"Photograph{zones}{chart_words}.")


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


def _cover_words(share: float | None, low: float | None, high: float | None) -> str:
    """Legend of what is soiled, with its share where that is given."""
    if (low is None) != (high is None) or (share is None and low is not None):
        raise ValueError("An interval needs its share, and both ends: give share, low and high.")
    if share is None:
        return "soiled"
    ends = (share, share) if low is None or high is None else (low, high)
    if not 0 <= ends[0] <= share <= ends[1] <= 1:
        raise ValueError(
            f"share = {share:g} with the interval {ends[0]:g} to {ends[1]:g}: shares run from 0 to "
            "1, and the share lies within its interval."
        )
    words = f"soiled: {100 * share:.0f} %"
    return words if low is None else f"{words} ({100 * ends[0]:.0f} to {100 * ends[1]:.0f} %)"


def _check_positive(**settings: float | None) -> None:
    """Refuse sizes that are none."""
    for name, value in settings.items():
        if value is not None and not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} = {value:g} must be a finite number above 0.")


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


# -- Today, as agreed and years later: simulations that say they are -------------------------------

TODAY = "photograph, today"
ROW_WIDE, GAP, HIGHEST = 960.0, 12.0, 560.0  # pixel
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
    return draw_preview(rgb_of(view.lab), rgb_of(agreed), rgb_of(later), years=years)

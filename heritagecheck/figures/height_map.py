"""Height maps: relief under slanting light, depth that a trial removed, profiles through them."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.cards import Picture
from heritagecheck.evidence.surface.height_map import as_heights, as_pixel, take_off_form
from heritagecheck.evidence.surface.material_loss import DepthRemoved
from heritagecheck.evidence.surface.treated_edge import EdgeProfile
from heritagecheck.figures.photo_frame import (
    BESIDE,
    WIDTH,
    FloatArray,
    Outlines,
    View,
    averaged,
    colour_scale,
    coloured,
    false_colours,
    framed,
    outlined,
    scale_bar,
    unseen_entry,
)
from heritagecheck.figures.svg import (
    DARK,
    PART,
    UNSEEN,
    Entry,
    Scale,
    axes,
    element,
    group,
    number,
    path,
    plotted,
    through,
    written,
)
from heritagecheck.survey.drawings.pictures import as_jpeg

LIT = 1 / 3  # slope, after exaggeration, of a usual flank: light falls from 45 degrees
STEEPEST = 200.0  # times that relief is exaggerated at most


def draw_relief(
    heights_um: ArrayLike,
    pixel_um: float | tuple[float, float],
    *,
    outlines: Outlines | None = None,
    width: float = PART,
) -> Picture:
    """
    Relief of a height map as slanting light from the top left would show it.

    Parameters
    ----------
    heights_um : array_like, shape (rows, columns)
        Heights; NaN where nothing was measured. [µm]
    pixel_um : float or tuple of two floats
        Pixel size; or its sizes along a row and along a column. [µm]
    outlines : mapping of str to sequence of array_like, optional
        Rings to draw, each of shape (n, 2), as x and y in the map, such as the treated square.
        [pixel]
    width : float
        Width of the whole. [pixel]

    Returns
    -------
    Picture
        Its words say how much the heights are exaggerated.

    Raises
    ------
    ValueError
        No map of numbers, or a pixel size of 0 or less.

    Examples
    --------
    >>> import numpy as np
    >>> import heritagecheck as hc
    >>> ridges = 10 * np.cos(np.arange(200) / 8) * np.ones((120, 1))
    >>> print(hc.figures.draw_relief(ridges, 5.0))
    Relief of 1 × 0.6 mm under light from the top left, heights exaggerated 1.9 times.
    """
    heights, pixel = as_heights("heights_um", heights_um, 2), as_pixel(pixel_um)
    view, shown, side_um = _seen(heights, pixel, width)
    light, times = _lit(shown, side_um)
    grey = np.repeat(np.arange(256, dtype=np.uint8)[:, np.newaxis], 3, axis=1)
    drawn = [
        *coloured(view, light, grey),
        *outlined(view, _scaled(outlines, view, heights)),
        scale_bar(view, side_um / 1000),
    ]
    return framed(
        view, drawn, unseen_entry(shown),
        f"Relief of {_extent(heights.shape, pixel)} under light from the top left, "
        f"{_times(times)}.",
    )  # fmt: skip


def relief_jpeg(heights_um: ArrayLike, pixel_um: float | tuple[float, float]) -> bytes:
    """The relief without anything on it, as JPEG: a ground on which places are marked."""
    from PIL import Image

    heights, pixel = as_heights("heights_um", heights_um, 2), as_pixel(pixel_um)
    _, shown, side_um = _seen(heights, pixel, WIDTH)
    light, _ = _lit(shown, side_um)
    grey = (255 * np.where(np.isfinite(light), light, 1.0)).round().astype(np.uint8)
    return as_jpeg(Image.fromarray(grey))


def _lit(shown: FloatArray, side_um: float) -> tuple[FloatArray, float]:
    """Light on a relief from the top left, 0 to 1, and how much the heights are exaggerated."""
    if np.isfinite(shown).any():
        take_off_form(shown, "plane")
    down, across = (part / side_um for part in np.gradient(shown))
    slope = float(np.sqrt(np.nanmean(across**2 + down**2))) if np.isfinite(across).any() else 0.0
    times = min(max(LIT / slope, 1.0), STEEPEST) if slope else 1.0
    # Lambert's law: light at 45 degrees from the top left on a face of this slope.
    facing = (times * (across + down) / math.sqrt(2) + 1) / math.sqrt(2)
    light = facing / np.sqrt(1 + times**2 * (across**2 + down**2))
    return light.clip(0, 1), times


def draw_depth(
    found: DepthRemoved,
    pixel_um: float | tuple[float, float],
    *,
    outlines: Outlines | None = None,
    width: float = PART,
) -> Picture:
    """
    Depth that a trial removed, pixel by pixel, in false colour.

    Parameters
    ----------
    found : DepthRemoved
        As `heritagecheck.surface.depth_removed` gives it.
    pixel_um : float or tuple of two floats
        Pixel size; or its sizes along a row and along a column. [µm]
    outlines : mapping of str to sequence of array_like, optional
        Rings to draw, each of shape (n, 2), as x and y in the first map. [pixel]
    width : float
        Width of the whole. [pixel]

    Returns
    -------
    Picture

    Raises
    ------
    ValueError
        A pixel size of 0 or less.

    Examples
    --------
    >>> import heritagecheck as hc
    >>> found = hc.surface.depth_removed([[9.0, 8.0], [7, 9]], [[5.0, 6.0], [5, 7]], pixel_um=9)
    >>> print(hc.figures.draw_depth(found, 9.0))
    Depth removed, from 0 to 4 µm. 2.5 µm lost on average, if both maps have one datum.
    """
    pixel = as_pixel(pixel_um)
    view, shown, side_um = _seen(found.depth_map_um, pixel, width, right=BESIDE)
    seen = shown[np.isfinite(shown)]
    low, high = (float(end) for end in np.percentile(seen, [1, 99]))
    # Nothing lost is always on the scale, and the ends are round.
    step = _round_step(max(high, 0.0) - min(low, 0.0) or 1.0)
    low, high = step * math.floor(min(low, 0.0) / step), step * math.ceil(max(high, step) / step)
    return framed(
        view,
        [*coloured(view, (shown - low) / (high - low), false_colours()),
         *outlined(view, _scaled(outlines, view, found.depth_map_um)),
         scale_bar(view, side_um / 1000)],
        unseen_entry(shown),
        f"Depth removed, from {written(low)} to {written(high)} µm. {found}.",
        colour_scale(view, low, high, "depth removed [µm]", below=bool(seen.min() < low),
                     above=bool(seen.max() > high)),
    )  # fmt: skip


def draw_edge(found: EdgeProfile) -> Picture:
    """Mean profile across the border of a treated square, with its interval."""
    across = Scale(float(found.distance_um[0]), float(found.distance_um[-1]), 0, 1)
    ends = np.concatenate([found.low_um, found.high_um])
    across, up = axes(across.low, across.high, ends[np.isfinite(ends)])
    seen = np.isfinite(found.low_um) & np.isfinite(found.high_um)
    place = found.distance_um[seen]
    band = np.concatenate([
        np.stack([place, found.low_um[seen]], axis=1),
        np.stack([place, found.high_um[seen]], axis=1)[::-1],
    ])  # fmt: skip
    profile = np.stack([found.distance_um, found.height_um], axis=1)
    drawn = [
        group("interval", path(through(band, across, up, closed=True), fill=UNSEEN)),
        group("border", path(f"M{number(across(0))} {number(up.start)}V{number(up.end)}",
                             stroke=DARK, stroke_dasharray="4 3")),
        group("mean height", path(through(profile[np.isfinite(profile[:, 1])], across, up),
                                  stroke=DARK, stroke_width=2.0)),
    ]  # fmt: skip
    entries = [
        Entry("mean height", lambda x, y: path(f"M{number(x - 10)} {number(y)}h20", stroke=DARK,
                                               stroke_width=2.0)),
        Entry(f"its {100 * found.level:g} % interval",
              lambda x, y: element("rect", x=x - 10, y=y - 6, width=20.0, height=12.0,
                                   fill=UNSEEN)),
        Entry("border", lambda x, y: path(f"M{number(x)} {number(y - 7)}v14", stroke=DARK,
                                          stroke_dasharray="4 3")),
    ]  # fmt: skip
    return plotted(
        drawn, entries, across, up,
        ("from the border [µm], treated to the right", "height [µm]"),
        f"Profile across the border of a treated square. {found}.",
    )  # fmt: skip


def draw_profile(heights_um: ArrayLike, step_um: float) -> Picture:
    """A stylus profile as it was measured."""
    heights = as_heights("heights_um", heights_um, 1).astype(np.float64)
    long_um = heights.size * step_um
    unit, size = ("mm", 1000.0) if long_um >= 2000 else ("µm", 1.0)
    place = np.arange(heights.size) * step_um / size
    seen = np.isfinite(heights)
    across, up = axes(0.0, float(place[-1]), heights[seen])
    drawn = [
        path(through(part, across, up), stroke=DARK, stroke_width=1.2)
        for part in _thinned(np.stack([place, heights], axis=1))
    ]
    low, high = (written(float(f"{end:.3g}")) for end in (heights[seen].min(), heights[seen].max()))
    return plotted(
        [group("height", *drawn)], [], across, up,
        (f"along the line [{unit}]", "height [µm]"),
        f"Profile over {long_um / size:.3g} {unit}, from {low} to {high} µm.",
    )  # fmt: skip


# -- Pixels ----------------------------------------------------------------------------------------


def _seen(
    heights: NDArray[np.floating], pixel_um: tuple[float, float], width: float, right: float = 1.0
) -> tuple[View, FloatArray, float]:
    """How a map is drawn, with square pixels: its view, its means there, and how wide one is."""
    side_um = min(pixel_um)
    if pixel_um[0] != pixel_um[1]:
        rows, columns = (
            np.arange(round(length * size / side_um)) * side_um / size
            for length, size in zip(heights.shape, pixel_um[::-1], strict=True)
        )
        heights = heights[np.ix_(rows.astype(int), columns.astype(int))]
    view = View(heights.shape, width, counted=False, right=right)
    shown = averaged(heights, lambda block: np.asarray(block, dtype=float), view.side)
    # A few pixels left at the end of a row make a column of their own.
    step = math.ceil(max(heights.shape) / view.side)
    return View(shown.shape, width, counted=False, right=right), shown, side_um * step


def _scaled(
    outlines: Outlines | None, view: View, heights: NDArray[np.floating]
) -> dict[str, list[FloatArray]]:
    """Rings in the pixels that are drawn; a pixel's middle is a whole number in the map."""
    ratio = np.array(view.shape[::-1]) / np.array(heights.shape[::-1])
    return {
        name: [(np.asarray(ring, dtype=float) + 0.5) * ratio for ring in rings]
        for name, rings in (outlines or {}).items()
    }


def _extent(shape: tuple[int, ...], pixel_um: tuple[float, float]) -> str:
    """Width and height of a field in words."""
    sides = [shape[1] * pixel_um[0], shape[0] * pixel_um[1]]
    unit, size = ("mm", 1000.0) if max(sides) >= 1000 else ("µm", 1.0)
    return " × ".join(f"{side / size:.3g}" for side in sides) + f" {unit}"


def _times(times: float) -> str:
    """How far heights are exaggerated, in as many digits as mean anything."""
    return "heights as they are" if times < 1.05 else f"heights exaggerated {times:.2g} times"


def _round_step(span: float) -> float:
    """Round step of which about eight make up a span."""
    whole = 10.0 ** math.floor(math.log10(span / 8))
    return next(part * whole for part in (1, 2, 5, 10) if part * whole >= span / 8)


# -- Lines -----------------------------------------------------------------------------------------


def _thinned(points: FloatArray) -> Iterator[FloatArray]:
    """Pieces of a line between its gaps; of many points the lowest and highest of each pixel."""
    step = max(1, len(points) // (2 * round(PART)))
    if step > 1:
        groups = points[: len(points) // step * step].reshape(-1, step, 2)
        ends = [np.fmin.reduce(groups[:, :, 1], axis=1), np.fmax.reduce(groups[:, :, 1], axis=1)]
        points = np.stack([np.repeat(groups[:, 0, 0], 2), np.stack(ends, axis=1).ravel()], axis=1)
    gaps = np.flatnonzero(~np.isfinite(points[:, 1]))
    for part in np.split(points, gaps):
        known = part[np.isfinite(part[:, 1])]
        if len(known) > 1:
            yield known

"""Photographs that measure: zones and chart found in them, the difference map, what is soiled."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.survey.instruments.photo_file import srgb_light

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Outlines = Mapping[str, Sequence[ArrayLike]]
Image = NDArray[Any]

LARGEST_SIDE = 1200  # pixels that are drawn at most: a page or a screen shows no more
SCALE = "cividis"  # even steps look even, to colour-blind readers too
DARK, LIGHT, UNSEEN, SOILED = "#1d1d1b", "#ffffff", "#e4dfd3", "#8a4f0a"
STRIPES = 70  # to the longer side of a picture

# Pixels are averaged as light, not as code.
_LIGHT = srgb_light(8)
_BETWEEN = (_LIGHT[1:] + _LIGHT[:-1]) / 2


def draw_difference_map(
    difference: ArrayLike,
    *,
    pixel_mm: float | None = None,
    outlines: Outlines | None = None,
    limit: float | None = None,
    ax: Axes | None = None,
) -> Axes:
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
    ax : matplotlib Axes, optional
        Where to draw.

    Returns
    -------
    matplotlib Axes

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
    shown = _averaged(values, lambda block: np.asarray(block, dtype=float))
    seen = shown[np.isfinite(shown)]
    if not seen.size:
        raise ValueError("difference holds no number: the photograph shows nothing to compare.")
    if seen.min() < 0:
        raise ValueError(f"difference holds {seen.min():.3g}: a colour difference is 0 or more.")
    top = float(limit or max(1, math.ceil(np.percentile(seen, 99))))
    ax = _canvas(values, ax)
    if seen.size < shown.size:
        _mark_unseen(values.shape, ax)
    image = ax.imshow(
        np.ma.masked_invalid(shown), cmap=SCALE, vmin=0, vmax=top, extent=_extent(values)
    )
    # Beside the picture itself: a colour bar of its own axes would be as tall as the figure.
    ax.figure.colorbar(
        image, cax=ax.inset_axes((1.02, 0, 0.03, 1)), label="colour difference [ΔE00]",
        extend="max" if seen.max() > top else "neither",
    )  # fmt: skip
    _draw_outlines(ax, outlines)
    if pixel_mm is not None:
        _draw_scale(ax, values.shape[1], pixel_mm)
    _draw_key(ax)
    return ax


def draw_cover(
    photograph_rgb: ArrayLike,
    mask: ArrayLike,
    *,
    share: float | None = None,
    low: float | None = None,
    high: float | None = None,
    outlines: Outlines | None = None,
    ax: Axes | None = None,
) -> Axes:
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
    ax : matplotlib Axes, optional
        Where to draw.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        The photograph is no 8-bit sRGB, the mask shows other pixels, the interval is not whole or
        not in order, or a ring is none.
    """
    from matplotlib.patches import Patch

    photograph, where = checked_rgb(photograph_rgb, "photograph_rgb"), np.asanyarray(mask)
    if where.shape != photograph.shape[:2] or where.dtype != np.bool_:
        raise ValueError(
            f"mask must hold one bool a pixel, shape {photograph.shape[:2]}; it has shape "
            f"{where.shape} and type {where.dtype}."
        )
    words = _cover_words(share, low, high)
    ax = _canvas(photograph, ax)
    paled = 255 - (255 - reduced(photograph).astype(float)) * 0.55
    ax.imshow(paled.astype(np.uint8), extent=_extent(photograph))
    part = _averaged(where, lambda block: np.asarray(block, dtype=float))
    ax.imshow(_striped(part), extent=_extent(photograph))
    _draw_outlines(ax, outlines)
    tint = Patch(facecolor=f"{SOILED}73", edgecolor=SOILED, hatch="////", label=words)
    _draw_key(ax, [tint])
    return ax


def draw_photograph(
    photograph_rgb: ArrayLike,
    *,
    outlines: Outlines | None = None,
    chart: ArrayLike | None = None,
    patches: ArrayLike | None = None,
    ax: Axes | None = None,
) -> Axes:
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
    patches : array_like, shape (n, 2), optional
        Middles of its patches. [pixel]
    ax : matplotlib Axes, optional
        Where to draw.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        The photograph is no 8-bit sRGB, or the points or rings are none.
    """
    photograph = checked_rgb(photograph_rgb, "photograph_rgb")
    ax = _canvas(photograph, ax)
    ax.imshow(reduced(photograph), extent=_extent(photograph))
    corners = None if chart is None else _points(chart, "chart")
    _draw_outlines(ax, outlines, corners)
    if corners is not None:
        if len(corners) != 4:
            raise ValueError(f"chart has {len(corners)} points: a chart has four corners.")
        ring = np.concatenate([corners, corners[:1]])
        ax.plot(
            *ring.T, "s-", color=LIGHT, markeredgecolor=DARK, markersize=5, linewidth=1.4,
            path_effects=_cased(2.8), label="chart as found",
        )  # fmt: skip
        ax.plot(*corners[0], "D", color=DARK, markeredgecolor=LIGHT, markersize=7,
                label="its first patch")  # fmt: skip
    if patches is not None:
        ax.plot(
            *_points(patches, "patches").T, "+", color=LIGHT, markersize=5, markeredgewidth=1.1,
            path_effects=_cased(2.4), label="middle of a patch",
        )  # fmt: skip
    _draw_key(ax)
    return ax


def reduced(picture_rgb: Image) -> NDArray[np.uint8]:
    """
    Picture small enough to draw, each pixel the mean light of those it stands for.

    Parameters
    ----------
    picture_rgb : numpy.ndarray of uint8, shape (rows, columns, 3)
        sRGB; read strip by strip, so that it may lie on disk.

    Returns
    -------
    numpy.ndarray of uint8, shape (fewer rows, fewer columns, 3)
        No side is longer than 1200 pixels.
    """
    light = _averaged(picture_rgb, lambda block: _LIGHT[block])
    return np.searchsorted(_BETWEEN, light).astype(np.uint8)


def _averaged(image: Image, read: Callable[[Image], Image]) -> NDArray[np.float64]:
    """Means over squares of pixels, as large as drawing needs them; NaN is left out of them."""
    step = math.ceil(max(image.shape[:2]) / LARGEST_SIDE)
    if step == 1:
        return read(image)
    columns = np.arange(0, image.shape[1], step)
    rows = []
    for top in range(0, image.shape[0], step):
        strip = read(image[top : top + step])
        seen = np.isfinite(strip)
        total = np.add.reduceat(np.where(seen, strip, 0).sum(axis=0), columns, axis=0)
        count = np.add.reduceat(seen.sum(axis=0), columns, axis=0)
        rows.append(np.divide(total, count, out=np.full(total.shape, np.nan), where=count > 0))
    return np.array(rows)


def _canvas(image: Image, ax: Axes | None) -> Axes:
    """Axes as large as a picture, pixels along them, down as in the picture."""
    import matplotlib.pyplot as plt

    rows, columns = image.shape[:2]
    if ax is None:
        width = 7.3 if columns >= rows else 5.0
        height = min(max(0.9 * width * rows / columns + 0.7, 2.5), 8.0)
        _, ax = plt.subplots(figsize=(width, height), layout="constrained")
    ax.set(xlim=(0, columns), ylim=(rows, 0), xlabel="across [pixel]", ylabel="down [pixel]")
    ax.set_aspect("equal")
    return ax


def _extent(image: Image) -> tuple[float, float, float, float]:
    """Edges of a picture, so that places in it count in its own pixels however few are drawn."""
    return 0, image.shape[1], image.shape[0], 0


def _mark_unseen(shape: tuple[int, ...], ax: Axes) -> None:
    """Grey with strokes below the picture, which shows through where nothing was seen."""
    from matplotlib.patches import Rectangle

    ax.add_patch(
        Rectangle((0, 0), shape[1], shape[0], facecolor=UNSEEN, edgecolor="#8b877e", hatch="xxxx",
                  linewidth=0, zorder=-1, label="not seen")
    )  # fmt: skip


def _draw_outlines(
    ax: Axes, outlines: Outlines | None, keep_free: NDArray[np.float64] | None = None
) -> None:
    """Lines around the zones, light in a dark case so that they show on any stone, with codes."""
    for code, rings in (outlines or {}).items():
        checked = [_points(ring, f"The outline of {code}") for ring in rings]
        for ring in checked:
            closed = np.concatenate([ring, ring[:1]])
            ax.plot(*closed.T, color=LIGHT, linewidth=1.3, path_effects=_cased(2.9),
                    gid=f"outline-{code}")  # fmt: skip
        place = _place_within(checked, ax, keep_free)
        if place is not None:
            ax.text(
                *place, code, ha="center", va="center", color=DARK, clip_on=True,
                bbox={"facecolor": LIGHT, "edgecolor": DARK, "linewidth": 0.6, "pad": 2},
            )  # fmt: skip


def _place_within(
    rings: list[NDArray[np.float64]], ax: Axes, keep_free: NDArray[np.float64] | None
) -> tuple[float, float] | None:
    """Place for a code: in the zone, in the picture, as far from both edges as a grid shows."""
    from matplotlib.path import Path

    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    corners = np.concatenate(rings)
    low = np.maximum(corners.min(axis=0), (left, top))
    high = np.minimum(corners.max(axis=0), (right, bottom))
    if (low >= high).any():
        return None
    grid = low + (np.indices((31, 31)).reshape(2, -1).T + 0.5) / 31 * (high - low)
    inside = np.logical_xor.reduce([Path(ring).contains_points(grid) for ring in rings])
    if keep_free is not None:
        inside &= ~Path(keep_free).contains_points(grid)
        rings = [*rings, keep_free]
    if not inside.any():
        return None
    room = np.minimum(grid - (left, top), (right, bottom) - grid).min(axis=1)
    for ring in rings:
        for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            room = np.minimum(room, _distance(grid, start, end))
    x, y = grid[np.where(inside, room, -1).argmax()]
    return float(x), float(y)


def _distance(
    points: NDArray[np.float64], start: NDArray[np.float64], end: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How far points lie from a side of an outline."""
    side = end - start
    length = max(float(side @ side), 1e-12)
    along = ((points - start) @ side / length).clip(0, 1)
    away = points - start - along[:, np.newaxis] * side
    return np.hypot(away[:, 0], away[:, 1])


def _draw_scale(ax: Axes, columns: int, pixel_mm: float) -> None:
    """Bar of a round length, about a fifth of the picture, in place of the axes."""
    from matplotlib.lines import Line2D
    from matplotlib.offsetbox import AnchoredOffsetbox, AuxTransformBox, TextArea, VPacker

    metres = columns * pixel_mm / 5000
    whole = 10.0 ** math.floor(math.log10(metres))
    length = max(part * whole for part in (1, 2, 5) if part * whole <= metres)
    bar = AuxTransformBox(ax.transData)
    bar.add_artist(Line2D([0, length * 1000 / pixel_mm], [0, 0], color=DARK, linewidth=2.5))
    packed = VPacker(children=[bar, TextArea(f"{length:g} m")], align="center", pad=0, sep=3)
    plate = AnchoredOffsetbox("lower right", child=packed, pad=0.4, borderpad=0.6)
    plate.patch.set(linewidth=0, alpha=0.85)
    ax.add_artist(plate)
    ax.set(xlabel="", ylabel="", xticks=[], yticks=[])


def _draw_key(ax: Axes, more: Sequence[Any] = ()) -> None:
    """Say above the picture what its marks mean, where there are any."""
    handles = [*ax.get_legend_handles_labels()[0], *more]
    if handles:
        ax.legend(
            handles=handles, loc="lower left", bbox_to_anchor=(0, 1), ncols=3, frameon=True,
            facecolor="#b9b4a8" if len(handles) > 1 else LIGHT, edgecolor="none", borderaxespad=0.2,
        )  # fmt: skip


def _striped(part: NDArray[np.float64]) -> NDArray[np.float64]:
    """Tint with slanting stripes, as strong as a pixel is soiled."""
    from matplotlib.colors import to_rgb

    rows, columns = np.indices(part.shape)
    period = max(6, max(part.shape) // STRIPES)
    stripe = (rows + columns) % period < max(2, period // 4)
    veil = np.empty((*part.shape, 4))
    veil[..., :3] = to_rgb(SOILED)
    veil[..., 3] = part * np.where(stripe, 0.95, 0.4)
    return veil


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


def _cased(width: float) -> list[Any]:
    """Dark case around a light line."""
    from matplotlib.patheffects import Normal, Stroke

    return [Stroke(linewidth=width, foreground=DARK), Normal()]


def _points(given: ArrayLike, name: str) -> NDArray[np.float64]:
    """Points in a picture, or why they are none."""
    points = np.asarray(given, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or not len(points):
        raise ValueError(
            f"{name} has shape {points.shape}: x and y of each point are expected, (n, 2)."
        )
    if not np.isfinite(points).all():
        raise ValueError(f"{name} holds a point that is not finite.")
    return points


def checked_rgb(given: ArrayLike, name: str) -> Image:
    """
    Picture as it comes, or why it is no picture for a screen.

    Parameters
    ----------
    given : array_like of uint8, shape (rows, columns, 3)
        sRGB.
    name : str
        Name of the argument, for the message.

    Returns
    -------
    numpy.ndarray of uint8, shape (rows, columns, 3)

    Raises
    ------
    ValueError
        It has another shape or type, or no pixel.
    """
    picture = np.asanyarray(given)
    if picture.ndim != 3 or picture.shape[-1] != 3 or picture.dtype != np.uint8 or not picture.size:
        raise ValueError(
            f"{name} must be 8-bit sRGB of shape (rows, columns, 3), as rgb_of makes it; it has "
            f"shape {picture.shape} and type {picture.dtype}."
        )
    return picture


def _check_positive(**settings: float | None) -> None:
    """Refuse sizes that are none."""
    for name, value in settings.items():
        if value is not None and not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} = {value:g} must be a finite number above 0.")

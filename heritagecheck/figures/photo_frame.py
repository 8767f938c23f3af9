"""Pictures of pixels: packed small enough to draw, framed, and what may lie on and around them."""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.cards import Picture
from heritagecheck.figures.svg import (
    DARK,
    LETTERS,
    LIGHT,
    LINE,
    MIDDLE,
    QUIET,
    UNSEEN,
    Entry,
    Scale,
    element,
    group,
    key,
    line,
    mark,
    number,
    path,
    picture,
    round_ticks,
    text,
    width_of,
    written,
)
from heritagecheck.survey.drawings.outline import Outline
from heritagecheck.survey.instruments.photo_file import srgb_light

Image = NDArray[Any]
LARGEST_SIDE = 1200  # pixels that are drawn at most: a page or a screen shows no more
QUALITY = 88  # JPEG quality: its losses are invisible at two pixels to one of the screen
NOTHING = 255  # level that marks no data
# Even steps look even, to colour-blind readers too: the scale cividis of J. R. Nuñez and others,
# PLoS ONE 13, e0199239 (2018), by levels between which it runs straight.
STOPS = (0, 21, 23, 28, 34, 52, 84, 126, 147, 179, 205, 232, 251, 255)
COLOURS = (
    (0, 34, 78), (0, 49, 112), (1, 50, 113), (18, 53, 112), (30, 58, 111), (54, 70, 108),
    (86, 92, 109), (123, 122, 120), (143, 138, 120), (174, 163, 113), (201, 185, 101),
    (231, 209, 80), (253, 227, 52), (254, 232, 56),
)  # fmt: skip

# Pixels are averaged as light, not as code.
_LIGHT = srgb_light(8)
_BETWEEN = (_LIGHT[1:] + _LIGHT[:-1]) / 2


def reduced(picture_rgb: Image, side: int = LARGEST_SIDE) -> NDArray[np.uint8]:
    """Picture small enough to draw; each pixel is the mean light of those it replaces."""
    light = averaged(picture_rgb, lambda block: _LIGHT[block], side)
    return np.searchsorted(_BETWEEN, light).astype(np.uint8)


def averaged(image: Image, read: Callable[[Image], Image], side: int) -> NDArray[np.float64]:
    """Means over squares of pixels, as large as drawing needs them; NaN is left out of them."""
    step = math.ceil(max(image.shape[:2]) / side)
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


def false_colours() -> NDArray[np.uint8]:
    """Colours from the least to the largest difference."""
    stops = np.array(COLOURS, dtype=float)
    levels = np.arange(256)
    shown = [np.interp(levels, STOPS, stops[:, channel]) for channel in range(3)]
    return np.stack(shown, axis=1).round().astype(np.uint8)


def photographed(picture_rgb: NDArray[np.uint8]) -> str:
    """Photograph as an address that carries it."""
    from PIL import Image as Pillow

    target = io.BytesIO()
    # Without halving the colours: grains of another colour would run into one another.
    Pillow.fromarray(picture_rgb).save(target, "JPEG", quality=QUALITY, subsampling=0)
    return _address(target, "jpeg")


def levelled(
    level: NDArray[np.uint8], colours: NDArray[np.uint8], opacity: NDArray[np.uint8]
) -> str:
    """Picture of levels, each in its colour, as an address that carries it."""
    from PIL import Image as Pillow

    packed = Pillow.fromarray(level)
    packed.putpalette(colours.tobytes())
    target = io.BytesIO()
    packed.save(target, "PNG", transparency=opacity.tobytes(), optimize=True)
    return _address(target, "png")


def _address(target: io.BytesIO, kind: str) -> str:
    return f"data:image/{kind};base64,{base64.b64encode(target.getvalue()).decode('ascii')}"


def image(address: str, width: float, height: float, *, sharp: bool = False) -> str:
    """Picture of pixels within a drawing."""
    return element(
        "image", href=address, width=float(width), height=float(height),
        preserveAspectRatio="none", image_rendering="pixelated" if sharp else None,
    )  # fmt: skip


Outlines = Mapping[str, Sequence[ArrayLike]]
FloatArray = NDArray[np.float64]

WIDTH, HIGHEST = 720.0, 640.0  # pixel
LEFT, BELOW, RIGHT, ABOVE = 62.0, 40.0, 16.0, 7.0  # pixel, around the pixels themselves
BESIDE, BAR = 76.0, 14.0  # pixel, room for the scale of colours, and its width
# Unit of a scale bar, its size, and the width of a picture from which it is used [mm].
UNITS = (("m", 1000.0, 500.0), ("mm", 1.0, 5.0), ("µm", 0.001, 0.0))
SIZES = {"square": 7.0, "diamond": 11.0}


@dataclass(frozen=True)
class View:
    """
    Where the pixels of a picture lie in the drawing; places in it count in its own pixels.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the picture.
    width : float
        Width of the whole drawing. [pixel]
    counted : bool
        True where its pixels are counted along the edges.
    right : float
        Room right of it. [pixel]
    """

    shape: tuple[int, ...]
    width: float
    counted: bool = True
    right: float = RIGHT

    @property
    def left(self) -> float:
        """Room left of it, in pixels."""
        return LEFT if self.counted else 1.0

    @property
    def scale(self) -> float:
        """How large one of its pixels is drawn: as the drawing leaves room, and not too high."""
        room = self.width - self.left - self.right
        return min(room / self.shape[1], HIGHEST / self.shape[0])

    @property
    def wide(self) -> float:
        """How wide it is drawn, in pixels."""
        return self.scale * self.shape[1]

    @property
    def high(self) -> float:
        """How high it is drawn, in pixels."""
        return self.scale * self.shape[0]

    def through(self, ring: FloatArray) -> str:
        """Closed line through points of the picture."""
        return line((self.scale * ring).tolist(), closed=True)

    def image(self, address: str, shape: tuple[int, ...]) -> str:
        """Pixels over the whole area; if they are few, each stays visible."""
        return image(address, self.wide, self.high, sharp=shape[1] < self.wide)

    @property
    def side(self) -> int:
        """How many pixels along its longer side are worth carrying."""
        return round(LARGEST_SIDE * min(self.width / WIDTH, 1))


def framed(
    view: View, drawn: Sequence[str], entries: Sequence[Entry], alt: str, beside: str = ""
) -> Picture:
    """Picture of pixels with its overlays, clipped at its edge."""
    words, top = key(entries, view.width) if entries else ("", 0.0)
    top += 8
    frame = element("rect", width=view.wide, height=view.high, fill="none", stroke=LINE)
    inner = element(
        "svg", *drawn, frame, x=view.left, y=top, width=view.wide, height=view.high,
        overflow="hidden",
    )  # fmt: skip
    if beside:
        beside = element("svg", beside, x=view.left + view.wide, y=top - ABOVE, width=view.right,
                         height=view.high + 2 * ABOVE)  # fmt: skip
    around = _counted(view, top) if view.counted else ""
    height = top + view.high + (BELOW if view.counted else 8)
    return picture(view.width, height, alt, words, inner, around, beside)


def _counted(view: View, top: float) -> str:
    """Pixels across and down, counted along the edges."""
    bottom = top + view.high
    rows, columns = view.shape[:2]
    across = [(view.left + view.scale * at, f"{at:g}") for at in round_ticks(0, columns, 8)]
    down = [(top + view.scale * at, f"{at:g}") for at in round_ticks(0, rows, 8)]
    x, y = view.left - 46, (top + bottom) / 2
    return element(
        "g",
        *(text(place, bottom + LETTERS + 3, word) for place, word in across),
        text(view.left + view.wide / 2, bottom + 2 * LETTERS + 6, "across [pixel]", fill=DARK),
        text(x, y, "down [pixel]", fill=DARK, transform=f"rotate(-90 {number(x)} {number(y)})"),
        element("g", *(text(view.left - 6, place + MIDDLE * LETTERS, word)
                       for place, word in down), text_anchor="end"),
        fill=QUIET, text_anchor="middle",
    )  # fmt: skip


def outlined(view: View, outlines: Outlines, keep_free: FloatArray | None = None) -> list[str]:
    """Lines around the zones, light in a dark case so that they show on any stone, with codes."""
    drawn = []
    for code, rings in outlines.items():
        checked = [points_in(ring, f"The outline of {code}") for ring in rings]
        steps = "".join(view.through(ring) for ring in checked)
        drawn.append(group(f"outline of {code}", cased(steps)))
        place = _place_within(checked, view.shape, keep_free)
        if place is not None:
            x, y, half = view.scale * place[0], view.scale * place[1], width_of(code) / 2 + 3
            drawn.append(
                element("rect", x=x - half, y=y - 10, width=2 * half, height=20.0, fill=LIGHT,
                        stroke=DARK, stroke_width=0.8)
                + text(x, y + MIDDLE * LETTERS, code, text_anchor="middle")
            )  # fmt: skip
    return drawn


def cased(steps: str) -> str:
    """Light line in a dark case."""
    return path(steps, stroke=DARK, stroke_width=3.8) + path(steps, stroke=LIGHT, stroke_width=1.8)


def _place_within(
    rings: list[FloatArray], shape: tuple[int, ...], keep_free: FloatArray | None
) -> tuple[float, float] | None:
    """Place for a code: in the zone, in the picture, as far from both edges as a grid shows."""
    end = np.array([shape[1], shape[0]], dtype=float)
    corners = np.concatenate(rings)
    low = np.maximum(corners.min(axis=0), 0)
    high = np.minimum(corners.max(axis=0), end)
    if (low >= high).any():
        return None
    grid = low + (np.indices((31, 31)).reshape(2, -1).T + 0.5) / 31 * (high - low)
    inside = Outline("", tuple(rings)).contains(grid)
    if keep_free is not None:
        inside &= ~Outline("", (keep_free,)).contains(grid)
        rings = [*rings, keep_free]
    if not inside.any():
        return None
    room = np.minimum(grid, end - grid).min(axis=1)
    for ring in rings:
        for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            room = np.minimum(room, _distance(grid, start, end))
    x, y = grid[np.where(inside, room, -1).argmax()]
    return float(x), float(y)


def _distance(points: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """How far points lie from a side of an outline."""
    side = end - start
    length = max(float(side @ side), 1e-12)
    along = ((points - start) @ side / length).clip(0, 1)
    away = points - start - along[:, np.newaxis] * side
    return np.hypot(away[:, 0], away[:, 1])


def marked(shape: str, places: Sequence[Sequence[float]]) -> str:
    """Marks that show on any stone."""
    steps = "".join(mark(shape, x, y, SIZES[shape]) for x, y in places)
    inner, edge = (LIGHT, DARK) if shape == "square" else (DARK, LIGHT)
    return path(steps, fill=inner, stroke=edge, stroke_width=1.4)


def scale_bar(view: View, pixel_mm: float) -> str:
    """Bar of a round length, about a fifth of the picture, in place of the counted pixels."""
    wide_mm = view.shape[1] * pixel_mm
    unit, size_mm = next((unit, size) for unit, size, least in UNITS if wide_mm >= least)
    most = wide_mm / 5 / size_mm
    whole = 10.0 ** math.floor(math.log10(most))
    length = max(part * whole for part in (1, 2, 5) if part * whole <= most)
    words, long = f"{length:g} {unit}", view.scale * length * size_mm / pixel_mm
    wide = max(long, width_of(words)) + 14
    x, y = view.wide - wide - 8, view.high - 46
    middle = x + wide / 2
    return group(
        "scale bar",
        element("rect", x=x, y=y, width=wide, height=38.0, fill=LIGHT, fill_opacity=0.85),
        path(f"M{number(middle - long / 2)} {number(y + 10)}h{number(long)}", stroke=DARK,
             stroke_width=3),
        text(middle, y + 29, words, text_anchor="middle"),
    )  # fmt: skip


def points_in(given: ArrayLike, name: str) -> FloatArray:
    """Points in a picture, or why they are none."""
    points = np.asarray(given, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or not len(points):
        raise ValueError(
            f"{name} has shape {points.shape}: x and y of each point are expected, (n, 2)."
        )
    if not np.isfinite(points).all():
        raise ValueError(f"{name} holds a point that is not finite.")
    return points


# -- Beside and beneath the pixels -----------------------------------------------------------------


def _crossed(wide: float, high: float) -> str:
    """Grey with crossed strokes, visible where a picture has no data."""
    steps = "".join(
        f"M{number(start)} 0l{number(high)} {number(high)}M{number(start + high)} 0"
        f"l{number(-high)} {number(high)}"
        for start in np.arange(-high, wide, 9.0).tolist()
    )
    return element("rect", width=wide, height=high, fill=UNSEEN) + path(steps, stroke=LINE)


def _not_seen(x: float, y: float) -> str:
    """Sample of the mark for no data."""
    return element("svg", _crossed(20.0, 12.0), x=x - 10, y=y - 6, width=20.0, height=12.0,
                   overflow="hidden")  # fmt: skip


def unseen_entry(shown: FloatArray) -> list[Entry]:
    """Entry for no data in the key, if there is any."""
    return [] if np.isfinite(shown).all() else [Entry("not seen", _not_seen)]


def coloured(view: View, share: FloatArray, colours: NDArray[np.uint8]) -> list[str]:
    """Pixels by their share of the colours, over crossed strokes where there is none."""
    level = np.full(share.shape, NOTHING, dtype=np.uint8)
    seen = np.isfinite(share)
    level[seen] = (share[seen] * (NOTHING - 1)).round().clip(0, NOTHING - 1)
    opacity = np.where(np.arange(256) == NOTHING, 0, 255).astype(np.uint8)
    return [
        "" if seen.all() else group("not seen", _crossed(view.wide, view.high)),
        view.image(levelled(level, colours, opacity), share.shape),
    ]


def colour_scale(
    view: View, low: float, high: float, words: str, *, below: bool = False, above: bool = False
) -> str:
    """Scale of the false colours right of the picture, pointed where values go on beyond it."""
    up = Scale(low, high, ABOVE + view.high, ABOVE)
    colours = false_colours()
    step = view.high / 64
    fields = [
        # Each reaches under the next, so that no seam shows between them.
        element("rect", x=10.0, y=ABOVE + view.high - step * (place + 1), width=BAR,
                height=step * (1.5 if place else 1), fill=_hex(colours[4 * place + 2]))
        for place in range(64)
    ]  # fmt: skip
    ticks = [(up(value), written(value)) for value in round_ticks(low, high, 8)]
    x, y = BESIDE - 8, ABOVE + view.high / 2
    return group(
        "scale of colours", *fields,
        group("larger", _point(ABOVE, -ABOVE, colours[-2])) if above else "",
        group("smaller", _point(ABOVE + view.high, ABOVE, colours[0])) if below else "",
        *(text(10 + BAR + 4, place + MIDDLE * LETTERS, word, fill=QUIET) for place, word in ticks),
        text(x, y, words, text_anchor="middle",
             transform=f"rotate(-90 {number(x)} {number(y)})"),
    )  # fmt: skip


def _point(y: float, height: float, colour: NDArray[np.uint8]) -> str:
    """Point at an end of the scale."""
    steps = f"M10 {number(y)}h{number(BAR)}l{number(-BAR / 2)} {number(height)}z"
    return path(steps, fill=_hex(colour))


def _hex(rgb: NDArray[np.uint8]) -> str:
    return "#" + "".join(f"{value:02x}" for value in rgb.tolist())

"""Where the pixels of a photograph lie in a drawing, and what may lie on and around them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.cards import Picture
from heritagecheck.figures.chart import Entry, key, round_ticks
from heritagecheck.figures.raster import LARGEST_SIDE, image
from heritagecheck.figures.svg import (
    DARK,
    LETTERS,
    LIGHT,
    LINE,
    MIDDLE,
    QUIET,
    element,
    group,
    line,
    mark,
    number,
    path,
    picture,
    text,
    width_of,
)
from heritagecheck.survey.drawings.geometry import Outline

Outlines = Mapping[str, Sequence[ArrayLike]]
FloatArray = NDArray[np.float64]

WIDTH, HIGHEST = 720.0, 640.0  # pixel
LEFT, BELOW, RIGHT, ABOVE = 62.0, 40.0, 16.0, 7.0  # pixel, around the pixels themselves
SIZES = {"square": 7.0, "diamond": 11.0, "plus": 8.0}


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
        """Pixels over the whole of it, each to be told apart where there are few."""
        return image(address, self.wide, self.high, sharp=shape[1] < self.wide)

    @property
    def side(self) -> int:
        """How many pixels along its longer side are worth carrying."""
        return round(LARGEST_SIDE * min(self.width / WIDTH, 1))


def framed(
    view: View, drawn: Sequence[str], entries: Sequence[Entry], alt: str, beside: str = ""
) -> Picture:
    """
    Picture of pixels with what lies on them, cut off at their edge.

    Parameters
    ----------
    view : View
        Where they lie.
    drawn : sequence of str
        The pixels, and what lies on them.
    entries : sequence of Entry
        What its marks mean; written above.
    alt : str
        What it shows, in words.
    beside : str
        What stands right of it, as SVG from its upper right corner.

    Returns
    -------
    Picture
    """
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


def outlined(
    view: View, outlines: Outlines | None, keep_free: FloatArray | None = None
) -> list[str]:
    """
    Lines around the zones, light in a dark case so that they show on any stone, with codes.

    Parameters
    ----------
    view : View
        Where the pixels lie.
    outlines : mapping of str to sequence of array_like, or None
        For each zone its rings, each of shape (n, 2), as x and y in the picture. [pixel]
    keep_free : numpy.ndarray, shape (n, 2), optional
        Where no code may stand. [pixel]

    Returns
    -------
    list of str

    Raises
    ------
    ValueError
        A ring is none.
    """
    drawn = []
    for code, rings in (outlines or {}).items():
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
    """
    Light line in a dark case.

    Parameters
    ----------
    steps : str
        Its path data.

    Returns
    -------
    str
    """
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
    """
    Marks that show on any stone.

    Parameters
    ----------
    shape : str
        ``square``, ``diamond`` or ``plus``.
    places : sequence of sequence of float
        x and y of each. [pixel of the drawing]

    Returns
    -------
    str
    """
    steps = "".join(mark(shape, x, y, SIZES[shape]) for x, y in places)
    if shape == "plus":
        return cased(steps)
    inner, edge = (LIGHT, DARK) if shape == "square" else (DARK, LIGHT)
    return path(steps, fill=inner, stroke=edge, stroke_width=1.4)


def scale_bar(view: View, pixel_mm: float) -> str:
    """
    Bar of a round length, about a fifth of the picture, in place of the counted pixels.

    Parameters
    ----------
    view : View
        Where the pixels lie.
    pixel_mm : float
        Size of a pixel at the wall. [mm]

    Returns
    -------
    str
    """
    metres = view.shape[1] * pixel_mm / 5000
    whole = 10.0 ** math.floor(math.log10(metres))
    length = max(part * whole for part in (1, 2, 5) if part * whole <= metres)
    words, long = f"{length:g} m", view.scale * length * 1000 / pixel_mm
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
    """
    Points in a picture, or why they are none.

    Parameters
    ----------
    given : array_like, shape (n, 2)
        x and y of each. [pixel]
    name : str
        What they are, for the message.

    Returns
    -------
    numpy.ndarray, shape (n, 2)

    Raises
    ------
    ValueError
        They have another shape, or one is not finite.
    """
    points = np.asarray(given, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or not len(points):
        raise ValueError(
            f"{name} has shape {points.shape}: x and y of each point are expected, (n, 2)."
        )
    if not np.isfinite(points).all():
        raise ValueError(f"{name} holds a point that is not finite.")
    return points

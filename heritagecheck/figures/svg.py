"""What all pictures share: pieces of SVG, words and their widths, scales, keys, the type."""

from __future__ import annotations

import base64
import math
from collections.abc import Callable, Sequence
from functools import cache
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from heritagecheck.cards import Picture

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont


# -- Elements, words, marks ------------------------------------------------------------------------

# No style sheet, name or outside address is used: browsers and the typesetter of the PDF read
# these pictures alike, and many of them are on one page.
NAMESPACE = "http://www.w3.org/2000/svg"
# Quoted, as no name of a family may hold a bare number; then what readers have in its place.
FACE = "'Source Sans 3', 'Segoe UI', 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif"
FONTS = Path(__file__).parent / "fonts"
FONT = FONTS / "SourceSans3-Regular.ttf"
DARK, QUIET, LINE, GRID, LIGHT = "#1d1d1b", "#5b574e", "#8b877e", "#ddd8cc", "#ffffff"
UNSEEN = "#e4dfd3"
APART = 12.0  # pixel, between pictures
LETTERS, SMALL = 13.0, 11.0  # pixel, height of the type
MIDDLE = 0.34  # of the height of the type: from the middle of a line of words down to its foot
WIDER = 1.25  # a reader without our face gets one that runs about so much wider


def number(value: float) -> str:
    """Coordinate as it is written, to a hundredth of a pixel."""
    written = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if written == "-0" else written


def element(tag: str, *inner: str, **given: object) -> str:
    """One element of SVG."""
    words = "".join(
        f' {name.replace("_", "-")}="{number(value) if isinstance(value, float) else _safe(value)}"'
        for name, value in given.items()
        if value is not None
    )
    return f"<{tag}{words}>{''.join(inner)}</{tag}>" if inner else f"<{tag}{words}/>"


def _safe(value: object) -> str:
    return escape(str(value), quote=False).replace('"', "&quot;").replace("\n", " ")


def group(title: str, *inner: str, **given: object) -> str:
    """Elements that belong together, under words that a pointer over them shows."""
    return element("g", element("title", escape(title)), *inner, **given)


def text(x: float, y: float, words: str, **given: object) -> str:
    """Line of words."""
    return element("text", escape(words), x=float(x), y=float(y), **given)


def path(steps: str, **given: object) -> str:
    """Line or area."""
    return element("path", d=steps, **({"fill": "none"} | given))


def line(points: list[tuple[float, float]], *, closed: bool = False) -> str:
    """Path data through points."""
    steps = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    return f"M{steps}{'z' if closed else ''}"


def mark(shape: str, x: float, y: float, size: float) -> str:
    """Path data of a mark, so that many of one kind make one path."""
    half = size / 2
    left, top, high = number(x - half), number(y - half), number(half)
    whole, lower = number(size), number(-half)
    return {
        "disc": f"M{left} {number(y)}a{high} {high} 0 1 1 {whole} 0a{high} {high} 0 1 1 -{whole} 0",
        "square": f"M{left} {top}h{whole}v{whole}h-{whole}z",
        "triangle": f"M{number(x)} {top}l{high} {whole}h-{whole}z",
        "diamond": f"M{left} {number(y)}l{high} {lower}l{high} {high}l{lower} {high}z",
    }[shape]


def width_of(words: str, size: float = LETTERS) -> float:
    """Room that a line of words takes, also in the face of a reader who does not have ours."""
    return WIDER * _width(words) * size / LETTERS


def wrapped(words: str, room: float) -> list[str]:
    """Words in as many lines as their room asks for."""
    lines: list[str] = []
    for word in words.split():
        if lines and width_of(f"{lines[-1]} {word}") <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


@cache
def _width(words: str) -> float:
    return float(_font().getlength(words))


@cache
def _font() -> FreeTypeFont:
    from PIL import ImageFont

    return ImageFont.truetype(FONT, LETTERS, layout_engine=ImageFont.Layout.BASIC)


def picture(width: float, height: float, alt: str, *inner: str) -> Picture:
    """Picture of a fixed size."""
    svg = element(
        "svg", *inner, xmlns=NAMESPACE, viewBox=f"0 0 {number(width)} {number(height)}",
        width=float(width), height=float(height), font_family=FACE, font_size=LETTERS, fill=DARK,
    )  # fmt: skip
    return Picture(svg, alt)


def beside(pictures: Sequence[Picture], columns: int, alt: str) -> Picture:
    """One picture of several, in rows and columns."""
    drawn, top, width = [], 0.0, pictures[0].size[0]
    for first in range(0, len(pictures), columns):
        row = pictures[first : first + columns]
        for place, one in enumerate(row):
            x, y = number(place * (width + APART)), number(top)
            drawn.append(one.svg.replace("<svg ", f'<svg x="{x}" y="{y}" ', 1))
        top += max(one.size[1] for one in row)
    count = min(columns, len(pictures))
    return picture(count * (width + APART) - APART, top, alt, *drawn)


# -- Scales and keys -------------------------------------------------------------------------------

ROUND = (1.0, 2.0, 5.0, 10.0)
# Round numbers to tick between 1 and 10 on a logarithmic scale, from far apart to close.
STEPS = (
    (1.0,),
    (1.0, 3.0),
    (1.0, 2.0, 5.0),
    (1.0, 1.5, 2.0, 3.0, 5.0, 7.0),
    (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0),
    (1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2.0, 2.2, 2.4, 2.6, 2.8, 3.0, 3.2, 3.4,
     3.6, 3.8, 4.0, 4.2, 4.4, 4.6, 4.8, 5.0, 5.5, 6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0, 9.5),
)  # fmt: skip
TICKS = 6
SAMPLE, ENTRIES_APART, KEY_LINE = 26.0, 16.0, 19.0  # pixel: width of a sample, gaps between entries
FloatArray = NDArray[np.float64]


class Scale(NamedTuple):
    """Axis that maps a range of numbers to positions, linearly or by logarithm."""

    low: float
    high: float
    start: float
    end: float
    logarithmic: bool = False

    def __call__(self, value: float) -> float:
        """Place of a number, in pixels."""
        if self.logarithmic:
            share = math.log(value / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


def round_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round numbers between two ends."""
    power = math.floor(math.log10((high - low) / most))
    steps = [step * 10.0**power for step in ROUND]
    step = next(step for step in steps if math.floor(high / step) - math.ceil(low / step) < most)
    digits = max(0, -math.floor(math.log10(step)))
    places = range(math.ceil(low / step), math.floor(high / step) + 1)
    return [round(place * step, digits) for place in places]


def log_ticks(low: float, high: float) -> list[float]:
    """Round numbers between two ends of a logarithmic scale, about as many as can be read."""
    powers = range(math.floor(math.log10(low)), math.floor(math.log10(high)) + 1)
    # By way of its digits: 3 times 0.1 would be 0.30000000000000004.
    every = [[float(f"{step}e{power}") for power in powers for step in steps] for steps in STEPS]
    within = [[tick for tick in ticks if low <= tick <= high] for ticks in every]
    return min(within, key=lambda ticks: abs(len(ticks) - TICKS))


def written(value: float) -> str:
    """Number in the form of a tick label."""
    return np.format_float_positional(value, trim="-").replace("-", "\N{MINUS SIGN}")


def through(points: FloatArray, across: Scale, up: Scale, *, closed: bool = False) -> str:
    """Path data through points given by their numbers."""
    return line([(across(x), up(y)) for x, y in points.tolist()], closed=closed)


class Entry(NamedTuple):
    """Words of a key, and how its sample is drawn around a middle."""

    words: str
    sample: Callable[[float, float], str]


def key(entries: Sequence[Entry], room: float) -> tuple[str, float]:
    """What marks and lines mean, in as many lines as their words take."""
    x, y, drawn = 0.0, KEY_LINE / 2, []
    for entry in entries:
        wide = SAMPLE + width_of(entry.words)
        if x > 0 and x + wide > room:
            x, y = 0.0, y + KEY_LINE
        drawn.append(entry.sample(x + SAMPLE / 2 - 3, y))
        drawn.append(text(x + SAMPLE, y + MIDDLE * LETTERS, entry.words))
        x += wide + ENTRIES_APART
    return element("g", *drawn), y + KEY_LINE / 2


# -- The type --------------------------------------------------------------------------------------

CARRIED = (
    ("Literata", "normal", 400, "Literata-Regular.ttf"),
    ("Literata", "italic", 400, "Literata-Italic.ttf"),
    ("Literata", "normal", 600, "Literata-SemiBold.ttf"),
    ("Source Sans 3", "normal", 400, "SourceSans3-Regular.ttf"),
    ("Source Sans 3", "normal", 600, "SourceSans3-SemiBold.ttf"),
)


def carried_faces() -> Markup:
    """Style that carries both families in the page itself."""
    return Markup(" ").join(
        Markup(
            '@font-face {{ font-family: "{}"; font-style: {}; font-weight: {}; '
            'src: url("data:font/ttf;base64,{}"); }}'
        ).format(family, style, weight, base64.b64encode((FONTS / name).read_bytes()).decode())
        for family, style, weight, name in CARRIED
    )


# -- Lines over a grid -----------------------------------------------------------------------------

# Two in a row at most: on a tablet the words of three would be too small.
PART = 440.0  # pixel, width of one, which fits a telephone
HIGH = 250.0  # pixel, without the words around it
LEFT, RIGHT, BELOW, ABOVE = 58.0, 12.0, 42.0, 10.0  # pixel, around a profile


def axes(low: float, high: float, heights: FloatArray) -> tuple[Scale, Scale]:
    """Scales across and up, with a little room above and below the heights."""
    bottom, top = float(heights.min()), float(heights.max())
    room = 0.05 * (top - bottom) or 1.0
    return (
        Scale(low, high, LEFT, PART - RIGHT),
        Scale(bottom - room, top + room, ABOVE + HIGH, ABOVE),
    )


def _paper(across: Scale, up: Scale) -> tuple[list[str], str, str]:
    """Lines of the grid, numbers along both sides, and the frame around them."""
    ticks = log_ticks if across.logarithmic else round_ticks
    heights = round_ticks(up.low, up.high)
    ruled = [
        path(f"M{number(across.start)} {number(up(at))}H{number(across.end)}", stroke=GRID)
        for at in heights
    ]
    numbers = [
        *(text(across(at), up.start + LETTERS + 4, written(at), text_anchor="middle")
          for at in ticks(across.low, across.high)),
        *(text(across.start - 6, up(at) + MIDDLE * LETTERS, written(at), text_anchor="end")
          for at in heights),
    ]  # fmt: skip
    frame = element(
        "rect", x=across.start, y=up.end, width=across.end - across.start,
        height=up.start - up.end, fill="none", stroke=LINE,
    )  # fmt: skip
    return ruled, element("g", *numbers, fill=QUIET), frame


def plotted(
    drawn: list[str], entries: list[Entry], across: Scale, up: Scale,
    names: tuple[str, str], alt: str,
) -> Picture:  # fmt: skip
    """Lines over a grid, with numbers along both sides and a key above."""
    words, top = key(entries, PART) if entries else ("", 0.0)
    bottom, middle = up.start, (up.start + up.end) / 2
    ruled, numbers, frame = _paper(across, up)
    called = [
        text((across.start + across.end) / 2, bottom + 2 * LETTERS + 8, names[0],
             text_anchor="middle"),
        text(LETTERS, middle, names[1], text_anchor="middle",
             transform=f"rotate(-90 {number(LETTERS)} {number(middle)})"),
    ]  # fmt: skip
    whole = element(
        "g", *ruled, *drawn, frame, numbers, *called,
        transform=f"translate(0 {number(top)})",
    )  # fmt: skip
    return picture(PART, top + bottom + BELOW, alt, words, whole)

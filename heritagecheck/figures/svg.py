"""Pieces of SVG that the figures share: elements, words and their widths, marks."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from heritagecheck.cards import Picture

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

# No style sheet, name or outside address is used: browsers and the typesetter of the PDF read
# these pictures alike, and many of them stand on one page.
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
        "plus": f"M{left} {number(y)}h{whole}M{number(x)} {top}v{whole}",
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
    """Pictures beside and below one another as one."""
    drawn, top, width = [], 0.0, pictures[0].size[0]
    for first in range(0, len(pictures), columns):
        row = pictures[first : first + columns]
        for place, one in enumerate(row):
            x, y = number(place * (width + APART)), number(top)
            drawn.append(one.svg.replace("<svg ", f'<svg x="{x}" y="{y}" ', 1))
        top += max(one.size[1] for one in row)
    count = min(columns, len(pictures))
    return picture(count * (width + APART) - APART, top, alt, *drawn)

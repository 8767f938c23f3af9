"""Lines over a grid: profiles of a surface, and profiles from the surface to the core."""

from __future__ import annotations

from heritagecheck.cards import Picture
from heritagecheck.figures.photo_frame import FloatArray
from heritagecheck.figures.svg import (
    GRID,
    LETTERS,
    LINE,
    MIDDLE,
    QUIET,
    Entry,
    Scale,
    element,
    key,
    log_ticks,
    number,
    path,
    picture,
    round_ticks,
    text,
    written,
)

PART = 440.0  # pixel, width of one: two stand beside one another, one fits a telephone
HIGH = 250.0  # pixel, without the words around it
LEFT, RIGHT, BELOW, ABOVE = 58.0, 12.0, 42.0, 10.0  # pixel, around a profile


def axes(low: float, high: float, heights: FloatArray, width: float) -> tuple[Scale, Scale]:
    """Scales across and up, with a little room above and below the heights."""
    bottom, top = float(heights.min()), float(heights.max())
    room = 0.05 * (top - bottom) or 1.0
    return (
        Scale(low, high, LEFT, width - RIGHT),
        Scale(bottom - room, top + room, ABOVE + HIGH, ABOVE),
    )


def paper(across: Scale, up: Scale) -> tuple[list[str], str, str]:
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
    drawn: list[str], entries: list[Entry], across: Scale, up: Scale, width: float,
    names: tuple[str, str], alt: str,
) -> Picture:  # fmt: skip
    """Lines over a grid, with numbers along both sides and a key above."""
    words, top = key(entries, width) if entries else ("", 0.0)
    bottom, middle = up.start, (up.start + up.end) / 2
    ruled, numbers, frame = paper(across, up)
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
    return picture(width, top + bottom + BELOW, alt, words, whole)

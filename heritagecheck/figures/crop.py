"""Parts of a drawing outside a window are left out, so that a page need not carry them."""

from __future__ import annotations

import re
from functools import cache
from xml.etree import ElementTree as ET

from heritagecheck.survey.drawings.path_data import Box, box_around
from heritagecheck.survey.drawings.plain_svg import SVG

# Most of a drawing is straight lines, rectangles and rivets, whose box needs no step followed.
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_NUMBERS = re.compile(_NUMBER)
_LINES = re.compile(r"M[-+.,\s\d]+(?:L[-+.,\s\d]+)+[zZ]?\s*")
_RECTANGLE = re.compile(rf"M({_NUMBER}) ({_NUMBER})h({_NUMBER})v({_NUMBER})h-\3z\s*")
_RIVET = re.compile(
    rf"M({_NUMBER}) ({_NUMBER})a({_NUMBER}) \3 0 1 0 ({_NUMBER}) 0a\3 \3 0 1 0 -\4 0z\s*"
)


def crop_all(root: ET.Element, window: Box, least: float) -> None:
    """
    Leave out what lies outside a window or can't be read there, so that it need not be carried.

    Parameters
    ----------
    root : xml.etree.ElementTree.Element
        A drawing; it is changed.
    window : tuple of float
        Left, top, width and height of what is shown, in units of the drawing.
    least : float
        Height of the smallest letters that can be read there. [units of the drawing]
    """
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag == f"{{{SVG}}}text" and not _to_be_read(child, window, least):
                parent.remove(child)
    if any(element.get("transform") for element in root.iter()):
        return  # what its groups move is not followed
    for parent in list(root.iter()):
        for child in list(parent):
            outline = _crop(child, window)
            if outline == "":
                parent.remove(child)
            elif outline is not None:
                child.set("d", outline)


def _to_be_read(words: ET.Element, window: Box, least: float) -> bool:
    """Whether words on a drawing are large enough, and begin within a window."""
    left, top, width, height = window
    x, y, high = (_length(words, name) for name in ("x", "y", "font-size"))
    return high >= least and left <= x <= left + width and top <= y <= top + height


def _length(element: ET.Element, name: str) -> float:
    """A plain length of an element; none counts as nothing."""
    found = re.fullmatch(rf"({_NUMBER})(?:px)?", element.get(name, ""))
    return float(found[1]) if found else 0.0


def _crop(element: ET.Element, window: Box) -> str | None:
    """Those parts of an outline that touch a window; None where its parts are not known."""
    parts = _parts(element.get("d", ""))
    if not parts or element.get("transform") is not None:
        return None
    left, top, width, height = window
    return "".join(
        part
        for part, (x1, y1, x2, y2) in parts
        if x2 >= left and x1 <= left + width and y2 >= top and y1 <= top + height
    )


@cache
def _parts(outline: str) -> tuple[tuple[str, Box], ...]:
    """Parts of an outline, each with its box; none where it holds steps that are not followed."""
    found = []
    for part in re.findall(r"^[^M]+|M[^M]*", outline.strip()):
        try:
            box = _box_of_plain(part) or box_around(part)
        except ValueError:
            return ()
        if box:
            found.append((part, box))
    return tuple(found)


def _box_of_plain(part: str) -> Box | None:
    """Ends of a part that is straight lines, one rectangle or one rivet; None of any other."""
    if _LINES.fullmatch(part):
        numbers = [float(number) for number in _NUMBERS.findall(part)]
        if len(numbers) % 2:
            return None
        across, down = numbers[::2], numbers[1::2]
        return min(across), min(down), max(across), max(down)
    if found := _RECTANGLE.fullmatch(part):
        x, y, wide, high = map(float, found.groups())
        return min(x, x + wide), min(y, y + high), max(x, x + wide), max(y, y + high)
    if found := _RIVET.fullmatch(part):
        x, y, radius, wide = map(float, found.groups())
        if wide == 2 * radius:
            return x, y - radius, x + wide, y + radius
    return None

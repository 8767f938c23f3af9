"""What a reader sees in a picture: its words, its marks, and the numbers they stand at."""

from __future__ import annotations

import base64
import re
from dataclasses import dataclass
from io import BytesIO
from xml.etree.ElementTree import Element

import numpy as np
from defusedxml import ElementTree
from PIL import Image, ImageFont

from heritagecheck.cards import Picture
from heritagecheck.figures.svg import FONTS

SVG = "{http://www.w3.org/2000/svg}"
_NUMBERS = {"M": 2, "L": 2, "H": 1, "V": 1, "A": 7, "Z": 0}
_FACE = ImageFont.truetype(FONTS / "SourceSans3-Regular.ttf", 100)


@dataclass(frozen=True)
class Word:
    """A line of words, the box around its letters, and its colour and turn."""

    words: str
    x: float
    y: float
    box: tuple[float, float, float, float]
    look: dict[str, str]


def parsed(picture: Picture) -> Element:
    """Picture as a tree; fails where it is no XML."""
    root: Element = ElementTree.fromstring(picture.svg)
    return root


def size(root: Element) -> tuple[float, float]:
    """Width and height that a picture asks for."""
    return float(root.attrib["width"]), float(root.attrib["height"])


def with_inherited(root: Element) -> list[tuple[Element, dict[str, str]]]:
    """Every element with its attributes and those that it takes from around it."""
    found = []

    def walk(element: Element, given: dict[str, str], left: float, top: float) -> None:
        look = given | element.attrib
        if element.tag == f"{SVG}svg" and element is not root:
            left, top = left + float(look.get("x", 0)), top + float(look.get("y", 0))
        look |= {"left": str(left), "top": str(top)}
        found.append((element, look))
        for child in element:
            walk(child, {k: v for k, v in look.items() if k not in {"x", "y"}}, left, top)

    walk(root, {}, 0.0, 0.0)
    return found


def words(root: Element, wider: float = 1.0) -> list[Word]:
    """All lines of words, with their boxes in our own face, or in one that runs wider."""
    found = []
    for element, look in with_inherited(root):
        if element.tag != f"{SVG}text" or not element.text:
            continue
        x, y = float(look["x"]) + float(look["left"]), float(look["y"]) + float(look["top"])
        high = float(look["font-size"])
        wide = wider * _FACE.getlength(element.text) * high / 100
        start = {"start": 0.0, "middle": wide / 2, "end": wide}[look.get("text-anchor", "start")]
        box = (x - start, y - 0.72 * high, x - start + wide, y + 0.2 * high)
        if "rotate(-90" in look.get("transform", ""):
            box = (x - 0.72 * high, y - wide + start, x + 0.2 * high, y + start)
        found.append(Word(element.text, x, y, box, look))
    return found


def said(root: Element) -> list[str]:
    """Words alone, in the order in which they are written."""
    return [one.words for one in words(root)]


def named(root: Element, title: str) -> list[Element]:
    """Groups that bear a title."""
    return [one for one in root.iter(f"{SVG}g") if one.findtext(f"{SVG}title") == title]


def titles(root: Element) -> list[str]:
    """Titles of all groups, in the order in which they are drawn."""
    return [one.text or "" for one in root.iter(f"{SVG}title")]


def lines(outline: str) -> list[np.ndarray]:
    """Points of each part of a path, its curves by their ends; read without the package's help."""
    found: list[list[tuple[float, float]]] = []
    x = y = 0.0
    for letter, given in re.findall(r"([A-Za-z])([^A-Za-z]*)", outline):
        numbers = [float(one) for one in re.findall(r"-?\d*\.?\d+", given)]
        step = _NUMBERS[letter.upper()]
        for at in range(0, max(len(numbers), 1), max(step, 1)):
            values = numbers[at : at + step]
            dx, dy = (x, y) if letter.islower() else (0.0, 0.0)
            if letter in "Zz":
                found[-1].append(found[-1][0])
                x, y = found[-1][0]
                continue
            x = x if letter in "Vv" else dx + values[-1 if letter in "Hh" else -2]
            y = y if letter in "Hh" else dy + values[-1]
            if letter in "Mm" and at == 0:
                found.append([])
            found[-1].append((x, y))
    return [np.array(points) for points in found]


def paths(element: Element) -> list[np.ndarray]:
    """Parts of all paths below an element."""
    return [part for one in element.iter(f"{SVG}path") for part in lines(one.attrib["d"])]


def middles(element: Element) -> np.ndarray:
    """Middles of the boxes around the parts of all paths below an element."""
    parts = paths(element)
    return np.array([(part.min(axis=0) + part.max(axis=0)) / 2 for part in parts]).reshape(-1, 2)


def shape(outline: str) -> str:
    """Shape of the first part of a path, wherever and however large it is."""
    part = lines(outline)[0]
    if "a" in outline.lower():
        return "disc"
    part = (part - part.min(axis=0)) / np.ptp(part, axis=0).clip(1e-9)
    return str(part.round(1).tolist())


def ticks(root: Element) -> list[Word]:
    """Numbers at the ticks of a picture."""
    return [one for one in words(root) if re.fullmatch(r"−?\d+(\.\d+)?", one.words)]


def read_scale(ticks: list[tuple[float, str]], *, logarithmic: bool = False) -> np.poly1d:
    """How numbers follow from places, by the ticks that a reader would go by."""
    places, numbers = zip(
        *[(place, float(word.replace("−", "-"))) for place, word in ticks], strict=True
    )
    return np.poly1d(np.polyfit(places, np.log(numbers) if logarithmic else numbers, 1))


def plane(picture: Picture, number: int = 0) -> tuple[np.poly1d, np.poly1d]:
    """Scales across and up of the left (0) or the right (1) plane of a picture of readings."""
    root = parsed(picture)
    here = [one for one in ticks(root) if (one.x > size(root)[0] / 2) == bool(number)]
    across = [(one.x, one.words) for one in here if one.look["text-anchor"] == "middle"]
    up = [(one.y - 0.34 * 13, one.words) for one in here if one.look["text-anchor"] == "end"]
    return read_scale(across), read_scale(up)


def readings(picture: Picture, title: str, number: int = 0) -> np.ndarray:
    """Numbers at which the marks of a name stand in a plane of a picture of readings."""
    across, up = plane(picture, number)
    seen = middles(named(parsed(picture), title)[number])
    return np.stack([across(seen[:, 0]), up(seen[:, 1])], axis=1)


def around(picture: Picture, title: str, number: int = 0) -> np.ndarray:
    """Numbers through which a line of a name runs in a plane of a picture of readings."""
    across, up = plane(picture, number)
    (seen,) = paths(named(parsed(picture), title)[number])
    return np.stack([across(seen[:, 0]), up(seen[:, 1])], axis=1)


def images(root: Element) -> list[Image.Image]:
    """Pictures of pixels within a picture."""
    found = []
    for one in root.iter(f"{SVG}image"):
        head, _, data = one.attrib["href"].partition(",")
        assert head in {"data:image/png;base64", "data:image/jpeg;base64"}
        found.append(Image.open(BytesIO(base64.b64decode(data))))
    return found

"""A photograph of an elevation beneath its zones: cut to a part, made small, or quiet."""

from __future__ import annotations

import base64
import io
from functools import lru_cache
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from heritagecheck.figures.svg import element
from heritagecheck.survey.drawings.path_data import Box
from heritagecheck.survey.drawings.pictures import IMAGE, JPEG_ADDRESS, address_of, as_jpeg

if TYPE_CHECKING:
    from PIL.Image import Image

SMALL = 400  # pixels of the longer side where only the place of a zone is shown
PART = 700  # pixels of the longer side of a part: on paper 60 mm wide, some 300 an inch
PALE = 0.45  # share of white in a quiet copy, on which dark lines and hatches are seen
CASING = 2.4  # of the width of a line: white beneath it, so that it is seen on dark stone


def ground_of(root: ET.Element) -> ET.Element | None:
    """Picture beneath the zones of a drawing, where it is a photograph or a scan."""
    return root.find(IMAGE)


def quieten(ground: ET.Element) -> None:
    """Make the picture of a drawing grey and pale, so that colours of outcomes are seen on it."""
    ground.set("href", _quiet(ground.get("href", ""), None))


def small_ground(ground: ET.Element) -> str:
    """Small grey picture of the same frame."""
    return _image(_quiet(ground.get("href", ""), SMALL), (0, 0, *_size(ground)))


def crop(ground: ET.Element, window: Box) -> None:
    """Leave out what of a picture lies outside a window."""
    address, part = _part(ground.get("href", ""), _size(ground), window)
    left, top, width, height = part
    for name, value in (("x", left), ("y", top), ("width", width), ("height", height)):
        ground.set(name, f"{value:g}")
    ground.set("href", address)


def _size(ground: ET.Element) -> tuple[float, float]:
    """Width and height of a picture in units of its drawing."""
    return float(ground.get("width", "0")), float(ground.get("height", "0"))


def _image(address: str, box: Box) -> str:
    """Picture at its place."""
    x, y, width, height = map(float, box)
    return element(
        "image", x=x, y=y, width=width, height=height, href=address, preserveAspectRatio="none"
    )


def _opened(address: str) -> Image:
    """Picture that an address carries: one of our own."""
    from PIL import Image

    return Image.open(io.BytesIO(base64.b64decode(address.removeprefix(JPEG_ADDRESS))))


@lru_cache(maxsize=16)
def _quiet(address: str, most: int | None) -> str:
    """Grey and pale copy of a picture, reduced where that is wanted."""
    image = _opened(address).convert("L")
    if most is not None:
        image.thumbnail((most, most))
    pale = image.point(lambda level: round(255 * PALE + level * (1 - PALE)))
    return address_of(as_jpeg(pale))


@lru_cache(maxsize=64)
def _part(address: str, size: tuple[float, float], window: Box) -> tuple[str, Box]:
    """The pixels that a window shows, and the place that they take."""
    image = _opened(address)
    unit = size[0] / image.width, size[1] / image.height
    left, top, width, height = window
    pixels = (
        max(0, int(left / unit[0])),
        max(0, int(top / unit[1])),
        min(image.width, int((left + width) / unit[0]) + 1),
        min(image.height, int((top + height) / unit[1]) + 1),
    )
    place = (
        pixels[0] * unit[0], pixels[1] * unit[1],
        (pixels[2] - pixels[0]) * unit[0], (pixels[3] - pixels[1]) * unit[1],
    )  # fmt: skip
    part = image.crop(pixels)
    part.thumbnail((PART, PART))
    return address_of(as_jpeg(part)), place

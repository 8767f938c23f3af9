"""Photographs as a screen shows them: upright, as small as it needs them, by their content."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from heritagecheck.figures.photo_frame import reduced
from heritagecheck.survey.drawings.pictures import as_jpeg, is_picture, open_picture
from heritagecheck.survey.instruments.photo_file import open_photograph

THUMB, LARGE = 320, 1600  # pixels of the long side
EIGHT_BITS = 8


def shown_photograph(path: Path, most: int) -> tuple[bytes, tuple[int, int]]:
    """
    A photograph as JPEG, and its full size as it is shown: width, height.

    Raises
    ------
    ValueError
        It is no picture that can be shown, with the reason and what to do.
    """
    data = path.read_bytes()
    if is_picture(data) or not data.startswith((b"II", b"MM")):
        image, size = open_picture(data, most)
        return as_jpeg(image), size
    from PIL import Image

    pixels = open_photograph(path).pixels
    rows, columns = pixels.shape[:2]
    step = max(1, max(rows, columns) // (4 * most))
    pixels = pixels[::step, ::step]
    if pixels.dtype != np.uint8:
        pixels = (pixels >> EIGHT_BITS).astype(np.uint8)
    return as_jpeg(Image.fromarray(reduced(pixels, most))), (columns, rows)

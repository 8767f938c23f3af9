"""Pictures of pixels as a drawing carries them: few enough to draw, packed into an address."""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.figures.svg import element
from heritagecheck.survey.instruments.photo_file import srgb_light

Image = NDArray[Any]
LARGEST_SIDE = 1200  # pixels that are drawn at most: a page or a screen shows no more
QUALITY = 88  # of JPEG: what it loses is not seen at two pixels to one of the screen
NOTHING = 255  # level of what was not seen
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
    """
    Picture small enough to draw, each pixel the mean light of those it stands for.

    Parameters
    ----------
    picture_rgb : numpy.ndarray of uint8, shape (rows, columns, 3)
        sRGB; read strip by strip, so that it may lie on disk.
    side : int
        How long its longer side may be. [pixel]

    Returns
    -------
    numpy.ndarray of uint8, shape (fewer rows, fewer columns, 3)
    """
    light = averaged(picture_rgb, lambda block: _LIGHT[block], side)
    return np.searchsorted(_BETWEEN, light).astype(np.uint8)


def averaged(image: Image, read: Callable[[Image], Image], side: int) -> NDArray[np.float64]:
    """
    Means over squares of pixels, as large as drawing needs them; NaN is left out of them.

    Parameters
    ----------
    image : numpy.ndarray, shape (rows, columns, ...)
        Read strip by strip.
    read : callable
        Turns a strip into numbers.
    side : int
        How long the longer side of what comes out may be. [pixel]

    Returns
    -------
    numpy.ndarray, shape (fewer rows, fewer columns, ...)
    """
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
    """
    Colours from the least to the largest difference.

    Returns
    -------
    numpy.ndarray of uint8, shape (256, 3)
        sRGB of each level.
    """
    stops = np.array(COLOURS, dtype=float)
    levels = np.arange(256)
    shown = [np.interp(levels, STOPS, stops[:, channel]) for channel in range(3)]
    return np.stack(shown, axis=1).round().astype(np.uint8)


def photographed(picture_rgb: NDArray[np.uint8]) -> str:
    """
    Photograph as an address that carries it.

    Parameters
    ----------
    picture_rgb : numpy.ndarray of uint8, shape (rows, columns, 3)
        sRGB.

    Returns
    -------
    str
    """
    from PIL import Image as Pillow

    target = io.BytesIO()
    # Without halving the colours: grains of another colour would run into one another.
    Pillow.fromarray(picture_rgb).save(target, "JPEG", quality=QUALITY, subsampling=0)
    return _address(target, "jpeg")


def levelled(
    level: NDArray[np.uint8], colours: NDArray[np.uint8], opacity: NDArray[np.uint8]
) -> str:
    """
    Picture of levels, each in its colour, as an address that carries it.

    Parameters
    ----------
    level : numpy.ndarray of uint8, shape (rows, columns)
        Level of each pixel.
    colours : numpy.ndarray of uint8, shape (256, 3)
        sRGB of each level.
    opacity : numpy.ndarray of uint8, shape (256,)
        Opacity of each level.

    Returns
    -------
    str
    """
    from PIL import Image as Pillow

    packed = Pillow.fromarray(level)
    packed.putpalette(colours.tobytes())
    target = io.BytesIO()
    packed.save(target, "PNG", transparency=opacity.tobytes(), optimize=True)
    return _address(target, "png")


def _address(target: io.BytesIO, kind: str) -> str:
    return f"data:image/{kind};base64,{base64.b64encode(target.getvalue()).decode('ascii')}"


def image(address: str, width: float, height: float, *, sharp: bool = False) -> str:
    """
    Picture of pixels within a drawing.

    Parameters
    ----------
    address : str
        What carries it.
    width, height : float
        Its size. [pixel]
    sharp : bool
        True where its pixels are larger than those of a screen, and each is to be told apart.

    Returns
    -------
    str
    """
    return element(
        "image", href=address, width=float(width), height=float(height),
        preserveAspectRatio="none", image_rendering="pixelated" if sharp else None,
    )  # fmt: skip


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

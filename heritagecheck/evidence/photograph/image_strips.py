"""Photographs of any size, taken strip by strip, with what turns their pixels into colour."""

from __future__ import annotations

import mmap
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.colour.colour_difference import FloatArray
from heritagecheck.survey.instruments.photo_file import srgb_light

Precision = Literal["float64", "float32"]

STRIP_PIXELS = 1 << 16  # in work at a time in each thread
LIGHT = (np.dtype(np.float32), np.dtype(np.float64))
_LEVELS = {np.dtype(np.uint8): 256, np.dtype(np.uint16): 65536}
_TERMS = (3, 6, 13)
# A file in memory is read ahead by so much on either side of what was asked for.
_READ_AHEAD_BYTES = 1 << 17


@dataclass(frozen=True, slots=True, eq=False)
class ColourModel:
    """
    How stored pixel values become CIELAB.

    `decode`, shape (256,) or (65536,), is the linear light of each level, None where pixels are
    linear light. `matrix`, shape (3, 3), (3, 6) or (3, 13), goes from terms of linear light to
    X/Xn, Y/Yn, Z/Zn: r, g, b; with six also the square roots of rg, gb, rb; with thirteen also the
    cube roots of rg², gb², rb², gr², bg², br² and rgb (Finlayson et al., IEEE Trans. Image Process.
    24, 1460, 2015). `gain`, shape (rows, columns), is the light that fell on parts of the image:
    each value stands at the middle of its cell, between middles it runs straight, and beyond the
    outermost it stays.
    """

    decode: FloatArray | None
    matrix: FloatArray
    gain: FloatArray | None = None

    def __post_init__(self) -> None:
        """Refuse what would give wrong colours or none."""
        _check_part("decode", self.decode, lambda shape: shape in [(n,) for n in _LEVELS.values()])
        _check_part("matrix", self.matrix, lambda shape: shape in [(3, n) for n in _TERMS])
        _check_part("gain", self.gain, lambda shape: len(shape) == 2 and min(shape) > 0)
        if self.gain is not None and np.min(self.gain) <= 0:
            raise ValueError(
                f"gain reaches {np.min(self.gain):g}: light is divided by it, so it must be "
                "above 0 everywhere."
            )


def _check_part(
    name: str, values: FloatArray | None, fits: Callable[[tuple[int, ...]], bool]
) -> None:
    if values is None:
        return
    if not fits(np.shape(values)):
        allowed = {
            "decode": "(256,) for 8-bit or (65536,) for 16-bit images",
            "matrix": "(3, 3), (3, 6) or (3, 13)",
            "gain": "(rows, columns), at least one of each",
        }[name]
        raise ValueError(f"{name} has shape {np.shape(values)}; it must be {allowed}.")
    if not np.isfinite(values).all():
        raise ValueError(f"{name} holds a value that is not finite.")


class HasColourModel(Protocol):
    """What `difference_map` asks of a calibration."""

    @property
    def model(self) -> ColourModel:
        """How the pixels of the calibrated camera become CIELAB."""


@cache
def srgb(levels: int) -> ColourModel:
    """Colour model of pixels that are sRGB as stored."""
    decode = srgb_light(8 if levels == 256 else 16)
    to_xyz = np.array(
        [
            [0.412453, 0.357580, 0.180423],
            [0.212671, 0.715160, 0.072169],
            [0.019334, 0.119193, 0.950227],
        ]
    )
    white = np.array([[0.95047], [1.0], [1.08883]])
    return ColourModel(decode, to_xyz / white)


class Work:
    """An image with its colour model, checked, and ready to be taken strip by strip."""

    def __init__(self, image: NDArray[Any], model: ColourModel | None, dtype: Precision) -> None:
        """Refuse what does not fit; make ready what the loops take."""
        from heritagecheck.evidence.photograph import pixels as _pixels

        if dtype not in ("float64", "float32"):
            raise ValueError(f'dtype = {dtype!r}: take "float64" or "float32".')
        _check_image(image)
        self.image, self.dtype = image, np.dtype(dtype)
        stored = image.dtype.newbyteorder("=")
        if model is None and stored in LIGHT:
            raise ValueError(
                f"image holds {stored} pixels, which are linear light of an unknown camera. Give "
                "the calibration of its chart, or the photograph as stored (uint8 or uint16)."
            )
        model = srgb(_LEVELS[stored]) if model is None else model
        decode = np.empty(0) if stored in LIGHT else _decoding(model, stored)
        gain = np.empty((0, 0)) if model.gain is None else model.gain
        # Copies, so that the loops meet one kind of array only and are compiled once.
        self.camera = _pixels.Camera(
            np.array(decode, self.dtype),
            np.array(model.matrix, self.dtype, order="C"),
            np.array(gain, np.float64, order="C"),
            *image.shape[:2],
        )

    def lab(self, start: int, stop: int, out: NDArray[Any]) -> None:
        """L*, a*, b* of some rows."""
        from heritagecheck.evidence.photograph import pixels as _pixels

        first = start * self.image.shape[1]
        _pixels.lab_of_strip(self.camera, strip(self.image, start, stop), first, out)
        let_go(self.image, start, stop)

    def differences(self, reference: ArrayLike) -> Callable[[int, int, NDArray[Any]], None]:
        """What puts the differences of some rows from a reference into an array."""
        from heritagecheck.evidence.photograph import pixels as _pixels

        image, camera, columns = self.image, self.camera, self.image.shape[1]
        if np.shape(reference) == (3,):
            colour = np.array(reference, self.dtype)
            if not np.isfinite(colour).all():
                raise ValueError("reference holds a value that is not finite.")

            def from_colour(start: int, stop: int, out: NDArray[Any]) -> None:
                _pixels.map_to_one(camera, strip(image, start, stop), colour, start * columns, out)
                let_go(image, start, stop)

            return from_colour
        other = np.asanyarray(reference)
        if other.shape != image.shape or other.dtype != image.dtype:
            raise ValueError(
                f"reference is {other.dtype} of shape {other.shape} and image is {image.dtype} of "
                f"shape {image.shape}. Give a second photograph registered to the first, of the "
                "same shape and dtype, or one colour as L*, a*, b*."
            )

        def from_pixels(start: int, stop: int, out: NDArray[Any]) -> None:
            pixels, others = strip(image, start, stop), strip(other, start, stop)
            _pixels.map_of_pair(camera, pixels, others, start * columns, out)
            let_go(image, start, stop)
            let_go(other, start, stop)

        return from_pixels


def _check_image(image: NDArray[Any]) -> None:
    if not isinstance(image, np.ndarray) or image.ndim != 3 or image.shape[2] != 3:
        raise ValueError(
            f"image has shape {np.shape(image)}; it must be an array (rows, columns, 3) of red, "
            "green, blue. Drop an alpha channel with image[..., :3]."
        )
    if not image.size:
        raise ValueError(f"image has shape {image.shape}: it holds no pixel.")
    if image.dtype.newbyteorder("=") not in (*_LEVELS, *LIGHT):
        raise ValueError(
            f"image holds {image.dtype} pixels; it must be uint8 or uint16 as stored, or float32 "
            "or float64 linear light."
        )


def _decoding(model: ColourModel, stored: np.dtype[Any]) -> FloatArray:
    """Table of linear light for the levels of an image."""
    levels = 0 if model.decode is None else len(model.decode)
    if model.decode is None or levels != _LEVELS[stored]:
        asked = f"{levels} levels" if levels else "linear light (float32 or float64)"
        raise ValueError(
            f"image holds {stored} pixels, but its calibration is for {asked}. "
            "Calibrate a photograph that was stored in the same way."
        )
    return model.decode


def strips(
    shape: tuple[int, ...], first: int = 0, last: int | None = None
) -> list[tuple[int, int]]:
    """Rows first to last in strips."""
    last = shape[0] if last is None else last
    step = max(1, STRIP_PIXELS // shape[1])
    return [(start, min(start + step, last)) for start in range(first, last, step)]


def side_by_side(do: Callable[..., None], parts: Sequence[tuple[Any, ...]]) -> None:
    """
    Do all parts in as many threads as numba is set to.

    These are plain threads: those of numba's own parallel loops end the process when it was forked
    or when two notebooks' threads meet in them, depending on what is installed.
    """
    from numba import get_num_threads

    threads = min(get_num_threads(), len(parts))
    if threads == 1:
        for part in parts:
            do(*part)
        return
    with ThreadPoolExecutor(threads) as pool:
        for _ in pool.map(lambda part: do(*part), parts):
            pass  # asking for each result raises what a part raised


def strip(array: NDArray[Any], start: int, stop: int) -> NDArray[Any]:
    """
    Some rows in one line, not to be written to, so that the loops are compiled for one kind.

    Copied only where the array is not in C order, or stored in another byte order.
    """
    rows = np.require(
        array[start:stop], array.dtype.newbyteorder("="), ["C_CONTIGUOUS", "ALIGNED"]
    ).reshape(-1)
    rows.flags.writeable = False
    return rows


def let_go(array: NDArray[Any], start: int, stop: int) -> None:
    """
    Take rows of a mapped file out of the process's memory; the file itself keeps what was written.

    Otherwise every page that was ever touched would count as resident until the end.
    """
    if sys.platform != "linux":
        return
    owner: Any = array
    shared = False
    while isinstance(owner, np.ndarray):
        # What was written to a copy-on-write map lives in the pages alone, so those stay.
        shared = shared or (isinstance(owner, np.memmap) and owner.mode != "c")
        owner = owner.base
    if not shared or not isinstance(owner, mmap.mmap):
        return
    origin = np.frombuffer(owner, np.uint8).__array_interface__["data"][0]
    low, high = np.lib.array_utils.byte_bounds(array[start:stop])
    first = max(0, low - origin - _READ_AHEAD_BYTES) // mmap.PAGESIZE * mmap.PAGESIZE
    last = min(len(owner), high - origin + _READ_AHEAD_BYTES)
    owner.madvise(mmap.MADV_DONTNEED, first, last - first)

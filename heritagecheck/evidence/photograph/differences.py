"""Pixels of a photograph of any size become colour; how far each is from a reference."""

from __future__ import annotations

import math
import mmap
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache, partial
from typing import TYPE_CHECKING, Any, Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.colour.colour_difference import FloatArray
from heritagecheck.survey.instruments.photo_file import srgb_light

if TYPE_CHECKING:
    import pandas as pd

Precision = Literal["float64", "float32"]

STRIP_PIXELS = 1 << 16  # in work at a time in each thread
LIGHT = (np.dtype(np.float32), np.dtype(np.float64))
_LEVELS = {np.dtype(np.uint8): 256, np.dtype(np.uint16): 65536}
TERMS = (3, 6, 13)
# A memory-mapped file is read ahead by this much on either side.
_READ_AHEAD_BYTES = 1 << 17


def to_lab(
    image: NDArray[Any], model: ColourModel | None = None, *, dtype: Precision = "float64"
) -> NDArray[Any]:
    """L*, a*, b* of every pixel."""
    work = Work(image, model, dtype)
    found: NDArray[Any] = np.empty(image.shape, work.dtype)

    def fill(start: int, stop: int) -> None:
        work.lab(start, stop, found[start:stop].reshape(-1))

    side_by_side(fill, strips(image.shape[:2]))
    return found


def difference_map(
    image: NDArray[Any],
    reference: ArrayLike,
    *,
    calibration: HasColourModel | None = None,
    dtype: Precision = "float64",
    out: NDArray[Any] | None = None,
) -> NDArray[Any]:
    """
    Colour difference of every pixel from a second photograph, or from one colour.

    Parameters
    ----------
    image : numpy.ndarray, shape (rows, columns, 3)
        Red, green, blue: uint8 or uint16 as stored, or float32 or float64 linear light, which
        needs a calibration. May be a `numpy.memmap`, of any height.
    reference : array_like, shape (rows, columns, 3) or (3,)
        The same field photographed again, registered to `image`, with the same shape, dtype and
        calibration; or one colour as L*, a*, b*, such as the mean of the clean stone.
    calibration : optional
        What `calibrate` gave for the photograph. Without one, pixels are taken as sRGB as stored,
        and differences are relative: good for saying where, not how much.
    dtype : {"float64", "float32"}
        Precision of the sums and of the map. float32 takes half the time; it is within 0.0005,
        and within 0.03 where the two hues are within a degree of opposite.
    out : numpy.ndarray, shape (rows, columns), optional
        Where to put the map, of that dtype; a `numpy.memmap` for an image larger than memory.

    Returns
    -------
    numpy.ndarray, shape (rows, columns)
        CIEDE2000 [1]_, kL = kC = kH = 1. [ΔE00] NaN where a pixel was not finite. It is `out`
        where that was given.

    Raises
    ------
    ValueError
        A shape, dtype or colour model that does not fit, or no pixels at all.

    Notes
    -----
    Besides the map and 3 MB a thread nothing is held in memory. The same result comes out of any
    number of threads (`numba.set_num_threads` sets it). The first call on a machine compiles for
    some seconds; later ones, and later processes, take what was kept.

    Without a calibration the result is that of scikit-image (`rgb2lab`, `deltaE_ciede2000`) to
    1e-9. A map of two photographs knows nothing of a camera moved, a lamp changed or a stone that
    was wet in one of them: each reads as a difference of colour.

    References
    ----------
    .. [1] G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula: implementation
       notes, supplementary test data, and mathematical observations," Color Res. Appl. 30, 21
       (2005). doi:10.1002/col.20070

    Examples
    --------
    Two patches, soiled and after cleaning:

    >>> import numpy as np
    >>> before = np.array([[[92, 84, 72], [186, 168, 140]]], np.uint8)
    >>> after = np.array([[[180, 164, 137], [186, 168, 140]]], np.uint8)
    >>> difference_map(before, after).round(1).tolist()
    [[31.9, 0.0]]
    """
    work = Work(image, None if calibration is None else calibration.model, dtype)
    differ = work.differences(reference)
    found = _place_for_map(out, image.shape[:2], work.dtype)

    def fill(start: int, stop: int) -> None:
        differ(start, stop, np.asarray(found[start:stop]).reshape(-1))
        let_go(found, start, stop)

    side_by_side(fill, strips(image.shape[:2]))
    return found


def zone_statistics(difference: NDArray[Any], labels: NDArray[Any]) -> pd.DataFrame:
    """
    What a difference map says of each zone.

    Parameters
    ----------
    difference : numpy.ndarray, shape (rows, columns)
        A map of `difference_map`, float32 or float64. [ΔE00]
    labels : numpy.ndarray of whole numbers, shape (rows, columns)
        Number of the zone of each pixel, 0 for none.

    Returns
    -------
    pandas.DataFrame
        One row a zone, by label: label, pixels, mean, sd, min, max, median, p95 (95th percentile,
        both interpolated as numpy does) [ΔE00], and unseen: pixels of the zone where the map has
        no number, which nothing else counts.

    Raises
    ------
    ValueError
        Shapes or dtypes that do not fit, a negative label, no zone, or a zone without any number.

    Notes
    -----
    sd is that of the zone's own pixels (divided by their number), and says how uneven the zone is:
    neighbouring pixels resemble one another, so it gives no error of the mean.

    Examples
    --------
    >>> import numpy as np
    >>> found = zone_statistics(np.array([[4.0, 6.0, 30.0]]), np.array([[1, 1, 2]]))
    >>> found[["label", "pixels", "mean", "median"]].to_numpy().tolist()
    [[1.0, 2.0, 5.0, 5.0], [2.0, 1.0, 30.0, 30.0]]
    """
    import pandas as pd

    _check_map(difference)
    _check_labels(labels, difference.shape)
    drawn = labels > 0
    zone = labels[drawn].astype(np.int64)
    value = difference[drawn].astype(np.float64)
    seen = np.isfinite(value)
    by_zone = pd.Series(value[seen]).groupby(zone[seen])
    found = pd.DataFrame(
        {
            "pixels": by_zone.size(),
            "mean": by_zone.mean(),
            "sd": by_zone.std(ddof=0),
            "min": by_zone.min(),
            "max": by_zone.max(),
            "median": by_zone.median(),
            "p95": by_zone.quantile(0.95),
        }
    )
    pixels = pd.Series(zone).value_counts().sort_index()
    if len(blind := pixels.index.difference(found.index)):
        raise ValueError(
            f"zone {', '.join(map(str, blind[:10]))}{' and more' if len(blind) > 10 else ''}: no "
            "pixel has a finite value. Leave the zone out, or mend the picture."
        )
    found["unseen"] = pixels - found["pixels"]
    return found.rename_axis("label").reset_index()


def _place_for_map(
    out: NDArray[Any] | None, shape: tuple[int, ...], dtype: np.dtype[Any]
) -> NDArray[Any]:
    if out is None:
        return np.empty(shape, dtype)
    if out.shape != shape or out.dtype != dtype:
        raise ValueError(
            f"out is {out.dtype} of shape {out.shape}; the map is {dtype} of shape {shape}. "
            "Make out so, or choose the other dtype."
        )
    if not out.flags.c_contiguous or not out.flags.writeable:
        raise ValueError("out must be writable and in C order, as numpy.empty makes it.")
    return out


def _check_map(difference: NDArray[Any]) -> None:
    if not isinstance(difference, np.ndarray) or difference.ndim != 2:
        raise ValueError(
            f"difference has shape {np.shape(difference)}; it must be a map (rows, columns)."
        )
    if difference.dtype.newbyteorder("=") not in LIGHT:
        raise ValueError(f"difference holds {difference.dtype}; it must be float32 or float64.")


def _check_labels(labels: NDArray[Any], shape: tuple[int, ...]) -> None:
    """Refuse what does not number the zones of every pixel."""
    if not isinstance(labels, np.ndarray) or labels.dtype.kind not in "iu":
        raise ValueError(
            f"labels holds {np.asarray(labels).dtype}; it must be whole numbers, 0 for no zone."
        )
    if labels.shape != shape:
        raise ValueError(
            f"labels has shape {labels.shape} but the picture has {shape}: a label for every pixel."
        )
    if not labels.any():
        raise ValueError("labels holds no zone: every pixel is 0.")
    if labels.min() < 0:
        raise ValueError(
            f"labels reaches {labels.min()}; number the zones from 1 up, 0 for no zone."
        )


# -- Pictures of L*, a*, b* ------------------------------------------------------------------------


def picture_and_known(
    lab: ArrayLike, mask: ArrayLike | None
) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """A picture of L*, a*, b*, and which of its pixels are known and lie within a mask."""
    picture = np.asarray(lab)
    if picture.ndim != 3 or picture.shape[2] != 3:
        raise ValueError(
            f"lab has shape {picture.shape}: a picture of L*, a*, b* has (rows, columns, 3)."
        )
    known: NDArray[np.bool_] = np.isfinite(picture).all(axis=2)
    if mask is not None:
        wanted = np.asarray(mask, dtype=bool)
        if wanted.shape != known.shape:
            raise ValueError(f"mask has shape {wanted.shape} and the picture {known.shape}.")
        known &= wanted
    return picture, known


def check_pixel_mm(pixel_mm: float) -> None:
    """Refuse what is no width of a pixel on the wall."""
    if not (math.isfinite(pixel_mm) and pixel_mm > 0):
        raise ValueError(f"pixel_mm = {pixel_mm:g}: the width of a pixel on the wall is above 0.")


def box_of(mask: NDArray[np.bool_], margin: int = 0) -> tuple[slice, slice]:
    """Smallest rows and columns that hold a mask, with a margin."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return (
        slice(max(0, int(rows[0]) - margin), int(rows[-1]) + 1 + margin),
        slice(max(0, int(columns[0]) - margin), int(columns[-1]) + 1 + margin),
    )


# -- From stored pixels to colour ------------------------------------------------------------------


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
        _check_part("matrix", self.matrix, lambda shape: shape in [(3, n) for n in TERMS])
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
        # Not a part of the image: an empty part of a private map no longer says that it is one.
        self._none = np.empty((0, 0, 3), image.dtype)
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
        self._follow(self._none, np.zeros(3, self.dtype), start, stop, out)

    def differences(self, reference: ArrayLike) -> Callable[[int, int, NDArray[Any]], None]:
        """What puts the differences of some rows from a reference into an array."""
        if np.shape(reference) == (3,):
            colour = np.array(reference, self.dtype)
            if not np.isfinite(colour).all():
                raise ValueError("reference holds a value that is not finite.")
            return partial(self._follow, self._none, colour)
        image, other = self.image, np.asanyarray(reference)
        if other.shape != image.shape or other.dtype != image.dtype:
            raise ValueError(
                f"reference is {other.dtype} of shape {other.shape} and image is {image.dtype} of "
                f"shape {image.shape}. Give a second photograph registered to the first, of the "
                "same shape and dtype, or one colour as L*, a*, b*."
            )
        return partial(self._follow, other, np.zeros(3, self.dtype))

    def _follow(
        self, other: NDArray[Any], colour: NDArray[Any], start: int, stop: int, out: NDArray[Any]
    ) -> None:
        """Rows as CIELAB, or their differences from another image; from a colour if it is empty."""
        from heritagecheck.evidence.photograph import pixels as _pixels

        _pixels.follow_strip(
            self.camera, strip(self.image, start, stop), strip(other, start, stop), colour,
            start * self.image.shape[1], out,
        )  # fmt: skip
        for each in (self.image, other):
            let_go(each, start, stop)


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


def strips(shape: tuple[int, ...]) -> list[tuple[int, int]]:
    """Rows of an image in strips, from and up to which each goes."""
    step = max(1, STRIP_PIXELS // shape[1])
    return [(start, min(start + step, shape[0])) for start in range(0, shape[0], step)]


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

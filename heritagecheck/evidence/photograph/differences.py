"""How far each pixel of a photograph is from a reference in colour, and each zone in sum."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.photograph.image_strips import (
    LIGHT,
    ColourModel,
    HasColourModel,
    Precision,
    Work,
    let_go,
    side_by_side,
    strips,
)

if TYPE_CHECKING:
    import pandas as pd


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
    if labels.min() < 0:
        raise ValueError(
            f"labels reaches {labels.min()}; number the zones from 1 up, 0 for no zone."
        )
    if labels.max() == 0:
        raise ValueError("labels holds no zone: every pixel is 0.")

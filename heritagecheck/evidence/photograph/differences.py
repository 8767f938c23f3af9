"""How far each pixel of a photograph is from a reference in colour, and each zone in sum."""

from __future__ import annotations

import itertools
from threading import Lock
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.colour.difference_formulas import FloatArray
from heritagecheck.evidence.photograph.image_strips import (
    BANDS,
    LIGHT,
    SRGB,
    ColourModel,
    HasColourModel,
    Precision,
    Work,
    bands,
    let_go,
    side_by_side,
    strip,
    strips,
)

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "SRGB",
    "ColourModel",
    "HasColourModel",
    "difference_map",
    "to_lab",
    "zone_colours",
    "zone_differences",
    "zone_statistics",
]

MOST_LABEL = 1_000_000  # a count of every label up to the largest is kept


def to_lab(
    image: NDArray[Any], model: ColourModel | None = None, *, dtype: Precision = "float64"
) -> NDArray[Any]:
    """
    L*, a*, b* of every pixel.

    Parameters
    ----------
    image : numpy.ndarray, shape (rows, columns, 3)
        As for `difference_map`.
    model : ColourModel, optional
        How pixels become CIELAB; without one they are taken as sRGB as stored.
    dtype : {"float64", "float32"}
        Precision of the sums and of the result.

    Returns
    -------
    numpy.ndarray, shape (rows, columns, 3)
        L*, a*, b*. [CIELAB units]

    Raises
    ------
    ValueError
        As for `difference_map`.

    Examples
    --------
    >>> import numpy as np
    >>> to_lab(np.array([[[186, 168, 140]]], np.uint8)).round(1).tolist()
    [[[69.7, 2.1, 16.9]]]
    """
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
        Number of the zone of each pixel, at most 1,000,000; 0 for none.

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
    All values are exact. sd is that of the zone's own pixels (divided by their number), and says
    how uneven the zone is: neighbouring pixels resemble one another, so it gives no error of the
    mean. Besides the map as much memory again is taken; `zone_differences` does without both.

    Examples
    --------
    >>> import numpy as np
    >>> found = zone_statistics(np.array([[4.0, 6.0, 30.0]]), np.array([[1, 1, 2]]))
    >>> found[["label", "pixels", "mean", "median"]].to_numpy().tolist()
    [[1.0, 2.0, 5.0, 5.0], [2.0, 1.0, 30.0, 30.0]]
    """
    from heritagecheck.evidence.photograph import zone_pixels as _zone_pixels

    _check_map(difference)
    count = _checked_labels(labels, difference.shape) + 1
    parts = bands(difference.shape)
    halves = np.zeros((len(parts), 2, count), np.int64)
    unseen = np.zeros((len(parts), count), np.int64)

    def tally(band: int, rows_of_band: list[tuple[int, int]]) -> None:
        for rows in rows_of_band:
            values, own = strip(difference, *rows), strip(labels, *rows)
            _zone_pixels.count_labels(values, own, halves[band], unseen[band])
            let_go(difference, *rows)
            let_go(labels, *rows)

    side_by_side(tally, list(enumerate(parts)))
    seen = halves.sum(axis=1)
    seen[:, 0] = 0
    pixels, lost = seen.sum(axis=0), unseen.sum(axis=0)
    zones = _zones_with_values(pixels, lost)
    starts = np.append(0, np.cumsum(pixels))
    places = starts[:-1] + np.cumsum(seen, axis=0) - seen
    values_by_zone = np.empty(starts[-1], difference.dtype.newbyteorder("="))

    def sort(band: int, rows_of_band: list[tuple[int, int]]) -> None:
        for rows in rows_of_band:
            values, own = strip(difference, *rows), strip(labels, *rows)
            _zone_pixels.sort_by_label(values, own, places[band], values_by_zone)
            let_go(difference, *rows)
            let_go(labels, *rows)

    side_by_side(sort, list(enumerate(parts)))
    found = np.empty((len(zones), 6))
    edges = np.append(starts[zones], starts[-1])

    def describe(first: int, last: int) -> None:
        _zone_pixels.describe_zones(values_by_zone, edges[first : last + 1], found[first:last])

    side_by_side(describe, _even_groups(edges))
    return _table(zones, pixels[zones], found, lost[zones])


def zone_differences(
    image: NDArray[Any],
    reference: ArrayLike,
    labels: NDArray[Any],
    *,
    calibration: HasColourModel | None = None,
) -> pd.DataFrame:
    """
    Colour difference of each zone from a second photograph, or from one colour, without a map.

    Parameters
    ----------
    image, reference, calibration
        As for `difference_map`.
    labels : numpy.ndarray of whole numbers, shape (rows, columns)
        As for `zone_statistics`.

    Returns
    -------
    pandas.DataFrame
        The table of `zone_statistics`.

    Raises
    ------
    ValueError
        As for `difference_map` and `zone_statistics`.

    Notes
    -----
    For photographs whose map would not fit into memory. Everything is exact but median and p95,
    which are within 0.025 ΔE00 up to a difference of 204.8; 32 kB are taken for each zone.

    Examples
    --------
    >>> import numpy as np
    >>> before = np.array([[[92, 84, 72], [186, 168, 140]]], np.uint8)
    >>> found = zone_differences(before, [69.7, 2.1, 16.9], np.array([[1, 2]]))
    >>> found["mean"].round(1).tolist()
    [33.2, 0.1]
    """
    from heritagecheck.evidence.photograph import zone_pixels as _zone_pixels

    work = Work(image, None if calibration is None else calibration.model, "float64")
    differ = work.differences(reference)
    zones, line = _zones_and_lines(labels, image.shape[:2])
    parts = bands(image.shape[:2])
    sums = np.zeros((len(parts), len(zones), 7))
    counts = np.zeros((len(zones), _zone_pixels.BINS), np.uint32)
    turn = Lock()

    def add(band: int, rows_of_band: list[tuple[int, int]]) -> None:
        for start, stop in rows_of_band:
            values = np.empty((stop - start) * image.shape[1])
            differ(start, stop, values)
            own = strip(labels, start, stop)
            _zone_pixels.add_differences(values, own, line, sums[band])
            with turn:  # one set of histograms for all threads, since it is large
                _zone_pixels.add_to_histograms(values, own, line, counts)
            let_go(labels, start, stop)

    side_by_side(add, list(enumerate(parts)))
    pixels, unseen = sums[..., 0].sum(axis=0), sums[..., 1].sum(axis=0)
    _check_seen(zones, pixels)
    met = sums[..., 0] > 0
    least = np.where(met, sums[..., 5], np.inf).min(axis=0)
    most = np.where(met, sums[..., 6], -np.inf).max(axis=0)
    mean, spread = _merged(sums[..., 0], sums[..., 2:3], sums[..., 3:4], sums[..., 4:5, np.newaxis])
    found = np.empty((6, len(zones)))
    found[:4] = mean[:, 0], np.sqrt(np.maximum(spread[:, 0, 0], 0)), least, most
    for row, share in ((4, 0.5), (5, 0.95)):
        _zone_pixels.quantiles_of_histograms(counts, share, found[row])
        found[row].clip(least, most, out=found[row])
    return _table(zones, pixels, found.T, unseen)


def zone_colours(
    image: NDArray[Any], labels: NDArray[Any], *, calibration: HasColourModel | None = None
) -> pd.DataFrame:
    """
    Mean colour of each zone and how it varies from pixel to pixel.

    Parameters
    ----------
    image, calibration
        As for `difference_map`.
    labels : numpy.ndarray of whole numbers, shape (rows, columns)
        As for `zone_statistics`.

    Returns
    -------
    pandas.DataFrame
        One row a zone, by label: label, pixels, the means L_star, a_star, b_star [CIELAB units],
        the variances var_L, var_a, var_b and covariances cov_La, cov_Lb, cov_ab of its pixels
        [CIELAB units squared], divided by their number, and unseen: pixels that were not finite.

    Raises
    ------
    ValueError
        As for `difference_map` and `zone_statistics`.

    Notes
    -----
    Neighbouring pixels resemble one another: the covariance describes the grain of the zone as
    this photograph resolves it, and dividing it by the number of pixels gives no error of the mean.

    Examples
    --------
    >>> import numpy as np
    >>> image = np.array([[[92, 84, 72], [98, 90, 78]]], np.uint8)
    >>> found = zone_colours(image, np.ones((1, 2), np.uint8))
    >>> found[["L_star", "var_L"]].round(2).to_numpy().tolist()
    [[37.4, 1.57]]
    """
    import pandas as pd

    from heritagecheck.evidence.photograph import zone_pixels as _zone_pixels

    work = Work(image, None if calibration is None else calibration.model, "float64")
    zones, line = _zones_and_lines(labels, image.shape[:2])
    parts = bands(image.shape[:2])
    sums = np.zeros((len(parts), len(zones), 14))

    def add(band: int, rows_of_band: list[tuple[int, int]]) -> None:
        for start, stop in rows_of_band:
            lab = np.empty((stop - start) * image.shape[1] * 3)
            work.lab(start, stop, lab)
            _zone_pixels.add_colours(lab, strip(labels, start, stop), line, sums[band])
            let_go(labels, start, stop)

    side_by_side(add, list(enumerate(parts)))
    pixels, unseen = sums[..., 0].sum(axis=0), sums[..., 1].sum(axis=0)
    _check_seen(zones, pixels)
    # Products stand as LL, aa, bb, La, Lb, ab.
    products = sums[..., [8, 11, 12, 11, 9, 13, 12, 13, 10]].reshape(*sums.shape[:2], 3, 3)
    mean, spread = _merged(sums[..., 0], sums[..., 2:5], sums[..., 5:8], products)
    return pd.DataFrame(
        {
            "label": zones,
            "pixels": pixels.astype(np.int64),
            **dict(zip(("L_star", "a_star", "b_star"), mean.T, strict=True)),
            **{f"var_{name}": spread[:, k, k] for k, name in enumerate("Lab")},
            "cov_La": spread[:, 0, 1],
            "cov_Lb": spread[:, 0, 2],
            "cov_ab": spread[:, 1, 2],
            "unseen": unseen.astype(np.int64),
        }
    )


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


def _checked_labels(labels: NDArray[Any], shape: tuple[int, ...]) -> int:
    """Largest label, or why the labels will not do."""
    if not isinstance(labels, np.ndarray) or labels.dtype.kind not in "iu":
        raise ValueError(
            f"labels holds {np.asarray(labels).dtype}; it must be whole numbers, 0 for no zone."
        )
    if labels.shape != shape:
        raise ValueError(
            f"labels has shape {labels.shape} but the picture has {shape}: a label for every pixel."
        )
    least, most = 0, 0
    for start, stop in strips(shape):
        rows = labels[start:stop]
        least, most = min(least, int(rows.min())), max(most, int(rows.max()))
        let_go(labels, start, stop)
    if least < 0:
        raise ValueError(f"labels reaches {least}; number the zones from 1 up, 0 for no zone.")
    if most > MOST_LABEL:
        raise ValueError(
            f"labels reaches {most}; {MOST_LABEL:,} is the most. Number the zones from 1 up."
        )
    if most == 0:
        raise ValueError("labels holds no zone: every pixel is 0.")
    return most


def _zones_and_lines(
    labels: NDArray[Any], shape: tuple[int, ...]
) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """Labels that occur, and the line of each label among them, -1 for none."""
    from heritagecheck.evidence.photograph import zone_pixels as _zone_pixels

    present = np.zeros(_checked_labels(labels, shape) + 1, np.bool_)

    def mark(start: int, stop: int) -> None:
        _zone_pixels.mark_labels(strip(labels, start, stop), present)
        let_go(labels, start, stop)

    side_by_side(mark, strips(shape))
    present[0] = False
    line = np.full(len(present), -1, np.int32)
    line[present] = np.arange(present.sum())
    return np.flatnonzero(present), line


def _zones_with_values(pixels: NDArray[np.int64], lost: NDArray[np.int64]) -> NDArray[np.int64]:
    zones = np.flatnonzero(pixels + lost)
    zones = zones[zones > 0]
    _check_seen(zones, pixels[zones])
    return zones


def _check_seen(zones: NDArray[np.int64], pixels: NDArray[Any]) -> None:
    empty = zones[pixels == 0]
    if len(empty):
        raise ValueError(
            f"zone {', '.join(map(str, empty[:10]))}{' and more' if len(empty) > 10 else ''}: no "
            "pixel has a finite value. Leave the zone out, or mend the picture."
        )


def _merged(
    counts: FloatArray, origins: FloatArray, sums: FloatArray, products: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance of each zone, from the sums of its bands put together in their order."""
    total = np.zeros(counts.shape[1])
    mean = np.zeros(origins.shape[1:])
    spread = np.zeros(products.shape[1:])
    for count, origin, first, second in zip(counts, origins, sums, products, strict=True):
        off = first / np.maximum(count, 1)[:, np.newaxis]
        step = np.where(count[:, np.newaxis] > 0, origin + off - mean, 0)
        share = count / np.maximum(total + count, 1)
        spread += second - count[:, np.newaxis, np.newaxis] * _squares(off)
        spread += (total * share)[:, np.newaxis, np.newaxis] * _squares(step)
        mean += step * share[:, np.newaxis]
        total += count
    return mean, spread / total[:, np.newaxis, np.newaxis]


def _squares(steps: FloatArray) -> FloatArray:
    """Products of each vector's entries with one another."""
    found: FloatArray = steps[:, :, np.newaxis] * steps[:, np.newaxis]
    return found


def _table(
    zones: NDArray[np.int64], pixels: NDArray[Any], found: FloatArray, unseen: NDArray[Any]
) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(
        {
            "label": zones,
            "pixels": pixels.astype(np.int64),
            **dict(zip(("mean", "sd", "min", "max", "median", "p95"), found.T, strict=True)),
            "unseen": unseen.astype(np.int64),
        }
    )


def _even_groups(edges: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Neighbouring zones in groups of much the same number of pixels."""
    shares = np.linspace(edges[0], edges[-1], 2 * BANDS + 1)
    cuts = np.unique(np.append(np.searchsorted(edges, shares[:-1]), len(edges) - 1)).tolist()
    return list(itertools.pairwise(cuts))

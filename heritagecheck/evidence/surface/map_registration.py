"""Registration of two height maps of one field, to a fraction of a pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from heritagecheck.evidence.surface.height_map import (
    SHORTEST_PX,
    BoolArray,
    FloatArray,
    Heights,
    high_pass,
    take_off_form,
)

_COARSE = 512  # pixels along a side of the maps on which the first shift is sought
_SAMPLE = 200_000  # pixels of the frame that are used; more do not improve the shift
_LEAST_SHARED = 0.3  # common practice: part of the frame that both maps must show
_LEAST_AT_FIRST = 0.5  # the same in the first search, where little overlap agrees by chance
_PASSES = 30
_STILL_PX = 1e-4  # a smaller step ends the search
_FINE = 10  # waves longer than the side over this do not help to place a map
_SAME_PLACE = 0.4  # common practice; two other places of made granite reached 0.15 by chance
_FEWEST = 50  # pixels from which the four numbers of a similarity are fitted


@dataclass(frozen=True, slots=True, eq=False)
class MapRegistration:
    """
    Similarity from the pixels of one map to those of another.

    `matrix` and `offset_px` take (row, column) of the first to the second; `covariance` is that of
    the shift down and to the right [pixel²], its pixels taken as independent; `shift_px` along a
    row and down, `rotation_deg` and `magnification` say the same in words.
    """

    matrix: FloatArray
    offset_px: FloatArray
    covariance: FloatArray
    shift_px: tuple[float, float]
    rotation_deg: float
    magnification: float


def laid_over(
    before: Heights, after: Heights, frame: BoolArray, *, registered: bool
) -> tuple[MapRegistration | None, FloatArray, float]:
    """
    Place of the second map on the first, the second resampled to it, and their correlation.

    Maps of a part that was not moved (`registered`) are used as they are: place None, NaN.
    """
    if registered:
        check_same_pixels(before, after)
        return None, after.astype(np.float64), math.nan
    place, laid = register_maps(before, after, frame)
    return place, laid, _agreement(before, laid, frame)


def check_same_pixels(before: Heights, after: Heights) -> None:
    """Refuse two maps of different shapes where they are to be used as they are."""
    if before.shape != after.shape:
        raise ValueError(
            f"before_um has shape {before.shape} and after_um {after.shape}: maps that are taken "
            "as they lie must show the same pixels."
        )


def register_maps(
    before: Heights, after: Heights, frame: BoolArray
) -> tuple[MapRegistration, FloatArray]:
    """Place of a map on a second one by its untreated frame, and the second one resampled to it."""
    factor = -(-max(*before.shape, *after.shape) // _COARSE)
    small = binned(before, factor), binned(after, factor)
    place = np.array([1.0, 0.0, *_shift(*small, binned(frame.astype(float), factor) > 0.5)])
    covariance = np.zeros((2, 2))
    # From coarse to fine: on coarse maps the search cannot stop at a neighbouring grain.
    while factor:
        small = binned(before, factor), binned(after, factor)
        inner = binned(frame.astype(float), factor) > 0.99
        place, covariance = _refined(*small, inner, place)
        place[2:] *= factor / max(1, factor // 2)
        factor //= 2
    centre = (np.array(before.shape) - 1) / 2
    matrix = np.array([[place[0], place[1]], [-place[1], place[0]]])
    found = MapRegistration(
        matrix, centre + place[2:] - matrix @ centre, covariance,
        (float(place[3]), float(place[2])), math.degrees(math.atan2(place[1], place[0])),
        math.hypot(place[0], place[1]),
    )  # fmt: skip
    return found, _moved(after, found, (before.shape[0], before.shape[1]))


def _agreement(before: Heights, laid: FloatArray, frame: BoolArray) -> float:
    """Correlation of the fine heights of the frame in both maps; refused where they disagree."""
    factor = -(-max(before.shape) // (2 * _COARSE))
    # Only the frame: a step at the square's edge would reach into it through the filter.
    both = frame & np.isfinite(before) & np.isfinite(laid)
    first, second = (_fine(binned(np.where(both, z, np.nan), factor)) for z in (before, laid))
    both = np.isfinite(first) & np.isfinite(second)
    a, b = (z[both] - z[both].mean() if both.any() else np.zeros(1) for z in (first, second))
    alike = float(a @ b / math.sqrt(max(float(a @ a) * float(b @ b), np.finfo(float).tiny)))
    if alike < _SAME_PLACE:
        raise ValueError(
            f"The two maps do not show the same place: heights of the untreated frame correlate by "
            f"{alike:.2f}, and {_SAME_PLACE:g} is needed. Either one of them is turned or shows "
            "another spot, or the frame is too smooth. Where the part was not moved between them, "
            "give registered=True."
        )
    return alike


def _moved(after: Heights, found: MapRegistration, shape: tuple[int, int]) -> FloatArray:
    """Heights of the second map at the pixels of the first; NaN where it shows nothing."""
    from scipy.ndimage import affine_transform, binary_dilation

    filled, missing = _filled(after)
    settings = {"output_shape": shape, "mode": "constant"}
    moved = affine_transform(
        filled, found.matrix, found.offset_px, order=3, cval=np.nan, **settings
    )
    # A cubic spline reaches over two pixels, so next to a hole it would use the filled heights.
    if missing.any():
        near = binary_dilation(missing, iterations=2).astype(np.float32)
        hidden = affine_transform(near, found.matrix, found.offset_px, order=1, cval=1, **settings)
        moved[hidden > 0] = np.nan
    return np.asarray(moved)


def binned(heights: Heights, factor: int) -> FloatArray:
    """Means of squares of pixels; NaN where half of them or more are missing."""
    if factor == 1:
        return heights.astype(np.float64)
    rows, columns = (length // factor for length in heights.shape)
    part = heights[: rows * factor, : columns * factor].reshape(rows, factor, columns, factor)
    seen = np.isfinite(part)
    count = seen.sum(axis=(1, 3))
    total = np.where(seen, part, 0).sum(axis=(1, 3), dtype=np.float64)
    return np.where(2 * count > factor**2, total / np.maximum(count, 1), np.nan)


def _filled(heights: Heights) -> tuple[FloatArray, BoolArray]:
    """Heights with gaps filled by their mean, and a mask of the gaps."""
    missing = np.isnan(heights)
    if not missing.any():
        return heights.astype(np.float64), missing
    return np.where(missing, np.nanmean(heights), heights).astype(np.float64), missing


def _fine(heights: FloatArray) -> FloatArray:
    """Heights without tilt and without waves that are long compared with the field."""
    fine = heights.copy()
    take_off_form(fine, "plane")
    cutoff = max(SHORTEST_PX, min(fine.shape) / _FINE)
    if cutoff <= min(fine.shape):
        high_pass(fine, (1.0, 1.0), cutoff)
    return fine


def _shift(before: FloatArray, after: FloatArray, frame: BoolArray) -> FloatArray:
    """Shift down and to the right [pixel] at which the frame agrees best with the second map."""
    # Normalised correlation of masked images by Fourier transforms: at each shift the correlation
    # over those pixels that both show (D. Padfield, IEEE Trans. Image Process. 21, 2706, 2012).
    from scipy.fft import irfft2, next_fast_len, rfft2

    first, second = _fine(before), _fine(after)
    seen = frame & np.isfinite(first), np.isfinite(second)
    size = [next_fast_len(a + b - 1, real=True) for a, b in zip(*map(np.shape, seen), strict=True)]

    def spectrum(values: FloatArray) -> FloatArray:
        return np.asarray(rfft2(values, s=size, workers=-1))

    def together(one: FloatArray, other: FloatArray) -> FloatArray:
        return np.asarray(irfft2(np.conj(one) * other, s=size, workers=-1))

    a, b = (np.where(here, z, 0.0) for here, z in zip(seen, (first, second), strict=True))
    spectra_a = [spectrum(z) for z in (seen[0].astype(float), a, a * a)]
    spectra_b = [spectrum(z) for z in (seen[1].astype(float), b, b * b)]
    count = np.maximum(together(spectra_a[0], spectra_b[0]), 1)
    sum_a, sum_b = together(spectra_a[1], spectra_b[0]), together(spectra_a[0], spectra_b[1])
    both = together(spectra_a[1], spectra_b[1]) - sum_a * sum_b / count
    own_a = together(spectra_a[2], spectra_b[0]) - sum_a**2 / count
    own_b = together(spectra_a[0], spectra_b[2]) - sum_b**2 / count
    least = _LEAST_AT_FIRST * seen[0].sum()
    alike = np.where(
        (count >= least) & (own_a > 0) & (own_b > 0),
        both / np.sqrt(np.maximum(own_a * own_b, np.finfo(float).tiny)),
        -1.0,
    )
    row, column = np.unravel_index(int(np.argmax(alike)), alike.shape)
    # Fourier shifts are cyclic: those beyond the map's own length are negative ones.
    return np.array(
        [
            float(at - length if at >= extent else at)
            for at, length, extent in zip((row, column), size, after.shape, strict=True)
        ]
    )


def _refined(
    before: FloatArray, after: FloatArray, frame: BoolArray, place: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Similarity that leaves the frames' difference closest to a plane, and its covariance."""
    # Gauss-Newton on the frame's heights. A plane in their difference is fitted too, because a part
    # is never mounted twice at the same tilt. Huber's weights keep dust and stray damage from
    # moving the map. Slopes are taken from the first map, so that they are calculated once.
    from scipy.ndimage import map_coordinates, spline_filter

    filled, missing = _filled(after)
    spline, hidden = spline_filter(filled, order=3), missing.astype(np.float32)
    centre = (np.array(before.shape) - 1) / 2
    row, column = _sample(before, frame)
    y, x = (row - centre[0], column - centre[1])
    start = before[row, column]
    down = (before[row + 1, column] - before[row - 1, column]) / 2
    across = (before[row, column + 1] - before[row, column - 1]) / 2
    # How a height changes with magnification, turn, and shift down and to the right; then a plane.
    slopes = np.stack([down * y + across * x, down * x - across * y, down, across])
    plane = np.stack([np.ones(len(x)), x, y])
    for _ in range(_PASSES):
        at = np.stack([
            centre[0] + place[2] + place[0] * y + place[1] * x,
            centre[1] + place[3] + place[0] * x - place[1] * y,
        ])  # fmt: skip
        there = map_coordinates(spline, at, order=3, prefilter=False, cval=np.nan)
        there[map_coordinates(hidden, at, order=1, cval=1) > 0] = np.nan
        seen = np.isfinite(there)
        if seen.sum() < max(_FEWEST, _LEAST_SHARED * len(seen)):
            raise ValueError(
                "The two maps do not show the same place: where they agree best they share "
                f"{seen.mean():.0%} of the untreated frame, and {_LEAST_SHARED:.0%} is needed. "
                "Measure the second map at the place of the first."
            )
        terms = np.concatenate([slopes, plane])[:, seen]
        step, covariance = _weighted(terms, (start - there)[seen])
        place = place + step[:4]
        if np.abs(step[2:4]).max() < _STILL_PX:
            break
    return place, covariance[2:4, 2:4]


def _sample(before: FloatArray, frame: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Rows and columns of the frame's pixels at which heights are compared."""
    seen = np.isfinite(before)
    inner = np.zeros_like(seen)
    inner[1:-1, 1:-1] = (
        frame & seen
    )[1:-1, 1:-1] & seen[2:, 1:-1] & seen[:-2, 1:-1] & seen[1:-1, 2:] & seen[1:-1, :-2]  # fmt: skip
    flat = np.flatnonzero(inner)
    if flat.size < _FEWEST:
        raise ValueError(
            f"The untreated frame holds {flat.size} heights that can be compared; at least "
            f"{_FEWEST} are needed. Leave more of the field untreated."
        )
    return np.divmod(flat[:: max(1, flat.size // _SAMPLE)], before.shape[1])


def _weighted(terms: FloatArray, missed: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least squares with Huber's weights: solution and covariance, for independent pixels."""
    weight = np.ones_like(missed)
    for _ in range(3):
        weighted = terms * weight
        normal = weighted @ terms.T
        found = np.linalg.lstsq(normal, weighted @ missed, rcond=None)[0]
        rest = np.abs(missed - found @ terms)
        # 1.4826 times the median is the standard deviation of normal errors; with 1.345 Huber's
        # weights keep 95 % of the efficiency of least squares (P. J. Huber, "Robust Statistics,"
        # Wiley, 1981).
        spread = max(1.4826 * float(np.median(rest)), np.finfo(float).tiny)
        weight = np.minimum(1.0, 1.345 * spread / np.maximum(rest, np.finfo(float).tiny))
    covariance = np.linalg.pinv(normal) * spread**2
    return np.asarray(found, dtype=float), np.asarray(covariance, dtype=float)

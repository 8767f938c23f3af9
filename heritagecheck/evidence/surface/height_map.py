"""A height map or profile as it comes in: checks, form, filter of long waves, holes, spikes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.sentences import count_of

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
# float64, or float32 where a map came so: it halves memory and time.
Heights = NDArray[Any]
Form = Literal["mean", "plane", "curved"]

# Rows in work at a time hold about so many pixels: their arrays stay near a core.
STRIP_PIXELS = 2**17
LEAST_SEEN = 0.5  # common practice: with less of the field seen, nothing is said of the whole
MANY_UNSEEN = 0.02  # common practice: with more unseen, what the field hides may matter
_SAMPLE = 2**17  # heights from which the median is taken
# After resampling, a pixel at the border mixes heights from both sides.
# A cubic spline carries a sheer step over some pixels, a quarter of it a pixel further.
BORDER_PX = 3.0
_NORMAL_MAD = 1.4826  # standard deviation of a normal distribution over its median deviation
# Common practice. One in 500 million normally distributed heights is six deviations out.
_SPIKE = 6.0
_ALONE = 3.0
_FLATTEST_UM = 0.1  # common practice: polished stone and lapped steel are rougher
# At the cut-off half of a wave's height passes: exp(-pi alpha²) = 1/2 (ISO 16610-21).
ALPHA = math.sqrt(math.log(2) / math.pi)
SHORTEST_PX = 5  # of a cut-off, common practice: a shorter one has no room for its own weights
_RING = 2  # pixels from a spike to the heights around it: spikes up to three pixels wide are found


def as_heights(name: str, heights_um: ArrayLike, dimensions: int) -> Heights:
    """Heights as a new array, NaN where nothing was measured; or why they are not usable."""
    given = np.asarray(heights_um)
    if given.dtype.kind not in "iuf":
        raise ValueError(f"{name} holds {given.dtype}: give heights as numbers, NaN for no height.")
    shape = "rows and columns" if dimensions == 2 else "one row of heights"
    if given.ndim != dimensions or min(given.shape) < (2 if dimensions == 2 else 8):
        raise ValueError(
            f"{name} has shape {given.shape}: give {shape}, at least "
            f"{'2 × 2 pixels' if dimensions == 2 else '8 of them'}."
        )
    dtype = np.float32 if given.dtype == np.float32 else np.float64
    heights = np.array(given, dtype=dtype, order="C")
    if np.isinf(heights).any():
        raise ValueError(f"{name} holds infinite heights. Write NaN where nothing was seen.")
    return heights


def as_pixel(pixel_um: float | tuple[float, float]) -> tuple[float, float]:
    """Pixel size along a row and along a column."""
    sizes = np.atleast_1d(np.asarray(pixel_um, dtype=float))
    if sizes.shape not in {(1,), (2,)} or not (np.isfinite(sizes) & (sizes > 0)).all():
        raise ValueError(
            f"pixel_um = {pixel_um}: give the size of a pixel, or its sizes along a row and along "
            "a column, above 0 µm."
        )
    return float(sizes[0]), float(sizes[-1])


def as_mask(name: str, mask: ArrayLike, shape: tuple[int, ...]) -> BoolArray:
    """Where something is, as yes or no for each pixel of a map."""
    given = np.asarray(mask)
    if given.shape != shape or given.dtype.kind != "b":
        raise ValueError(
            f"{name} has shape {given.shape} and holds {given.dtype}: give True or False for each "
            f"pixel of the map, shape {shape}."
        )
    return np.asarray(given, dtype=bool)


def unseen_share(name: str, heights: Heights) -> float:
    """Share of heights that are missing; refused where most are."""
    missing = float(np.isnan(heights).mean())
    if 1 - missing < LEAST_SEEN:
        raise ValueError(
            f"{name}: {missing:.0%} was not seen. At most {1 - LEAST_SEEN:.0%} may be missing. "
            "Measure again, or cut out a part that was seen."
        )
    return missing


def checked_map(
    name: str, heights_um: ArrayLike, pixel_um: float | tuple[float, float]
) -> tuple[Heights, tuple[float, float], float]:
    """Heights of a map, pixel size, and share not measured; or why the map is not usable."""
    heights, pixel = as_heights(name, heights_um, 2), as_pixel(pixel_um)
    unseen = unseen_share(name, heights)
    check_scale(name, heights, pixel)
    return heights, pixel, unseen


def check_scale(name: str, heights: Heights, pixel_um: tuple[float, float]) -> None:
    """Refuse heights whose unit is off by a thousand: no surface is taller than its field."""
    across, down = (n * size for n, size in zip(heights.shape[::-1], pixel_um, strict=True))
    extent_um = across if len(heights) == 1 else max(across, down)
    # Not by the highest and lowest: a spike is a fault of its own.
    low, high = np.percentile(_some(heights), [0.1, 99.9])
    tall = float(high - low)
    if tall > extent_um:
        raise ValueError(
            f"{name} runs over {_in_um(tall)} in height on a field of {_in_um(extent_um)}. Heights "
            "or pixels are in another unit, such as nm or mm: give both in µm."
        )


def _in_um(length_um: float) -> str:
    """A length in four digits, without powers of ten."""
    return f"{length_um:,.0f} µm" if length_um >= 1e4 else f"{length_um:.4g} µm"


def lowest_and_highest(heights: Heights) -> tuple[float, float]:
    """Lowest and highest measured height."""
    low, high = heights.min(), heights.max()
    if np.isnan(low):  # leaving NaN out takes five times as long
        low, high = np.nanmin(heights), np.nanmax(heights)
    return float(low), float(high)


def height_range(heights: Heights) -> float:
    """Range from the lowest to the highest measured height."""
    low, high = lowest_and_highest(heights)
    return high - low


# -- Form ------------------------------------------------------------------------------------------


def take_off_form(heights: Heights, form: Form) -> FloatArray:
    """
    Take a polynomial fitted by least squares off the heights in place; what it was.

    A coefficient belongs to x to the power of its column and y to that of its row, where x and y
    run from -1 to 1 over the field.
    """
    # F-operation of ISO 25178-2: least squares over all measured heights, plane or second order.
    order = {"mean": 0, "plane": 1, "curved": 2}.get(form)
    if order is None:
        raise ValueError(f"form = {form!r}: take one of mean, plane, curved.")
    rows, columns = heights.shape
    powers = [(j, i) for j in range(order + 1) for i in range(order + 1 - j)]
    if rows == 1:
        powers = [(0, i) for i in range(order + 1)]
    x, y = _powers(columns, 2 * order), _powers(rows, 2 * order)
    moments = np.zeros((2 * order + 1, 2 * order + 1))
    sums = np.zeros((order + 1, order + 1))
    for strip in strips(heights):
        part = heights[strip].astype(np.float64)
        seen = np.isfinite(part)
        part[~seen] = 0
        moments += y[:, strip] @ (seen.astype(np.float64) @ x.T)
        sums += y[: order + 1, strip] @ (part @ x[: order + 1].T)
    normal = np.array([[moments[j + m, i + k] for m, k in powers] for j, i in powers])
    solved = np.linalg.solve(normal, np.array([sums[j, i] for j, i in powers]))
    fitted = np.zeros((order + 1, order + 1))
    for (j, i), value in zip(powers, solved, strict=True):
        fitted[j, i] = value
    for strip in strips(heights):
        part = y[: order + 1, strip].T @ fitted @ x[: order + 1]
        heights[strip] -= part.astype(heights.dtype)
    return fitted


def _powers(count: int, most: int) -> FloatArray:
    """Powers 0 to most of a place that runs from -1 to 1."""
    place = np.linspace(-1, 1, count) if count > 1 else np.zeros(1)
    return np.asarray(place[np.newaxis] ** np.arange(most + 1)[:, np.newaxis])


def strips(heights: NDArray[Any]) -> Iterator[slice]:
    """Rows to be worked on together."""
    rows, columns = heights.shape
    step = max(1, STRIP_PIXELS // columns)
    return (slice(first, min(first + step, rows)) for first in range(0, rows, step))


# -- Gaussian filter of ISO 16610 ------------------------------------------------------------------


def transmission(wavelength_um: ArrayLike, cutoff_um: float) -> FloatArray:
    """Share of a wave's height that stays in the mean surface: exp(-pi (alpha cut-off/wave)²)."""
    share = np.exp(-math.pi * (ALPHA * cutoff_um / np.asarray(wavelength_um, dtype=float)) ** 2)
    return np.asarray(share)


def check_cutoff(cutoff_um: float, pixel_um: tuple[float, float], shape: tuple[int, int]) -> None:
    """Refuse a cut-off that is shorter than a few pixels or longer than the field."""
    rows, columns = shape
    sides = [columns * pixel_um[0]] + ([rows * pixel_um[1]] if rows > 1 else [])
    pixel = max(pixel_um) if rows > 1 else pixel_um[0]
    if not SHORTEST_PX * pixel <= cutoff_um <= min(sides):
        raise ValueError(
            f"cutoff_um = {cutoff_um:g}: on this field it runs from {SHORTEST_PX} pixels, "
            f"{SHORTEST_PX * pixel:.4g} µm, to its shorter side, {min(sides):.4g} µm."
        )


def high_pass(heights: Heights, pixel_um: tuple[float, float], cutoff_um: float) -> None:
    """Take the waviness off heights in place, as if the field were mirrored at its edges."""
    # The mean surface of ISO 16610-61 is the convolution with a Gaussian, continued by mirroring
    # (ISO 16610-28). In the cosine transform of second kind, whose waves mirror themselves so, it
    # is a product with the Gaussian's own transmission: exact, and as fast at any cut-off.
    gains = [
        transmission(2 * count * size / np.maximum(np.arange(count), 1e-12), cutoff_um)
        for count, size in zip(heights.shape, (pixel_um[1], pixel_um[0]), strict=True)
    ]
    missing = np.isnan(heights)
    if not missing.any():
        _transformed(heights, gains, rough=True)
        return
    # With holes the weights of measured heights are normalised at each place.
    seen = (~missing).astype(heights.dtype)
    waviness = heights.copy()
    waviness[missing] = 0
    _transformed(waviness, gains, rough=False)
    _transformed(seen, gains, rough=False)
    for rows in strips(heights):
        # In the middle of a large hole nothing weighs; no height is there to be changed.
        heights[rows] -= waviness[rows] / np.maximum(seen[rows], np.finfo(seen.dtype).tiny)


def _transformed(heights: Heights, gains: list[FloatArray], *, rough: bool) -> None:
    """Weigh the waves of heights in place by the transmission, or by what it leaves."""
    from scipy.fft import dctn, idctn

    axes = (0, 1) if heights.shape[0] > 1 else (1,)
    waves = dctn(heights, type=2, axes=axes, overwrite_x=True, workers=-1)
    for rows in strips(waves):
        weight = gains[0][rows, np.newaxis] * gains[1]
        waves[rows] *= (1 - weight if rough else weight).astype(waves.dtype)
    found = idctn(waves, type=2, axes=axes, overwrite_x=True, workers=-1)
    if not np.shares_memory(found, heights):
        heights[...] = found


# -- Spikes ----------------------------------------------------------------------------------------


def _some(heights: Heights) -> Heights:
    """Measured heights, evenly over the field, as many as a percentile needs."""
    some = heights.reshape(-1)[:: max(1, heights.size // _SAMPLE)]
    return some[np.isfinite(some)]


def spikes(heights: Heights) -> NDArray[np.intp]:
    """Flat indices of single heights far from all around them: dust, or an optical artefact."""
    some = _some(heights)
    middle = np.median(some)
    # More than half at one height, as on a lapped face with grooves, leaves no median deviation.
    spread = _NORMAL_MAD * np.median(np.abs(some - middle)) or some.std()
    reach = _SPIKE * spread
    far = np.flatnonzero((heights > middle + reach) | (heights < middle - reach))
    row, column = np.divmod(far, heights.shape[1])
    # A spike is above or below everything on the ring around it.
    highest, lowest = np.full(far.shape, -np.inf), np.full(far.shape, np.inf)
    for down, right in _ring(heights.shape):
        at_row, at_column = row + down, column + right
        inside = (
            (at_row >= 0) & (at_row < heights.shape[0])
            & (at_column >= 0) & (at_column < heights.shape[1])
        )  # fmt: skip
        around = np.where(inside, heights[at_row * inside, at_column * inside], np.nan)
        highest, lowest = np.fmax(highest, around), np.fmin(lowest, around)
    here = heights.reshape(-1)[far]
    least = _ALONE * spread
    return np.asarray(far[(here > highest + least) | (here < lowest - least)])


def _ring(shape: tuple[int, ...]) -> list[tuple[int, int]]:
    """Steps to the pixels around a place, two pixels away."""
    reach = range(-_RING, _RING + 1)
    if shape[0] == 1:
        return [(0, -_RING), (0, _RING)]
    return [(j, i) for j in reach for i in reach if max(abs(j), abs(i)) == _RING]


def height_cautions(heights: Heights, unseen: float, found: NDArray[np.intp]) -> tuple[str, ...]:
    """What to look at before numbers of a surface are relied on; `found` are its spikes."""
    tall = height_range(heights)
    cautions = []
    if unseen > MANY_UNSEEN:
        cautions.append(
            f"{unseen:.0%} was not seen. Steep flanks and pits are lost first, so heights and "
            "slopes are rather larger than given"
        )
    if found.size:
        rest = heights.copy()
        rest.reshape(-1)[found] = np.nan
        cautions.append(
            f"{count_of(found.size, 'spike')}, which may be dust or an error of the instrument: "
            f"{tall:.3g} µm from lowest to highest with, "
            f"{height_range(rest):.3g} µm without. Look at the place"
        )
    if 0 < tall < _FLATTEST_UM:
        cautions.append(
            f"Lowest and highest lie {tall:.2g} µm apart, less than on any worked stone or steel. "
            "Heights may be in mm instead of µm"
        )
    return tuple(cautions)


def inner_part(where: BoolArray, away: float, pixel: tuple[float, float] = (1.0, 1.0)) -> BoolArray:
    """Part of a mask that is further than a distance from its outside, in the unit of `pixel`."""
    if not away or where.all():
        return where
    from scipy.ndimage import distance_transform_edt

    return np.asarray(distance_transform_edt(where, sampling=pixel[::-1]) > away)

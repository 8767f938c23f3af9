"""Uncertainty of surface values, from repeated parts and from the frame around a square."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.surface.height_map import BoolArray, FloatArray, take_off_form
from heritagecheck.evidence.surface.map_registration import MapRegistration, binned
from heritagecheck.sentences import digits_for

_CELLS = 12  # cells along a side: errors of instruments are waves of about that length
_SMALLEST_CELL = 3  # pixels
_ENOUGH_CELLS = 30  # cells of the frame that determine a plane and its scatter well
_FEWEST_CELLS = 8
_LOPSIDED = 50.0  # condition number: cells on all sides of a square stay below 10
_COVERED = 0.25  # part of a cell that must lie in the frame
_MOST_ALIKE = 0.8  # with a higher correlation too few independent cells would be left
_SCALE_PX = 4  # pixels along a side that are averaged, so that little noise is left


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with the ends of its confidence interval [µm]; NaN where it is not known."""

    value: float
    low: float
    high: float

    def __str__(self) -> str:
        if not math.isfinite(self.value):
            return "not known"
        digits = digits_for(self.high - self.value)
        if not math.isfinite(self.high):
            return f"{self.value:.3g} µm"
        return f"{self.value:.{digits}f} µm ({self.low:.{digits}f} to {self.high:.{digits}f} µm)"


def interval_of(values: FloatArray, level: float) -> Interval:
    """Mean of independent parts with its Student t interval; unbounded for a single part."""
    from scipy.special import stdtrit

    known = values[np.isfinite(values)]
    if not known.size:
        return Interval(math.nan, math.nan, math.nan)
    mean = float(known.mean())
    if known.size == 1:
        return Interval(mean, -math.inf, math.inf)
    error = float(known.std(ddof=1)) / math.sqrt(known.size)
    reach = float(stdtrit(known.size - 1, (1 + level) / 2)) * error
    return Interval(mean, mean - reach, mean + reach)


# -- Depth of a treated square, by the untreated frame around it -----------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class FramePlane:
    """Cells of the untreated frame, and the least-squares plane through their means."""

    frame: BoolArray
    side: int
    cells: NDArray[np.intp]
    terms: FloatArray
    inverse: FloatArray

    def through(self, values: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Plane through a map's cell means by least squares, and the residual of each cell."""
        means = cell_means(values, self.frame, (self.side, self.side))[0]
        chosen = means.reshape(-1)[self.cells]
        plane = self.inverse @ (self.terms @ chosen)
        return plane, chosen - plane @ self.terms

    def alike(self, rest: FloatArray) -> float:
        """Correlation of the residuals of cells that share a side, 0 to 0.8."""
        grid = np.full([length // self.side for length in self.frame.shape], np.nan)
        grid.reshape(-1)[self.cells] = rest
        return neighbours_alike(grid)


def neighbours_alike(grid: FloatArray) -> float:
    """Correlation of neighbours in a grid of deviations, 0 to 0.8; NaN where there are none."""
    pairs = [grid[:, 1:] * grid[:, :-1], grid[1:] * grid[:-1]]
    found = np.concatenate([pair[np.isfinite(pair)] for pair in pairs])
    scatter = float(np.nanmean(grid**2))
    if not found.size or not scatter:
        return 0.0
    return min(max(float(found.mean()) / scatter, 0.0), _MOST_ALIKE)


def shared_by(alike: float) -> float:
    """How many values count as one if correlation falls by this factor a step in both axes."""
    # In one axis sum(alike^|k|) over all k is (1 + alike) / (1 - alike).
    return ((1 + alike) / (1 - alike)) ** 2


def frame_plane(frame: BoolArray) -> FramePlane:
    """Cells of a frame; refused if there are too few to determine a plane."""
    side = max(_SMALLEST_CELL, min(frame.shape) // _CELLS)
    while True:
        _, covered = cell_means(np.zeros(frame.shape), frame, (side, side))
        cells = np.flatnonzero(covered.reshape(-1) >= _COVERED)
        if cells.size >= _ENOUGH_CELLS or side == _SMALLEST_CELL:
            break
        side = max(_SMALLEST_CELL, side * 2 // 3)
    row, column = np.divmod(cells, covered.shape[1])
    terms = _terms(frame.shape, (row + 0.5) * side - 0.5, (column + 0.5) * side - 0.5)
    normal = terms @ terms.T
    if cells.size < _FEWEST_CELLS or np.linalg.cond(normal) > _LOPSIDED:
        raise ValueError(
            f"The untreated frame that both maps show is too small or lies on one side: "
            f"{cells.size} cells of {side} pixels, and {_FEWEST_CELLS} around the square are "
            "needed. Measure a larger field, with an untreated border on all sides."
        )
    inverse = np.asarray(np.linalg.inv(normal), dtype=float)
    return FramePlane(frame, side, cells, terms, inverse)


def cell_means(
    values: FloatArray, within: BoolArray, cell: tuple[int, int]
) -> tuple[FloatArray, FloatArray]:
    """Mean of a map over the part of each cell that is in `within`, and the size of that part."""
    rows, columns = (length // side for length, side in zip(values.shape, cell, strict=True))
    box = slice(0, rows * cell[0]), slice(0, columns * cell[1])
    shape = rows, cell[0], columns, cell[1]
    count = within[box].reshape(shape).sum(axis=(1, 3))
    total = np.where(within, values, 0)[box].reshape(shape).sum(axis=(1, 3))
    return total / np.maximum(count, 1), count / (cell[0] * cell[1])


def _terms(shape: tuple[int, ...], row: NDArray[Any], column: NDArray[Any]) -> FloatArray:
    """Terms of a plane (1, x, y) at some places, with x and y from -1 to 1 over the map."""
    y, x = (
        2 * at / max(length - 1, 1) - 1 for at, length in zip((row, column), shape, strict=True)
    )
    return np.stack([np.ones(len(x)), x, y])


@dataclass(frozen=True, slots=True, eq=False)
class DepthError:
    """
    Depth of each pixel from the frame, and how well its mean over some pixels is known.

    `depth_um` is the map; `tilt_um_px` of the second map against the first, along a row and down;
    `scale` its heights over those of the first, with `scale_error`; `quantile` and `one_sided` of
    Student's t; `alike` correlation of neighbouring cells of the frame.
    """

    depth_um: FloatArray
    tilt_um_px: tuple[float, float]
    scale: float
    scale_error: float
    quantile: float
    one_sided: float
    alike: float
    plane: FramePlane
    cell_variance: float
    pixel_variance: float
    relief_um: FloatArray
    slopes: tuple[FloatArray, FloatArray] | None
    slope_planes: FloatArray
    shift_covariance: FloatArray

    def of(self, pixels: BoolArray, *, no_loss: bool = False) -> float:
        """Standard error of the mean depth of pixels; `no_loss` leaves out the height scale."""
        row, column = np.nonzero(pixels)
        at = _terms(pixels.shape, row, column).mean(axis=1)
        # The datum: the plane of the frame, extrapolated to the middle of these pixels.
        variance = float(self.cell_variance * (at @ self.plane.inverse @ at))
        # Their own noise. Pixels are correlated, so it falls with the number of cells they fill;
        # for few pixels it is that of one pixel at most.
        per_pixel = self.cell_variance * self.plane.side**2
        variance += min(per_pixel / row.size, self.pixel_variance)
        if self.slopes is not None:
            here = np.array([part[pixels].mean() for part in self.slopes])
            # A shift acts only through the slope here beyond that of the frame: the plane through
            # the frame absorbs the rest.
            beyond = here - self.slope_planes @ at
            variance += float(beyond @ self.shift_covariance @ beyond)
        if not no_loss:
            variance += (float(self.relief_um[pixels].mean()) * self.scale_error) ** 2
        return math.sqrt(variance)


def depth_error(
    before: FloatArray, laid: FloatArray, square: BoolArray, place: MapRegistration | None,
    *, scale_error: float, level: float,
) -> DepthError:  # fmt: skip
    """Depth between registered maps, relative to the frame around a square, and its error."""
    from scipy.special import stdtrit

    frame = ~square & np.isfinite(before) & np.isfinite(laid)
    plane = frame_plane(frame)
    scale, own_error = _scale(before, laid, frame, scale_error)
    difference = before - laid / scale
    tilt, rest = plane.through(difference)
    alike = plane.alike(rest)
    shared = shared_by(alike)
    free = max(len(rest) / shared - 3, 2.0)  # independent cells less the three terms of a plane
    cell_variance = float((rest**2).sum()) / (len(rest) - 3) * shared
    depth = _level(difference, tilt)
    pixel_variance = float(np.var(depth[frame]))
    relief = _level(laid / scale, plane.through(laid / scale)[0])
    slopes, planes, covariance = None, np.zeros((2, 3)), np.zeros((2, 2))
    if place is not None:
        slopes = (
            np.asarray(np.nan_to_num(np.gradient(relief, axis=0)), dtype=float),
            np.asarray(np.nan_to_num(np.gradient(relief, axis=1)), dtype=float),
        )
        planes = np.stack([plane.through(part)[0] for part in slopes])
        # The registration took pixels as independent; correlated ones count as one.
        together = cell_variance * plane.side**2 / max(pixel_variance, np.finfo(float).tiny)
        covariance = place.covariance * max(1.0, together)
    return DepthError(
        depth,
        (-2 * float(tilt[1]) / (frame.shape[1] - 1), -2 * float(tilt[2]) / (frame.shape[0] - 1)),
        scale, own_error, float(stdtrit(free, (1 + level) / 2)), float(stdtrit(free, level)),
        alike, plane, cell_variance, pixel_variance, relief, slopes, planes, covariance,
    )  # fmt: skip


def _level(values: FloatArray, plane: FloatArray) -> FloatArray:
    """A map less a plane."""
    y, x = (np.linspace(-1, 1, length) for length in values.shape)
    return np.asarray(values - plane[0] - plane[1] * x - plane[2] * y[:, np.newaxis])


def _scale(
    before: FloatArray, laid: FloatArray, frame: BoolArray, known_to: float
) -> tuple[float, float]:
    """Scale of the second map's heights against the first's on the frame, and its error."""
    # The ratio of standard deviations is unbiased if both maps have the same noise; a regression
    # would not be. Its relative error is that of paired normal values, sqrt((1 - r²)/n), with n the
    # number of independent ones. The prior is a scale of 1, known to `known_to` from calibration;
    # both are weighted by their inverse variances.
    first, second = (
        binned(np.where(frame, heights, np.nan), _SCALE_PX) for heights in (before, laid)
    )
    seen = np.isfinite(first) & np.isfinite(second)
    if seen.sum() < _FEWEST_CELLS:
        return 1.0, known_to
    for heights in (first, second):
        heights[~seen] = np.nan
        take_off_form(heights, "plane")
    a, b = first[seen], second[seen]
    spread_a, spread_b = float(a.std()), float(b.std())
    if not (spread_a and spread_b):
        return 1.0, known_to
    ratio = spread_b / spread_a
    first /= spread_a
    second /= spread_b
    alike = float((first[seen] * second[seen]).mean())
    # The product of two patterns is correlated by the product of their correlations.
    pattern = neighbours_alike(first) * neighbours_alike(second - first)
    error = ratio * math.sqrt(max(1 - alike**2, 0.0) / seen.sum() * shared_by(pattern))
    weight = known_to**2 / max(known_to**2 + error**2, np.finfo(float).tiny)
    return 1 + weight * (ratio - 1), math.sqrt(weight) * error

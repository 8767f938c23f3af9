"""What happened at the border of a treated square: step, slope and rim."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.surface.height_map import (
    BoolArray,
    FloatArray,
    as_mask,
    checked_map,
    take_off_form,
)
from heritagecheck.evidence.surface.uncertainty import Interval, interval_of

_PARTS = 12  # of the border, from whose scatter the interval comes
_FEWEST_PARTS = 4
_FEWEST_PIXELS = 6  # from the border to either end of the profile
_BESIDE = 1 / 3  # part of the reach next to the border that is no part of a level (ISO 5436-1)
_LOW, _HIGH = 0.1, 0.9  # share of the step between which its width is measured


@dataclass(frozen=True, slots=True, eq=False)
class EdgeProfile:
    """
    Mean profile across the border of a treated square.

    `height_um` at `distance_um` from the border, below 0 outside, above 0 inside; heights count
    from the untreated level, `low_um` and `high_um` are the ends of their interval at `level`.
    `step` how much lower the square lies; `width_um` over which a tenth to nine tenths of it are
    reached, NaN where no step is found; `rim_um` how far the highest place near the border rises
    above the untreated level, 0 where none does.
    """

    step: Interval
    width_um: float
    rim_um: float
    level: float
    distance_um: FloatArray = field(repr=False)
    height_um: FloatArray = field(repr=False)
    low_um: FloatArray = field(repr=False)
    high_um: FloatArray = field(repr=False)

    def __str__(self) -> str:
        if self.step.low <= 0 <= self.step.high:
            return f"No step is measurable at the border: {self.step}"
        side = "lower" if self.step.value > 0 else "higher"
        size = Interval(abs(self.step.value), *sorted((abs(self.step.low), abs(self.step.high))))
        return f"The square lies {size} {side}; the step is {self.width_um:.3g} µm wide"


def edge_profile(
    heights_um: ArrayLike,
    pixel_um: float | tuple[float, float],
    treated: ArrayLike,
    *,
    reach_um: float | None = None,
    level: float = 0.95,
) -> EdgeProfile:
    """
    Profile across the border of a treated square.

    Parameters
    ----------
    heights_um : array_like, shape (rows, columns)
        Heights after the trial, NaN where nothing was seen; or minus the map of depth. [µm]
    pixel_um : float or tuple of two floats
        Pixel size; or its sizes along a row and along a column. [µm]
    treated : array_like of bool, shape (rows, columns)
        Where the trial acted; the rest is untreated.
    reach_um : float, optional
        How far the profile goes to either side; half of the square's inner radius without it. [µm]
    level : float
        Confidence of the intervals. [0 to 1]

    Returns
    -------
    EdgeProfile
        Step [µm] with its interval, width, rim, and the profile; see there.

    Raises
    ------
    ValueError
        A map or mask that does not fit, a square without untreated surface around it, or a reach
        of fewer than 6 pixels.

    Notes
    -----
    Heights are taken from the plane of the untreated surface and averaged along the border, in 12
    parts of it whose scatter gives the interval. The third of the reach next to the border belongs
    to no level, as for the step of a calibration standard [1]_. Rough stone hides a shallow step:
    the difference of a map before and one after (`depth_removed`) sees it.

    References
    ----------
    .. [1] ISO 5436-1:2000, Surface texture: Profile method, Measurement standards.

    Examples
    --------
    A square 8 µm deep on a lapped plate:

    >>> import numpy as np
    >>> from heritagecheck.evidence import surface
    >>> plate = np.random.default_rng(1).normal(0, 0.3, (120, 120))
    >>> treated = np.zeros((120, 120), bool)
    >>> treated[30:90, 30:90] = True
    >>> found = surface.edge_profile(plate - 8 * treated, 5.0, treated)
    >>> print(f"{found.step.value:.1f} µm")
    8.0 µm
    """
    heights, pixel, _ = checked_map("heights_um", heights_um, pixel_um)
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g}: a confidence lies between 0 and 1, such as 0.95.")
    heights = heights.astype(np.float64)
    square = as_mask("treated", treated, heights.shape)
    if not square.any() or square.all():
        raise ValueError("treated marks all of the map or nothing: a border needs both sides.")
    distance = _distance(square, pixel)
    reach = float(distance.max()) / 2 if reach_um is None else reach_um
    if not (math.isfinite(reach) and reach >= _FEWEST_PIXELS * max(pixel)):
        raise ValueError(
            f"reach_um = {reach:.4g}: the profile needs {_FEWEST_PIXELS} pixels to either side, "
            f"{_FEWEST_PIXELS * max(pixel):.4g} µm. Give a larger square or smaller pixels."
        )
    _level_by(heights, ~square)
    places, profiles = _profiles(heights, distance, _parts(square), reach, max(pixel))
    if len(profiles) < _FEWEST_PARTS:
        raise ValueError(
            "The border is seen from both sides in too few places. Measure a field with an "
            "untreated border on all sides."
        )
    points = [interval_of(column, level) for column in profiles.T]
    mean = np.array([point.value for point in points])
    far = np.abs(places) >= _BESIDE * reach
    with_level = [np.nanmean(profiles[:, far & side], axis=1) for side in (places < 0, places > 0)]
    step = interval_of(with_level[0] - with_level[1], level)
    base = float(np.nanmean(mean[far & (places < 0)]))
    rim = max(
        (p.value - base for p, near in zip(points, ~far, strict=True) if near and p.low > base),
        default=0.0,
    )
    return EdgeProfile(
        step, _width(places, mean - base, step), rim, level, places, mean - base,
        np.array([point.low for point in points]) - base,
        np.array([point.high for point in points]) - base,
    )  # fmt: skip


def _distance(square: BoolArray, pixel_um: tuple[float, float]) -> FloatArray:
    """Distance of each pixel from the border: above 0 inside, below 0 outside."""
    from scipy.ndimage import distance_transform_edt

    half = min(pixel_um) / 2  # the border is between two pixels
    into, out = (
        distance_transform_edt(mask, sampling=pixel_um[::-1]) for mask in (square, ~square)
    )
    return np.asarray(np.where(square, into - half, half - out))


def _level_by(heights: FloatArray, untreated: BoolArray) -> None:
    """Take the plane of the untreated surface off a map in place."""
    rest = np.where(untreated, heights, np.nan)
    if np.isnan(rest).all():
        raise ValueError("Nothing was seen of the untreated surface.")
    plane = take_off_form(rest, "plane")
    y, x = (np.linspace(-1, 1, length) for length in heights.shape)
    heights -= plane[0, 0] + plane[0, 1] * x + plane[1, 0] * y[:, np.newaxis]


def _parts(square: BoolArray) -> NDArray[np.intp]:
    """Part of the border that each pixel belongs to, by its direction from the middle."""
    row, column = np.nonzero(square)
    y, x = (
        np.arange(length) - at.mean()
        for length, at in zip(square.shape, (row, column), strict=True)
    )
    turn = np.arctan2(y[:, np.newaxis], x) / (2 * np.pi) + 0.5
    return np.asarray(np.minimum((turn * _PARTS).astype(int), _PARTS - 1))


def _profiles(
    heights: FloatArray, distance: FloatArray, parts: NDArray[np.intp], reach: float, step: float
) -> tuple[FloatArray, FloatArray]:
    """Places from the border, and the mean height there of each part that shows them all."""
    bins = int(reach // step)
    near = np.isfinite(heights) & (np.abs(distance) < bins * step)
    place = np.floor(distance[near] / step).astype(int) + bins
    at = parts[near] * 2 * bins + place
    count = np.bincount(at, minlength=_PARTS * 2 * bins).reshape(_PARTS, -1)
    total = np.bincount(at, heights[near], minlength=_PARTS * 2 * bins).reshape(_PARTS, -1)
    whole = (count > 0).all(axis=1)
    places = np.asarray((np.arange(2 * bins) - bins + 0.5) * step, dtype=float)
    return places, np.asarray(total[whole] / count[whole])


def _width(places: FloatArray, heights: FloatArray, step: Interval) -> float:
    """How wide the step is, from a tenth to nine tenths of it."""
    if step.low <= 0 <= step.high:
        return math.nan
    done = -heights / step.value
    start = np.flatnonzero(done < _LOW)
    end = np.flatnonzero(done > _HIGH)
    if not (start.size and end.size) or end[0] == 0:
        return math.nan
    first = start[start < end[0]].max(initial=0)
    at = [
        places[k] + (share - done[k]) / (done[k + 1] - done[k]) * (places[k + 1] - places[k])
        for k, share in ((first, _LOW), (end[0] - 1, _HIGH))
    ]
    return float(at[1] - at[0])

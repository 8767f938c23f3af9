"""How the grooves or dimples of a laser-textured steel are made: pitch, width and depth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.surface.height_map import (
    FloatArray,
    checked_map,
    take_off_form,
)
from heritagecheck.evidence.surface.uncertainty import Interval, interval_of
from heritagecheck.tables.row_types import CoatingTexture

_PERIODS = 3  # common practice: a pattern shows itself when it repeats so often
_STANDS_OUT = 30.0  # of its like in all directions; chance reaches about 10
_SECOND = 0.2  # of the first wave's power, from which a second direction counts
_APART = math.cos(math.radians(30))  # directions that differ by more are two
_FEWEST = 3  # whole grooves or dimples
_MIDDLE = 1 / 3  # part of a groove or dimple that gives its depth
_NOT_KNOWN = Interval(math.nan, math.nan, math.nan)


@dataclass(frozen=True, slots=True)
class Texture:
    """
    A regular pattern on steel.

    `kind` of it; `pitch`, `width` at half depth and `depth` of the middle third, each the mean of
    the `count` whole grooves or dimples with its interval [µm]; `direction_deg` of grooves, counted
    from a row of the map; `against` what these are held against, in words; `cautions`.
    """

    kind: Literal["grooves", "dimples", "none"]
    pitch: Interval
    width: Interval
    depth: Interval
    direction_deg: float
    count: int
    against: tuple[str, ...]
    cautions: tuple[str, ...]

    def __str__(self) -> str:
        if self.kind == "none":
            return "No regular pattern found"
        return (
            f"{self.count} {self.kind}: pitch {self.pitch}, width {self.width}, depth {self.depth}"
        )


def texture(
    heights_um: ArrayLike, pixel_um: float | tuple[float, float], *, level: float = 0.95
) -> Texture:
    """
    Pitch, width and depth of the grooves or dimples of a textured surface.

    Parameters
    ----------
    heights_um : array_like, shape (rows, columns)
        Heights, NaN where the instrument saw nothing. [µm]
    pixel_um : float or tuple of two floats
        Pixel size; or its sizes along a row and along a column. [µm]
    level : float
        Confidence of the intervals. [0 to 1]

    Returns
    -------
    Texture
        Kind, pitch, width, depth [µm] with their intervals, direction [degrees]; see there.

    Raises
    ------
    ValueError
        No map of numbers, less than half of it seen, or heights in another unit.

    Notes
    -----
    The pattern is sought in the two-dimensional spectrum: a wave that stands out from those of its
    length in other directions, at least three times in the field. Grooves are averaged along their
    direction and measured one by one; dimples are the low places that stand alone. Walls steeper
    than the instrument can see make grooves look narrower and shallower. The values for coating
    adhesion are common practice without a source: only a pull-off test shows whether one holds.

    Examples
    --------
    Grooves 70 µm wide and 40 µm deep, every 150 µm:

    >>> import numpy as np
    >>> from heritagecheck.evidence import surface
    >>> across = np.arange(400) * 3.0
    >>> grooves = np.where(across % 150 < 70, -40.0, 0.0) * np.ones((200, 1))
    >>> found = surface.texture(grooves, 3.0)
    >>> print(f"{found.width.value:.0f} µm wide, {found.depth.value:.0f} µm deep")
    72 µm wide, 40 µm deep
    """
    heights, pixel, _ = checked_map("heights_um", heights_um, pixel_um)
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g}: a confidence lies between 0 and 1, such as 0.95.")
    heights = heights.astype(np.float64)
    take_off_form(heights, "curved")
    waves = _waves(heights, pixel)
    if not waves:
        return _none("No wave stands out that repeats three times or more in this field")
    if len(waves) == 1:
        return _grooves(heights, pixel, waves[0], level)
    return _dimples(heights, pixel, level)


def _none(why: str) -> Texture:
    """No pattern, and why."""
    return Texture("none", _NOT_KNOWN, _NOT_KNOWN, _NOT_KNOWN, math.nan, 0, (), (why,))


def _waves(heights: FloatArray, pixel_um: tuple[float, float]) -> list[FloatArray]:
    """The pattern's waves, each as periods a µm along a row and down; in one direction or two."""
    shape = heights.shape
    window = np.outer(*(np.hanning(length + 2)[1:-1] for length in shape))
    power = np.abs(np.fft.rfft2(np.nan_to_num(heights) * window)) ** 2
    down = np.fft.fftfreq(shape[0]) * shape[0]  # periods in the field
    across = np.arange(power.shape[1])
    # Lengths are compared on the surface, so a ring of one wavelength is round in 1/µm.
    field = shape[1] * pixel_um[0], shape[0] * pixel_um[1]
    length = np.hypot(down[:, np.newaxis] / field[1], across / field[0])
    power[length < _PERIODS / min(field)] = 0
    found: list[FloatArray] = []
    first = 0.0
    for _ in range(2):
        at = np.unravel_index(int(np.argmax(power)), power.shape)
        peak = float(power[at])
        ring = np.abs(length - length[at]) < 2 / min(field)
        usual = float(np.median(power[ring]))
        if peak <= max(_STANDS_OUT * usual, _SECOND * first):
            break
        wave = np.array([across[at[1]] / field[0], down[at[0]] / field[1]]) + _between(
            power, at, field
        )
        found.append(wave)
        first = first or peak
        along = (across / field[0] * wave[0] + down[:, np.newaxis] / field[1] * wave[1]) / (
            np.maximum(length, np.finfo(float).tiny) * np.hypot(*wave)
        )
        power = np.where(np.abs(along) > _APART, 0, power)
    return found


def _between(power: FloatArray, at: tuple[np.intp, ...], field: tuple[float, float]) -> FloatArray:
    """Offset of a peak from its highest sample, by a parabola through the logarithms."""
    off = np.zeros(2)
    for axis, extent in ((1, field[0]), (0, field[1])):
        step = np.array([axis == 0, axis == 1])
        near = [np.array(at) - step, np.array(at) + step]
        if any((n < 0).any() or (n >= power.shape).any() for n in near):
            continue
        low, high = (float(power[tuple(n)]) for n in near)
        if low > 0 and high > 0:
            a, b, c = np.log([low, float(power[at]), high])
            off[1 - axis] = 0.5 * (a - c) / (a - 2 * b + c) / extent
    return off


# -- Grooves ---------------------------------------------------------------------------------------


def _grooves(
    heights: FloatArray, pixel_um: tuple[float, float], wave: FloatArray, level: float
) -> Texture:
    """Grooves, one by one, from the profile across them."""
    step = min(pixel_um)
    across = wave / np.hypot(*wave)
    place = (
        np.arange(heights.shape[1]) * pixel_um[0] * across[0]
        + np.arange(heights.shape[0])[:, np.newaxis] * pixel_um[1] * across[1]
    )
    seen = np.isfinite(heights)
    at = np.rint((place - place.min()) / step).astype(int)[seen]
    count = np.bincount(at)
    # Only places that a good part of the grooves' length shows.
    inner = np.flatnonzero(count >= np.median(count) / 2)
    cut = slice(inner[0], inner[-1] + 1)
    total, count = np.bincount(at, heights[seen])[cut], count[cut]
    steps = np.arange(len(count))
    profile = np.interp(steps, steps[count > 0], total[count > 0] / count[count > 0])
    each = np.array(_each_groove(profile)).reshape(-1, 3)
    if len(each) < _FEWEST:
        return _none(f"Fewer than {_FEWEST} whole grooves lie in the field; measure a larger one")
    middle, width, depth = each.T * np.array([[step], [step], [1.0]])
    measured = interval_of(width, level), interval_of(depth, level)
    return Texture(
        "grooves", interval_of(np.diff(middle), level), *measured,
        math.degrees(math.atan2(across[0], -across[1])) % 180, len(each),
        _against(*measured), (),
    )  # fmt: skip


def _each_groove(profile: FloatArray) -> list[tuple[float, float, float]]:
    """Middle and width of each whole groove [step], and its depth."""
    half = float(np.percentile(profile, [5, 95]).mean())
    low = profile < half
    edges = np.flatnonzero(low[1:] != low[:-1]) + 1
    # A groove that the field's edge cuts is left out.
    bounds = [*edges, len(profile)] if low[0] else [0, *edges, len(profile)]
    found = []
    for k in range(1, len(bounds) - 2, 2):
        before, first, last, after = bounds[k - 1 : k + 3]
        land = (_middle(profile[before:first]) + _middle(profile[last:after])) / 2
        depth = land - _middle(profile[first:last])
        at = land - depth / 2
        left, right = _crossing(profile, first, at), _crossing(profile, last, at)
        found.append(((left + right) / 2, right - left, depth))
    return found


def _middle(part: FloatArray) -> float:
    """Mean of the middle third."""
    third = int(len(part) * _MIDDLE)
    return float(part[third : len(part) - third].mean())


def _crossing(profile: FloatArray, near: int, at: float) -> float:
    """Where a profile crosses a height between two steps, closest to one of them."""
    crossed = np.flatnonzero((profile[1:] < at) != (profile[:-1] < at))
    k = int(crossed[np.argmin(np.abs(crossed + 0.5 - (near - 0.5)))])
    return k + float((at - profile[k]) / (profile[k + 1] - profile[k]))


# -- Dimples ---------------------------------------------------------------------------------------


def _dimples(heights: FloatArray, pixel_um: tuple[float, float], level: float) -> Texture:
    """Dimples: separate low places that are not cut off by the edge."""
    from scipy.ndimage import center_of_mass, distance_transform_edt, label

    half = float(np.nanpercentile(heights, [2, 98]).mean())
    low = np.nan_to_num(heights, nan=np.inf) < half
    land = float(np.median(heights[~low & np.isfinite(heights)]))
    numbers, count = label(low)
    cut = set(np.concatenate([numbers[0], numbers[-1], numbers[:, 0], numbers[:, -1]]))
    sizes = np.bincount(numbers.ravel())
    usual = float(np.median(sizes[1:])) if count else 0.0
    whole = [k for k in range(1, count + 1) if k not in cut and sizes[k] > usual / 4]
    if len(whole) < _FEWEST:
        return _none(
            f"The pattern runs in two directions, and fewer than {_FEWEST} whole dimples stand "
            "alone: grooves may cross. Measure a larger field"
        )
    deep = distance_transform_edt(low)
    depth = np.array([_dimple_depth(heights, deep, numbers == k, land) for k in whole])
    width = 2 * np.sqrt(sizes[whole] * pixel_um[0] * pixel_um[1] / np.pi)
    places = np.array(center_of_mass(low, numbers, whole)) * pixel_um[::-1]
    apart = np.hypot(*(places[:, np.newaxis] - places).transpose(2, 0, 1))
    apart[np.diag_indices(len(whole))] = np.inf
    measured = interval_of(width, level), interval_of(depth, level)
    return Texture(
        "dimples", interval_of(apart.min(axis=1), level), *measured, math.nan, len(whole),
        _against(*measured), (),
    )  # fmt: skip


def _dimple_depth(heights: FloatArray, deep: FloatArray, here: FloatArray, land: float) -> float:
    """Depth of the middle of a dimple below the land around it."""
    inner = here & (deep >= (1 - _MIDDLE) * deep[here].max())
    return land - float(heights[inner].mean())


def _against(width: Interval, depth: Interval) -> tuple[str, ...]:
    """Width and depth against those that coatings are said to hold on."""
    found = []
    for measure, value in (("width", width.value), ("depth", depth.value)):
        row = CoatingTexture.named(f"groove {measure}")
        side = "below" if value < row.low_um else "above" if value > row.high_um else "within"
        found.append(
            f"{measure.capitalize()} {value:.0f} µm: {side} the {row.low_um:g} to "
            f"{row.high_um:g} µm that are common practice, without a source, for a coating to hold"
        )
    return tuple(found)

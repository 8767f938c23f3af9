"""The patches of a colour chart are read: their light, what spoils it, and how evenly it fell."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.colour.colour_difference import FloatArray
from heritagecheck.evidence.photograph.chart import (
    HALF,
    colour_error,
    mapped,
    patch_places,
    steps_to_pixels,
)
from heritagecheck.tables.row_types import ChartPatch

FULL, FEW = 0.99, 0.01  # of the range; of the pixels of a patch
_EMPTY = 0.004  # of the range
# Clipped and then darkened: so many pixels of a patch at the chart's highest level [share], or so
# little of the grain of the greys [share]; and the grain by which each can be told [level].
_PILED, _NO_GRAIN = 0.3, 0.25
_GRAIN_OF_PILES, _GRAIN = 0.7, 0.3
_SHARE = 0.25  # half of what is read of a patch, in steps; the rest is edge
_SMALLEST, _SMALL = 6.0, 12.0  # side of a patch [pixel]: refused, cautioned
_GLINT = (0.012, 0.1)  # range inside a patch: share of white, and share of the patch itself
_VEIL = 0.02  # stray light over the grey row, as a share of white
_UNEVEN, _TOO_UNEVEN = 0.1, 0.4  # change of light across the chart: cautioned, refused
_BENT, _TOO_BENT = 0.05, 0.3  # of the exponent of the tones: cautioned, refused


def patch_names() -> list[str]:
    """Names of the patches in their order."""
    return [row.name for row in ChartPatch.rows()]


def top_of(pixels: NDArray[Any]) -> float:
    """Highest value that can be stored."""
    return float(np.iinfo(pixels.dtype).max) if pixels.dtype.kind == "u" else 1.0


def check_start(light: FloatArray, known_xyz: FloatArray) -> None:
    """Say so where the corners begin at another patch."""
    if colour_error(light, known_xyz) > 2 * colour_error(light[::-1], known_xyz):
        raise ValueError(
            "chart_corners begin at the wrong corner: the colours fit when the chart is turned by "
            "half. Begin at the dark-skin patch, diagonally opposite black."
        )


@dataclass(frozen=True, slots=True, eq=False)
class Patches:
    """The 24 patches as read: light, flaws in shares of their pixels, range inside, side."""

    light: FloatArray
    full: FloatArray
    piled: NDArray[np.bool_]
    empty: FloatArray
    uneven: FloatArray
    side: float

    @property
    def whole(self) -> NDArray[np.bool_]:
        """Patches of which no channel is at its end."""
        return self.empty <= FEW


def read_patches(
    pixels: NDArray[Any], decode: FloatArray | None, gain: FloatArray | None, corners: FloatArray
) -> Patches:
    """Read the inner part of every patch."""
    matrix = steps_to_pixels(corners)
    lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    side = 2 * HALF * float(min(lengths[::2].min() / 5.84, lengths[1::2].min() / 3.84))
    if side < _SMALLEST:
        raise ValueError(
            f"The patches of the chart are {side:.0f} pixels wide; at least {_SMALLEST:.0f} are "
            "needed. Go closer, or lay the chart nearer to the stone."
        )
    back = np.linalg.inv(matrix)
    top = top_of(pixels)
    floor = 0.0 if decode is None else _EMPTY * top
    light, flaws, uneven = np.empty((24, 3)), np.empty((24, 2)), np.empty(24)
    inside = []
    for number, place in enumerate(patch_places()):
        levels, points, steps = _inside(pixels, matrix, back, place)
        inside.append(levels)
        linear = (levels.astype(float) if decode is None else decode[levels]) / light_at(
            gain, points, pixels.shape
        )
        light[number] = linear.mean(axis=0)
        flaws[number] = (
            (levels >= FULL * top).any(axis=1).mean(),
            (levels <= floor).any(axis=1).mean(),
        )
        uneven[number] = _range_inside(linear.mean(axis=1), steps)
    quantum = 1.0 if pixels.dtype.kind == "u" else 1e-6
    return Patches(light, flaws[:, 0], _piled(inside, quantum), flaws[:, 1], uneven, side)


def _piled(inside: list[NDArray[Any]], quantum: float) -> NDArray[np.bool_]:
    """Patches whose light was cut off at one level, whatever was made of that level later."""
    highest = np.max([levels.max(axis=0) for levels in inside], axis=0)
    grain = np.array([levels.std(axis=0) for levels in inside])
    # The least of the greys below white: steps between levels make some look grainier than light.
    grey = float(grain[19:22].min())
    at_top = np.array([(levels >= highest).mean(axis=0) for levels in inside])
    near = np.array([np.median(levels, axis=0) for levels in inside]) >= highest - 4 * grey
    piled = (at_top > _PILED) & (grey >= _GRAIN_OF_PILES * quantum)
    smooth = near & (grain < _NO_GRAIN * grey) & (grey >= _GRAIN * quantum)
    found: NDArray[np.bool_] = (piled | smooth).any(axis=1)
    return found


def _inside(
    pixels: NDArray[Any], matrix: FloatArray, back: NDArray[Any], place: FloatArray
) -> tuple[NDArray[Any], FloatArray, FloatArray]:
    """Pixels in the middle of a patch, their places, and these in steps from its middle."""
    ends = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * _SHARE
    outline = mapped(matrix, place + ends)
    left, top = np.floor(outline.min(axis=0)).astype(int)
    right, bottom = np.ceil(outline.max(axis=0)).astype(int)
    y, x = np.mgrid[max(top, 0) : bottom, max(left, 0) : right]
    points = np.stack([x.ravel(), y.ravel()], axis=-1) + 0.5
    steps = mapped(back, points) - place
    good = (np.abs(steps) <= _SHARE).all(axis=1)
    part = pixels[max(top, 0) : bottom, max(left, 0) : right].reshape(-1, 3)
    return part[good], points[good], steps[good]


def light_at(gain: FloatArray | None, points: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    """Light of the even board at places x, y [pixel] of a picture, shape (places, 1)."""
    from scipy.ndimage import map_coordinates

    if gain is None:
        return np.ones((len(points), 1))
    across = points[:, 0] / shape[1] * gain.shape[1] - 0.5
    down = points[:, 1] / shape[0] * gain.shape[0] - 0.5
    found: FloatArray = map_coordinates(gain, [down, across], order=1, mode="nearest")[:, None]
    return found


def _range_inside(light: FloatArray, steps: FloatArray) -> float:
    """How far the ninths of a patch differ, beyond what noise explains."""
    third = np.clip((steps + _SHARE) / (2 * _SHARE) * 3, 0, 2.999).astype(int)
    which = third[:, 1] * 3 + third[:, 0]
    count = np.maximum(np.bincount(which, minlength=9), 1)
    means = np.bincount(which, light, minlength=9) / count
    around = light - means[which]
    noise = 3 * float(around.std()) / math.sqrt(int(count.min()))
    seen = np.bincount(which, minlength=9) > 0
    return max(0.0, float(np.ptp(means[seen])) - 2 * noise)


def check_patches(read: Patches) -> list[str]:
    """Refuse patches that say nothing of colour; what is only weaker is a caution."""
    full = read.full > FEW
    if full.any():
        raise ValueError(
            f"The chart is overexposed in these patches: {listed(full)}. Expose so that the white "
            "patch stays below the top of the range, and take the photograph again."
        )
    if read.piled.any():
        raise ValueError(
            f"The chart was overexposed and darkened later: {listed(read.piled)} were cut off "
            "at one level, now below the top of the range. Take the photograph again with "
            "less light; clipped values can't be restored."
        )
    grey = np.arange(24) >= 18
    if (~read.whole & grey).any():
        raise ValueError(
            f"The shadows are crushed in these patches: {listed(~read.whole & grey)}. Expose "
            "longer, or develop without a contrast curve."
        )
    mean = read.light.mean(axis=1)
    least, share = _GLINT
    glint = read.uneven > least * mean[18] + share * mean
    if glint.any():
        raise ValueError(
            f"There is glare, a shadow or dirt on the chart: {listed(glint)} are not even. Or the "
            "corners lie beside the patches. Turn the chart away from the lamp or sun and take "
            "the photograph again."
        )
    found = []
    if not read.whole.all():
        found.append(
            f"A channel is empty in {listed(~read.whole)}; they were left out of the fit, and "
            "colours as strong as these are not measured correctly."
        )
    if read.side < _SMALL:
        found.append(
            f"The patches are only {read.side:.0f} pixels wide, so their means are noisy; go "
            "closer with the next photograph."
        )
    return found


def _check_veil(light: FloatArray, known_xyz: FloatArray) -> None:
    """Refuse stray light over the whole chart, which raises its darkest greys."""
    y, seen = known_xyz[18:, 1], light[18:].mean(axis=1)
    weight = 1 / (y + 0.05)
    slope, over = np.linalg.lstsq(
        np.stack([y, np.ones(6)], axis=-1) * weight[:, None], seen * weight, rcond=None
    )[0]
    if over > _VEIL * slope:
        raise ValueError(
            f"The dark grey patches are too light, by {100 * over / slope:.0f} % of white: glare "
            "lies over the chart, or the camera lifted the shadows. Shade the lens, turn the chart "
            "away from the light, and develop without a picture style."
        )


def listed(which: NDArray[np.bool_]) -> str:
    """Names of patches in words."""
    return ", ".join(name for name, named in zip(patch_names(), which, strict=True) if named)


# -- Even light and straight tones --------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """Light of the patches as if it fell evenly and the tones were straight."""

    light: FloatArray
    power: float
    cautions: tuple[str, ...]


def levelled(read: Patches, known_xyz: FloatArray, *, may_bend: bool) -> Level:
    """Correct what is systematic: a gradient of light across the chart, a power in the tones."""
    used = read.whole
    places = patch_places() - (2.5, 1.5)
    log_y = np.log(known_xyz[:, 1])
    terms = [np.ones(24), places[:, 0], places[:, 1], log_y - log_y.mean()]
    design = np.stack(terms if may_bend else terms[:3], axis=-1)
    light, total = read.light, np.zeros(design.shape[1])
    for _ in range(4):
        weight = 1 / (known_xyz[used, 1:2] + 0.05)
        matrix = np.linalg.lstsq(light[used] * weight, known_xyz[used] * weight, rcond=None)[0]
        off = np.log(np.clip(light @ matrix[:, 1], 1e-6, None)) - log_y
        part, plain = _standing_out(design[used], off[used], total)
        total = np.where(plain, total + part, 0)
        light = _straightened(read.light, total, design)
    across = float(np.abs(total[1:3]) @ (5, 3))
    if across > _TOO_UNEVEN:
        raise ValueError(
            f"The light changes by {100 * across:.0f} % across the chart; at most "
            f"{100 * _TOO_UNEVEN:.0f} % can be allowed for. Photograph in even shade, or with the "
            "lamp further away."
        )
    _check_veil(read.light / np.exp(design[:, 1:3] @ total[1:3])[:, None], known_xyz)
    power = 1 / (1 + total[3]) if may_bend else 1.0
    if abs(power - 1) > _TOO_BENT:
        raise ValueError(
            f"The tones are bent by an exponent of {1 / power:.1f}: this is a picture style, or "
            "not the profile that the file names. Develop the raw file without a style."
        )
    found = []
    if across > _UNEVEN:
        found.append(
            f"The light changes by {100 * across:.0f} % across the chart, and so it will over the "
            "stone: L* is off away from the chart. An even board in a second photograph helps."
        )
    if abs(power - 1) > _BENT:
        found.append(
            f"The tones are bent (exponent {1 / power:.2f}), which was taken out: the camera or "
            "the program that developed the photograph did not keep to its profile."
        )
    return Level(light, power, tuple(found))


def _standing_out(
    design: FloatArray, off: FloatArray, total: FloatArray
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Coefficients of what is off, and which of them, all taken together, pass three errors."""
    part = np.linalg.lstsq(design, off, rcond=None)[0]
    spread = float(((off - design @ part) ** 2).sum()) / (len(off) - design.shape[1])
    error = np.sqrt(spread * np.diag(np.linalg.inv(design.T @ design)))
    plain = np.abs(total + part) > 3 * error
    plain[0] = False
    return part, plain


def _straightened(light: FloatArray, total: FloatArray, design: FloatArray) -> FloatArray:
    """Light divided by the slope, and straightened around white."""
    slope = np.exp(design[:, 1:3] @ total[1:3])
    power = 1 / (1 + total[3]) if len(total) > 3 else 1.0
    found: FloatArray = np.clip(light / slope[:, None], 0, None) ** power
    return found

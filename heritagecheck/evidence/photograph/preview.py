"""How a wall might look once it is cleaned as agreed, and years later: simulations, never proof."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.colour.colour_difference import FloatArray
from heritagecheck.evidence.colour.reading_sets import three
from heritagecheck.evidence.photograph.differences import box_of

# Choices for looking at, none of them measured.
TEXTURE_PX = 10.0  # what varies over less than this is texture of the stone, not soiling
BLEND_PX = 4.0  # width of the passage to a neighbour that is left as it is
_MOST_GAIN = 2.0  # soiling flattens texture; more than twice would blow up the camera's noise


@dataclass(frozen=True, slots=True)
class Appearance:
    """
    Look that is agreed for a zone.

    `mean` is L*, a*, b* of clean stone; `spread` the standard deviation of its texture from pixel
    to pixel, in photographs of the same scale. Without it, the zone's own texture is kept as it is.
    """

    mean: tuple[float, float, float]
    spread: tuple[float, float, float] | None = None


def appearance_of(lab: ArrayLike, mask: ArrayLike) -> Appearance:
    """Look of the clean stone in a photograph, as the aim of a preview."""
    values = _picture(lab)
    where = np.asarray(mask, dtype=bool)
    if where.shape != values.shape[:2]:
        raise ValueError(f"mask has shape {where.shape} but lab shows {values.shape[:2]} pixels.")
    if not where.any():
        raise ValueError("mask marks no pixel: outline some clean stone in the photograph.")
    box = box_of(where)
    _, texture = _parted(values[box].astype(float), where[box])
    mean, spread = values[where].mean(axis=0, dtype=float), texture[where[box]].std(axis=0)
    # To the digits that a colour can mean.
    return Appearance(three(mean.round(4)), three(spread.round(4)))


def agreed_appearance(
    lab: ArrayLike, labels: ArrayLike, targets: Mapping[int, Appearance], cleanliness: float
) -> FloatArray:
    """Photograph of a wall with some zones shifted towards their agreed appearance."""
    # A simulation to talk about an aim: it knows nothing of what a method does. The smooth colour
    # of a zone moves, so that streaks and veils fade; its texture stays, widened at most twofold.
    # Soiling in spots finer than some ten pixels counts as texture and stays. Beside what is left,
    # the zone passes into it, so that its mean there falls short of the target.
    values, zones = _picture(lab), np.asarray(labels)
    _check_zones(values, zones, targets)
    if not 0 <= cleanliness <= 1:
        raise ValueError(
            f"cleanliness = {cleanliness:g} must lie between 0 (as today) and 1 (the agreed look)."
        )
    cleaned = np.isin(zones, list(targets))
    found = values.copy()
    for label, target in targets.items():
        box = box_of(zones == label, math.ceil(BLEND_PX) + 1)
        inside = zones[box] == label
        part = values[box].astype(float)
        moved = part + _shift(part, inside, target, cleanliness) * _passage(cleaned[box])
        moved[..., 0] = moved[..., 0].clip(0, 100)
        found[box][inside] = moved[inside]
    return found


def resoiled(
    agreed: ArrayLike, today: ArrayLike, *, years: float, half_time_years: float
) -> FloatArray:
    """Cleaned wall as it may look when it has soiled again for some years."""
    # The contrast c to today's look falls as c(0) 2^(-t / half time). Reflectance of panels in
    # towns was fitted as R0 exp(-k PM10 t) (Watt et al., Sci. Total Environ. 400, 415-424, 2008),
    # or with the square root of time (Pio et al., Atmos. Environ. 32, 1979-1989, 1998). Over
    # decades the two part widely, and algae, which come first in wet places, are in neither.
    clean, soiled = _picture(agreed), _picture(today)
    if clean.shape != soiled.shape:
        raise ValueError(
            f"agreed has shape {clean.shape} but today has {soiled.shape}: both must be the same "
            "view."
        )
    if not (math.isfinite(years) and years >= 0):
        raise ValueError(f"years = {years:g} must be 0 or more.")
    if not (math.isfinite(half_time_years) and half_time_years > 0):
        raise ValueError(f"half_time_years = {half_time_years:g} must be a time above 0.")
    # As 1 - 2^-x, today's pixels come out to the last bit where nothing was cleaned.
    lost = -math.expm1(-math.log(2) * years / half_time_years)
    return np.asarray(clean + lost * (soiled - clean), dtype=clean.dtype)


def _shift(
    part: FloatArray, inside: NDArray[np.bool_], target: Appearance, cleanliness: float
) -> FloatArray:
    """How far each pixel of a zone moves: its smooth colour to the target, its texture widened."""
    smooth, texture = _parted(part, inside)
    own = texture[inside].std(axis=0)
    gain = np.ones(3)
    if target.spread is not None:
        wanted = np.divide(target.spread, own, out=np.ones(3), where=own > 0)
        gain += cleanliness * (wanted.clip(1, _MOST_GAIN) - 1)
    # Near a border the texture does not average to 0 by itself.
    mean = texture[inside].mean(axis=0)
    moved: FloatArray = cleanliness * (np.array(target.mean) - smooth - mean)
    moved += (gain - 1) * (texture - mean)
    return moved


def _parted(part: FloatArray, inside: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """Smooth colour of a zone, from its own pixels only, and the texture that is left."""
    from scipy.ndimage import gaussian_filter

    def blurred(image: FloatArray) -> FloatArray:
        return np.asarray(gaussian_filter(image, TEXTURE_PX, mode="constant", truncate=3))

    weight = blurred(inside.astype(float))
    smooth = np.stack([blurred(np.where(inside, part[..., i], 0)) for i in range(3)], axis=-1)
    smooth = np.divide(smooth, weight[..., None], out=smooth, where=weight[..., None] > 0)
    return smooth, part - smooth


def _passage(cleaned: NDArray[np.bool_]) -> FloatArray:
    """Share of the shift that each pixel gets, less near areas that stay as they are."""
    from scipy.ndimage import distance_transform_edt

    if cleaned.all():
        return np.ones((*cleaned.shape, 1))
    distance = np.asarray(distance_transform_edt(cleaned), dtype=float)
    share: FloatArray = ((distance - 0.5) / BLEND_PX).clip(0, 1)
    return share[..., np.newaxis]


def _picture(lab: ArrayLike) -> FloatArray:
    """Give a picture of L*, a*, b*, or say why it is none."""
    given = np.asarray(lab)
    values: FloatArray = given if np.issubdtype(given.dtype, np.floating) else given.astype(float)
    if values.ndim != 3 or values.shape[-1] != 3 or not values.size:
        raise ValueError(
            f"A picture of L*, a*, b* has the shape (rows, columns, 3); this one has "
            f"{values.shape}."
        )
    odd = int((~np.isfinite(values)).any(axis=-1).sum())
    if odd:
        raise ValueError(
            f"{odd} pixels are not finite numbers: a preview needs a whole photograph."
        )
    return values


def _check_zones(
    values: FloatArray, zones: NDArray[Any], targets: Mapping[int, Appearance]
) -> None:
    """Refuse labels and targets that do not belong to the picture."""
    if zones.shape != values.shape[:2] or not np.issubdtype(zones.dtype, np.integer):
        raise ValueError(
            f"labels must hold one whole number a pixel, shape {values.shape[:2]}; they have "
            f"shape {zones.shape} and type {zones.dtype}."
        )
    known = np.unique(zones).tolist()
    for label, target in targets.items():
        if label not in known:
            shown = ", ".join(map(str, known[:12])) + (" …" if len(known) > 12 else "")
            raise ValueError(f"No pixel has label {label}. Labels in the picture: {shown}.")
        mean, spread = np.array(target.mean), np.array(target.spread or (0, 0, 0))
        if not (np.isfinite(mean).all() and 0 <= mean[0] <= 100):
            raise ValueError(
                f"The target of label {label}, {target.mean}, is not a colour: L* runs from 0 "
                "(black) to 100 (white)."
            )
        if not (np.isfinite(spread).all() and spread.min() >= 0):
            raise ValueError(
                f"The spread of label {label}, {target.spread}, must be three numbers of 0 or more."
            )

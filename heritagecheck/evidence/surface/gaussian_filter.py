"""The Gaussian filter of ISO 16610 that takes waves longer than the cut-off off a surface."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.surface.height_map import FloatArray, Heights, strips

# At the cut-off half of a wave's height passes: exp(-pi alpha²) = 1/2 (ISO 16610-21).
ALPHA = math.sqrt(math.log(2) / math.pi)
FEWEST_PIXELS = 5  # common practice: a shorter cut-off has no room for its own weights


def transmission(wavelength_um: ArrayLike, cutoff_um: float) -> FloatArray:
    """Share of a wave's height that stays in the mean surface: exp(-pi (alpha cut-off/wave)²)."""
    share = np.exp(-math.pi * (ALPHA * cutoff_um / np.asarray(wavelength_um, dtype=float)) ** 2)
    return np.asarray(share)


def check_cutoff(cutoff_um: float, pixel_um: tuple[float, float], shape: tuple[int, int]) -> None:
    """Refuse a cut-off that is shorter than a few pixels or longer than the field."""
    rows, columns = shape
    sides = [columns * pixel_um[0]] + ([rows * pixel_um[1]] if rows > 1 else [])
    pixel = max(pixel_um) if rows > 1 else pixel_um[0]
    if not FEWEST_PIXELS * pixel <= cutoff_um <= min(sides):
        raise ValueError(
            f"cutoff_um = {cutoff_um:g}: on this field it runs from {FEWEST_PIXELS} pixels, "
            f"{FEWEST_PIXELS * pixel:.4g} µm, to its shorter side, {min(sides):.4g} µm."
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
    # With holes the weights of what was seen are scaled up to 1 again at each place.
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

"""How rough a surface is, from a height map."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.surface.gaussian_filter import check_cutoff, high_pass
from heritagecheck.evidence.surface.height_map import (
    Form,
    Heights,
    as_heights,
    as_pixel,
    check_scale,
    height_cautions,
    lowest_and_highest,
    spikes,
    strips,
    take_off_form,
    unseen_share,
)


@dataclass(frozen=True, slots=True, eq=False)
class Roughness:
    """
    Parameters of a surface by ISO 25178-2.

    `Sa` mean, `Sq` root mean square, `Sp` highest, `Sv` deepest, `Sz` from deepest to highest
    [µm]; `Ssk` skewness (below 0: pits and grooves), `Sku` kurtosis; `Sdq` root mean square
    slope; `Sdr` area gained over a flat field, as a share. `cutoff_um` of the filter, None where
    only the form was taken off; `unseen` share without a height; `spikes` pixels far out and
    alone, which are counted all the same; `filtered_um` the surface that the parameters describe.
    """

    Sa: float
    Sq: float
    Sz: float
    Sp: float
    Sv: float
    Ssk: float
    Sku: float
    Sdq: float
    Sdr: float
    cutoff_um: float | None
    unseen: float
    spikes: int
    cautions: tuple[str, ...]
    filtered_um: Heights = field(repr=False)

    def __str__(self) -> str:
        filtered = "unfiltered" if self.cutoff_um is None else f"cut-off {self.cutoff_um:g} µm"
        return f"Sa {self.Sa:.3g} µm, Sq {self.Sq:.3g} µm, Sz {self.Sz:.3g} µm ({filtered})"


def roughness(
    heights_um: ArrayLike,
    pixel_um: float | tuple[float, float],
    cutoff_um: float | None = None,
    *,
    form: Form = "plane",
) -> Roughness:
    """
    Roughness of a surface from its height map.

    Parameters
    ----------
    heights_um : array_like, shape (rows, columns)
        Heights; NaN where the instrument saw nothing. float32 is worked on as such. [µm]
    pixel_um : float or tuple of two floats
        Pixel size; or its sizes along a row and along a column. [µm]
    cutoff_um : float, optional
        Nesting index of the Gaussian filter: waves longer than this are taken off. From 5 pixels
        to the shorter side of the field. Without it only the form is taken off. [µm]
    form : {"plane", "curved", "mean"}
        What is taken off first by least squares: tilt, a surface of second order, or only the mean.

    Returns
    -------
    Roughness
        Sa, Sq, Sz, Sp, Sv [µm]; Ssk, Sku, Sdq, Sdr [1]; see there.

    Raises
    ------
    ValueError
        No map of numbers, less than half of it seen, a cut-off that does not fit the field, or
        heights larger than the field, which are in another unit.

    Notes
    -----
    Parameters follow ISO 25178-2 [1]_, the filter ISO 16610-61 [2]_ with the surface mirrored at
    its edges: `scipy.ndimage.gaussian_filter(truncate=8, mode="reflect")` gives the same to 1e-9.
    Pixels without a height weigh nothing, and the weights around them are scaled up. Slope and
    area are those of the four triangles between neighbouring pixels, so both grow as pixels
    shrink: compare maps of one pixel size and one cut-off only. Sz rests on two pixels.

    References
    ----------
    .. [1] ISO 25178-2:2021, Surface texture: Areal, Terms, definitions and parameters.
    .. [2] ISO 16610-61:2015, Filtration, Linear areal filters: Gaussian filters.

    Examples
    --------
    Ridges of a tooth chisel, 10 µm to either side, every 250 µm:

    >>> import numpy as np
    >>> from heritagecheck.evidence import surface
    >>> ridges = 10 * np.cos(2 * np.pi * np.arange(500) / 50) * np.ones((100, 1))
    >>> print(surface.roughness(ridges, 5.0))
    Sa 6.37 µm, Sq 7.07 µm, Sz 20.1 µm (unfiltered)
    """
    heights = as_heights("heights_um", heights_um, 2)
    pixel = as_pixel(pixel_um)
    unseen = unseen_share("heights_um", heights)
    extent = max(heights.shape[1] * pixel[0], heights.shape[0] * pixel[1])
    check_scale("heights_um", heights, extent)
    if cutoff_um is not None:
        check_cutoff(cutoff_um, pixel, (heights.shape[0], heights.shape[1]))
    take_off_form(heights, form)
    if cutoff_um is not None:
        high_pass(heights, pixel, cutoff_um)
    about_mean = mean_height(heights)
    heights -= heights.dtype.type(about_mean)
    found = spikes(heights)
    mean, square, skewness, kurtosis = height_moments(heights)
    slope, gained = _slopes(heights, pixel)
    lowest, highest = lowest_and_highest(heights)
    heights.setflags(write=False)
    return Roughness(
        mean, square, highest - lowest, highest, -lowest, skewness, kurtosis, slope, gained,
        cutoff_um, unseen, int(found.size), height_cautions(heights, unseen, found), heights,
    )  # fmt: skip


def mean_height(heights: Heights) -> float:
    """Mean of what was seen."""
    total, count = 0.0, 0
    for rows in strips(heights):
        part = heights[rows]
        seen = part[np.isfinite(part)]
        total += float(seen.sum(dtype=np.float64))
        count += seen.size
    return total / count


def height_moments(heights: Heights) -> tuple[float, float, float, float]:
    """Mean deviation, root mean square, skewness and kurtosis of heights about 0."""
    # Sa = mean |z|, Sq² = mean z², Ssk = mean z³ / Sq³, Sku = mean z⁴ / Sq⁴ (ISO 25178-2).
    sums, count = np.zeros(4), 0
    for rows in strips(heights):
        part = heights[rows].astype(np.float64).reshape(-1)
        seen = np.isfinite(part)
        if not seen.all():
            part = part[seen]
        square = part * part
        sums += np.abs(part).sum(), square.sum(), (square * part).sum(), (square * square).sum()
        count += part.size
    mean, second, third, fourth = sums / count
    root = math.sqrt(second)
    if not root:
        return mean, 0.0, math.nan, math.nan
    return float(mean), root, float(third / root**3), float(fourth / second**2)


def _slopes(heights: Heights, pixel_um: tuple[float, float]) -> tuple[float, float]:
    """Root mean square slope, and the area gained as a share."""
    # Each cell between four pixels is halved along either diagonal: four triangles, one at each
    # pixel, whose slopes along and across are those of the two edges that meet there.
    squares, gained, cells = 0.0, 0.0, 0
    for rows in strips(heights[:-1]):
        part = heights[rows.start : rows.stop + 1].astype(np.float64)
        whole = bool(np.isfinite(part).all())
        across, down = np.diff(part, axis=1), np.diff(part, axis=0)
        across *= across
        across /= pixel_um[0] ** 2
        down *= down
        down /= pixel_um[1] ** 2
        for top in (across[:-1], across[1:]):
            for left in (down[:, :-1], down[:, 1:]):
                square = top + left
                if not whole:
                    square = square[np.isfinite(square)]
                squares += float(square.sum())
                cells += square.size
                square += 1
                gained += float(np.sqrt(square, out=square).sum())
    return (math.sqrt(squares / cells), gained / cells - 1) if cells else (math.nan, math.nan)

"""How much of a clean patch of granite is dark mineral, counted in a photograph."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.colour.colour_difference import FloatArray, checked_level, light_of
from heritagecheck.evidence.photograph.differences import box_of, check_pixel_mm, picture_and_known

BoolArray = NDArray[np.bool_]

_FEWEST_PX = 4.0  # mean width of a dark grain: below it most of its pixels are border
_FEWEST_GRAINS = 30
_FEWEST_PIXELS = 2500
_APART = 20.0  # L* between dark and light minerals; biotite and feldspar are some 40 apart
# Ours: how empty the gap between dark and light must be, relative to the lower of the two peaks.
_EMPTIEST = 0.35
_CALM = 4.0  # L* a pixel: a slope that noise has too
_LEAST_SHARE = 0.002  # of the pixels: fewer dark ones are dirt or shadow in a joint
_MOST_SHARE = 0.6  # beyond it the light ones are the exception: joints, or no granite
_BORDER_PX = 5.0  # how far blur carries the dark of a grain
_LARGEST = 1500  # pixels a side of the part in which the pattern of grains is looked at


@dataclass(frozen=True, slots=True, eq=False)
class MineralFractions:
    """
    Share of dark minerals on a clean patch of stone.

    `dark` with the interval `low` to `high` for the stone that the patch is a sample of
    [0 to 1]; `n_effective` points that a point count would need to know it as well;
    `n_grains` dark grains seen, neighbours that touch taken as one; `grain_px`, `grain_mm` mean
    width of a dark grain; `threshold_L` lightness that parts dark from light grains; `cautions`.
    """

    dark: float
    low: float
    high: float
    level: float
    n_effective: float
    n_grains: int
    grain_px: float
    grain_mm: float
    threshold_L: float
    cautions: tuple[str, ...]

    def __str__(self) -> str:
        return (
            f"Dark minerals take {100 * self.dark:.1f} % of the patch ({100 * self.level:g} % "
            f"confidence interval {100 * self.low:.1f} to {100 * self.high:.1f} %)"
        )


def mineral_fractions(
    lab: ArrayLike,
    *,
    pixel_mm: float,
    mask: ArrayLike | None = None,
    level: float = 0.95,
) -> MineralFractions:
    """
    Share of dark minerals on a clean patch of stone.

    Parameters
    ----------
    lab : array_like, shape (rows, columns, 3)
        L*, a*, b* of the photograph, not reduced; NaN where nothing is known. [CIELAB units]
    pixel_mm : float
        Width of a pixel on the wall. [mm]
    mask : array_like of bool, shape (rows, columns), optional
        Where the clean patch is; without it, all that is known.
    level : float
        Confidence of the interval. [0 to 1]

    Returns
    -------
    MineralFractions
        See there.

    Raises
    ------
    ValueError
        The picture or the mask will not do, or fewer than 2,500 pixels are known; no dark
        minerals can be told from light ones, which does not show that there are none; dark
        grains are less than 4 pixels wide, so that the photograph must be taken from nearer.

    Notes
    -----
    Dark and light are parted in the emptiest gap of lightness, borders of grains left out. The
    area of each dark grain is then what it takes from the light that its neighbours return,
    summed over its blurred border too: blur moves light but loses none, so grains do not shrink
    or swell with it. On ten made scenes of known truth (tests/evidence/test_scenes.py) the share
    was within 2 points. Soot, joints and wet spots are dark as well: choose the patch by eye.

    The interval is that of a point count [1]_ with exact binomial limits [2]_, for so many
    independent points as the patch holds: its area over the integral range of its dark pattern
    [3]_. It speaks of the stone if the patch is no more than a sample of its own bed.

    References
    ----------
    .. [1] L. van der Plas, A. C. Tobi, "A chart for judging the reliability of point counting
       results," Am. J. Sci. 263(1), 87-90 (1965). DOI 10.2475/ajs.263.1.87
    .. [2] R. J. Howarth, "Improved estimators of uncertainty in proportions, point-counting, and
       pass-fail test results," Am. J. Sci. 298(7), 594-607 (1998). DOI 10.2475/ajs.298.7.594
    .. [3] C. Lantuejoul, "Ergodicity and integral range," J. Microsc. 161(3), 387-403 (1991).
       DOI 10.1111/j.1365-2818.1991.tb03099.x

    Examples
    --------
    Squares of six pixels on a board, one of ten dark:

    >>> import numpy as np
    >>> from heritagecheck.evidence.photograph import minerals as _minerals
    >>> chosen = np.random.default_rng(1).permutation(900).reshape(30, 30) < 90
    >>> lab = np.zeros((180, 180, 3))
    >>> lab[..., 0] = np.where(np.kron(chosen, np.ones((6, 6))), 27.0, 68.0)
    >>> print(_minerals.mineral_fractions(lab, pixel_mm=0.3))
    Dark minerals take 10.0 % of the patch (95 % confidence interval 8.2 to 12.1 %)
    """
    lightness, known = _checked(lab, mask, pixel_mm, level)
    gap = _gap(lightness, known)
    # Relative to white, as blur adds light and not L*.
    light = light_of((lightness + 16) / 116)
    dark_level = _dark_level(light, known & (lightness < gap))
    part = _part_dark(light, known, known & (lightness < gap), dark_level)
    seen = part > 0.5
    width = _mean_width(seen, known)
    if width < _FEWEST_PX:
        raise ValueError(
            f"Dark grains are {width:.1f} pixels wide on average ({width * pixel_mm:.1f} mm): at "
            f"least {_FEWEST_PX:g} are needed. Photograph the patch from nearer."
        )
    share = float(np.clip(part[known].mean(), 0, 1))
    points = _independent_points(seen, known, width)
    low, high = _exact_limits(share, points, level)
    grains = _grains(seen, width)
    return MineralFractions(
        share, low, high, level, points, grains, width, width * pixel_mm, gap,
        tuple(_cautions(grains, high - low)),
    )  # fmt: skip


def _checked(
    lab: ArrayLike, mask: ArrayLike | None, pixel_mm: float, level: float
) -> tuple[FloatArray, BoolArray]:
    """Lightness of the smallest box round the patch, and which pixels are known."""
    picture, known = picture_and_known(lab, mask)
    check_pixel_mm(pixel_mm)
    checked_level(level)
    if known.sum() < _FEWEST_PIXELS:
        raise ValueError(
            f"Only {int(known.sum())} pixels of the patch are known: at least {_FEWEST_PIXELS:,} "
            "are needed."
        )
    box = box_of(known)
    return np.where(known, picture[..., 0], 0.0)[box].astype(float), known[box]


def _gap(lightness: FloatArray, known: BoolArray) -> float:
    """Lightness of the emptiest gap between dark and light minerals."""
    from scipy.ndimage import binary_erosion, gaussian_filter, gaussian_gradient_magnitude

    calm = gaussian_filter(lightness, 0.7)
    slope = gaussian_gradient_magnitude(lightness, 1.0)
    inner = binary_erosion(known, iterations=2)
    if inner.sum() < _FEWEST_PIXELS / 2:
        inner = known
    # The slope is steepest halfway across a border; the remaining pixels are inside grains.
    values = calm[inner & (slope <= max(float(np.median(slope[inner])), _CALM))]
    heap = gaussian_filter(np.histogram(values, np.arange(-10.0, 110.5, 0.5))[0].astype(float), 4)
    middles = np.arange(-10.0, 110.0, 0.5) + 0.25
    total = np.cumsum(heap) / heap.sum()
    best, found = _EMPTIEST, None
    for place in np.flatnonzero((total > _LEAST_SHARE) & (total < _MOST_SHARE)):
        below, above = int(heap[:place].argmax()), place + int(heap[place:].argmax())
        emptiness = heap[place] / min(heap[below], heap[above])
        if emptiness < best and middles[above] - middles[below] >= _APART:
            best, found = emptiness, place
    if found is None:
        raise ValueError(
            "Dark minerals cannot be distinguished from light ones in this patch: it holds none, "
            "too few, or grains less than 4 pixels wide. That does not show that there are none. "
            "Photograph it from nearer, or count them at the wall with a grid over the stone."
        )
    # The middle of a gap that is empty over some width.
    same = np.flatnonzero(heap <= heap[found] + 1e-9 * heap.max())
    run = same[np.abs(same - found) <= _run_length(same, int(found))]
    return float(middles[run].mean())


def _run_length(same: NDArray[Any], found: int) -> int:
    """How far from one place its neighbours without a break are of the same height."""
    reach = 0
    present = set(same.tolist())
    while found + reach + 1 in present:
        reach += 1
    return reach


def _dark_level(light: FloatArray, seen: BoolArray) -> float:
    """Luminance that dark grains return inside."""
    from scipy.ndimage import binary_erosion

    for steps in (4, 3, 2, 1):
        inside = binary_erosion(seen, iterations=steps)
        if inside.sum() >= 100:
            return float(light[inside].mean())
    return float(light[seen].mean())


def _part_dark(
    light: FloatArray, known: BoolArray, seen: BoolArray, dark_level: float
) -> FloatArray:
    """Share of each pixel that is dark, by what it takes from the light around its grain."""
    from scipy.ndimage import distance_transform_edt, gaussian_filter

    border = known & (distance_transform_edt(~seen) <= _BORDER_PX)
    outside = (known & ~border).astype(float)
    sigma = _BORDER_PX
    weight = gaussian_filter(outside, sigma)
    around = gaussian_filter(light * outside, sigma) / np.maximum(weight, 1e-9)
    around = np.where(weight > 1e-4, around, light[outside > 0].mean() if outside.any() else 1.0)
    part: FloatArray = (around - light) / np.maximum(around - dark_level, 1e-6)
    return np.where(border, part, 0.0)


def _mean_width(seen: BoolArray, known: BoolArray) -> float:
    """Mean length of a line's way through dark grains, along rows and columns [pixel]."""
    from scipy.ndimage import median_filter

    # Single pixels of noise would cut the ways short.
    calm = median_filter(seen, 3) & known
    ways = sum(
        int((np.diff(calm.astype(np.int8), axis=axis, prepend=0) > 0).sum()) for axis in (0, 1)
    )
    return 2 * float(calm.sum()) / max(ways, 1)


def _independent_points(seen: BoolArray, known: BoolArray, width: float) -> float:
    """Area of the patch over the integral range of its dark pattern."""
    from scipy.fft import irfft2, rfft2

    part = known[:_LARGEST, :_LARGEST]
    pattern = seen[:_LARGEST, :_LARGEST]
    share = float(pattern[part].mean()) if part.any() else 0.0
    # No grain is less wide than the mean way through dark grains, less the part of it that goes
    # on through a dark neighbour.
    grain = width * (1 - share)
    reach = max(2, round(3 * grain))
    size = [length + reach for length in part.shape]
    centred = np.where(part, pattern - share, 0.0)
    alike = irfft2(np.abs(rfft2(centred, s=size)) ** 2, s=size)
    pairs = irfft2(np.abs(rfft2(part.astype(float), s=size)) ** 2, s=size)
    alike /= np.maximum(pairs, 1.0)
    down, across = (np.minimum(np.arange(length), length - np.arange(length)) for length in size)
    near = np.hypot(down[:, None], across[None, :]) <= reach
    correlated = float(alike[near].sum() / max(alike[0, 0], 1e-12))
    # Chance may make the sum too small, never the area of a grain.
    return max(2.0, float(known.sum()) / max(correlated, grain**2))


def _exact_limits(share: float, points: float, level: float) -> tuple[float, float]:
    """Exact binomial limits for a share of so many points, whole or not."""
    from scipy.special import betaincinv

    tail, hits = (1 - level) / 2, share * points
    low = float(betaincinv(hits, points - hits + 1, tail)) if hits > 0 else 0.0
    high = float(betaincinv(hits + 1, points - hits, 1 - tail)) if hits < points else 1.0
    return low, high


def _grains(seen: BoolArray, width: float) -> int:
    """Dark grains at least half as wide as the mean."""
    from scipy.ndimage import label

    patches, number = label(seen)
    area = np.bincount(patches.ravel(), minlength=number + 1)[1:]
    return int((area >= (width / 2) ** 2).sum())


def _cautions(grains: int, interval: float) -> Iterator[str]:
    """What to know before the share is used."""
    if grains < _FEWEST_GRAINS:
        yield (
            f"The patch holds only {grains} dark grains: at least {_FEWEST_GRAINS} are needed for "
            "a reliable share. Photograph a larger patch."
        )
    if interval > 0.1:
        yield f"The share is known only to ±{100 * interval / 2:.0f} percentage points."

"""How much of a zone soiling covers in a photograph."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.colour.colour_difference import FloatArray, checked_level
from heritagecheck.evidence.colour.reading_sets import three
from heritagecheck.evidence.photograph.differences import box_of, check_pixel_mm, picture_and_known

BoolArray = NDArray[np.bool_]

# Ours, by trial on scenes of known truth (tests/evidence/test_scenes.py), in lengths of the stone's
# own pattern: how far apart two places are when their lightness no longer agrees.
_NEIGHBOURHOOD = (
    2.0  # standard deviation of the neighbourhood whose mean is compared with clean stone
)
_BORDER = 0.7  # standard deviation of the smaller one that draws the border of soiling
_CELL = 0.5  # width of the cells that the picture is reduced to
_SHIFT_SEEN = 1.0  # shift [CIELAB units] that is never called soiling, however even the stone
_STRONG = 1.5  # a patch counts if it passes the threshold so many times somewhere …
_LARGE = 25.0  # … or if it is as large as so many neighbourhoods
# How far from its border, in neighbourhoods, a patch is surely soiled, and shows its own colour.
_DEEP = (1.5, 1.0, 0.5)
_STRONGEST_VOTE = 2.5  # natural logarithm of odds: one dark grain must not outvote its neighbours
_UNSURE_VOTE = 1.0  # mean vote within which a place may belong to either side
_PARTS = 3  # normal distributions that describe a stone's grains, and soiling over them
_SAMPLE = 1500  # cells that such a description is fitted to
_MOST_CELLS = 120_000
_FEWEST_BLOCKS = 12  # neighbourhoods that a reference should hold; the pattern is cut down for it
_SLICES = 5  # of the reference, each left out in turn
_LAG_MOST = 200  # pixels


@dataclass(frozen=True, slots=True, eq=False)
class SoilingCover:
    """
    Share of a zone that soiling covers, in one photograph.

    `share` with its interval `low` to `high` [0 to 1]; `mask` where it lies, in the pixels given;
    `threshold` shift of L*, a* and b* of a neighbourhood beyond which it is no longer clean stone
    [CIELAB units]; `scale_px` width of such a neighbourhood: smaller spots are not seen; `faint`
    share that differs from clean stone, but too little and in too few places to count;
    `n_reference` neighbourhoods of clean stone; `level`; `cautions`.
    """

    share: float
    low: float
    high: float
    level: float
    mask: BoolArray
    threshold: tuple[float, float, float]
    scale_px: float
    scale_mm: float | None
    faint: float
    n_reference: float
    cautions: tuple[str, ...]

    def __str__(self) -> str:
        return (
            f"Soiling covers {100 * self.share:.0f} % of the zone ({100 * self.level:g} % "
            f"confidence interval {100 * self.low:.0f} to {100 * self.high:.0f} %)"
        )


def soiling_cover(
    lab: ArrayLike,
    lab_reference: ArrayLike,
    *,
    pixel_mm: float | None = None,
    mask: ArrayLike | None = None,
    level: float = 0.95,
) -> SoilingCover:
    """
    Share of a zone that soiling covers.

    Parameters
    ----------
    lab : array_like, shape (rows, columns, 3)
        L*, a*, b* of the photograph. NaN where nothing is known. [CIELAB units]
    lab_reference : array_like, shape (rows, columns, 3) or (n, 3)
        Clean stone of the same kind in the same photograph, NaN where it is not. A list of
        colours loses how the stone's grains lie, so that single pixels must be judged.
    pixel_mm : float, optional
        Width of a pixel on the wall. [mm]
    mask : array_like of bool, shape (rows, columns), optional
        Where the zone is; without it, all that is known.
    level : float
        Confidence of the interval, and share of clean neighbourhoods within the threshold. [0 to 1]

    Returns
    -------
    SoilingCover
        See there.

    Raises
    ------
    ValueError
        The arrays are no pictures of L*, a*, b* or do not fit; no pixel of the zone is known, or
        fewer than 100 of the clean stone; level is outside 0 to 1, pixel_mm not positive.

    Notes
    -----
    Single pixels of granite say little: mica is as dark as soot. So means of neighbourhoods some
    grains wide are held against the ellipsoid that holds `level` of those of the clean stone
    (prediction by Hotelling's T² [1]_, with as many readings as the clean stone has
    neighbourhoods, and one CIELAB unit added to its spread as no eye would call that soiling).
    Such a neighbourhood reaches over the border of what it finds; the border itself is drawn where
    the grains on a smaller width are as likely soiled as clean, each side described by a mixture
    of normal distributions. Covered therefore means: soiling has come to about half of its usual
    strength there. On ten made scenes of known truth (tests/evidence/test_scenes.py) the share was
    within 3 points where covered means that the film hides 35 % of the stone.

    The share is that of the zone as photographed. Its interval joins, by squares, how far the
    share moves if unsure places are counted or not, and the jackknife over five slices of the
    clean stone [2]_, which keeps neighbours together and so respects their correlation; upwards
    also what differs from clean stone but was not counted. On 40 made scenes it held the truth in
    all, being 8 points wide on average. Of a stain foreign in hue to the stone, like rust, even
    thin rims are seen: where half of the stain is rim, the share may be 5 points high.
    Soiling so even that it changes no more than clean stone does is not seen. Shadow, damp and
    patina are not told from soiling.

    References
    ----------
    .. [1] G. J. Hahn, W. Q. Meeker, Statistical Intervals, Wiley (1991).
    .. [2] H. R. Kunsch, "The jackknife and the bootstrap for general stationary observations,"
       Ann. Stat. 17(3), 1217-1241 (1989). DOI 10.1214/aos/1176347265

    Examples
    --------
    Grey stone whose left third is black:

    >>> import numpy as np
    >>> from heritagecheck.evidence.photograph import cover as _cover
    >>> stone = [62.0, 1.0, 5.0] + np.random.default_rng(1).normal(0, 2, (90, 90, 3))
    >>> wall = stone.copy()
    >>> wall[:, :30] *= 0.5
    >>> found = _cover.soiling_cover(wall, stone)
    >>> print(f"{100 * found.share:.0f} %")
    33 %
    """
    checked_level(level)
    if pixel_mm is not None:
        check_pixel_mm(pixel_mm)
    view = _view(lab, lab_reference, mask, level)
    with _one_thread():
        found = _soiled(view)
        moved = _jackknife(view)
    share = view.share(found.votes > 0)
    unsure = (view.share(found.votes > -_UNSURE_VOTE), view.share(found.votes > _UNSURE_VOTE))
    # What one neighbourhood covers is the least that a share can be known to.
    grain = view.width**2 / max(view.weight.sum(), 1.0)
    low = max(0.0, share - math.hypot(share - unsure[1], moved))
    high = min(1.0, share + math.hypot(unsure[0] - share, moved, grain) + found.faint)
    return SoilingCover(
        share, low, high, level, view.full(found.votes > 0), found.threshold,
        view.scale_px, None if pixel_mm is None else view.scale_px * pixel_mm, found.faint,
        view.n_reference, tuple(_cautions(view, found)),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """A zone and its clean stone, reduced to cells."""

    cells: FloatArray
    smooth: FloatArray
    weight: FloatArray
    clean: FloatArray
    clean_smooth: FloatArray
    zone: BoolArray
    corner: tuple[int, int]
    cell: int
    sigma: float
    border: float
    n_reference: float
    arranged: bool
    level: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the picture."""
        return self.zone.shape[0], self.zone.shape[1]

    @property
    def width(self) -> float:
        """Width of a neighbourhood [cells]: a disc that averages as many independent places."""
        return 2 * math.sqrt(math.pi) * self.sigma

    @property
    def scale_px(self) -> float:
        """The same in pixels."""
        return self.width * self.cell

    def share(self, found: BoolArray) -> float:
        """Share of the zone where something was found."""
        return float(self.weight[found].sum() / self.weight.sum())

    def full(self, found: NDArray[Any]) -> NDArray[Any]:
        """Cells as pixels of the picture given, nothing outside the zone."""
        drawn = np.zeros(self.shape, dtype=found.dtype)
        top, left = self.corner
        part = drawn[top:, left:]
        large = found.repeat(self.cell, axis=0).repeat(self.cell, axis=1)
        rows, columns = (min(*pair) for pair in zip(part.shape, large.shape, strict=True))
        part[:rows, :columns] = large[:rows, :columns]
        drawn[~self.zone] = 0
        return drawn


@dataclass(frozen=True, slots=True, eq=False)
class _Soiled:
    """Votes of the cells (above 0: soiled), and what was found on the way."""

    votes: FloatArray
    threshold: tuple[float, float, float]
    faint: float


def _checked(
    lab: ArrayLike, lab_reference: ArrayLike, mask: ArrayLike | None
) -> tuple[NDArray[Any], NDArray[Any], BoolArray, BoolArray]:
    """Picture and clean stone, which pixels of the zone and which of the clean stone are known."""
    (picture, zone), clean = picture_and_known(lab, mask), np.asarray(lab_reference)
    if clean.ndim not in (2, 3) or clean.shape[-1] != 3:
        raise ValueError(
            f"lab_reference has shape {clean.shape}: give a picture of clean stone, "
            "(rows, columns, 3), or a list of its colours, (n, 3)."
        )
    if not zone.any():
        raise ValueError("No pixel of the zone is known. Does its mask lie within the picture?")
    known = np.isfinite(clean).all(axis=-1)
    if known.sum() < 100:
        raise ValueError(
            f"lab_reference holds {int(known.sum())} known pixels: at least 100 are needed, and "
            "many grains of clean stone."
        )
    return picture, clean, zone, known


def _reference_cells(
    clean: NDArray[Any], known: BoolArray, cell: int, sigma: float, *, arranged: bool
) -> tuple[FloatArray, FloatArray, float]:
    """Cells of clean stone, the same smoothed, and how many are independent."""
    if not arranged:
        values = clean[known].reshape(-1, 3).astype(float)
        return values, values, float(len(values))
    values, count = _reduced(clean, known, cell)
    even = _smoothed(values, count, sigma)
    # In the order of the longer side, so that slices of the list are slices of the stone.
    if values.shape[0] < values.shape[1]:
        values, even, count = (np.swapaxes(part, 0, 1) for part in (values, even, count))
    full = count > cell**2 / 2
    values, even = values[full], even[full]
    blocks = max(len(values) / (4 * math.pi * sigma**2), 1.0)
    return values, even, blocks


def _view(lab: ArrayLike, lab_reference: ArrayLike, mask: ArrayLike | None, level: float) -> _View:
    """Check what came and reduce it to cells."""
    picture, clean, zone, known = _checked(lab, lab_reference, mask)
    arranged = clean.ndim == 3 and min(clean.shape[:2]) > 1
    lag = _pattern_px(clean, known) if arranged else 1.0
    cell = max(1, round(_CELL * lag), math.ceil(math.sqrt(zone.sum() / _MOST_CELLS)))
    sigma = max(_NEIGHBOURHOOD * lag / cell, 1.0)
    border = max(_BORDER * lag / cell, 0.7)
    box = box_of(zone)
    cells, weight = _reduced(picture[box], zone[box], cell)
    smooth = _smoothed(cells, weight, sigma)
    values, even, blocks = _reference_cells(clean, known, cell, sigma, arranged=arranged)
    return _View(
        cells, smooth, weight, values, even, zone, (box[0].start, box[1].start), cell, sigma,
        border, blocks, arranged, level,
    )  # fmt: skip


def _pattern_px(clean: NDArray[Any], known: BoolArray) -> float:
    """Distance over which the lightness of clean stone stays alike [pixel]."""
    from scipy.fft import irfft2, rfft2

    side = min(1200, clean.shape[0]), min(1200, clean.shape[1])
    seen = known[: side[0], : side[1]]
    if seen.sum() < 100:
        seen = known
    light = np.where(seen, clean[: seen.shape[0], : seen.shape[1], 0], 0.0).astype(float)
    light -= np.where(seen, light[seen].mean(), 0.0)
    size = [2 * length for length in seen.shape]
    alike = irfft2(np.abs(rfft2(light, s=size)) ** 2, s=size)
    pairs = irfft2(np.abs(rfft2(seen.astype(float), s=size)) ** 2, s=size)
    alike = alike / np.maximum(pairs, 1.0)
    most = min(_LAG_MOST, min(seen.shape) // 2)
    along = (alike[0, :most] + alike[:most, 0]) / 2
    # From the first neighbour on: the camera's noise agrees with nothing but itself.
    fallen = np.flatnonzero(along[1:] < along[1] / math.e) if along[1] > 0 else np.array([0])
    lag = float(1 + fallen[0]) if fallen.size else float(most)
    return max(1.0, min(lag, math.sqrt(known.sum() / (4 * math.pi * _FEWEST_BLOCKS)) / 2))


def _reduced(picture: NDArray[Any], known: BoolArray, cell: int) -> tuple[FloatArray, FloatArray]:
    """Mean colour of the known pixels of every cell, and how many there are; row by row."""
    rows, columns = (-(-length // cell) for length in known.shape)
    means, weight = np.zeros((rows, columns, 3)), np.zeros((rows, columns))
    spare = columns * cell - known.shape[1]
    for row in range(rows):
        strip = slice(row * cell, (row + 1) * cell)
        seen = np.pad(known[strip], ((0, 0), (0, spare)))
        values = np.pad(picture[strip], ((0, 0), (0, spare), (0, 0)))
        values = np.where(seen[..., None], values, 0.0)
        weight[row] = seen.reshape(-1, columns, cell).sum(axis=(0, 2))
        means[row] = values.reshape(-1, columns, cell, 3).sum(axis=(0, 2))
    return means / np.maximum(weight, 1)[..., None], weight


def _smoothed(values: FloatArray, weight: FloatArray, sigma: float) -> FloatArray:
    """Means of neighbourhoods, of what is known only."""
    from scipy.ndimage import gaussian_filter

    share = gaussian_filter(weight, sigma, mode="reflect")
    carried = gaussian_filter(values * weight[..., None], (sigma, sigma, 0), mode="reflect")
    return np.asarray(carried / np.maximum(share, 1e-9)[..., None])


def _soiled(view: _View) -> _Soiled:
    """Which cells are soiled."""
    distance, threshold = _distance(view)
    inside = view.weight > 0
    flagged = inside & (distance > 1)
    counted = _counted(flagged, distance, view)
    faint = view.share(flagged & ~counted)
    nothing = np.full(view.weight.shape, -_STRONGEST_VOTE)
    if not counted.any():
        return _Soiled(nothing, threshold, faint)
    from scipy.ndimage import distance_transform_edt

    sure = _sample(view.cells[_core(counted, view)])
    clean = _sample(view.clean)
    as_soiled = _mixture(sure, min(_PARTS, 1 + len(sure) // 50))
    as_clean = _mixture(clean, min(_PARTS, 1 + len(clean) // 50))
    near = inside & (distance_transform_edt(~counted) <= view.sigma)
    # Far from every patch all vote clean; cells without a pixel of the zone have no weight.
    odds = nothing.copy()
    odds[near] = as_soiled.score_samples(view.cells[near])
    odds[near] -= as_clean.score_samples(view.cells[near])
    odds = np.clip(odds, -_STRONGEST_VOTE, _STRONGEST_VOTE)
    votes = _smoothed(odds[..., None], view.weight, view.border)[..., 0]
    return _Soiled(np.where(near, votes, nothing), threshold, faint)


def _distance(view: _View) -> tuple[FloatArray, tuple[float, float, float]]:
    """Distance of every neighbourhood from clean stone, 1 on the ellipsoid; its half-axes."""
    from scipy.special import fdtri

    middle = view.clean_smooth.mean(axis=0)
    spread = np.cov(view.clean_smooth.T) + _SHIFT_SEEN**2 * np.eye(3)
    count = max(view.n_reference, 6.0)
    square = 3 * (count + 1) * (count - 1) / (count * (count - 3))
    square *= float(fdtri(3, count - 3, view.level))
    away = np.linalg.solve(np.linalg.cholesky(spread), (view.smooth - middle).reshape(-1, 3).T)
    distance = np.sqrt((away**2).sum(axis=0) / square).reshape(view.weight.shape)
    return distance, three(np.sqrt(square * np.diag(spread)))


def _counted(flagged: BoolArray, distance: FloatArray, view: _View) -> BoolArray:
    """Patches that are strong somewhere or large: one neighbourhood in twenty strays by chance."""
    from scipy.ndimage import label, maximum

    patches, number = label(flagged)
    if not number:
        return np.zeros_like(flagged)
    strongest = np.asarray(maximum(distance, patches, np.arange(1, number + 1)))
    area = np.bincount(patches.ravel(), minlength=number + 1)[1:]
    large = area > _LARGE * math.pi * view.sigma**2
    keep = np.concatenate([[False], (strongest > _STRONG) | large])
    return np.asarray(keep[patches])


def _core(patches: BoolArray, view: _View) -> BoolArray:
    """Cells so far inside a patch that no clean stone is in their neighbourhood."""
    from scipy.ndimage import distance_transform_edt

    # The edge of the zone is not a border of the soiling.
    filled = np.pad(patches | (view.weight == 0), 1, mode="edge")
    depth = distance_transform_edt(filled)[1:-1, 1:-1]
    for share in _DEEP:
        core: BoolArray = patches & (depth > share * view.sigma)
        if core.sum() >= 100:
            return core
    return patches


def _sample(values: FloatArray) -> FloatArray:
    """So many values, evenly from all of them."""
    if len(values) <= _SAMPLE:
        return values
    chosen = np.linspace(0, len(values) - 1, _SAMPLE).round().astype(int)
    return np.asarray(values[chosen])


def _mixture(values: FloatArray, parts: int) -> Any:
    """Mixture of normal distributions."""
    from sklearn.mixture import GaussianMixture

    # Started from single values: k-means would warn where colours are all the same.
    model = GaussianMixture(
        parts, random_state=0, reg_covar=0.05, max_iter=1000, tol=3e-3, init_params="k-means++"
    )
    return model.fit(values)


def _one_thread() -> Any:
    """Linear algebra on one thread: on matrices of three rows several only wait for each other."""
    from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

    return threadpool_limits(1)


def _jackknife(view: _View) -> float:
    """Half-width by which the share moves with the clean stone that happened to be there."""
    from scipy.special import stdtrit

    count = len(view.clean)
    edges = np.linspace(0, count, _SLICES + 1).round().astype(int)
    shares = []
    for first, last in pairwise(edges):
        rest = np.r_[0:first, last:count]
        part = replace(
            view, clean=view.clean[rest], clean_smooth=view.clean_smooth[rest],
            n_reference=view.n_reference * len(rest) / count,
        )  # fmt: skip
        shares.append(view.share(_soiled(part).votes > 0))
    spread = math.sqrt((_SLICES - 1) * float(np.var(shares)))
    return float(stdtrit(_SLICES - 1, 1 - (1 - view.level) / 2)) * spread


def _cautions(view: _View, found: _Soiled) -> Iterator[str]:
    """What to know before the share is used."""
    if not view.arranged:
        yield (
            "The clean stone came as a list of colours, so single pixels were judged: dark "
            "minerals may count as soiling. Give the clean stone as a part of the picture."
        )
    if view.n_reference < _FEWEST_BLOCKS:
        yield (
            f"The clean stone holds only {view.n_reference:.0f} neighbourhoods of "
            f"{view.scale_px:.0f} pixels: its natural variation is poorly known."
        )
    if found.threshold[0] > 12:
        yield (
            f"The clean stone varies so much that only what changes L* by more than "
            f"{found.threshold[0]:.0f} was seen."
        )
    if found.faint > 2 * (1 - view.level):
        yield (
            f"Another {100 * found.faint:.0f} % of the zone differs a little from the clean stone: "
            "thin soiling, other light, or the stone's own variation. Look at the mask."
        )

"""Whether a trial made a surface rougher or smoother, by height maps before and after it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.surface.height_map import (
    BORDER_PX,
    BoolArray,
    FloatArray,
    as_mask,
    check_cutoff,
    checked_map,
    high_pass,
    inner_part,
    take_off_form,
)
from heritagecheck.evidence.surface.map_registration import laid_over
from heritagecheck.evidence.surface.uncertainty import cell_means, neighbours_alike, shared_by

_LENGTHS = 5  # sampling lengths in an evaluation length, as ISO 21920-3 takes them
_FEWEST_CELLS = 8  # common practice: of fewer places a scatter is hardly known
_COVERED = 0.5  # part of a cell that must lie in the frame
_NOISY = 0.1  # common practice: a larger share of noise in the squared heights is named
_MOST_NOISE = 0.5  # common practice: at least this share of them must be the surface
_TOLD = 5.0  # common practice: a change of the untreated frame by more is named [%]


@dataclass(frozen=True, slots=True)
class RoughnessChange:
    """
    Change of Sa of a treated area between two maps; rougher is positive.

    `before_um`, `after_um` Sa of the area; `percent` its change against that of the untreated
    frame, with the interval `low` to `high` at `level` and its `standard_error`; `detectable` the
    smallest change that would have been found [%]. `untreated` change of the frame itself [%], by
    which the two measurements differ; `cutoff_um` of the filter; `cells` places of the frame that
    the interval rests on.
    """

    before_um: float
    after_um: float
    percent: float
    low: float
    high: float
    standard_error: float
    detectable: float
    level: float
    untreated: float
    cutoff_um: float
    cells: int
    cautions: tuple[str, ...]

    @property
    def measurable(self) -> bool:
        """Whether a change was found: zero is outside the interval."""
        return not self.low <= 0 <= self.high

    def __str__(self) -> str:
        if not self.measurable:
            return (
                f"No change of roughness measurable: {self.detectable:.2g} % would have been found"
            )
        side = "rougher" if self.percent > 0 else "smoother"
        ends = sorted((abs(self.low), abs(self.high)))
        return (
            f"{abs(self.percent):.3g} % {side} ({100 * self.level:g} % confidence interval "
            f"{ends[0]:.3g} to {ends[1]:.3g} %), Sa {self.before_um:.3g} µm before and "
            f"{self.after_um:.3g} µm after (cut-off {self.cutoff_um:.3g} µm)"
        )


def roughness_change(
    before_um: ArrayLike,
    after_um: ArrayLike,
    *,
    treated: ArrayLike,
    pixel_um: float | tuple[float, float] = 1.0,
    cutoff_um: float | None = None,
    level: float = 0.95,
    registered: bool = False,
) -> RoughnessChange:
    """
    Change of roughness between a height map before a trial and one after it.

    Parameters
    ----------
    before_um, after_um : array_like, shape (rows, columns)
        Heights of one field, NaN where the instrument saw nothing; pixels of one size. They may
        be shifted, turned by a few degrees and tilted against one another. [µm]
    treated : array_like of bool, shape (rows, columns)
        Where the trial acted, in the pixels of the first map. What lies outside is the untreated
        frame, which shows how far the two measurements repeat.
    pixel_um : float or tuple of two floats
        Pixel size; or its sizes along a row and along a column. [µm]
    cutoff_um : float, optional
        Nesting index of the Gaussian filter, the same for both maps. Without it, one fifth of the
        shorter side of the treated area. [µm]
    level : float
        Confidence of the interval. [0 to 1]
    registered : bool
        Whether the part was not moved between the maps, so that no shift is sought.

    Returns
    -------
    RoughnessChange
        Sa before and after [µm]; its change with the interval [%]; see there.

    Raises
    ------
    ValueError
        A map or mask that does not fit, heights in another unit, a treated area or a frame that is
        too small for the cut-off, maps that do not show the same place.

    Notes
    -----
    Sa is that of ISO 25178-2 [1]_ on the pixels that both maps show, after plane and Gaussian
    filter [2]_ within the treated area alone, three pixels or more from its border, so that its
    step does not count. With q the ratio of
    Sa after to Sa before, the change is q of the area over q of the frame, less 1: what changes the
    frame too is the instrument. In cells of one cut-off the frame's ln q scatters with variance v;
    the logarithm of the change then has the variance v/n + v/m for n such cells in the area and m
    in the frame, where neighbours that go together count as fewer. The interval is that of
    Student's t with the frame's degrees of freedom.

    Noise of the instrument adds to both values of Sa and makes a change look smaller. Half of the
    variance of the frame's difference is taken off the squared heights of the area in either map,
    as if noise were alike in both and heights normally distributed.

    The interval is about this one area. The cut-off rule is common practice: five sampling
    lengths make up an evaluation length of profiles [3]_.

    References
    ----------
    .. [1] ISO 25178-2:2021, Surface texture: Areal, Terms, definitions and parameters.
    .. [2] ISO 16610-61:2015, Filtration, Linear areal filters: Gaussian filters.
    .. [3] ISO 21920-3:2021, Surface texture: Profile, Specification operators (from memory).

    Examples
    --------
    A square that became a quarter rougher, measured with a little noise:

    >>> import numpy as np
    >>> from heritagecheck.evidence import surface
    >>> rng = np.random.default_rng(2)
    >>> stone = rng.normal(0, 5, (160, 160))
    >>> treated = np.zeros((160, 160), bool)
    >>> treated[40:120, 40:120] = True
    >>> after = np.where(treated, 1.25 * stone, stone) + rng.normal(0, 0.1, (160, 160))
    >>> found = surface.roughness_change(stone, after, treated=treated, registered=True)
    >>> print(f"{found.percent:.0f} %, measurable: {found.measurable}")
    25 %, measurable: True
    """
    before, pixel, _ = checked_map("before_um", before_um, pixel_um)
    after = checked_map("after_um", after_um, pixel_um)[0]
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g}: a confidence lies between 0 and 1, such as 0.95.")
    square = as_mask("treated", treated, before.shape)
    # Pixels at the border hold heights of both sides of the step.
    core, around = inner_part(square, BORDER_PX), inner_part(~square, BORDER_PX)
    laid = laid_over(before, after, around, registered=registered)[1]
    cutoff = _cutoff(square, pixel, cutoff_um)
    pair = before.astype(np.float64), laid
    seen = np.isfinite(pair[0]) & np.isfinite(pair[1])
    area = [_fine(one, core & seen, pixel, cutoff) for one in pair]
    frame = [_fine(one, around & seen, pixel, cutoff) for one in pair]
    drift = math.log(_sa(frame[1]) / _sa(frame[0]))
    scatter = _scatter(frame, around & seen, int((core & seen).sum()), pixel, cutoff)
    noise = float(np.nanvar(frame[1] / math.exp(drift) - frame[0])) / 2
    before_sa, after_sa = (_sa(one) for one in area)
    change = math.log(after_sa / before_sa) - drift
    change += (_kept(area[1], noise * math.exp(2 * drift)) - _kept(area[0], noise)) / 2
    return _changed(
        before_sa, after_sa, change, drift, scatter, level, cutoff,
        noise / float(np.nanvar(frame[0])),
    )  # fmt: skip


def _cutoff(square: BoolArray, pixel_um: tuple[float, float], given_um: float | None) -> float:
    """The cut-off that was given, or a fifth of the treated area's shorter side."""
    sides = [np.ptp(at) + 1 for at in np.nonzero(square)] if square.any() else [0, 0]
    shape = int(sides[0]), int(sides[1])
    shorter = min(shape[1] * pixel_um[0], shape[0] * pixel_um[1])
    cutoff = shorter / _LENGTHS if given_um is None else given_um
    try:
        check_cutoff(cutoff, pixel_um, shape)
    except ValueError as why:
        raise ValueError(f"The treated area is {shape[1]} × {shape[0]} pixels. {why}") from why
    return cutoff


def _kept(fine: FloatArray, noise_um2: float) -> float:
    """Logarithm of the part of an area's variance that is not noise; refused where most is."""
    share = 1 - noise_um2 / float(np.nanvar(fine))
    if share < _MOST_NOISE:
        raise ValueError(
            "The two maps differ on the untreated frame by as much as the area is rough, so that "
            "no change can be distinguished from noise. Measure with a finer instrument."
        )
    return math.log(share)


def _fine(
    heights: FloatArray, part: BoolArray, pixel_um: tuple[float, float], cutoff_um: float
) -> FloatArray:
    """Heights of a part without its plane and its waves; NaN elsewhere."""
    found = np.where(part, heights, np.nan)
    take_off_form(found, "plane")
    high_pass(found, pixel_um, cutoff_um)
    return found - float(np.nanmean(found))


def _sa(fine: FloatArray) -> float:
    """Mean deviation of the measured heights; refused if there is none."""
    mean = float(np.nanmean(np.abs(fine)))
    if not mean:
        raise ValueError("A map is wholly flat, so that no change of its roughness can be given.")
    return mean


@dataclass(frozen=True, slots=True)
class _Scatter:
    """Standard error of the logarithm of a change, its degrees of freedom, the frame's cells."""

    error: float
    free: float
    cells: int


def _scatter(
    frame: list[FloatArray], part: BoolArray, area: int,
    pixel_um: tuple[float, float], cutoff_um: float,
) -> _Scatter:  # fmt: skip
    """How far the frame's change scatters over cells as long as the cut-off."""
    cell = max(2, round(cutoff_um / pixel_um[1])), max(2, round(cutoff_um / pixel_um[0]))
    (before, share), (after, _) = (cell_means(np.abs(one), part, cell) for one in frame)
    enough = (share >= _COVERED) & (before > 0) & (after > 0)
    ratio = np.log(np.divide(after, before, out=np.full(share.shape, np.nan), where=enough))
    known = np.isfinite(ratio)
    if (count := int(known.sum())) < _FEWEST_CELLS:
        raise ValueError(
            f"The untreated frame holds {count} places of {cutoff_um:.3g} µm a side, and "
            f"{_FEWEST_CELLS} are needed. Measure a larger field, or take a shorter cut-off."
        )
    rest = ratio - ratio[known].mean()
    shared = shared_by(neighbours_alike(rest))
    variance = float(np.nanvar(rest[known], ddof=1)) * shared
    size = cell[0] * cell[1]
    return _Scatter(
        math.sqrt(variance * (size / area + size / int(part.sum()))),
        max(count / shared - 1, 2.0), count,
    )  # fmt: skip


def _changed(
    before_um: float, after_um: float, change: float, drift: float, scatter: _Scatter,
    level: float, cutoff_um: float, noise: float,
) -> RoughnessChange:  # fmt: skip
    """The change with its interval, from two values of Sa and what the frame says of them."""
    from scipy.special import stdtrit

    two, one = (float(stdtrit(scatter.free, at)) for at in ((1 + level) / 2, level))
    middle, low, high = (
        100 * math.expm1(change + sign * two * scatter.error) for sign in (0, -1, 1)
    )
    untreated = 100 * math.expm1(drift)
    return RoughnessChange(
        before_um, after_um, middle, low, high, (100 + middle) * scatter.error,
        100 * math.expm1(2 * one * scatter.error), level, untreated, cutoff_um, scatter.cells,
        tuple(_cautions(untreated, noise)),
    )  # fmt: skip


def _cautions(untreated: float, noise: float) -> Iterator[str]:
    """What to look at before a change is relied on."""
    if abs(untreated) > _TOLD:
        side = "rougher" if untreated > 0 else "smoother"
        yield (
            f"The untreated frame is {abs(untreated):.2g} % {side} in the second map. That was "
            "taken off; check focus, light and calibration of the instrument"
        )
    if noise > _NOISY:
        yield (
            f"Noise makes {noise:.0%} of the squared heights of the untreated frame. It was taken "
            "off as if it were alike in both maps"
        )

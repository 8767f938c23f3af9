"""How rough a surface is, from a height map or from the profile of a stylus."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.surface.height_map import (
    SHORTEST_PX,
    Form,
    Heights,
    as_heights,
    check_cutoff,
    check_scale,
    checked_map,
    height_cautions,
    high_pass,
    lowest_and_highest,
    spikes,
    strips,
    take_off_form,
    unseen_share,
)
from heritagecheck.sentences import count_of
from heritagecheck.tables.row_types import BlastComparator, ProfileCutoff

_FORMS: dict[str, Form] = {"mean": "mean", "line": "plane", "curved": "curved"}
_SECTIONS = 5  # section lengths in the evaluation length of ISO 21920-3


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
    heights, pixel, unseen = checked_map("heights_um", heights_um, pixel_um)
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
    """Mean of the measured heights."""
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


# -- Along the line of a stylus --------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class ProfileRoughness:
    """
    Parameters of a profile by ISO 21920-2.

    `Ra` mean, `Rq` root mean square, `Rz` highest to deepest, as the mean of the section lengths
    [µm]; `Rsk` skewness, `Rku` kurtosis. `cutoff_um` of the filter, infinite where only the form
    was taken off; `sections` lengths that were evaluated, `evaluation_um` in all; `unseen` share
    without a height; `spikes` points far out and alone, which are counted all the same;
    `filtered_um` the profile that the parameters describe.
    """

    Ra: float
    Rq: float
    Rz: float
    Rsk: float
    Rku: float
    cutoff_um: float
    sections: int
    evaluation_um: float
    unseen: float
    spikes: int
    cautions: tuple[str, ...]
    filtered_um: Heights = field(repr=False)

    def __str__(self) -> str:
        filtered = (
            f"cut-off {self.cutoff_um / 1000:g} mm"
            if math.isfinite(self.cutoff_um)
            else "unfiltered"
        )
        return (
            f"Ra {self.Ra:.3g} µm, Rq {self.Rq:.3g} µm, Rz {self.Rz:.3g} µm ({filtered}, "
            f"{count_of(self.sections, 'section length')})"
        )

    def comparator(self, abrasive: Literal["grit", "shot"]) -> str:
        """Grade of a blast-cleaned surface by ISO 8503: fine, medium, coarse, or beyond these."""
        # ISO 8503-4 measures the mean of the highest to deepest of five lengths, which is Rz.
        segments = [row for row in BlastComparator.rows() if row.abrasive == abrasive]
        if not segments:
            raise ValueError(f"abrasive = {abrasive!r}: take grit or shot.")
        return next(
            (row.name_up_to for row in segments if self.Rz < row.profile_um),
            "coarser than coarse",
        )


def profile_roughness(
    heights_um: ArrayLike,
    step_um: float,
    cutoff_um: float | None = None,
    *,
    form: Literal["line", "curved", "mean"] = "line",
) -> ProfileRoughness:
    """
    Roughness of a surface along a line, from the profile of a stylus.

    Parameters
    ----------
    heights_um : array_like, shape (n,)
        Heights at even steps; NaN where there is none. [µm]
    step_um : float
        Distance from one height to the next. [µm]
    cutoff_um : float, optional
        Nesting index of the Gaussian filter. Without it, it is taken from the table of ISO 21920-3
        by the roughness that is found; infinite takes off the form only. [µm]
    form : {"line", "curved", "mean"}
        What is taken off first by least squares: tilt, a parabola, or only the mean.

    Returns
    -------
    ProfileRoughness
        Ra, Rq, Rz [µm]; Rsk, Rku [1]; see there.

    Raises
    ------
    ValueError
        No row of numbers, a step of 0 or less, less than half seen, a cut-off that does not fit the
        profile, or heights larger than its length, which are in another unit.

    Notes
    -----
    Parameters follow ISO 21920-2 [1]_, cut-off and section length ISO 21920-3 [2]_, read in a
    public table, the filter ISO 16610-21 [3]_ with the profile mirrored at its ends. All whole
    section lengths are evaluated, centred; the standard requires five. Rz then is the mean of the
    section lengths, so a single scratch counts in one of them only.

    References
    ----------
    .. [1] ISO 21920-2:2021, Surface texture: Profile, Terms, definitions and parameters.
    .. [2] ISO 21920-3:2021, Surface texture: Profile, Specification operators.
    .. [3] ISO 16610-21:2011, Filtration, Linear profile filters: Gaussian filters.

    Examples
    --------
    A planed steel face, 3 µm to either side every 200 µm, measured over 6 mm:

    >>> import numpy as np
    >>> from heritagecheck.evidence import surface
    >>> planed = 3 * np.sin(2 * np.pi * np.arange(6000) / 200)
    >>> print(surface.profile_roughness(planed, 1.0))
    Ra 1.91 µm, Rq 2.12 µm, Rz 6.01 µm (cut-off 0.8 mm, 7 section lengths)
    """
    heights = as_heights("heights_um", heights_um, 1)[np.newaxis]
    if not (math.isfinite(step_um) and step_um > 0):
        raise ValueError(f"step_um = {step_um:g}: the step is above 0 µm.")
    if form not in _FORMS:
        raise ValueError(f"form = {form!r}: take one of {', '.join(_FORMS)}.")
    unseen = unseen_share("heights_um", heights)
    check_scale("heights_um", heights, (step_um, step_um))
    take_off_form(heights, _FORMS[form])
    cautions: tuple[str, ...] = ()
    if cutoff_um is None:
        cutoff_um, cautions = _table_cutoff(heights, step_um)
    if math.isfinite(cutoff_um):
        check_cutoff(cutoff_um, (step_um, step_um), (1, heights.size))
        high_pass(heights, (step_um, step_um), cutoff_um)
    sections = _sections(heights, step_um, cutoff_um)
    evaluated = sections.reshape(1, -1)
    found = spikes(evaluated)
    mean, square, skewness, kurtosis = height_moments(evaluated)
    if len(sections) < _SECTIONS:
        cautions += (
            f"The profile holds {count_of(len(sections), 'section length')} of "
            f"{cutoff_um / 1000:g} mm; ISO 21920-3 requires five. Measure a longer line",
        )
    evaluated.setflags(write=False)
    return ProfileRoughness(
        mean, square, _mean_height(sections), skewness, kurtosis, cutoff_um, len(sections),
        evaluated.size * step_um, unseen, int(found.size),
        (*cautions, *height_cautions(evaluated, unseen, found)), evaluated[0],
    )  # fmt: skip


def _table_cutoff(heights: Heights, step_um: float) -> tuple[float, tuple[str, ...]]:
    """Cut-off whose class holds the roughness found with it; what is wrong with it."""
    length = heights.size * step_um
    fitting = [
        row for row in ProfileCutoff.rows() if SHORTEST_PX * step_um <= row.cutoff_um <= length
    ]
    if not fitting:
        raise ValueError(
            f"The profile is {length / 1000:.3g} mm long with steps of {step_um:g} µm: no cut-off "
            "of ISO 21920-3 fits it. Give cutoff_um, or measure a longer line."
        )
    for row in fitting:
        trial = heights.copy()
        high_pass(trial, (step_um, step_um), row.cutoff_um)
        mean, *_ = height_moments(_sections(trial, step_um, row.cutoff_um).reshape(1, -1))
        if row.ra_most_um is None or mean <= row.ra_most_um:
            return row.cutoff_um, ()
    return row.cutoff_um, (
        f"With a cut-off of {row.cutoff_um / 1000:g} mm Ra is {mean:.3g} µm. So rough a surface "
        f"requires a longer cut-off, and a line longer than {length / 1000:.3g} mm",
    )


def _sections(heights: Heights, step_um: float, cutoff_um: float) -> Heights:
    """Whole section lengths from the middle of a profile, a row each."""
    count = heights.size
    points = round(cutoff_um / step_um) if math.isfinite(cutoff_um) else count // _SECTIONS
    whole = max(count // points, 1)
    points = min(points, count)
    first = (count - whole * points) // 2
    return heights[0, first : first + whole * points].reshape(whole, points).copy()


def _mean_height(sections: Heights) -> float:
    """Mean over the section lengths of highest to deepest."""
    seen = sections[np.isfinite(sections).any(axis=1)]
    tall = np.fmax.reduce(seen, axis=1) - np.fmin.reduce(seen, axis=1)
    return float(tall.mean(dtype=np.float64))

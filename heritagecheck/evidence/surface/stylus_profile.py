"""How rough a surface is, from the profile of a stylus."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.surface.area_roughness import height_moments
from heritagecheck.evidence.surface.gaussian_filter import (
    FEWEST_PIXELS,
    check_cutoff,
    high_pass,
)
from heritagecheck.evidence.surface.height_map import (
    Form,
    Heights,
    as_heights,
    check_scale,
    height_cautions,
    spikes,
    take_off_form,
    unseen_share,
)
from heritagecheck.sentences import count_of
from heritagecheck.tables.row_types import BlastComparator, ProfileCutoff

_FORMS: dict[str, Form] = {"mean": "mean", "line": "plane", "curved": "curved"}
_SECTIONS = 5  # section lengths in the evaluation length of ISO 21920-3


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
    check_scale("heights_um", heights, heights.size * step_um)
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
        row for row in ProfileCutoff.rows() if FEWEST_PIXELS * step_um <= row.cutoff_um <= length
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

"""Profiles from the surface to the core, and the tilts from which residual stress is read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from heritagecheck.cards import Picture
from heritagecheck.evidence.section.stress_readings import StressAt, Tilts
from heritagecheck.figures.photo_frame import FloatArray
from heritagecheck.figures.svg import (
    DARK,
    QUIET,
    Entry,
    Scale,
    axes,
    mark,
    path,
    plotted,
    through,
)
from heritagecheck.sentences import day_in_words, upper_first
from heritagecheck.survey.records import SectionReading
from heritagecheck.survey.records.readings import RANGES

Look = tuple[str, str, str | None]  # colour, mark and stroke of a line
# In the order of the key.
OF_MOMENTS: dict[str, Look] = {
    "control": (QUIET, "square", "6 3"),
    "before": ("#2b6a8f", "square", "2 3"),
    "after": (DARK, "square", None),
}
_MARK, _APART = 7.0, 3.0  # pixel


def draw_section(readings: Sequence[SectionReading]) -> Picture:
    """Readings of one quantity against depth, a line a profile; bars are two standard errors."""
    profiles: dict[str, list[SectionReading]] = {}
    for one in sorted(readings, key=lambda one: one.depth_um):
        profiles.setdefault(one.profile, []).append(one)
    ends = [
        one.value + side * 2 * (one.standard_error or 0.0) for one in readings for side in (-1, 1)
    ]
    deepest = max(one.depth_um for one in readings)
    across, up = axes(0.0, 1.05 * deepest, np.array(ends))
    ordered = sorted(profiles.values(), key=lambda one: [*OF_MOMENTS].index(one[0].moment))
    beside = [_APART * (place - (len(ordered) - 1) / 2) for place in range(len(ordered))]
    drawn = [
        part
        for profile, by in zip(ordered, beside, strict=True)
        for part in _profile(profile, across, up, by)
    ]
    moments = Counter(_called(one) for one in ordered)
    names = [_called(one, dated=moments[_called(one)] > 1) for one in ordered]
    entries = [
        _entry(called, OF_MOMENTS[one[0].moment], hollow=bool(one[0].spot))
        for one, called in zip(ordered, names, strict=True)
    ]
    first = readings[0]
    name = (first.element or first.quantity.replace("_", " ")).strip()
    unit = RANGES[first.quantity][0]
    return plotted(
        drawn, entries, across, up, ("depth below the surface [µm]", f"{name} [{unit}]"),
        f"{upper_first(name)} by depth: "
        + "; ".join(
            f"{called}, {len(one)} readings" for one, called in zip(ordered, names, strict=True)
        )
        + ".",
    )  # fmt: skip


def _called(profile: list[SectionReading], *, dated: bool = False) -> str:
    """What a profile is of; with its day, where another has the same name."""
    first = profile[0]
    words = f"{first.moment}, spot {first.spot}" if first.spot else first.moment
    return f"{words}, {day_in_words(first.measured_on)}" if dated else words


def _profile(profile: list[SectionReading], across: Scale, up: Scale, by: float) -> list[str]:
    """A line with its marks, and error bars slightly offset from those of others."""
    look = OF_MOMENTS[profile[0].moment]
    points: FloatArray = np.array([(one.depth_um, one.value) for one in profile])
    drawn = [_stroke(through(points, across, up), look)]
    for one in profile:
        x = across(one.depth_um)
        if one.standard_error is not None:
            low, high = (up(one.value + side * 2 * one.standard_error) for side in (-1, 1))
            drawn.append(path(f"M{x + by:.2f} {low:.2f}V{high:.2f}", stroke=look[0]))
        drawn.append(_marks(_mark(look, x, up(one.value)), look, hollow=bool(one.spot)))
    return drawn


def _stroke(steps: str, look: Look) -> str:
    """A line as it looks."""
    colour, _, dashes = look
    return path(steps, stroke=colour, stroke_width=1.6, stroke_dasharray=dashes)


def _mark(look: Look, x: float, y: float) -> str:
    """Path data of the mark of a reading."""
    return mark(look[1], x, y, _MARK)


def _marks(steps: str, look: Look, *, hollow: bool) -> str:
    """Marks as they look: hollow those of a single spot, or of tilts below 0."""
    return path(steps, fill="white" if hollow else look[0], stroke=look[0])


def _entry(words: str, look: Look, *, hollow: bool = False) -> Entry:
    """Sample of a line for the key."""
    return Entry(
        words,
        lambda x, y: (
            _stroke(f"M{x - 12} {y}h24", look) + _marks(_mark(look, x, y), look, hollow=hollow)
        ),
    )


# -- Lattice spacings over sin²ψ, from which residual stress is read -------------------------------

# From the surface down.
OF_DEPTHS: tuple[Look, ...] = (
    (DARK, "disc", None), ("#2b6a8f", "square", "6 3"), ("#a4552a", "triangle", "2 3"),
    (QUIET, "diamond", "9 3 2 3"),
)  # fmt: skip
_ROOM = 1.06  # of the largest sin²ψ


def draw_tilts(found: Sequence[StressAt]) -> Picture:
    """
    Spacings at the tilts of each depth, as a change against the one at ψ = 0 by its line.

    The slope of a line is ½S2 times the stress. Marks are filled where ψ is 0 or above, and
    hollow where it is below; with both sides a line each is drawn, so that shear shows.
    """
    tilts = [(one, one.tilts) for one in found if one.tilts is not None]
    if not tilts:
        raise ValueError("No tilts to draw: the stresses were reported without them.")
    furthest = max(float(np.abs(one.psi_deg).max()) for _, one in tilts)
    most = float(np.sin(np.radians(furthest)) ** 2)
    changes = [_changes(one) for _, one in tilts]
    ends = np.concatenate([*changes, *(_line(one, furthest)[:, 1] for _, one in tilts)])
    across, up = axes(0.0, _ROOM * most, ends)
    drawn, entries = [], []
    for number, (stress, one) in enumerate(tilts):
        look = OF_DEPTHS[number % len(OF_DEPTHS)]
        drawn += _drawn(one, changes[number], look, across, up)
        entries.append(_entry(_words(stress), look))
    return plotted(
        drawn, entries, across, up, ("sin²ψ", "change of spacing d [µm/m]"),
        "Lattice spacing over sin²ψ with the line of each depth: "
        + "; ".join(_words(stress) for stress, _ in tilts) + ".",
    )  # fmt: skip


def _changes(one: Tilts) -> FloatArray:
    """Spacings against the one at ψ = 0 by the line, in millionths."""
    changes: FloatArray = 1e6 * (one.spacing_nm / one.found.normal_spacing_nm - 1)
    return changes


def _line(one: Tilts, furthest_deg: float) -> FloatArray:
    """Points of the fitted line from one end of the tilts to the other: sin²ψ, change."""
    lowest = -furthest_deg if one.found.shear_mpa is not None else 0.0
    psi = np.radians(np.linspace(lowest, furthest_deg, 61))
    stress, shear = one.found.stress_mpa, one.found.shear_mpa or 0.0
    change = one.half_s2_per_tpa * (stress * np.sin(psi) ** 2 + shear * np.sin(2 * psi))
    return np.stack([np.sin(psi) ** 2, change], axis=1)


def _drawn(one: Tilts, changes: FloatArray, look: Look, across: Scale, up: Scale) -> list[str]:
    """The line of one depth, and its marks."""
    marks = {True: "", False: ""}
    for psi, change in zip(one.psi_deg, changes, strict=True):
        x = across(float(np.sin(np.radians(psi)) ** 2))
        marks[bool(psi < 0)] += _mark(look, x, up(float(change)))
    line = _line(one, float(np.abs(one.psi_deg).max()))
    return [
        _stroke(through(line, across, up), look),
        *(_marks(steps, look, hollow=hollow) for hollow, steps in marks.items() if steps),
    ]


def _words(one: StressAt) -> str:
    """Depth and stress of a line."""
    return f"{one.depth_um:.3g} µm, {one.stress_mpa:+.0f} MPa"

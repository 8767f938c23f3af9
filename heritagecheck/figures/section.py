"""Profiles from the surface to the core, treated beside control."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from heritagecheck.cards import Picture
from heritagecheck.figures.line_plot import PART, axes, plotted
from heritagecheck.figures.photo_frame import FloatArray
from heritagecheck.figures.svg import DARK, QUIET, Entry, Scale, element, path, through
from heritagecheck.survey.records import SectionReading
from heritagecheck.survey.records.readings import RANGES

# Told apart by colour, stroke and mark: before, after and control, in the order of the key.
STYLES = {"control": (QUIET, "6 3"), "before": ("#2b6a8f", "2 3"), "after": (DARK, None)}
_MARK, _APART = 6.0, 3.0  # pixel


def draw_section(readings: Sequence[SectionReading], *, width: float = PART) -> Picture:
    """Readings of one quantity against depth, a line a profile; bars are two standard errors."""
    profiles: dict[str, list[SectionReading]] = {}
    for one in sorted(readings, key=lambda one: one.depth_um):
        profiles.setdefault(one.profile, []).append(one)
    ends = [
        one.value + side * 2 * (one.standard_error or 0.0) for one in readings for side in (-1, 1)
    ]
    deepest = max(one.depth_um for one in readings)
    across, up = axes(0.0, 1.05 * deepest, np.array(ends), width)
    ordered = sorted(profiles.values(), key=lambda one: [*STYLES].index(one[0].moment))
    beside = [_APART * (place - (len(ordered) - 1) / 2) for place in range(len(ordered))]
    drawn = [
        part
        for profile, by in zip(ordered, beside, strict=True)
        for part in _profile(profile, across, up, by)
    ]
    moments = Counter(_called(one) for one in ordered)
    names = [_called(one, dated=moments[_called(one)] > 1) for one in ordered]
    entries = [_entry(profile, called) for profile, called in zip(ordered, names, strict=True)]
    first = readings[0]
    name = (first.element or first.quantity.replace("_", " ")).strip()
    unit = RANGES[first.quantity][0]
    return plotted(
        drawn, entries, across, up, width, ("depth below the surface [µm]", f"{name} [{unit}]"),
        f"{name[0].upper()}{name[1:]} by depth: "
        + "; ".join(
            f"{called}, {len(one)} readings" for one, called in zip(ordered, names, strict=True)
        )
        + ".",
    )  # fmt: skip


def _called(profile: list[SectionReading], *, dated: bool = False) -> str:
    """What a profile is of; with its day, where another has the same name."""
    first = profile[0]
    words = f"{first.moment}, spot {first.spot}" if first.spot else first.moment
    return f"{words}, {first.measured_on}" if dated else words


def _profile(profile: list[SectionReading], across: Scale, up: Scale, by: float) -> list[str]:
    """A line with its marks, and its bars a little beside those of others."""
    colour, dashes = STYLES[profile[0].moment]
    points: FloatArray = np.array([(one.depth_um, one.value) for one in profile])
    drawn = [
        path(through(points, across, up), stroke=colour, stroke_width=1.6, stroke_dasharray=dashes)
    ]
    for one in profile:
        x = across(one.depth_um)
        if one.standard_error is not None:
            low, high = (up(one.value + side * 2 * one.standard_error) for side in (-1, 1))
            drawn.append(path(f"M{x + by:.2f} {low:.2f}V{high:.2f}", stroke=colour))
        drawn.append(_mark(profile, x, up(one.value)))
    return drawn


def _mark(profile: list[SectionReading], x: float, y: float) -> str:
    """A reading: filled on the panel, hollow on a single spot."""
    colour, _ = STYLES[profile[0].moment]
    return element(
        "rect", x=x - _MARK / 2, y=y - _MARK / 2, width=_MARK, height=_MARK,
        fill="white" if profile[0].spot else colour, stroke=colour,
    )  # fmt: skip


def _entry(profile: list[SectionReading], called: str) -> Entry:
    """Sample of a profile for the key."""
    colour, dashes = STYLES[profile[0].moment]

    def sample(x: float, y: float) -> str:
        line = path(f"M{x - 12} {y}h24", stroke=colour, stroke_width=1.6, stroke_dasharray=dashes)
        return line + _mark(profile, x, y)

    return Entry(called, sample)

"""Lattice spacings over sin²ψ with the lines from which residual stress is read."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from heritagecheck.cards import Picture
from heritagecheck.evidence.section.stress_readings import StressAt, Tilts
from heritagecheck.figures.line_plot import PART, axes, plotted
from heritagecheck.figures.photo_frame import FloatArray
from heritagecheck.figures.svg import DARK, QUIET, Entry, Scale, mark, path, through

# Depths are told apart by colour, mark and stroke, from the surface down.
STYLES = (
    (DARK, "disc", None), ("#2b6a8f", "square", "6 3"), ("#a4552a", "triangle", "2 3"),
    (QUIET, "diamond", "9 3 2 3"),
)  # fmt: skip
_MARK = 8.0  # pixel
_ROOM = 1.06  # of the largest sin²ψ


def draw_tilts(found: Sequence[StressAt], *, width: float = PART) -> Picture:
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
    across, up = axes(0.0, _ROOM * most, ends, width)
    drawn, entries = [], []
    for number, (stress, one) in enumerate(tilts):
        style = STYLES[number % len(STYLES)]
        drawn += _drawn(one, changes[number], style, across, up)
        entries.append(_entry(stress, style))
    return plotted(
        drawn, entries, across, up, width, ("sin²ψ", "change of spacing d [µm/m]"),
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


def _drawn(
    one: Tilts, changes: FloatArray, style: tuple[str, str, str | None], across: Scale, up: Scale
) -> list[str]:
    """The line of one depth, and its marks."""
    colour, shape, dashes = style
    line = _line(one, float(np.abs(one.psi_deg).max()))
    marks = {True: "", False: ""}
    for psi, change in zip(one.psi_deg, changes, strict=True):
        x = across(float(np.sin(np.radians(psi)) ** 2))
        marks[bool(psi < 0)] += mark(shape, x, up(float(change)), _MARK)
    return [
        path(through(line, across, up), stroke=colour, stroke_width=1.6, stroke_dasharray=dashes),
        *(path(steps, fill="white" if hollow else colour, stroke=colour)
          for hollow, steps in marks.items() if steps),
    ]  # fmt: skip


def _words(one: StressAt) -> str:
    """Depth and stress of a line."""
    return f"{one.depth_um:.3g} µm, {one.stress_mpa:+.0f} MPa"


def _entry(one: StressAt, style: tuple[str, str, str | None]) -> Entry:
    """Sample of a line for the key."""
    colour, shape, dashes = style

    def sample(x: float, y: float) -> str:
        line = path(f"M{x - 12} {y}h24", stroke=colour, stroke_width=1.6, stroke_dasharray=dashes)
        return line + path(mark(shape, x, y, _MARK), fill=colour, stroke=colour)

    return Entry(_words(one), sample)

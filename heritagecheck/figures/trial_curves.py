"""Curves of removal and damage with their doubt, at as few doses as drawing needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.trials import DoseResponse, SpotTrial, Window
from heritagecheck.figures.colours import REFERENCE

CLEAN, HARM = REFERENCE, "#8c1c13"
STROKES = ("1.5 2.5", "10 3", "10 3 2 3", "4 2.5")
# Doses to draw a curve through: few at first, then more where it rises by more than this many
# per cent from one to the next, so often. Each dose takes some milliseconds a component.
FIRST_DOSES, STEEP, LOOKS = 20, 8.0, 3
BAR = 1.04  # width of what stands for a curve where one dose was tried, as a ratio
FloatArray = NDArray[np.float64]


class Curve(NamedTuple):
    """Probability at the doses it is drawn for, with its ends, in per cent."""

    dose: FloatArray
    estimate: FloatArray
    low: FloatArray
    high: FloatArray


class Style(NamedTuple):
    """How a curve looks, and its name."""

    name: str
    colour: str
    strokes: str | None
    width: float


@dataclass(frozen=True)
class Curves:
    """
    Curves of a series as they are drawn, and what was read from them.

    Parameters
    ----------
    drawn : list of tuple
        Each curve and its style: removal, damage, then the other components.
    window : Window
        What was read from them.
    used : tuple of float or None
        Setting of the panels themselves.
    reach : float
        Highest dose at which removal was tried.
    """

    drawn: list[tuple[Curve, Style]]
    window: Window
    used: tuple[float, float] | None
    reach: float

    @classmethod
    def of(cls, found: SpotTrial) -> Self | None:
        """
        Curves of a series.

        Parameters
        ----------
        found : SpotTrial
            Its spots, read together.

        Returns
        -------
        Curves or None
            None where they give no curves.
        """
        if found.window is None or found.removal is None or found.damage is None:
            return None
        drawn = _both(found.removal, found.damage)
        return cls(drawn, found.window, found.used, found.removal.highest_dose)


def _both(removal: DoseResponse, damage: DoseResponse) -> list[tuple[Curve, Style]]:
    """Curves of removal and of damage, and those of the other components."""
    # As the window: removal by what is hardest to clean, damage by what is most endangered.
    cleans, harms = _curves(removal), _curves(damage)
    weakest = f"damage, {damage.weakest}" if damage.weakest else "damage"
    drawn = [
        (_bar(_across(cleans, np.min), -1), Style("removal", CLEAN, None, 2.4)),
        (_bar(_across(harms, np.max), 1), Style(weakest, HARM, "8 4", 2.4)),
    ]
    if damage.weakest:
        others = [one for one in damage.groups if one.group != damage.weakest]
        for place, one in enumerate(others):
            style = Style(one.group, HARM, STROKES[place % len(STROKES)], 1.3)
            tried = _within(harms[one.group], one.lowest_dose, one.highest_dose)
            drawn.append((_bar(tried, 1), style))
    return drawn


def _curves(fit: DoseResponse) -> dict[str, Curve]:
    """Curve of each group over all doses tried, the ends of every group among them."""
    ends = [dose for one in fit.groups for dose in (one.lowest_dose, one.highest_dose)]
    # Even steps would miss the outermost doses by their last digit.
    even = np.geomspace(fit.lowest_dose, fit.highest_dose, FIRST_DOSES)[1:-1]
    new = np.unique([*ends, *even] if min(ends) < max(ends) else ends)
    found = np.empty((len(fit.groups), len(Curve._fields), 0))
    for _ in range(LOOKS):
        found = np.concatenate([found, _at(fit, new)], axis=2)
        found = found[:, :, np.argsort(found[0, 0])]
        dose = found[0, 0]
        rise = np.diff(found[:, 1:], axis=2).max(axis=(0, 1), initial=0)
        new = np.sqrt(dose[1:] * dose[:-1])[rise > STEEP]
    return {one.group: Curve(*values) for one, values in zip(fit.groups, found, strict=True)}


def _at(fit: DoseResponse, dose: FloatArray) -> FloatArray:
    """Dose, estimate, low and high of each group in per cent, group by group."""
    found = [fit.probability(dose, group=one.group) for one in fit.groups]
    return np.array(
        [(dose, 100 * at.estimate, 100 * at.low, 100 * at.high) for at in found], dtype=float
    )


def _across(curves: dict[str, Curve], reach: Callable[..., FloatArray]) -> Curve:
    """Curve of the group that counts at each dose: the lowest of all, or the highest."""
    every = np.array(list(curves.values()))
    return Curve(*reach(every, axis=0))


def _within(curve: Curve, low: float, high: float) -> Curve:
    """Part of a curve between two doses."""
    here = (curve.dose >= low) & (curve.dose <= high)
    return Curve(*(values[here] for values in curve))


def _bar(curve: Curve, side: int) -> Curve:
    """Curve as it is; of a single dose a bar on one side of it, so that two stand side by side."""
    if curve.dose.size > 1:
        return curve
    dose = np.sort(np.append(curve.dose, curve.dose * BAR**side))
    return Curve(dose, *(np.repeat(values, 2) for values in curve[1:]))

"""Curves of removal and damage with their doubt, at as few doses as drawing needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, Self

import numpy as np

from heritagecheck.evidence.trials import SpotTrial, Window
from heritagecheck.evidence.trials.spot_sheet import Curve, DrawnFit, FloatArray, drawn_fits
from heritagecheck.figures.colours import REFERENCE

CLEAN, HARM = REFERENCE, "#8c1c13"
STROKES = ("1.5 2.5", "10 3", "10 3 2 3", "4 2.5")
BAR = 1.04  # width of what stands for a curve where one dose was tried, as a ratio


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
        fits = drawn_fits(found)
        if found.window is None or fits is None:
            return None
        removal, damage = fits
        reach = max(high for _, high in removal.tried.values())
        return cls(_both(removal, damage), found.window, found.used, reach)


def _both(removal: DrawnFit, damage: DrawnFit) -> list[tuple[Curve, Style]]:
    """Curves of removal and of damage, and those of the other components."""
    # As the window: removal by what is hardest to clean, damage by what is most endangered.
    cleans, harms = removal.curves, damage.curves
    weakest = f"damage, {damage.weakest}" if damage.weakest else "damage"
    drawn = [
        (_bar(_across(cleans, np.min), -1), Style("removal", CLEAN, None, 2.4)),
        (_bar(_across(harms, np.max), 1), Style(weakest, HARM, "8 4", 2.4)),
    ]
    if damage.weakest:
        others = [one for one in damage.tried if one != damage.weakest]
        for place, one in enumerate(others):
            style = Style(one, HARM, STROKES[place % len(STROKES)], 1.3)
            drawn.append((_bar(_within(harms[one], *damage.tried[one]), 1), style))
    return drawn


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

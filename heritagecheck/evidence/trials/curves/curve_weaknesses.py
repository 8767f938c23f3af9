"""What is weak about a dose-response curve, in sentences for whoever reads it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.trials.curves.groups import Effect, GroupFit, Mixture
from heritagecheck.evidence.trials.curves.posterior import FloatArray
from heritagecheck.evidence.trials.curves.spot_input import Conditions, Given
from heritagecheck.tables import threshold

_FEW_SPOTS = 10  # below this a caution says so
_FEW_PANELS = 3
_FEW_LIKE_IT = 5  # spots under the very condition of the curve; below it a caution says so
_HARDLY = 0.7  # of the 0.9 that the prior leaves to the exponent: a wider interval says little
_LINE_SPOTS = 3  # spots a class from which its frequency is worth a point on a line
_LEVEL_LINE = 1e-12  # rise over all doses that rounding leaves of a level line


@dataclass(frozen=True, slots=True, eq=False)
class StraightLine:
    """
    Damage frequency against dose as a straight line, and where it meets zero (ISO 21254-2:2011).

    Least squares through the classes with frequencies strictly between 0 and 1. It has no interval,
    weighs a class of three spots like one of thirty, and says that damage never happens below its
    threshold, which no count of spots can show. `caution` says where the curve disagrees.
    """

    threshold: float
    slope: float
    classes: int
    caution: str = ""

    def __str__(self) -> str:
        return (
            f"A straight line through {self.classes} classes (ISO 21254-2) meets zero at "
            f"{self.threshold:.3g}."
        )


def straight_line(doses: FloatArray, outcome: NDArray[np.bool_]) -> StraightLine | None:
    """Line of ISO 21254-2 through classes of several spots; None where none rises through two."""
    levels, which = np.unique(doses, return_inverse=True)
    sites, hit = np.bincount(which), np.bincount(which, weights=outcome)
    between = (sites >= _LINE_SPOTS) & (hit > 0) & (hit < sites)
    if between.sum() < 2:
        return None
    x, share = levels[between], (hit / sites)[between]
    away = x - x.mean()
    slope = float((away * (share - share.mean())).sum() / (away**2).sum())
    if slope * np.ptp(x) <= _LEVEL_LINE:
        return None
    return StraightLine(float(x.mean() - share.mean() / slope), slope, int(between.sum()))


def cautions_of_panels(given: Given) -> list[str]:
    """What is weak about how many spots and panels there are."""
    found = []
    if given.doses.size < _FEW_SPOTS:
        found.append(
            f"Spots read: only {given.doses.size}. How steep the curve is, and much of the "
            "interval, comes from prior assumptions."
        )
    if given.panels is None:
        return [
            *found,
            "No panel is named, so each spot counts by itself. Spots on one panel are alike, and "
            "the uncertainty is then larger than shown.",
        ]
    panels = len(set(given.panels))
    if panels < _FEW_PANELS:
        found.append(
            f"All spots are on {'one panel' if panels == 1 else f'{panels} panels'}, so how much "
            "panels differ is a rated guess. More spots do not replace more panels."
        )
    most = 1 / threshold("panel_correlation")
    shifts = given.conditions.shifts.T.tolist()
    alike = zip(
        given.panels, given.doses.tolist(), *shifts, given.groups or given.panels, strict=True
    )
    if max(Counter(alike).values()) > most:
        found.append(
            f"More than {most:.0f} spots on one panel at one dose do not narrow the interval."
        )
    return found


def cautions_of_conditions(conditions: Conditions, mixed: Mixture | None) -> list[str]:
    """What reading spots of several pulses, or wet and dry ones, together rests on."""
    if mixed is None:
        return []
    found = []
    if conditions.pulses is not None and mixed.pulse_effect is not None:
        found.append(_of_pulses(conditions.pulses, conditions.at_pulses, mixed.pulse_effect))
    if mixed.wet_effect is not None:
        found.append(_of_water(mixed.wet_effect))
    number = int(conditions.under_own().sum())
    if number < _FEW_LIKE_IT:
        found.append(
            f"{number} of {conditions.spots} spots have the very condition of the curve "
            f"({conditions}). The curve rests on the others, and on how conditions act."
        )
    return found


def _of_pulses(pulses: FloatArray, at: float, effect: Effect) -> str:
    """What is known of how pulses add up."""
    least, most = float(pulses.min()), float(pulses.max())
    span = f"{least:g}" if least == most else f"{least:g} to {most:g}"
    low, middle, high = (f"{10**one:.2g}" for one in (effect.low, effect.estimate, effect.high))
    hardly = effect.high - effect.low > _HARDLY
    return (
        f"Spots of {span} pulses or passes are read together for {at:g}. Ten times as many act "
        f"like {middle} times the dose (90 % {low} to {high}; 1 if the number does not matter, 10 "
        f"if doses add up).{' The spots themselves hardly show it.' if hardly else ''}"
    )


def _of_water(effect: Effect) -> str:
    """What is known of what wetting does."""
    low, middle, high = (f"{np.exp(one):.2g}" for one in (effect.low, effect.estimate, effect.high))
    return (
        f"Wet and dry spots are read together; wetting acts like {middle} times the dose "
        f"(90 % {low} to {high})."
    )


def caution_of_none(highest_dose: float, unit: str, high: float) -> str:
    """Say what is not excluded where nothing happened: the upper end at the highest dose."""
    dose = f"{highest_dose:.3g} {unit}".rstrip()
    return (
        f"No spot showed it. That does not mean never; at {dose}, up to {100 * high:.2g} % of "
        "spots cannot be ruled out. Doses estimated here rest on prior assumptions."
    )


def cautions_of_outcomes(
    groups: Sequence[GroupFit], doses: FloatArray, outcome: NDArray[np.bool_]
) -> list[str]:
    """What the outcomes leave open, where something happened."""
    if outcome.all():
        return ["Every spot showed it, so it begins at doses below those tried."]
    if len({dose for one in groups for dose in (one.lowest_dose, one.highest_dose)}) == 1:
        return ["Only one dose was tried, so the change with dose comes from prior assumptions."]
    hit, spared = doses[outcome], doses[~outcome]
    if spared.max() <= hit.min():
        return [_of_the_gap(float(spared.max()), float(hit.min()))]
    if np.log(hit).mean() <= np.log(spared).mean():
        return [
            "More spots showed it at lower doses than at higher ones. The curve can't fall, so "
            "check that doses and outcomes belong together."
        ]
    return []


def _of_the_gap(spared: float, hit: float) -> str:
    """What spots leave open of which none was hit below a dose, and all above."""
    if spared == hit:
        return (
            f"No spot showed it below {hit:.3g}, some did there, and all did above. How steep "
            "the curve is was hardly seen. Try doses on either side."
        )
    return (
        f"No spot showed it up to {spared:.3g}, and all did from {hit:.3g}, so how steep the curve "
        "is between them was not seen. Try doses between."
    )


def cautions_of_groups(
    groups: Sequence[GroupFit], lows: Mapping[str, float], weakest: str
) -> list[str]:
    """Groups that were never hit, and which of them sets the lower end (`lows`, by group)."""
    found = []
    unseen = [one.group for one in groups if not one.events]
    if 0 < len(unseen) < len(groups):
        their, curve, limit, go = (
            ("Its", "curve takes its", "limit", "goes")
            if len(unseen) == 1
            else ("Their", "curves take their", "limits", "go")
        )
        found.append(
            f"No spot on {' or '.join(unseen)} showed it. {their} {curve} slope from the "
            f"others. {their} {limit} never {go} beyond what {their.lower()} own spots allow."
        )
    lowest = min(lows, key=lambda name: lows[name])
    if lowest != weakest:
        found.append(
            f"{weakest} is hit first by estimate, but {lowest} is known less well and sets the "
            "lower end."
        )
    return found

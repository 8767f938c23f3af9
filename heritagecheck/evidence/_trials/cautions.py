"""What the outcomes of trial spots leave open, in sentences for whoever reads the curve."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence._trials.grid import FloatArray

if TYPE_CHECKING:
    from heritagecheck.evidence._trials.dose import DoseAt, DoseResponse


def cautions_of_outcomes(
    fit: DoseResponse, doses: FloatArray, outcome: NDArray[np.bool_]
) -> list[str]:
    """What the outcomes leave open."""
    if not outcome.any():
        high = 100 * float(fit.probability(fit.highest_dose).high)
        return [
            f"It happened at no spot. That is not never: at {fit.highest_dose:.3g} up to "
            f"{high:.2g} % of spots are not excluded, and estimates of dose rest on the prior."
        ]
    if outcome.all():
        return ["It happened at every spot: the doses at which it begins lie below those tried."]
    if len({dose for one in fit.groups for dose in (one.lowest_dose, one.highest_dose)}) == 1:
        return ["Only one dose was tried: how it changes with dose rests on the prior."]
    hit, spared = doses[outcome], doses[~outcome]
    if spared.max() <= hit.min():
        return [_of_the_gap(float(spared.max()), float(hit.min()))]
    if np.log(hit).mean() <= np.log(spared).mean():
        return [
            "It happened at lower doses more than at higher ones. The curve can't fall: check that "
            "doses and outcomes belong together."
        ]
    return []


def cautions_of_groups(fit: DoseResponse, halves: dict[str, DoseAt], weakest: str) -> list[str]:
    """Which groups were not seen to be hit, and which sets the lower end."""
    found = []
    unseen = [one.group for one in fit.groups if not one.events]
    if unseen and fit.n_events:
        found.append(
            f"Without an event of their own: {', '.join(unseen)}. They borrow from the others how "
            "steep their curve is; where they were tried less, no more room is shown than their "
            "own spots allow."
        )
    lowest = min(halves, key=lambda name: halves[name].low)
    if lowest != weakest:
        found.append(
            f"{weakest} is hit first by estimate, but {lowest} is known less well and sets the "
            "lower end."
        )
    return found


def _of_the_gap(spared: float, hit: float) -> str:
    """What spots leave open that are parted by dose: none hit below, all above."""
    if spared == hit:
        return (
            f"Nothing happened below {hit:.3g}, at some spots there, and at all above: how steep "
            "the curve is was hardly seen. Try doses on either side."
        )
    return (
        f"Nothing happened up to {spared:.3g} and all from {hit:.3g}: how steep the curve is "
        "between them was not seen. Try doses between."
    )

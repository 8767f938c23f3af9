"""What the outcomes of trial spots leave open, in sentences for whoever reads the curve."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.trials.curves.posterior_grid import FloatArray
from heritagecheck.evidence.trials.curves.spot_groups import GroupFit


def caution_of_none(highest_dose: float, high: float) -> str:
    """Say what is not excluded where nothing happened: the upper end at the highest dose."""
    return (
        f"It happened at no spot. That does not mean never: at {highest_dose:.3g} up to "
        f"{100 * high:.2g} % of spots are not excluded, and estimates of dose rest on the prior."
    )


def cautions_of_outcomes(
    groups: Sequence[GroupFit], doses: FloatArray, outcome: NDArray[np.bool_]
) -> list[str]:
    """What the outcomes leave open, where something happened."""
    if outcome.all():
        return ["It happened at every spot: the doses at which it begins lie below those tried."]
    if len({dose for one in groups for dose in (one.lowest_dose, one.highest_dose)}) == 1:
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


def cautions_of_groups(
    groups: Sequence[GroupFit], lows: Mapping[str, float], weakest: str
) -> list[str]:
    """Which groups were not seen to be hit, and which sets the lower end (`lows`, a group)."""
    found = []
    unseen = [one.group for one in groups if not one.events]
    if 0 < len(unseen) < len(groups):
        found.append(
            f"Without an event of their own: {', '.join(unseen)}. They borrow from the others how "
            "steep their curve is; where they were tried less, no more room is shown than their "
            "own spots allow."
        )
    lowest = min(lows, key=lambda name: lows[name])
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

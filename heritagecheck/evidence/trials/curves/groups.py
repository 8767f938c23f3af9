"""Each group of spots fitted: a mineral or lithotype by itself, and among the others."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.trials.curves.posterior import (
    Classes,
    FloatArray,
    Posterior,
    classes_of,
    counted,
    posteriors,
)
from heritagecheck.evidence.trials.curves.pulses_and_water import Mixture, mixture
from heritagecheck.evidence.trials.curves.spot_input import Given
from heritagecheck.tables import threshold


@dataclass(frozen=True, slots=True, eq=False)
class GroupFit:
    """
    What is known of one group: by its own spots, and among the others where there are any.

    `own` counts its own spots, at the doses that do as much under the curve's condition.
    """

    group: str
    spots: int
    events: int
    panels: int | None
    lowest_dose: float
    highest_dose: float
    posteriors: tuple[Posterior, ...] = field(repr=False)
    own: Classes = field(repr=False)


def group_fits(given: Given) -> tuple[tuple[GroupFit, ...], Mixture | None]:
    """Fit each group by itself, and all together; also what was found about pulses and water."""
    names = sorted(set(given.groups or ["all"]))
    index = np.array([names.index(one) for one in given.groups or ["all"] * given.doses.size])
    together, mixed = _fitted(given, index) if len(names) > 1 else ((), None)
    tried = given.conditions.doses_tried(given.doses)
    found = []
    for k, name in enumerate(names):
        mine = given.of(index == k)
        own, own_mixed = _fitted(mine, np.zeros(mine.doses.size, dtype=np.int64))
        # Of one group alone the effects are its own; of several, those found from all.
        mixed = own_mixed if len(names) == 1 else mixed
        found.append(_group(name, mine, tried[index == k], own + together[k : k + 1], mixed))
    first = np.nan_to_num(tried[given.outcome], nan=np.inf).min(initial=np.inf)
    harsh = np.nan_to_num(tried) >= first
    harshly = [int(harsh[index == k].sum()) for k in range(len(names))]
    return tuple(_without_bare_guess(found, harshly)), mixed


def _fitted(
    given: Given, members: NDArray[np.int64]
) -> tuple[tuple[Posterior, ...], Mixture | None]:
    """Posterior of each group; what pulses and water do where spots differ in them."""
    correlation = threshold("panel_correlation")
    shifts = given.conditions.shifts
    spots = np.column_stack([members, _panels(given), np.log(given.doses), shifts])
    classes, moved = classes_of(spots, given.outcome, panelled=given.panels is not None)
    if not moved.any():
        return posteriors(classes, correlation), None
    mixed = mixture(classes, moved, correlation)
    return mixed.posteriors, mixed


def _group(
    name: str,
    mine: Given,
    tried: FloatArray,
    fits: tuple[Posterior, ...],
    mixed: Mixture | None,
) -> GroupFit:
    """What is known of one group."""
    shifts = mine.conditions.shifts
    equal = np.log(mine.doses) + (shifts @ mixed.effects if mixed else 0.0)
    counts = ~np.isnan(tried)
    return GroupFit(
        group=name,
        spots=mine.doses.size,
        events=int(mine.outcome.sum()),
        panels=None if mine.panels is None else len(set(mine.panels)),
        lowest_dose=float(tried.min(initial=np.inf, where=counts)),
        highest_dose=float(tried.max(initial=0, where=counts)),
        posteriors=fits,
        own=counted(equal, mine.outcome, None if mine.panels is None else _panels(mine)),
    )


def _panels(given: Given) -> NDArray[np.int64]:
    """Number of the panel of each spot; 0 where no panel is named."""
    if given.panels is None:
        return np.zeros(given.doses.size, dtype=np.int64)
    return np.unique(given.panels, return_inverse=True)[1].ravel()


def _without_bare_guess(fits: list[GroupFit], harshly: list[int]) -> Iterator[GroupFit]:
    """
    Leave out the own fit of a group that was tried as much as those that were hit, and was not hit.

    By itself it says nothing of how steep its curve is, so that its gentle end would be the prior's
    alone, and the mineral that stood firm would set the limit. `harshly` counts the spots of each
    group at doses that hit something.
    """
    hit = [place for place, one in enumerate(fits) if one.events]
    for one, mine in zip(fits, harshly, strict=True):
        firm = (
            bool(hit)
            and not one.events
            and all(
                own >= max(theirs)
                for own, theirs in (
                    (mine, [harshly[place] for place in hit]),
                    (one.panels or 0, [fits[place].panels or 0 for place in hit]),
                    (one.highest_dose, [fits[place].highest_dose for place in hit]),
                )
            )
        )
        yield replace(one, posteriors=one.posteriors[-1:]) if firm else one

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
from heritagecheck.tables import threshold


@dataclass(frozen=True, slots=True, eq=False)
class GroupFit:
    """
    What is known of one group: by its own spots, and among the others where there are any.

    `own` counts its own spots, at the doses that do as much under the condition asked.
    """

    group: str
    spots: int
    events: int
    panels: int | None
    lowest_dose: float
    highest_dose: float
    posteriors: tuple[Posterior, ...] = field(repr=False)
    own: Classes = field(repr=False)


def group_fits(
    x: FloatArray,
    tried: FloatArray,
    outcome: NDArray[np.bool_],
    groups: list[str] | None,
    panels: list[str] | None,
    shifts: FloatArray,
) -> tuple[tuple[GroupFit, ...], Mixture | None]:
    """
    Fit each group by itself, and all together where there are several.

    Where spots differ from the condition asked (`shifts`, shape (n, 2)), also what was found about
    pulses and water, from all groups.
    """
    names = sorted(set(groups)) if groups else ["all"]
    index = np.array([names.index(one) for one in groups or ["all"] * x.size])
    panel = np.unique(panels, return_inverse=True)[1].ravel() if panels else np.zeros(x.size, int)
    correlation = threshold("panel_correlation")

    def fitted(
        here: NDArray[np.bool_], members: NDArray[np.int64]
    ) -> tuple[tuple[Posterior, ...], Mixture | None]:
        spots = np.column_stack([members, panel[here], x[here], shifts[here]])
        classes, moved = classes_of(spots, outcome[here], panelled=panels is not None)
        if not moved.any():
            return posteriors(classes, correlation), None
        mixed = mixture(classes, moved, correlation)
        return mixed.posteriors, mixed

    everywhere = np.ones(x.size, dtype=bool)
    together, mixed = fitted(everywhere, index) if len(names) > 1 else ((), None)
    found = []
    for k, name in enumerate(names):
        here = index == k
        own, own_mixed = fitted(here, np.zeros(int(here.sum()), dtype=int))
        mixed = own_mixed if len(names) == 1 else mixed
        equal = x[here] + (shifts[here] @ mixed.effects if mixed else 0.0)
        found.append(
            GroupFit(
                group=name,
                spots=int(here.sum()),
                events=int(outcome[here].sum()),
                panels=len(np.unique(panel[here])) if panels else None,
                lowest_dose=float(tried[here].min(initial=np.inf, where=~np.isnan(tried[here]))),
                highest_dose=float(tried[here].max(initial=0, where=~np.isnan(tried[here]))),
                posteriors=own + together[k : k + 1],
                own=counted(equal, outcome[here], panel[here] if panels else None),
            )
        )
    first = np.nan_to_num(tried[outcome], nan=np.inf).min(initial=np.inf)
    harsh = np.nan_to_num(tried) >= first
    harshly = [int(harsh[index == k].sum()) for k in range(len(names))]
    return tuple(_without_bare_guess(found, harshly)), mixed


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

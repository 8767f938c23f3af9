"""Trial spots checked, counted by dose, panel and group, and each group fitted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.trials.curves.likelihood import StraightLine, iso_21254_threshold, rise
from heritagecheck.evidence.trials.curves.posterior_grid import (
    Classes,
    FloatArray,
    Posterior,
    posteriors,
)
from heritagecheck.evidence.trials.curves.pulses_and_water import Mixture, mixture
from heritagecheck.tables import threshold

_FEW_SPOTS = 10  # below this a caution says so
_FEW_PANELS = 3
_NO_LABEL = {"", "nan", "none", "<na>", "nat", "null"}  # as tables write what is missing
_LINE_SPOTS = 3  # spots a class from which its frequency is worth a point on a line


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
        classes, moved = _classes(spots, outcome[here], panelled=panels is not None)
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


def counted(x: FloatArray, outcome: NDArray[np.bool_], panel: NDArray[np.int64] | None) -> Classes:
    """Count spots of one group and one condition by panel and dose."""
    spots: FloatArray = np.zeros((x.size, 5))
    spots[:, 1] = 0 if panel is None else panel
    spots[:, 2] = x
    return _classes(spots, outcome, panelled=panel is not None)[0]


def _classes(
    spots: FloatArray, outcome: NDArray[np.bool_], *, panelled: bool
) -> tuple[Classes, FloatArray]:
    """
    Count spots by group, panel, dose and conditions.

    No class of a panel counts for more spots than the design effect leaves of them. Columns of
    `spots`: group, panel, x, and the two shifts, which are returned a class.
    """
    most = 1 / threshold("panel_correlation") if panelled else np.inf
    keys, which = np.unique(spots, axis=0, return_inverse=True)
    number = np.bincount(which.ravel()).astype(float)
    events = np.bincount(which.ravel(), weights=outcome).astype(float)
    counted = np.minimum(1, most / number)
    new = np.concatenate([[True], (np.diff(keys[:, :2], axis=0) != 0).any(axis=1)])
    first = np.append(np.flatnonzero(new), keys.shape[0])
    classes = Classes(
        x=np.ascontiguousarray(keys[:, 2]),
        spots=number * counted,
        events=events * counted,
        first=first,
        group=keys[first[:-1], 0].astype(np.int64),
        groups=int(keys[-1, 0]) + 1,
        panelled=panelled,
    )
    return classes, keys[:, 3:]


@lru_cache(maxsize=256)
def bound_of_sound(panels: int, spots: int, confidence: float) -> float:
    """
    Upper bound that the curve gives for the share hit, where no spot of any panel was, at one dose.

    Parameters
    ----------
    panels, spots : int
        Panels, and spots on each.
    confidence : float
        One-sided. [0 to 1]

    Returns
    -------
    float
        Share of spots over panels like these. [0 to 1]
    """
    one = counted(np.zeros(spots), np.zeros(spots, dtype=bool), np.zeros(spots, dtype=np.int64))
    (found,) = posteriors(replace(one, copies=panels), threshold("panel_correlation"))
    return float(found.p_levels(0.0, np.array([confidence]))[0])


def straight_line(doses: FloatArray, outcome: NDArray[np.bool_]) -> StraightLine | None:
    """Line of ISO 21254-2 through classes of several spots, where there is one."""
    levels, which = np.unique(doses, return_inverse=True)
    sites = np.bincount(which)
    hit = np.bincount(which, weights=outcome)
    used = sites >= _LINE_SPOTS
    between = used & (hit > 0) & (hit < sites)
    if between.sum() < 2 or rise(levels[between], (hit / sites)[between]) <= 0:
        return None
    return iso_21254_threshold(levels[used], sites[used], hit[used])


def cautions_of_panels(
    doses: FloatArray, shifts: FloatArray, panels: list[str] | None, groups: list[str] | None
) -> list[str]:
    """What is weak about how many spots and panels there are."""
    found = []
    if doses.size < _FEW_SPOTS:
        found.append(
            f"Only {doses.size} spots were read: how steep the curve is, and much of the "
            "interval, rest on the prior."
        )
    if panels is None:
        return [
            *found,
            "No panel is named: each spot is taken to stand for itself. Spots on one panel "
            "resemble one another, and the doubt is then larger than shown.",
        ]
    if len(set(panels)) < _FEW_PANELS:
        found.append(
            f"Spots lie on {len(set(panels))} panel(s): how panels differ is the rated guess, and "
            "no number of spots on them replaces more panels."
        )
    most = 1 / threshold("panel_correlation")
    alike = zip(panels, doses.tolist(), *shifts.T.tolist(), groups or panels, strict=True)
    if max(Counter(alike).values()) > most:
        found.append(f"Spots beyond {most:.0f} on one panel at one dose narrow nothing.")
    return found


def checked_doses(dose: ArrayLike) -> FloatArray:
    """Doses as numbers, all finite and above 0."""
    doses = np.asarray(dose, dtype=float)
    bad = doses[~(np.isfinite(doses) & (doses > 0))]
    if bad.size:
        raise ValueError(
            f"dose = {bad.ravel()[0]:g}: a dose is a finite number above 0. A spot that was left "
            "untreated is a control, not a dose of 0."
        )
    return doses


def checked_yes_or_no(given: ArrayLike, name: str) -> NDArray[np.bool_]:
    """What is yes or no for each spot."""
    values = np.asarray(given)
    if values.dtype != bool:
        numbers = values.dtype.kind in "iuf"
        if not numbers or not np.isin(values, (0, 1)).all():
            raise ValueError(f"{name} must be True or False (1 or 0) for each spot.")
    return values.astype(bool)


def checked_labels(labels: Sequence[str] | None, spots: int, name: str) -> list[str] | None:
    """Labels as text, one a spot; capitals and blanks around make no other label."""
    if labels is None:
        return None
    if isinstance(labels, str):
        raise ValueError(f'{name} = "{labels}" is one text: give a list with one label a spot.')
    given = list(labels)
    if len(given) != spots:
        raise ValueError(f"{name} has {len(given)} labels for {spots} spots: give one a spot.")
    if any(str(one).strip().casefold() in _NO_LABEL for one in given):
        raise ValueError(
            f"{name} is missing for a spot: name it for each, or leave {name} out for all."
        )
    written: dict[str, str] = {}
    for one in given:
        written.setdefault(str(one).strip().casefold(), str(one).strip())
    return [written[str(one).strip().casefold()] for one in given]

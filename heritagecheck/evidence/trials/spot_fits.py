"""Results of spots that the sheet of a series shows, calculated once and cached on disk."""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import asdict
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from heritagecheck.answer_cache import kept
from heritagecheck.evidence.trials.curves.dose_response import DoseResponse, probability_levels
from heritagecheck.evidence.trials.curves.plan import TrialPlan, enough_panels, plan_trial
from heritagecheck.evidence.trials.curves.window import Window, least_margin, tested_window
from heritagecheck.evidence.trials.spots import SpotTrial, window_of

# Doses to draw a curve through: few at first, then more where it rises by more than this many
# per cent from one to the next, so often. Each dose takes some milliseconds a component.
FIRST_DOSES, STEEP, LOOKS = 20, 8.0, 3
LEVEL = 0.95
CONFIRMING = 10  # spots of a panel at one setting: by their likeness more count for no more
LADDER = 3  # panels on which settings are tried from gentle to harsh, as `plan_trial` has it
MOST_TIMES = 5  # as many panels: a margin that not even these show is not worth planning for
OF_WINDOW = 0.975  # one-sided confidence of a window's ends, which gate 7 reads
FloatArray = NDArray[np.float64]


class Curve(NamedTuple):
    """Probability at the doses it is drawn for, with its ends, in per cent."""

    dose: FloatArray
    estimate: FloatArray
    low: FloatArray
    high: FloatArray


class DrawnFit(NamedTuple):
    """
    A curve of each component, over all doses tried.

    `tried` says from which dose to which each was tried; `weakest` names the most endangered.
    """

    weakest: str | None
    tried: dict[str, tuple[float, float]]
    curves: dict[str, Curve]


def drawn_fits(spots: SpotTrial) -> tuple[DrawnFit, DrawnFit] | None:
    """Curves of removal and damage at as few doses as drawing needs; None if there are none."""
    if spots.answers is None:
        return None

    def work() -> dict[str, object]:
        removal, damage = spots.fitted()
        return {"removal": _to_keep(drawn_fit(removal)), "damage": _to_keep(drawn_fit(damage))}

    found = kept(f"curves {spots.fitted_to}", work)
    removal, damage = (
        DrawnFit(
            found[name]["weakest"],
            {one: (low, high) for one, (low, high) in found[name]["tried"].items()},
            {one: Curve(*np.array(rows)) for one, rows in found[name]["curves"].items()},
        )
        for name in ("removal", "damage")
    )
    return removal, damage


def _to_keep(fit: DrawnFit) -> dict[str, object]:
    """Curves as a file can keep them."""
    return fit._asdict() | {
        "curves": {name: np.array(curve).tolist() for name, curve in fit.curves.items()}
    }


def drawn_fit(fit: DoseResponse) -> DrawnFit:
    """Curve of each component, the ends of every one among its doses."""
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
    return DrawnFit(
        fit.weakest,
        {one.group: (one.lowest_dose, one.highest_dose) for one in fit.groups},
        {one.group: Curve(*rows) for one, rows in zip(fit.groups, found, strict=True)},
    )


def _at(fit: DoseResponse, doses: FloatArray) -> FloatArray:
    """Dose, estimate, low and high of each component in per cent, component by component."""
    levels = np.array([0.5, (1 - LEVEL) / 2, (1 + LEVEL) / 2])
    found = np.empty((len(fit.groups), len(Curve._fields), doses.size))
    found[:, 0] = doses
    for rows, one in zip(found, fit.groups, strict=True):
        for place, dose in enumerate(doses):
            rows[1:, place] = 100 * probability_levels(
                fit, float(dose), levels, group=one.group, open_ends=True
            )
    return found


def window_again(
    spots: SpotTrial | None, damage_limit: float, begins: float, *, same_bed: bool
) -> Window | None:
    """Window of the same spots for another stone or share of damage; None if there is none."""
    if spots is None or spots.answers is None:
        return None
    return window_of(
        kept(
            f"window {spots.fitted_to} {damage_limit!r} {begins!r} {same_bed}",
            lambda: asdict(
                tested_window(
                    *spots.fitted(),
                    damage_limit=damage_limit, begins=begins, same_bed=same_bed,
                )
            ),
        )
    )  # fmt: skip


def plan_after(spots: SpotTrial, limit: float, *, margin: float | None = None) -> TrialPlan:
    """Plan of the next trial, by what the spots of a series show; as sure as gate 7 requires."""

    def work() -> dict[str, object]:
        removal, damage = spots.fitted()
        try:
            plan = plan_trial(
                removal=removal, damage=damage, limit=limit, confidence=OF_WINDOW, margin=margin
            )
            return asdict(plan)
        except ValueError as error:
            return {"why_none": str(error)}

    found = kept(f"plan {spots.fitted_to} {limit!r} {margin!r}", work)
    if "why_none" in found:
        raise ValueError(found["why_none"])
    lists = {name: tuple(found[name]) for name in ("settings", "stop_rules", "cautions", "hazards")}
    return TrialPlan(**found | lists)


def first_spots(limit: float, margin: float | None) -> str:
    """Say which spots a method takes that nobody has tried."""
    name = f"first spots {limit!r} {CONFIRMING} {OF_WINDOW}"
    panels = kept(name, lambda: {"panels": enough_panels(limit, CONFIRMING, OF_WINDOW)})["panels"]
    beyond = "" if margin is None else f", and {CONFIRMING} at {margin:g} times that setting"
    return (
        f"Spots: settings from gentle to harsh on {LADDER} panels; then {CONFIRMING} spots on each "
        f"of {panels} panels at the setting chosen{beyond}"
    )


def panels_for_margin(found: SpotTrial, margin: float) -> int | None:
    """How many panels in all would show a margin, if further panels show what these do."""
    if not (math.isfinite(margin) and margin > 0):
        raise ValueError(f"margin = {margin:g}: it must be above 0.")
    window = found.window
    if window is None or window.margin < margin or window.margin_tried < margin:
        return None
    panels = len({row.panel for row in found.rows})
    if window.margin_low >= margin:
        return panels
    times = kept(
        f"panels for margin {margin!r} {window.begins!r} {MOST_TIMES} {found.fitted_to}",
        lambda: {"times": _times_to_show(found, margin, window.begins)},
    )["times"]
    return None if times is None else panels * int(times)


def _times_to_show(found: SpotTrial, margin: float, begins: float) -> int | None:
    """How many times as many panels show a margin; None where not even the most do."""

    def shows(times: int) -> bool:
        return least_margin(*found.fitted(times), begins=begins) >= margin

    # More panels that show the same never lower the bound: where twice as many do not do, halving
    # finds the fewest.
    if shows(2):
        return 2
    if not shows(MOST_TIMES):
        return None
    return bisect_left(range(MOST_TIMES), True, lo=3, key=shows)

"""Spots of one trial as the planner asks for them: a ladder, then the setting chosen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtr, ndtri

from heritagecheck.evidence.trials.curves.plan import TrialPlan, plan_trial
from heritagecheck.evidence.trials.damaged_fields import agreed_damage
from heritagecheck.evidence.trials.spot_fits import OF_WINDOW
from heritagecheck.survey.records import AgreedPolicy
from known_truth.surveyor import policy_row
from known_truth.truth import Act, Place

READER_SEES = 0.9  # share of damaged fields that a reader calls damaged
READER_INVENTS = 0.003  # share of sound ones
BEFORE_TOLD_APART = 0.8  # share of earlier damage that the before-picture shows to be earlier
GENTLEST, HARSHEST = 0.25, 6.0  # settings tried, times the usual one
CONFIRMING = 10  # spots of a panel at one setting; more count for no more
RECURS = 2  # damaged spots of a setting from which the ladder stops; one may be the reader's slip
BEGINS = 0.05  # share of the spots of a setting from which damage is said to begin
CLEAN = 0.9  # share of spots that come clean at the setting chosen, as for a tested window


@dataclass(frozen=True, slots=True)
class Group:
    """Spots of one panel at one setting, 1 being usual: which came clean, which look damaged."""

    panel: str
    step: float
    cleaned: Any
    damaged: Any


@dataclass(frozen=True, slots=True)
class Wall:
    """What a method truly does on the panels of one trial, each a little weaker or firmer."""

    act: Act
    damage_50: float
    tilt: Mapping[str, float]
    before: float

    def share(self, panel: str, step: float) -> float:
        """Share of fields that a setting damages on one panel."""
        spread = np.sqrt(1 - self.act.likeness) * self.act.damage_spread
        return float(ndtr((np.log(step / self.damage_50) + self.tilt[panel]) / spread))

    def spots(self, rng: np.random.Generator, panel: str, step: float, count: int) -> Group:
        """Lay and read some spots. Nobody records each spot beforehand, but the reader saw it."""
        damaged = rng.random(count) < self.share(panel, step)
        cleaned = rng.random(count) < self.act.spot_clean(step)
        before = self.before * (1 - BEFORE_TOLD_APART)
        return Group(panel, step, cleaned, reads(rng, damaged, before))


def reads(rng: np.random.Generator, damaged: Any, before: float) -> Any:
    """
    What a reader at ×50 calls damaged: what is, what was before, and what never was.

    Parameters
    ----------
    rng : numpy Generator
        Source of draws.
    damaged : ndarray of bool
        What is damaged.
    before : float
        Share that was damaged before and is not told apart. [0 to 1]

    Returns
    -------
    ndarray of bool
    """
    count = len(damaged)
    seen = damaged & (rng.random(count) < READER_SEES)
    return seen | (rng.random(count) < before) | (rng.random(count) < READER_INVENTS)


def spots_asked(place: Place) -> TrialPlan:
    """
    Spots that the planner asks for, by what is agreed for the zone.

    Parameters
    ----------
    place : Place
        The zone.

    Returns
    -------
    TrialPlan
        Settings in times the usual one.
    """
    policy, grade = AgreedPolicy(**policy_row()), place.significance
    margin = policy.margin_high if grade == "high" else policy.margin
    return plan_trial(
        GENTLEST, HARSHEST, limit=agreed_damage(policy)[grade].bound, confidence=OF_WINDOW,
        margin=None if place.metal else margin, spots_per_panel=CONFIRMING,
    )  # fmt: skip


def ladder(
    rng: np.random.Generator, wall: Wall, plan: TrialPlan, panels: Iterable[str]
) -> list[Group]:
    """
    Lay settings from gentle to harsh, and stop where damage recurs, as the stop rules say.

    Parameters
    ----------
    rng : numpy Generator
        Source of draws.
    wall : Wall
        What is true.
    plan : TrialPlan
        The plan.
    panels : iterable of str
        Panels of the ladder.

    Returns
    -------
    list of Group
    """
    laid: list[Group] = []
    for step in plan.settings:
        here = [wall.spots(rng, panel, step, plan.spots_per_setting) for panel in panels]
        laid += here
        if sum(int(one.damaged.sum()) for one in here) >= RECURS:
            break
    return laid


def gentlest_that_cleans(laid: Iterable[Group]) -> float | None:
    """
    Gentlest setting at which enough spots come clean.

    Parameters
    ----------
    laid : iterable of Group
        Spots of the ladder.

    Returns
    -------
    float or None
        None where no setting did.
    """
    spots: dict[float, list[Any]] = {}
    for one in laid:
        spots.setdefault(one.step, []).append(one.cleaned)
    good = [step for step, cleaned in spots.items() if np.mean(cleaned) >= CLEAN]
    return min(good, default=None)


def confirmation(
    rng: np.random.Generator, wall: Wall, plan: TrialPlan, panels: Iterable[str], chosen: float
) -> list[Group]:
    """
    Lay spots at the setting chosen, and at the margin asked above it.

    Parameters
    ----------
    rng : numpy Generator
        Source of draws.
    wall : Wall
        What is true.
    plan : TrialPlan
        The plan.
    panels : iterable of str
        All panels of the trial.
    chosen : float
        Setting, 1 being usual.

    Returns
    -------
    list of Group
    """
    steps = (chosen,) if plan.margin is None else (chosen, plan.margin * chosen)
    return [
        wall.spots(rng, panel, step, plan.spots_per_panel) for step in steps for panel in panels
    ]


def first_damage(laid: Iterable[Group]) -> float | None:
    """
    Setting from which damage recurs, in more than a stray spot; None where it does not.

    Parameters
    ----------
    laid : iterable of Group
        Spots.

    Returns
    -------
    float or None
    """
    spots: dict[float, list[Any]] = {}
    for one in laid:
        spots.setdefault(one.step, []).extend(one.damaged)
    begun = [
        step
        for step, damaged in spots.items()
        if np.sum(damaged) >= RECURS and np.mean(damaged) > BEGINS
    ]
    return min(begun, default=None)


def dose_that_damages(act: Act, chosen: float, excess: float) -> float:
    """
    Dose that damages half of the fields, if the setting chosen damages a given share.

    Parameters
    ----------
    act : Act
        What the method does.
    chosen : float
        The setting.
    excess : float
        Share of fields. [0 to 1]

    Returns
    -------
    float
    """
    return chosen * float(np.exp(-ndtri(max(excess, 1e-9)) * act.damage_spread))

"""Limits of damage that one damaged spot more can hardly make better."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from heritagecheck.evidence.trials.curves.curve import (
    DoseResponse,
    as_if_none,
    before_first,
    dose_levels,
    probability_levels,
)
from heritagecheck.evidence.trials.curves.fewer_hits import fewer_hits
from heritagecheck.evidence.trials.curves.posterior_grid import FloatArray


@lru_cache(maxsize=64)
def lowest_damage_dose(damage: DoseResponse, p: float, level: float) -> float:
    """
    Lower bound of the dose at which a share p of spots is damaged.

    Parameters
    ----------
    damage : DoseResponse
        Spots damaged.
    p : float
        Share of spots of the weakest group. [0 to 1]
    level : float
        One-sided confidence of the bound, above a half. [0 to 1]

    Returns
    -------
    float
        Least of what the curve shows, and what the same spots would show if none were damaged.
        [unit of the doses]

    Notes
    -----
    Damage at harsh doses makes the curve steeper, and so its gentle end look better. What is gained
    by it counts only as far as the sound spots below the first damaged dose show it by themselves,
    or the same spots with hits at harsher doses taken away show it too, whatever is taken.
    """
    at = np.array([1 - level])

    def bound(one: DoseResponse) -> float:
        return float(dose_levels(one, p, at, open_ends=True)[0])

    found = bound(damage)
    if not damage.n_events:
        return found
    found = min(found, bound(as_if_none(damage)))
    stopped = before_first(damage)
    by_sound = 0.0 if stopped is None else bound(stopped)
    if by_sound >= found:
        return found
    places = [fewer_hits(one.own).x_levels(p, at)[0] for one in damage.groups if one.events]
    place = float(min(places))
    fewer = float(np.exp(place)) if damage.scale == "log" else max(place * damage.unit, 0.0)
    return min(found, max(fewer, by_sound))


def most_damaged(damage: DoseResponse, dose: float, levels: FloatArray) -> FloatArray:
    """
    Quantiles of the share of spots damaged at a dose, as careful as `lowest_damage_dose`.

    Parameters
    ----------
    damage : DoseResponse
        Spots damaged.
    dose : float
        Dose above 0. [unit of the doses]
    levels : ndarray, shape (n,)
        Quantiles wanted. [0 to 1]

    Returns
    -------
    ndarray, shape (n,)
        Shares of the weakest group. [0 to 1]
    """

    def bound(one: DoseResponse) -> FloatArray:
        return probability_levels(one, dose, levels)

    found = bound(damage)
    if not damage.n_events:
        return found
    found = np.maximum(found, bound(as_if_none(damage)))
    x = float(np.log(dose)) if damage.scale == "log" else dose / damage.unit
    fewer = np.max(
        [fewer_hits(one.own).p_levels(x, levels) for one in damage.groups if one.events], axis=0
    )
    stopped = before_first(damage)
    return np.asarray(
        np.maximum(found, fewer if stopped is None else np.minimum(fewer, bound(stopped)))
    )

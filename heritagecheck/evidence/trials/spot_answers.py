"""What judging asks of the spots of a series, worked out once and kept for the next process."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heritagecheck.answer_cache import kept
from heritagecheck.evidence.trials.curves.curve import DoseResponse, probability_levels
from heritagecheck.evidence.trials.curves.limits import most_damaged
from heritagecheck.evidence.trials.curves.window import Share, Window, tested_window
from heritagecheck.evidence.trials.damaged_fields import NORMAL_GRID, DamageLimits

Draws = NDArray[np.float64]
Span = tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class SpotAnswers:
    """
    What judging asks of the curves of removal and of damage.

    `first_damage` is the lowest dose at which a spot was damaged, infinite where none was. Shares
    at the panels' own setting are None where it is not known: middle and upper 95 % bound, and one
    for each value of `NORMAL_GRID`.
    """

    window: Window
    conditions: str
    first_damage: float
    damage_share: Span | None
    residual_share: Span | None
    damage_quantiles: Draws | None
    removal_quantiles: Draws | None


def spot_answers(
    asked: str,
    fitted: Callable[[], tuple[DoseResponse, DoseResponse]],
    used: Span | None,
    limits: DamageLimits,
) -> SpotAnswers:
    """
    Ask the curves of one series what judging needs, or take what they said before.

    Parameters
    ----------
    asked : str
        All that the curves are fitted to.
    fitted : callable
        Fits the curves of removal and of damage.
    used : tuple of float, or None
        Setting of the panels, from lowest to highest, in the unit of the spots.
    limits : DamageLimits
        Share of spots that may be damaged, and the share at which damage is taken to begin.

    Returns
    -------
    SpotAnswers
        The same to the last bit, whether worked out now or before.
    """
    found = kept(
        f"spots {asked} {used} {limits.bound!r} {limits.begins!r}",
        lambda: _worked_out(*fitted(), used, limits),
    )
    window = window_of(found.pop("window"))
    for name in ("damage_share", "residual_share"):
        found[name] = None if found[name] is None else tuple(found[name])
    for name in ("damage_quantiles", "removal_quantiles"):
        found[name] = None if found[name] is None else np.array(found[name])
    return SpotAnswers(window=window, **found)


def window_of(found: dict[str, Any]) -> Window:
    """
    Window as it was kept.

    Parameters
    ----------
    found : dict
        Its fields, as read back from a file.

    Returns
    -------
    Window
    """
    shares = {
        name: None if found[name] is None else Share(**found[name])
        for name in ("residual", "damage_probability")
    }
    lists = {name: tuple(found[name]) for name in ("margin_joint", "cautions", "hazards")}
    return Window(**found | shares | lists)


def _worked_out(
    removal: DoseResponse, damage: DoseResponse, used: Span | None, limits: DamageLimits
) -> dict[str, Any]:
    """Ask the curves, in a form that a file can keep."""
    from scipy.special import ndtr

    window = tested_window(removal, damage, damage_limit=limits.bound, begins=limits.begins)
    found: dict[str, Any] = {
        "window": asdict(window),
        "conditions": damage.conditions,
        "first_damage": damage.first_event,
        "damage_share": None,
        "residual_share": None,
        "damage_quantiles": None,
        "removal_quantiles": None,
    }
    if used is None:
        return found
    gentlest, harshest = used
    share = damage.probability(harshest, level=0.90)
    most = most_damaged(damage, harshest, np.array([0.95]))
    low, middle = probability_levels(
        removal, gentlest, np.array([0.05, 0.5]), hardest=True, open_ends=True
    )
    at = ndtr(NORMAL_GRID)
    return found | {
        "damage_share": [float(share.estimate), max(float(share.high), float(most[0]))],
        "residual_share": [1 - float(middle), 1 - float(low)],
        "damage_quantiles": most_damaged(damage, harshest, at).tolist(),
        "removal_quantiles": probability_levels(removal, gentlest, at, hardest=True).tolist(),
    }

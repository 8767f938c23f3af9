"""The next trial: which settings, how many spots on how many panels, and when to stop."""

from __future__ import annotations

import math
import numbers
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from heritagecheck.evidence.trials.curves.dose_response import DoseResponse, dose_levels
from heritagecheck.evidence.trials.curves.posterior import bound_of_sound
from heritagecheck.evidence.trials.damaged_fields import NO_POLICY, count_needed, upper_bound
from heritagecheck.sentences import rounded_down, rounded_up
from heritagecheck.tables import threshold
from heritagecheck.tables.cautions import WITH_CAUTIONS

if TYPE_CHECKING:
    import pandas as pd

_ANY_NUMBER = 10_000  # spots on a panel: as many as anybody could read
_MOST_STEPS = 12  # common practice: a longer ladder of settings is hard to oversee
# When to stop, in words for the site.
_STOP_RULES = (
    "Begin with the gentlest setting; change one variable at a time.",
    "Lay each spot on the weakest component in view (a dark grain on granite); a spot without "
    "one says nothing about it.",
    "Read each setting at ×50, including fields with dark grains, before the next is tried.",
    "Stop at the first damage, or when the agreed aim is met; go no harsher on this stone.",
    "Look for first damage on a loose, hidden or scrap piece if there is one.",
    "At the setting chosen, stop if more spots are damaged than agreed. Use a gentler setting.",
    "Never add spots afterwards to improve the result.",
    "Keep an untreated control beside every panel.",
)


@dataclass(frozen=True, slots=True)
class TrialPlan:
    """
    Settings from gentle to harsh, spots and panels for each, and what no damage would show.

    `margin` is the margin that the confirmation is to show; None where none is required.
    """

    settings: tuple[float, ...]
    spots_per_setting: int
    replicates: int
    panels: int
    spots_per_panel: int
    independent_spots: int
    design_effect: float
    shows: float
    limit: float
    confidence: float
    margin: float | None
    stop_rules: tuple[str, ...]
    cautions: tuple[str, ...]
    unit: str = ""
    hazards: tuple[str, ...] = (WITH_CAUTIONS,)

    def table(self) -> pd.DataFrame:
        """
        One row a step, in the order of work.

        Returns
        -------
        pandas.DataFrame
            The ladder of settings, then the confirmation of the one chosen.
        """
        import pandas as pd

        ladder = [
            (str(k), f"{one:.3g}", self.replicates, self.spots_per_setting, "find the window")
            for k, one in enumerate(self.settings, start=1)
        ]
        spots = self.panels, self.spots_per_panel
        last = [("then", "the gentlest that cleans", *spots, "confirm it")]
        if self.margin is not None:
            last.append(("then", f"{self.margin:g} times that", *spots, "show the margin"))
        columns = ["step", "setting", "panels", "spots on each panel", "why"]
        return pd.DataFrame([*ladder, *last], columns=columns)

    def __str__(self) -> str:
        beyond = (
            "" if self.margin is None
            else f" As many spots on each at {self.margin:g} times that setting show the margin."
        )  # fmt: skip
        last = f"{self.settings[-1]:.3g} {self.unit}".rstrip()
        return (
            f"{len(self.settings)} settings from {self.settings[0]:.3g} to {last}, each on "
            f"{self.replicates} panels with {self.spots_per_setting} spots; then "
            f"{self.spots_per_panel} spots on each of {self.panels} panels at the setting chosen. "
            f"No damage there shows, with {100 * self.confidence:g} % confidence, that fewer than "
            f"{rounded_up(100 * self.shows):.2g} % of spots are damaged.{beyond} {WITH_CAUTIONS}"
        )


def plan_trial(
    lowest: float | None = None,
    highest: float | None = None,
    *,
    removal: DoseResponse | None = None,
    damage: DoseResponse | None = None,
    limit: float = NO_POLICY.bound,
    confidence: float = 0.95,
    margin: float | None = None,
    panels: int | None = None,
    spots_per_panel: int = 20,
    replicates: int = 3,
    spots_per_setting: int = 5,
    step: float = 1.25,
) -> TrialPlan:
    """
    Plan a trial in ascending order of aggressiveness.

    Parameters
    ----------
    lowest, highest : float, optional
        Gentlest and harshest setting to try, above 0. [unit of the dose]
        Needed where no curve is known; else taken from the curves.
    removal, damage : DoseResponse, optional
        What earlier spots show: the ladder then runs from where few spots come clean to where
        damage of every tenth spot is likely.
    limit : float
        Damage probability to be shown at the chosen setting; 25 %, the one limit where no team
        agreed another. [0 to 1]
    confidence : float
        One-sided confidence of it. [0 to 1]
    margin : float, optional
        Margin that the team requires, above 1: as many spots again are laid at this many times the
        setting chosen, since a margin is shown where it ends and not by more gentle spots.
    panels : int, optional
        Panels to be had for confirmation; without it as many as are needed.
    spots_per_panel : int
        Spots (×50 fields) on each of them.
    replicates : int
        Panels for each setting of the ladder.
    spots_per_setting : int
        Spots for each setting on each of those panels.
    step : float
        Ratio of one setting to the one before, above 1; widened where more than 12 steps result.

    Returns
    -------
    TrialPlan
        `shows` is what no damage would show, `independent_spots` how many spots that lie each by
        itself would show `limit`, `design_effect` how many spots of one panel count as one.
        `cautions` say where too few panels are to be had, and where steps are wider than chosen.

    Raises
    ------
    ValueError
        No range of settings, settings not above 0 or out of order, shares not between 0 and 1, or
        counts that are no whole numbers of 1 or more.

    Notes
    -----
    Without damage in n independent spots, the exact binomial bound reaches the limit p at
    confidence C when (1 - p)^n <= 1 - C [1]_. Spots of one panel count as m / (1 + (m - 1) r)
    with the rated correlation r of `tables/thresholds.csv` [2]_: no number of spots makes a panel
    worth more than 1 / r. So rare damage asks for many panels. Few panels leave open how much
    panels differ, and the curve of `dose_response` then shows less than the binomial bound: the
    panels must be enough for both, since the trial will be judged by the curve. The plan must be
    fixed before the first spot.

    References
    ----------
    .. [1] C. J. Clopper, E. S. Pearson, Biometrika 26(4), 404-413 (1934).
    .. [2] L. Kish, "Survey Sampling," Wiley (1965), design effect.

    Examples
    --------
    >>> from heritagecheck.evidence.trials.curves.plan import plan_trial
    >>> plan = plan_trial(0.3, 1.5, limit=0.05)
    >>> plan.independent_spots, plan.panels
    (59, 9)
    """
    _check(limit, confidence, panels, spots_per_panel, replicates, spots_per_setting, step, margin)
    bottom, top = _range(lowest, highest, removal, damage)
    correlation = threshold("panel_correlation")
    effect = 1 + (spots_per_panel - 1) * correlation
    needed = count_needed(limit, confidence)
    enough = enough_panels(limit, spots_per_panel, confidence)
    used = panels or enough
    settings = _ladder(bottom, top, step)
    return TrialPlan(
        settings=settings,
        spots_per_setting=spots_per_setting,
        replicates=replicates,
        panels=used,
        spots_per_panel=spots_per_panel,
        independent_spots=needed,
        design_effect=effect,
        shows=_shown(used, spots_per_panel, confidence),
        limit=limit,
        confidence=confidence,
        margin=margin,
        stop_rules=_STOP_RULES,
        unit=next((one.unit for one in (removal, damage) if one is not None), ""),
        cautions=(
            *_cautions_of_panels(limit, used, enough, spots_per_panel, confidence),
            *_cautions_of_steps(settings, step),
        ),
    )


def _range(
    lowest: float | None,
    highest: float | None,
    removal: DoseResponse | None,
    damage: DoseResponse | None,
) -> tuple[float, float]:
    """First and last setting: as given, otherwise from the curves."""
    bottom, top = lowest, highest
    if bottom is None and removal is not None:
        # Start where a tenth of the spots come clean, no lower than half the gentlest dose tried.
        seen = float(dose_levels(removal, 0.1, np.array([0.5]))[0])
        bottom = min(max(seen, removal.lowest_dose / 2), removal.highest_dose)
    if top is None and damage is not None:
        # End where a tenth are damaged, but beyond the doses tried no further than a factor of 2.
        seen = float(dose_levels(damage, 0.1, np.array([0.5]))[0])
        top = min(seen, 2 * damage.highest_dose)
    if bottom is None or top is None:
        raise ValueError(
            "The range of settings is not known: give lowest and highest, or curves for removal "
            "and damage."
        )
    if not (math.isfinite(bottom) and math.isfinite(top) and bottom > 0):
        raise ValueError(f"lowest = {bottom:g} and highest = {top:g} must be finite and above 0.")
    if not bottom < top:
        raise ValueError(
            f"lowest = {bottom:.3g} is not below highest = {top:.3g}. If both come from curves, "
            "what cleans already damages: plan another method, not another trial of this one."
        )
    return bottom, top


def _ladder(bottom: float, top: float, step: float) -> tuple[float, ...]:
    """Equal ratios from bottom to top, none larger than chosen unless there would be too many."""
    # 1e-9 keeps an exact number of steps from being rounded up by floating point.
    steps = min(math.ceil(math.log(top / bottom) / math.log(step) - 1e-9), _MOST_STEPS - 1)
    ratio = (top / bottom) ** (1 / max(steps, 1))
    return tuple(bottom * ratio**k for k in range(max(steps, 1) + 1))


def _shown(panels: int, spots: int, confidence: float) -> float:
    """Share that no damage at all would leave open: exact bound or curve, whichever is worse."""
    effect = 1 + (spots - 1) * threshold("panel_correlation")
    exact = upper_bound(0, max(1, math.floor(panels * spots / effect + 1e-9)), confidence)
    return max(exact, bound_of_sound(panels, spots, confidence))


def enough_panels(limit: float, spots: int, confidence: float) -> int:
    """Fewest panels of so many spots that show a limit where nothing is damaged."""
    effect = 1 + (spots - 1) * threshold("panel_correlation")
    panels = math.ceil(count_needed(limit, confidence) * effect / spots - 1e-9)
    # The curve that judges the trial may need more panels than the binomial bound.
    while bound_of_sound(panels, spots, confidence) > limit:
        panels += 1
    return panels


def _cautions_of_panels(
    limit: float, used: int, enough: int, spots: int, confidence: float
) -> list[str]:
    """Where the panels to be had can't show what is wanted."""
    correlation = threshold("panel_correlation")
    found = [
        f"How alike the spots of one panel are ({correlation:g}) is a rating; once several panels "
        "are read, their own spread counts."
    ]
    if used < enough:
        shows = rounded_up(100 * _shown(used, spots, confidence))
        best = rounded_down(100 * _shown(used, _ANY_NUMBER, confidence))
        found.append(
            f"{used} panels can show a limit of {shows:.2g} % at best, not the {100 * limit:.2g} % "
            f"wanted. That takes {enough} panels of this size, or at least "
            f"{enough_panels(limit, _ANY_NUMBER, confidence)} of any size. However many spots they "
            f"carry, {used} panels show {best:.2g} % at best ({100 * confidence:g} % confidence)."
        )
    return found


def _cautions_of_steps(settings: tuple[float, ...], step: float) -> list[str]:
    """Where steps are wider than chosen, so that there are not too many."""
    ratio = settings[1] / settings[0]
    if ratio <= step * (1 + 1e-9):
        return []
    return [
        f"Each setting is {ratio:.2g} times the one before, not {step:g} times as chosen, because "
        f"at most {_MOST_STEPS} are tried at once. Narrow the range, or try it in two parts."
    ]


def _check(
    limit: float,
    confidence: float,
    panels: int | None,
    spots_per_panel: int,
    replicates: int,
    spots_per_setting: int,
    step: float,
    margin: float | None,
) -> None:
    """Refuse shares outside 0 to 1, counts that are none, a step or a margin that is no rise."""
    for name, share in {"limit": limit, "confidence": confidence}.items():
        if not 0 < share < 1:
            raise ValueError(f"{name} = {share:g} must lie between 0 and 1; 1 % is 0.01.")
    counts = {
        "panels": panels, "spots_per_panel": spots_per_panel, "replicates": replicates,
        "spots_per_setting": spots_per_setting,
    }  # fmt: skip
    for name, count in counts.items():
        if count is None:
            continue
        if isinstance(count, bool) or not isinstance(count, numbers.Integral):
            raise ValueError(f"{name} = {count}: a whole number is needed.")
        if count < 1:
            raise ValueError(f"{name} = {count}: at least 1 is needed.")
    if not (math.isfinite(step) and step > 1):
        raise ValueError(
            f"step = {step:g}: each setting must be above the one before, such as 1.25."
        )
    if margin is not None and not (math.isfinite(margin) and margin > 1):
        raise ValueError(
            f"margin = {margin:g}: a margin to be shown lies above 1, such as 1.3; leave it out "
            "where none is required."
        )

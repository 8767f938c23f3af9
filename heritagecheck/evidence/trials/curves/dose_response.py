"""
From trial spots to a curve: how likely damage, or removal, is at any setting, and how sure.

How a curve is fitted, step by step:

1. `spot_input` checks the input of each spot: dose, outcome, component, panel, pulses, wetting.
2. `posterior` counts equal spots of a panel; many spots of one panel count as few.
3. The curve is logistic in the logarithm of the dose. Unknown are its location, its steepness, how
   far panels scatter and, with several components, how far these scatter. `posterior` lays a grid
   over all that the prior allows, `likelihood` calculates how well each node explains the spots,
   and the grid zooms in on the nodes that do.
4. `groups` fits each component by itself and together with the others. Where the two differ, the
   more cautious answer counts.
5. It repeats this over the possible effects of pulses and wetting, where spots differ in them.
6. This module asks the nodes: the dose at a probability, the probability at a dose, each with its
   interval. `guarded_limits` keeps harsh damage from making a gentle dose look safer, `window` sets
   removal beside damage, `curve_weaknesses` says what is weak.

It is our own because a maximum-likelihood fit has no answer where no spot was damaged, or all
harsher spots were, and trials of a few panels mostly look like that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.cards import summary
from heritagecheck.evidence.trials.curves.curve_weaknesses import (
    StraightLine,
    caution_of_none,
    cautions_of_conditions,
    cautions_of_groups,
    cautions_of_outcomes,
    cautions_of_panels,
    straight_line,
)
from heritagecheck.evidence.trials.curves.groups import Effect, GroupFit, Mixture, group_fits
from heritagecheck.evidence.trials.curves.posterior import FloatArray, Posterior
from heritagecheck.evidence.trials.curves.spot_input import Given, checked_doses, given_spots
from heritagecheck.sentences import LEAST_SHARE

if TYPE_CHECKING:
    import pandas as pd

_LINE_DISAGREES = 0.01  # damage that the curve still gives where the line says none
_SHOWN_AT = (0.1, 0.5)  # probabilities for which `table` gives doses


@dataclass(frozen=True, slots=True)
class DoseAt:
    """Dose at which a probability is reached; an end that the data leave open is 0 or infinite."""

    estimate: float
    low: float
    high: float
    level: float = 0.95
    unit: str = ""

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        high = "any higher dose" if self.high == np.inf else f"{self.high:.3g}"
        return f"{self.estimate:.3g}{unit} ({100 * self.level:g} % CI {self.low:.3g} to {high})"


@dataclass(frozen=True, slots=True, eq=False)
class ProbabilityAt:
    """Probability at each dose: share of spots on all panels, and chance of the next spot."""

    estimate: FloatArray
    low: FloatArray
    high: FloatArray
    next_spot: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class DoseResponse:
    """Curve of a probability that rises with dose, with its uncertainty."""

    event: str
    unit: str
    groups: tuple[GroupFit, ...]
    weakest: str | None
    n_spots: int
    n_events: int
    n_panels: int | None
    lowest_dose: float
    highest_dose: float
    first_event: float
    straight_line: StraightLine | None
    conditions: str
    pulse_effect: Effect | None
    wet_effect: Effect | None
    cautions: tuple[str, ...]
    given: Given = field(repr=False)

    def dose_at(self, p: float, level: float = 0.95, *, group: str | None = None) -> DoseAt:
        """
        Dose at which a share p of all spots is reached, over panels like those tried.

        Parameters
        ----------
        p : float
            Share of spots, or probability for one spot on a new panel. [0 to 1]
        level : float
            Confidence of the interval, half of the rest on each side. [0 to 1]
        group : str, optional
            One group; without it, the weakest: the lowest estimate and the lowest ends of all.

        Returns
        -------
        DoseAt
            Posterior median and central interval, in the unit of the doses. Where it happened
            nowhere the upper end is infinite, where it happened everywhere the lower end is 0.

        Raises
        ------
        ValueError
            p or level not between 0 and 1, or an unknown group.

        Examples
        --------
        >>> from heritagecheck.evidence.trials.curves.dose_response import dose_response
        >>> fit = dose_response([0.5] * 8 + [1.0] * 8 + [2.0] * 8, [0] * 8 + [0] * 6 + [1] * 10)
        >>> print(fit.dose_at(0.5))
        1.14 (95 % CI 0.936 to 1.51)
        """
        _between(p, "p")
        levels = central_levels(level)
        low, middle, high = dose_levels(self, p, levels, group=group, open_ends=True)
        return DoseAt(float(middle), float(low), float(high), level, self.unit)

    def probability(
        self, dose: ArrayLike, level: float = 0.95, *, group: str | None = None
    ) -> ProbabilityAt:
        """
        Probability at given doses, for spots on panels not tried.

        Parameters
        ----------
        dose : array_like, shape (...)
            Doses above 0, in the unit of those tried.
        level : float
            Confidence of the interval, half of the rest on each side. [0 to 1]
        group : str, optional
            One group; without it, the weakest: the highest estimate and the highest ends of all.

        Returns
        -------
        ProbabilityAt
            Arrays of shape (...). `estimate`, `low` and `high` are of the share of spots over all
            panels like those tried; `next_spot` is the chance that one spot on a new panel is hit,
            which averages over that uncertainty.

        Raises
        ------
        ValueError
            A dose that is not a finite number above 0, a level not between 0 and 1, or an unknown
            group.

        Examples
        --------
        No damage at ten spots is not "no risk":

        >>> from heritagecheck.evidence.trials.curves.dose_response import dose_response
        >>> fit = dose_response([1.2] * 10, [False] * 10)
        >>> print(fit.probability(1.2).high.round(2))
        0.33
        """
        doses = checked_doses(dose)
        levels = central_levels(level)
        rows = [
            probability_levels(self, one, levels, group=group, open_ends=True)
            for one in doses.ravel()
        ]
        ends = np.array(rows).reshape(*doses.shape, 3)
        mean = [
            max(posterior.p_mean(float(np.log(one))) for posterior in _posteriors(self, group))
            for one in doses.ravel()
        ]
        next_spot = np.array(mean).reshape(doses.shape)
        return ProbabilityAt(ends[..., 1], ends[..., 0], ends[..., 2], next_spot)

    def table(self) -> pd.DataFrame:
        """
        One row a group, with the doses at which 10 % and 50 % of its spots are reached.

        Returns
        -------
        pandas.DataFrame
            Doses with their 95 % ends, in the unit of the doses. "lowest dose" and "highest dose"
            are of the group's spots at whatever pulses.
        """
        import pandas as pd

        rows = []
        for one in self.groups:
            row: dict[str, object] = {
                "group": one.group, "spots": one.spots, "events": one.events,
                "panels": one.panels, "lowest dose": one.lowest_dose,
                "highest dose": one.highest_dose,
            }  # fmt: skip
            for p in _SHOWN_AT:
                at = self.dose_at(p, group=one.group)
                name = f"dose at {100 * p:g} %"
                row |= {name: at.estimate, f"{name}, low": at.low, f"{name}, high": at.high}
            rows.append(row)
        return pd.DataFrame(rows)

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        which = f" for {self.weakest}" if self.weakest else ""
        holds = f" The curve is for {self.conditions}." if self.conditions else ""
        if self.n_events == 0:
            high = float(self.probability(self.highest_dose).high)
            return (
                f"{self.event.capitalize()} at none of {self.n_spots} spots; at "
                f"{self.highest_dose:.3g}{unit} up to {100 * high:.2g} % of spots{which} cannot be "
                f"ruled out (95 % CI).{holds}"
            )
        return (
            f"{self.event.capitalize()} at {self.n_events} of {self.n_spots} spots; ED50{which} "
            f"{self.dose_at(0.5)}.{holds}"
        )

    def _repr_html_(self) -> str:
        lines = [("Read with care", " ".join(self.cautions))]
        return summary(f"Curve of {self.event}", str(self), lines, more="table(), dose_at(0.5)")


def dose_response(
    dose: ArrayLike,
    happened: ArrayLike,
    group: Sequence[str] | None = None,
    *,
    panel: Sequence[str] | None = None,
    pulses: ArrayLike | None = None,
    wet: ArrayLike | None = None,
    at_pulses: float | None = None,
    at_wet: bool | None = None,
    event: str = "event",
    unit: str = "",
) -> DoseResponse:
    """
    Probability of damage, or of removal, against any setting that acts like a dose.

    Parameters
    ----------
    dose : array_like, shape (n,)
        Dose of each spot, above 0: fluence, pulses, passes, pressure at the nozzle, dwell time,
        concentration. [one unit for all]
    happened : array_like of bool, shape (n,)
        Whether the spot was damaged, or cleaned.
    group : sequence of str, shape (n,), optional
        Mineral or lithotype of each spot. Capitals and blanks around make no other name.
    panel : sequence of str, shape (n,), optional
        Panel on which each spot lies, named as groups are. Without it every spot counts by itself.
    pulses : array_like, shape (n,), optional
        Pulses or passes that each spot received, 1 or more, where they are not the dose itself.
    wet : array_like of bool, shape (n,), optional
        Whether the surface was wetted.
    at_pulses : float, optional
        Pulses or passes for which the curve is given; else those of most spots, of ties the most.
    at_wet : bool, optional
        Whether the curve is for a wet surface; else as most spots were.
    event : str
        What happened, such as damage or removal, as a printed result names it.
    unit : str
        Unit of the doses, such as J/cm² peak, as a printed result writes it.

    Returns
    -------
    DoseResponse
        Answers by `dose_at`, `probability` and `table`; `cautions` say what is weak.
        `pulse_effect` and `wet_effect` are b and c of the notes, with 90 %, where spots differ.

    Raises
    ------
    ValueError
        No spot, lengths that differ, a dose that is not a finite number above 0, an outcome that
        is not yes or no, a spot without group or panel where others have one, one text in place
        of labels, fewer pulses than 1, as many wet spots as dry and none chosen, or a wetness
        chosen that no spot had.

    Notes
    -----
    Logistic curve, never falling with dose, logit P = (x - m) / s + u, with x the logarithm of the
    dose [1]_, m its value at 50 %, s the spread of thresholds between spots, and u the panel's own
    shift, normal about 0. The posterior is summed on a grid, with these priors:

    - m is even over the doses tested and falls by one e-th a spread s beyond them, so that no
      damage at the highest dose is read much as the exact binomial bound reads it;
    - log s is normal about log 0.3 with standard deviation 1: 10 to 90 % within a factor of 3.7 in
      dose, or within 1.2 or 60;
    - the standard deviation of u is half-normal, its median that of the rated correlation r of
      spots within a panel (`panel_correlation` of `tables/thresholds.csv`).

    More than 1 / r spots of one panel at one dose count as 1 / r, the most that the design effect
    leaves of them [2]_: many spots on two panels stay two panels. Groups share s and the spread of
    u; their m scatter normally about a common one, by a half-normal spread of median 0.3. Each
    group is also fitted by itself, and the more cautious of the two is given: borrowing lowers a
    damage dose, never raises it. Only a group that was tried as much as all that were hit, and was
    not hit, is known by what it shares alone: by itself it says nothing of how steep its curve is.
    Below the lowest dose with an event the curve is the model's, not the stone's: one more damaged
    spot at a harsh dose can make it steeper, and so lower its gentle end. Limits of a
    `tested_window` are guarded against that, those of the curve are not: look at the lowest dose
    with an event beside them (`first_event`).

    Where spots differ in pulses N or in wetness w from what is chosen, x is log dose +
    b log(N / at_pulses) + c (w - at_wet). b is 1 - S of the incubation law [3]_, even from 0 (the
    number does not matter) to 1 (doses add up); c is normal about 0 with standard deviation 0.5,
    a factor of 1.65 in dose either way. Both are common to all groups and summed out.
    `lowest_dose` and `highest_dose` are of spots of the wetness chosen with at least the pulses
    chosen; where there is none, fewer pulses count at the dose of the same total. `first_event` is
    of spots with at most the pulses chosen, wet or dry; where none of them was hit, of all.

    References
    ----------
    .. [1] A. Agresti, "Categorical Data Analysis," 3rd ed., Wiley (2013), ch. 5 and 13.
    .. [2] L. Kish, "Survey Sampling," Wiley (1965), design effect.
    .. [3] Y. Jee, M. F. Becker, R. M. Walser, J. Opt. Soc. Am. B 5(3), 648-659 (1988).
       DOI 10.1364/JOSAB.5.000648

    Examples
    --------
    A laser on granite, spots on three panels; the mica goes first:

    >>> from heritagecheck.evidence.trials.curves.dose_response import dose_response
    >>> fluence = [0.4, 0.6, 0.8, 1.0, 1.2, 1.4] * 6
    >>> mica = [0, 0, 0, 1, 1, 1] * 3
    >>> quartz = [0, 0, 0, 0, 0, 1] * 3
    >>> fit = dose_response(
    ...     fluence, mica + quartz, ["biotite"] * 18 + ["quartz"] * 18,
    ...     panel=(["P1"] * 6 + ["P2"] * 6 + ["P3"] * 6) * 2,
    ... )
    >>> fit.weakest
    'biotite'
    """
    given = given_spots(dose, happened, group, panel, pulses, wet, at_pulses, at_wet)
    return _with_remarks(*_fitted(given, event, unit))


@lru_cache(maxsize=64)
def as_if_none(fit: DoseResponse) -> DoseResponse:
    """Curve of the same spots if nothing had happened at any of them, without cautions."""
    return _fitted(replace(fit.given, outcome=np.zeros_like(fit.given.outcome)))[0]


@lru_cache(maxsize=64)
def before_first(fit: DoseResponse) -> DoseResponse | None:
    """Curve of the spots below the lowest dose with an event; None if a group has no such spot."""
    given = fit.given
    kept = given.doses < given.doses[given.outcome].min(initial=np.inf)
    counts = kept & np.isfinite(given.conditions.doses_tried(given.doses))
    left = given.of(counts)
    if len(set(left.groups or ["all"] * left.doses.size)) < len(fit.groups):
        return None
    return _fitted(given.of(kept))[0]


def _fitted(given: Given, event: str = "", unit: str = "") -> tuple[DoseResponse, Mixture | None]:
    """Curve of the spots without cautions about its shape, and the effects of conditions."""
    doses, outcome, conditions = given.doses, given.outcome, given.conditions
    tried = conditions.doses_tried(doses)
    fits, mixed = group_fits(given)
    bare = DoseResponse(
        event=event,
        unit=unit,
        groups=fits,
        weakest=None,
        n_spots=doses.size,
        n_events=int(outcome.sum()),
        n_panels=None if given.panels is None else len(set(given.panels)),
        lowest_dose=float(np.nanmin(tried)),
        highest_dose=float(np.nanmax(tried)),
        first_event=conditions.first_event(doses, outcome),
        straight_line=None,
        conditions=str(conditions),
        pulse_effect=mixed.pulse_effect if mixed else None,
        wet_effect=mixed.wet_effect if mixed else None,
        cautions=(*cautions_of_panels(given), *cautions_of_conditions(conditions, mixed)),
        given=given,
    )
    return bare, mixed


def dose_levels(
    fit: DoseResponse,
    p: float,
    levels: FloatArray,
    *,
    group: str | None = None,
    hardest: bool = False,
    open_ends: bool = False,
) -> FloatArray:
    """Quantiles of the dose at probability p: the lowest of all groups, or highest if `hardest`."""
    rows = []
    for posterior in _posteriors(fit, group):
        # A quantile far beyond the tested doses may overflow to infinity, which says as much.
        with np.errstate(over="ignore"):
            dose = np.exp(posterior.x_levels(p, levels))
        if open_ends:
            dose[levels < 0.5] *= 1.0 if posterior.any_none else 0.0
            dose[(levels > 0.5) & (not posterior.any_event)] = np.inf
        rows.append(dose)
    return np.asarray(np.max(rows, axis=0) if hardest else np.min(rows, axis=0))


def probability_levels(
    fit: DoseResponse,
    dose: float,
    levels: FloatArray,
    *,
    group: str | None = None,
    hardest: bool = False,
    open_ends: bool = False,
) -> FloatArray:
    """Quantiles of the probability at a dose: highest of all groups, or lowest if `hardest`."""
    rows = []
    for posterior in _posteriors(fit, group):
        p = posterior.p_levels(float(np.log(dose)), levels)
        if open_ends:
            p[levels < 0.5] *= 1.0 if posterior.any_event else 0.0
            p[(levels > 0.5) & (not posterior.any_none)] = 1.0
        rows.append(p)
    return np.asarray(np.min(rows, axis=0) if hardest else np.max(rows, axis=0))


def _posteriors(fit: DoseResponse, group: str | None) -> list[Posterior]:
    """Posteriors of the group named, or of every group."""
    found = [one for one in fit.groups if group in {None, one.group}]
    if not found:
        known = ", ".join(one.group for one in fit.groups)
        raise ValueError(f'group = "{group}" has no spot. Known groups: {known}.')
    return [posterior for one in found for posterior in one.posteriors]


def _with_remarks(fit: DoseResponse, mixed: Mixture | None) -> DoseResponse:
    """Add the weakest group, the straight line for comparison, and the cautions."""
    groups, outcome = fit.given.groups, fit.given.outcome
    doses = fit.given.conditions.equal_doses(
        fit.given.doses, mixed.effects if mixed else np.zeros(2)
    )
    halves = {one.group: fit.dose_at(0.5, group=one.group) for one in fit.groups}
    weakest = min(halves, key=lambda name: halves[name].estimate) if groups else None
    here = np.array([weakest in {None, one} for one in groups or [""] * doses.size])
    here &= fit.given.conditions.under_own()
    line = straight_line(doses[here], outcome[here])
    cautions = list(fit.cautions)
    if outcome.any():
        cautions += cautions_of_outcomes(fit.groups, doses, outcome)
    else:
        high = float(fit.probability(fit.highest_dose).high)
        cautions.append(caution_of_none(fit.highest_dose, fit.unit, high))
    if groups:
        lows = {name: half.low for name, half in halves.items()}
        cautions += cautions_of_groups(fit.groups, lows, str(weakest))
    if line is not None:
        line = replace(line, caution=_caution_of_line(fit, line))
        cautions += [line.caution] if line.caution else []
    return replace(fit, weakest=weakest, straight_line=line, cautions=tuple(cautions))


def _caution_of_line(fit: DoseResponse, line: StraightLine) -> str:
    """Caution where the straight line claims a threshold that the curve does not."""
    if line.threshold <= 0:
        return f"{line} Such a threshold means nothing; take the curve."
    at = fit.probability(line.threshold)
    if float(at.estimate) < _LINE_DISAGREES:
        return ""
    low = float(at.low) if float(at.low) >= LEAST_SHARE else 0.0
    return (
        f"{line} There the curve still gives {100 * float(at.estimate):.2g} % "
        f"({100 * low:.2g} to {100 * float(at.high):.2g} %), so limits rest on the curve."
    )


def central_levels(level: float) -> FloatArray:
    """Quantiles of a central interval and its median."""
    _between(level, "level")
    return np.array([(1 - level) / 2, 0.5, (1 + level) / 2])


def _between(value: float, name: str) -> None:
    """Refuse a value that is not between 0 and 1."""
    if not 0 < value < 1:
        raise ValueError(f"{name} = {value:g} must lie between 0 and 1; 95 % is 0.95.")

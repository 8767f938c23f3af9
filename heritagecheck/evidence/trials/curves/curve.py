"""From trial spots to a curve: how likely damage, or removal, is at any setting, and how sure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.rounding import LEAST_SHARE
from heritagecheck.evidence.trials.curves.likelihood import StraightLine
from heritagecheck.evidence.trials.curves.open_points import (
    caution_of_none,
    cautions_of_groups,
    cautions_of_outcomes,
)
from heritagecheck.evidence.trials.curves.posterior_grid import FloatArray
from heritagecheck.evidence.trials.curves.pulses_and_water import Effect, Mixture
from heritagecheck.evidence.trials.curves.spot_conditions import Conditions, stated_conditions
from heritagecheck.evidence.trials.curves.spot_groups import (
    GroupFit,
    cautions_of_panels,
    checked_doses,
    checked_labels,
    checked_yes_or_no,
    group_fits,
    straight_line,
)

if TYPE_CHECKING:
    import pandas as pd

Scale = Literal["log", "linear"]

_LINE_DISAGREES = 0.01  # damage that the curve still gives where the line says none
_SHOWN_AT = (0.1, 0.5)  # probabilities for which `table` gives doses


@dataclass(frozen=True, slots=True)
class DoseAt:
    """Dose at which a probability is reached; an end that the data leave open is 0 or infinite."""

    estimate: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.estimate:.3g} ({_end(self.low)} to {_end(self.high)})"


@dataclass(frozen=True, slots=True, eq=False)
class ProbabilityAt:
    """Probability at each dose: share of spots on all panels, and chance of the next spot."""

    estimate: FloatArray
    low: FloatArray
    high: FloatArray
    next_spot: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Given:
    """Spots as they were given, checked."""

    doses: FloatArray
    outcome: NDArray[np.bool_]
    groups: list[str] | None
    panels: list[str] | None
    conditions: Conditions
    scale: Scale


@dataclass(frozen=True, slots=True, eq=False)
class DoseResponse:
    """Curve of a probability that rises with dose, and its doubt."""

    scale: Scale
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
    unit: float = field(repr=False)
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
        >>> from heritagecheck.evidence.trials.curves.curve import dose_response
        >>> fit = dose_response([0.5] * 8 + [1.0] * 8 + [2.0] * 8, [0] * 8 + [0] * 6 + [1] * 10)
        >>> print(fit.dose_at(0.5))
        1.14 (0.936 to 1.51)
        """
        _between(p, "p")
        levels = _levels(level)
        low, middle, high = dose_levels(self, p, levels, group=group, open_ends=True)
        return DoseAt(float(middle), float(low), float(high))

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
            which averages over that doubt.

        Raises
        ------
        ValueError
            A dose that is not a finite number above 0, a level not between 0 and 1, or an unknown
            group.

        Examples
        --------
        No damage at ten spots is not "no risk":

        >>> from heritagecheck.evidence.trials.curves.curve import dose_response
        >>> fit = dose_response([1.2] * 10, [False] * 10)
        >>> print(fit.probability(1.2).high.round(2))
        0.33
        """
        doses = checked_doses(dose)
        levels = _levels(level)
        rows = [
            probability_levels(self, one, levels, group=group, open_ends=True)
            for one in doses.ravel()
        ]
        ends = np.array(rows).reshape(*doses.shape, 3)
        mean = np.array([_next_spot(self, one, group) for one in doses.ravel()])
        return ProbabilityAt(ends[..., 1], ends[..., 0], ends[..., 2], mean.reshape(doses.shape))

    def draws(self, n: int, seed: int = 0, *, group: str | None = None) -> CurveDraws:
        """
        Draws of the whole curve, for what is computed from it.

        Parameters
        ----------
        n : int
            How many, at least 1.
        seed : int
            Seed of their order; the same seed gives the same draws.
        group : str, optional
            One group; without it, the weakest at each draw.

        Returns
        -------
        CurveDraws
            Each draw is the curve of one quantile of the doubt, evenly spread over (0, 1).

        Raises
        ------
        ValueError
            n below 1, or an unknown group.

        Examples
        --------
        >>> from heritagecheck.evidence.trials.curves.curve import dose_response
        >>> fit = dose_response([0.5] * 8 + [1.0] * 8 + [2.0] * 8, [0] * 8 + [0] * 6 + [1] * 10)
        >>> print(round(float(np.median(fit.draws(1024, seed=1).dose_at(0.5))), 2))
        1.14
        """
        if n < 1:
            raise ValueError(f"n = {n}: at least one draw is needed.")
        _groups(self, group)
        generator = np.random.default_rng(seed)
        share = (generator.permutation(n) + generator.random(n)) / n
        return CurveDraws(self, share, group)

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
        half = self.dose_at(0.5)
        which = f" ({self.weakest})" if self.weakest else ""
        seen = f"{self.n_events} of {self.n_spots} spots"
        asked = f" The curve is for {self.conditions}." if self.conditions else ""
        if self.n_events == 0:
            high = float(self.probability(self.highest_dose).high)
            return (
                f"It happened at none of {self.n_spots} spots: at {self.highest_dose:.3g} it may "
                f"still happen at up to {100 * high:.2g} % of spots{which} (95 %).{asked}"
            )
        return (
            f"It happened at {seen}; half of the spots are reached{which} at a dose of "
            f"{half.estimate:.3g}, 95 % {_end(half.low)} to {_end(half.high)}.{asked}"
        )


@dataclass(frozen=True, slots=True, eq=False)
class CurveDraws:
    """Draws of a curve; ask them for doses or probabilities."""

    fit: DoseResponse = field(repr=False)
    share: FloatArray
    group: str | None
    hardest: bool = False

    def dose_at(self, p: float) -> FloatArray:
        """
        Draws of the dose at which a probability is reached.

        Parameters
        ----------
        p : float
            Probability. [0 to 1]

        Returns
        -------
        numpy.ndarray, shape (n,)
            Doses, in the unit of those tried.
        """
        _between(p, "p")
        return dose_levels(self.fit, p, self.share, group=self.group, hardest=self.hardest)

    def probability(self, dose: float) -> FloatArray:
        """
        Draws of the probability at one dose.

        Parameters
        ----------
        dose : float
            Dose above 0, in the unit of those tried.

        Returns
        -------
        numpy.ndarray, shape (n,)
            Probabilities; high where `dose_at` is low.
        """
        one = float(checked_doses(dose))
        return probability_levels(
            self.fit, one, 1 - self.share, group=self.group, hardest=self.hardest
        )


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
    scale: Scale = "log",
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
        Panel on which each spot lies, named as groups are. Without it every spot stands for itself.
    pulses : array_like, shape (n,), optional
        Pulses or passes that each spot received, 1 or more, where they are not the dose itself.
    wet : array_like of bool, shape (n,), optional
        Whether the surface was wetted.
    at_pulses : float, optional
        Pulses or passes for which the curve is given; else those of most spots, of ties the most.
    at_wet : bool, optional
        Whether the curve is for a wet surface; else as most spots were.
    scale : {"log", "linear"}
        Whether equal steps are equal ratios of dose, or equal differences.

    Returns
    -------
    DoseResponse
        To be asked by `dose_at`, `probability`, `draws` and `table`; `cautions` say what is weak.
        `pulse_effect` and `wet_effect` are b and c of the notes, with 90 %, where spots differ.

    Raises
    ------
    ValueError
        No spot, lengths that differ, a dose that is not a finite number above 0, an outcome that
        is not yes or no, a spot without group or panel where others have one, one text in place
        of labels, fewer pulses than 1, as many wet spots as dry and nothing asked, a wetness asked
        that no spot had, or conditions that differ on the linear scale.

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
    not hit, is known by what it shares alone: by itself it tells nothing of how steep its curve is.
    On the linear scale x is the dose over the middle of the doses
    tested. Below the lowest dose with an event the curve is the model's, not the stone's: one more
    damaged spot at a harsh dose can make it steeper, and so lower its gentle end. Limits of a
    `tested_window` are held against that, those of the curve are not: look at the lowest dose with
    an event beside them (`first_event`).

    Where spots differ in pulses N or in wetness w from what is asked, x is log dose +
    b log(N / at_pulses) + c (w - at_wet). b is 1 - S of the incubation law [3]_, even from 0 (the
    number does not matter) to 1 (doses add up); c is normal about 0 with standard deviation 0.5,
    a factor of 1.65 in dose either way. Both are common to all groups and summed out.
    `lowest_dose` and `highest_dose` are of spots of the wetness asked with at least the pulses
    asked; where there is none, fewer pulses count at the dose of the same total. `first_event` is
    of spots with at most the pulses asked, wet or dry; where none of them was hit, of all.

    References
    ----------
    .. [1] A. Agresti, "Categorical Data Analysis," 3rd ed., Wiley (2013), ch. 5 and 13.
    .. [2] L. Kish, "Survey Sampling," Wiley (1965), design effect.
    .. [3] Y. Jee, M. F. Becker, R. M. Walser, J. Opt. Soc. Am. B 5(3), 648-659 (1988).
       DOI 10.1364/JOSAB.5.000648

    Examples
    --------
    A laser on granite, spots on three panels; the mica goes first:

    >>> from heritagecheck.evidence.trials.curves.curve import dose_response
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
    doses, outcome = _checked_spots(dose, happened, scale)
    groups = checked_labels(group, doses.size, "group")
    panels = checked_labels(panel, doses.size, "panel")
    conditions = stated_conditions(pulses, wet, at_pulses, at_wet, doses.size)
    if scale == "linear" and conditions.shifts.any():
        raise ValueError(
            'Spots of other pulses or wetness than asked are read together on scale = "log" only.'
        )
    return _with_remarks(*_fitted(Given(doses, outcome, groups, panels, conditions, scale)))


@lru_cache(maxsize=64)
def as_if_none(fit: DoseResponse) -> DoseResponse:
    """The curve of the same spots as if it had happened at none of them, without remarks."""
    return _fitted(replace(fit.given, outcome=np.zeros_like(fit.given.outcome)))[0]


@lru_cache(maxsize=64)
def before_first(fit: DoseResponse) -> DoseResponse | None:
    """
    The curve of the spots below the lowest dose with an event, without remarks.

    None where a group has none.
    """
    given = fit.given
    first = given.doses[given.outcome].min(initial=np.inf)
    kept = given.doses < first
    counts = kept & np.isfinite(given.conditions.doses_tried(given.doses))
    left = set(_those(given.groups or ["all"] * kept.size, counts) or ())
    if len(left) < len(fit.groups):
        return None
    return _fitted(
        Given(
            given.doses[kept],
            given.outcome[kept],
            _those(given.groups, kept),
            _those(given.panels, kept),
            given.conditions.of(kept),
            given.scale,
        )
    )[0]


def _those(labels: list[str] | None, kept: NDArray[np.bool_]) -> list[str] | None:
    """Labels of the spots kept."""
    return (
        None if labels is None else [one for one, stays in zip(labels, kept, strict=True) if stays]
    )


def _fitted(given: Given) -> tuple[DoseResponse, Mixture | None]:
    """Curve of the spots given, without what is remarked about it, and what conditions do."""
    doses, outcome, conditions = given.doses, given.outcome, given.conditions
    groups, panels, scale = given.groups, given.panels, given.scale
    unit = 1.0 if scale == "log" else float(doses.min() + doses.max()) / 2
    x = np.log(doses) if scale == "log" else doses / unit
    tried = conditions.doses_tried(doses)
    fits, mixed = group_fits(x, tried, outcome, groups, panels, conditions.shifts)
    first_event = conditions.first_event(doses, outcome)
    bare = DoseResponse(
        scale=scale,
        groups=fits,
        weakest=None,
        n_spots=doses.size,
        n_events=int(outcome.sum()),
        n_panels=None if panels is None else len(set(panels)),
        lowest_dose=float(np.nanmin(tried)),
        highest_dose=float(np.nanmax(tried)),
        first_event=first_event,
        straight_line=None,
        conditions=str(conditions),
        pulse_effect=mixed.pulse_effect if mixed else None,
        wet_effect=mixed.wet_effect if mixed else None,
        cautions=(
            *cautions_of_panels(doses, conditions.shifts, panels, groups),
            *conditions.cautions(mixed),
        ),
        unit=unit,
        given=given,
    )
    return bare, mixed


def _checked_spots(
    dose: ArrayLike, happened: ArrayLike, scale: str
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Dose and outcome of each spot, on a scale that is offered."""
    doses, outcome = checked_doses(dose), checked_yes_or_no(happened, "happened")
    if doses.ndim != 1 or not doses.size or outcome.shape != doses.shape:
        raise ValueError(
            f"dose has shape {doses.shape} and happened {outcome.shape}: give one of each a spot, "
            "for at least one spot."
        )
    if scale not in {"log", "linear"}:
        raise ValueError(f'scale = "{scale}" is not offered; take "log" or "linear".')
    return doses, outcome


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
    for one in _groups(fit, group):
        for posterior in one.posteriors:
            x = posterior.x_levels(p, levels)
            with np.errstate(over="ignore"):
                dose = np.exp(x) if fit.scale == "log" else np.maximum(x * fit.unit, 0)
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
    x = float(np.log(dose)) if fit.scale == "log" else dose / fit.unit
    for one in _groups(fit, group):
        for posterior in one.posteriors:
            p = posterior.p_levels(x, levels)
            if open_ends:
                p[levels < 0.5] *= 1.0 if posterior.any_event else 0.0
                p[(levels > 0.5) & (not posterior.any_none)] = 1.0
            rows.append(p)
    return np.asarray(np.min(rows, axis=0) if hardest else np.max(rows, axis=0))


def _next_spot(fit: DoseResponse, dose: float, group: str | None) -> float:
    """Chance that the next spot is hit, the highest of the groups."""
    x = float(np.log(dose)) if fit.scale == "log" else dose / fit.unit
    return max(posterior.p_mean(x) for one in _groups(fit, group) for posterior in one.posteriors)


def _groups(fit: DoseResponse, group: str | None) -> tuple[GroupFit, ...]:
    """Give the group asked for, or all."""
    found = tuple(one for one in fit.groups if group in {None, one.group})
    if not found:
        known = ", ".join(one.group for one in fit.groups)
        raise ValueError(f'group = "{group}" has no spot. Known: {known}.')
    return found


def _with_remarks(fit: DoseResponse, mixed: Mixture | None) -> DoseResponse:
    """Name the weakest group, lay the straight line beside, and add what is weak."""
    groups, outcome = fit.given.groups, fit.given.outcome
    doses = fit.given.conditions.equal_doses(fit.given.doses, mixed)
    halves = {one.group: fit.dose_at(0.5, group=one.group) for one in fit.groups}
    weakest = min(halves, key=lambda name: halves[name].estimate) if groups else None
    here = np.array([weakest in {None, one} for one in groups or [""] * doses.size])
    here &= fit.given.conditions.under_asked()
    line = straight_line(doses[here], outcome[here])
    cautions = list(fit.cautions)
    if outcome.any():
        cautions += cautions_of_outcomes(fit.groups, doses, outcome)
    else:
        high = float(fit.probability(fit.highest_dose).high)
        cautions.append(caution_of_none(fit.highest_dose, high))
    if groups:
        lows = {name: half.low for name, half in halves.items()}
        cautions += cautions_of_groups(fit.groups, lows, str(weakest))
    if line is not None:
        cautions += _caution_of_line(fit, line)
    return replace(fit, weakest=weakest, straight_line=line, cautions=tuple(cautions))


def _caution_of_line(fit: DoseResponse, line: StraightLine) -> list[str]:
    """Say where the straight line claims what the curve does not."""
    if line.threshold <= 0:
        return [f"{line} Such a threshold means nothing; take the curve."]
    at = fit.probability(line.threshold)
    if float(at.estimate) < _LINE_DISAGREES:
        return []
    low = float(at.low) if float(at.low) >= LEAST_SHARE else 0.0
    return [
        f"{line} There the curve still gives {100 * float(at.estimate):.2g} % "
        f"({100 * low:.2g} to {100 * float(at.high):.2g} %): limits rest on the curve."
    ]


def _levels(level: float) -> FloatArray:
    """Quantiles of a central interval and its median."""
    _between(level, "level")
    return np.array([(1 - level) / 2, 0.5, (1 + level) / 2])


def _between(value: float, name: str) -> None:
    """Refuse what does not lie between 0 and 1."""
    if not 0 < value < 1:
        raise ValueError(f"{name} = {value:g} must lie between 0 and 1; 95 % is 0.95.")


def _end(value: float) -> str:
    """Write one end of an interval, also where it is open."""
    return "any higher dose" if value == np.inf else f"{value:.3g}"

"""Harm of leaving and of every option, criterion by criterion, in 4,096 simulations."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from heritagecheck.evidence.trials.below_x50 import ONE_SIDED
from heritagecheck.evidence.trials.damaged_fields import damage_share_draws
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.harm.normal_draws import DRAWS, Array, Draws, fixed, within
from heritagecheck.judgement.options import Option, OptionKey, risk_of
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.tables import threshold
from heritagecheck.tables.conditions import holds
from heritagecheck.tables.row_types import (
    HarmAnchor,
    HarmRating,
    Method,
    RatedPair,
    Sensitivity,
    SourceGrade,
    Substrate,
    Suitability,
)

# -- Simulations of harm ---------------------------------------------------------------------------

# What they bring stays behind in pores, where ×50 does not look.
LEAVES_RESIDUES = {"acid", "alkali", "solvent", "poultice", "biocide"}


@dataclass(frozen=True, eq=False)
class HarmDraws:
    """Harm of leaving and of each option, criterion by criterion."""

    leave: Array
    options: dict[OptionKey, Array]
    fabric_by_treatment: dict[OptionKey, Array]


def contrast_harm(delta_e: Array | float) -> Array:
    """
    Harm to appearance of a colour difference from the agreed appearance.

    Harm, interpolated between the anchors of `tables/harm_scale.csv`. [0 to 10]

    The anchors are ours. Limits of colour that conservators quote, such as 3 and 5, are told in the
    older ΔE*ab: they can't be taken over to CIEDE2000, where the same step has another size.
    """
    return np.asarray(np.interp(np.asarray(delta_e), *_anchors()))


@cache
def _anchors() -> tuple[Array, Array]:
    """Colour differences that the scale names, and the harm of each."""
    named = [(row.delta_e00, row.harm) for row in HarmAnchor.rows() if row.delta_e00 is not None]
    steps, harms = np.array(named).T
    return steps, harms


def harm_draws(
    evidence: ZoneEvidence,
    options: Sequence[Option],
    draws: Draws,
    *,
    years_counted: float,
    correlation: float = 0.0,
    cautious: bool = True,
) -> HarmDraws:
    """
    Draw the harm of leaving a zone and of each option.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    options : sequence of Option
        Options to be scored.
    draws : Draws
        Source of draws.
    years_counted : float
        Years ahead that count, `Policy.years_counted`: at most those it is rated for. [years]
    correlation : float
        Assumed correlation among the inputs of one option. [0 to 1]
    cautious : bool
        True for the precaution: harm of leaving that is not recorded counts nothing, harm of
        treating that is not recorded counts at its upper 95 % value. False keeps the wide prior of
        both, for asking what is worth measuring.

    Returns
    -------
    HarmDraws
        Arrays of shape (criteria, draws).

    Notes
    -----
    If several records concern one criterion, the worst counts in each simulation; harms are not
    added up. Treatment averts the share of the harm of leaving that it removes. Harm that continues
    whether the zone is treated or not (decay by another cause, loose material) counts on neither
    side: it would hide the treatment's own harm behind the larger one. `goes_on` names it.

    Harm of leaving that grows is rated for T = 25 years. Over h years it counts as H min(1, h / T).
    Loss grows steadily and the scale of harm rises fastest at its beginning, so h / T of the harm
    is the least that it can be; beyond T nobody rated it. Either way treatment gains nothing.
    """
    clues = _leaving(evidence, draws, years_counted, correlation, cautious=cautious)
    contrast = _contrast(evidence, draws, correlation, cautious=cautious)
    leave = _worst([*clues, ("appearance", contrast)])
    treated: dict[OptionKey, Array] = {}
    fabric: dict[OptionKey, Array] = {}
    for option in options:
        left = _share_left(option, draws, correlation)
        changed = _treated_contrast(evidence, contrast, left, cautious=cautious)
        by_treating = [
            ("fabric", _fabric_by_treatment(evidence, option, draws, correlation)),
            *_rated_treat(option, draws, correlation, cautious=cautious),
        ]
        fabric[option.key] = functools.reduce(
            np.maximum, (harm for on, harm in by_treating if on == "fabric")
        )
        # Soiling that a method leaves continues to do harm later.
        behind = [(on, clue * left) for on, clue in clues]
        treated[option.key] = _worst([*by_treating, *behind, ("appearance", changed)])
    return HarmDraws(leave, treated, fabric)


def _worst(harms: Iterable[tuple[str, Array]]) -> Array:
    """Worst harm on each criterion, simulation by simulation; 0 where no record concerns it."""
    found = np.empty((len(CRITERIA), DRAWS))
    begun: set[str] = set()
    for criterion, harm in harms:
        row = found[CRITERIA.index(criterion)]
        if criterion in begun:
            np.maximum(row, harm, out=row)
        else:
            row[:] = harm
            begun.add(criterion)
    for row, criterion in zip(found, CRITERIA, strict=True):
        if criterion not in begun:
            row[:] = 0.0
    return found


def _leaving(
    evidence: ZoneEvidence,
    draws: Draws,
    years_counted: float,
    correlation: float,
    *,
    cautious: bool,
) -> list[tuple[str, Array]]:
    """Harm of leaving that treatment averts, by the records that concern it."""
    found: list[tuple[str, Array]] = []
    part = years_counted / threshold("rated_years")
    for row in _of_leaving("yes"):
        applies = holds(row.when, evidence.facts)
        if applies is False or (applies is None and cautious):
            continue
        harm = draws.rated(row, "leave", correlation)
        # Multiplied only where it must be: the draws are shared, and this runs for every zone.
        found.append((row.criterion, part * harm if part < 1 and row.grows == "yes" else harm))
    return found


def goes_on(evidence: ZoneEvidence) -> tuple[str, ...]:
    """Harm that continues either way and counts on neither side: gravest first, no trifles."""
    found = [
        (-row.mean, row.reason)
        for row in _of_leaving("no")
        if row.mean > 1 and holds(row.when, evidence.facts)
    ]
    return tuple(dict.fromkeys(reason for _, reason in sorted(found)))


@cache
def _of_leaving(averted: str) -> tuple[HarmRating, ...]:
    """Rows of `tables/harm_ratings.csv` on leaving, whose harm treatment averts or does not."""
    return tuple(
        row for row in HarmRating.rows() if row.option == "leave" and row.averted == averted
    )


def _contrast(evidence: ZoneEvidence, draws: Draws, correlation: float, *, cautious: bool) -> Array:
    """Harm to appearance of today's colour against the agreed one."""
    colour, agreed = evidence.colour, evidence.finding("agreed_appearance")
    if agreed == "as_today" or (agreed is None and cautious):
        return np.zeros(DRAWS)
    if colour is None:
        return np.zeros(DRAWS) if cautious else _unmeasured(evidence, draws, correlation)
    if colour.inside_natural:
        return np.zeros(DRAWS)
    spread = (colour.high - colour.low) / (2 * 1.96)
    z = draws.normal(f"colour {evidence.zone.zone}", option="leave", correlation=correlation)
    return contrast_harm(np.maximum(colour.delta_e + spread * z, 0.0))


def _unmeasured(evidence: ZoneEvidence, draws: Draws, correlation: float) -> Array:
    """Prior of an unmeasured contrast: anything up to form that can't be read."""
    z = draws.normal(f"colour {evidence.zone.zone}", option="leave", correlation=correlation)
    return within(5 + 2.5 * z, 10.0)


def _treated_contrast(
    evidence: ZoneEvidence, contrast: Array, left: Array | float, *, cautious: bool
) -> Array:
    """
    Harm to appearance after treatment: what stays, or what is changed against agreement.

    Where nothing is agreed, the precaution takes today's appearance as the one to preserve.
    """
    agreed = evidence.finding("agreed_appearance")
    if agreed == "as_today" or (agreed is None and cautious):
        change = 20.0 if evidence.colour is None else evidence.colour.delta_e
        return contrast_harm(change * (1 - left))
    return contrast * left


def _share_left(option: Option, draws: Draws, correlation: float) -> Array | float:
    """Share of the soiling, and so of the harm it drives, that an option leaves behind."""
    series, method = option.series, option.method
    if series is not None and series.residual_pct is not None:
        left = _rated_left(draws, method, correlation, 1 - series.residual_pct / 100, 0.05)
    elif option.suitability == "unrated":
        return 1.0
    else:
        row = Suitability.named(option.suitability)
        left = _rated_left(draws, method, correlation, row.removed_share, row.spread)
    if series is None or series.spots is None:
        return left
    z = draws.normal(f"removal {method}", option=method, correlation=correlation)
    by_spots = series.spots.removal_draws(z)
    return left if by_spots is None else np.maximum(left, 1 - by_spots)


@lru_cache(maxsize=256)
def _rated_left(draws: Draws, method: str, correlation: float, mean: float, spread: float) -> Array:
    """Share left behind where so much is removed on average; the same for every zone."""
    z = draws.normal(f"removal {method}", option=method, correlation=correlation)
    return fixed(1 - within(mean + spread * z, 1.0))


def _fabric_by_treatment(
    evidence: ZoneEvidence, option: Option, draws: Draws, correlation: float
) -> Array:
    """Irreversible loss that the treatment itself causes, by its rating and by panels."""
    name, method = _rating_id(option), option.method
    rating, grade = fabric_rating(evidence, option)
    harm = draws.spread(f"fabric {name}", method, correlation, rating, grade)
    share = _damaged_share(option, draws, correlation)
    if share is not None:
        severity = np.maximum(harm, threshold("damage_severity"))
        shown = np.minimum(threshold("cleaning_trace") + share * severity, 10.0)
        # Salts, residues and what starts in a crevice are not on any field: their part stays rated.
        harm = np.maximum(shown, threshold("unseen_harm_share") * harm) if (
            _leaves_unseen(evidence, option)
        ) else shown  # fmt: skip
    return functools.reduce(np.maximum, _below_x50(option, draws, correlation), harm)


def _below_x50(option: Option, draws: Draws, correlation: float) -> Iterable[Array]:
    """Harm of what instruments found below ×50; it only adds, since none is ever measured away."""
    series = option.series
    for place, one in enumerate(() if series is None else series.below):
        steps = one.row.harm_steps
        if one.value is None or one.upper is None or not steps:
            continue
        z = draws.normal(
            f"below {one.panel} {place}", option=option.method, correlation=correlation
        )
        upper = min(one.upper, steps[-1])
        spread = max(upper - one.value, 0.0) / ONE_SIDED
        # Doubt widens upwards only: a poorer measurement never lowers a harm.
        size = max(one.value, 0.0) + spread * np.maximum(z, 0.0)
        yield np.asarray(np.interp(size, steps, (0.0, 2.0, 5.0, 8.0)))


def _leaves_unseen(evidence: ZoneEvidence, option: Option) -> bool:
    """Whether a method leaves what ×50 can't see: a chemical on stone, any liquid on metal."""
    method = Method.named(option.method)
    return method.liquid if evidence.metal else method.family in LEAVES_RESIDUES


def _damaged_share(option: Option, draws: Draws, correlation: float) -> Array | None:
    """Share that the panels' setting damages, by fields or by spots: the worse, draw by draw."""
    series = option.series
    if series is None:
        return None
    z = draws.normal(f"panels {series.series}", option=option.method, correlation=correlation)
    found = [] if series.spots is None else [series.spots.damage_draws(z)]
    if series.x50 is not None:
        share = damage_share_draws(sum(series.x50.damaged), series.x50.fields, z)
        found.append(np.maximum(share - series.x50.damaged_before, 0.0))
    shares = [share for share in found if share is not None]
    return np.maximum.reduce(shares) if shares else None


def _rating_id(option: Option) -> str:
    """Name of the rated rows an option rests on, so that zones on the same rows share draws."""
    return " ".join(sorted(row.row_id for row in option.rated)) or option.method


def _rated_treat(
    option: Option, draws: Draws, correlation: float, *, cautious: bool
) -> Iterable[tuple[str, Array]]:
    """Rated harms of treating that apply to an option, criterion by criterion."""
    for row, known in option.harms:
        upper = cautious and not known
        yield row.criterion, draws.rated(row, option.method, correlation, upper=upper)


def weighed(harm: Array, power: int) -> Array:
    """Harm as it enters the total: (H / 10)^p, before the weights."""
    part = harm / 10.0
    if power == 2:
        part *= part
    return part


def total(parts: Array, weights: Sequence[float]) -> Array:
    """Total harm L = sum of w (H / 10)^p, draw by draw."""
    result = np.zeros(parts.shape[1])
    # One criterion after the other, so that the sum is the same on any machine and thread count.
    for row, weight in zip(parts, weights, strict=True):
        if weight:
            result += weight * row
    return result


# -- Rated harm to the fabric ----------------------------------------------------------------------

# Gentle contact does not find the weakest grain; these do.
LIMITED_BY_WEAKEST = {"laser", "abrasive", "acid", "power", "jetting", "biocide"}
CHELANT = "chelant"  # a family of hazard among the poultices
Rating = tuple[float, str]


def fabric_rating(evidence: ZoneEvidence, option: Option) -> Rating:
    """
    Rated harm to fabric, 0 to 10, and the poorest grade of the sources it rests on.

    The worst rated row, no less than half-way to the sensitivity of the weakest component present,
    and a little more on a surface that is no longer sound. Listed housekeeping has the rating of
    its own row.
    """
    if option.listed is not None:
        # Small work of this kind on sound fabric, as guidance lists it; panels there still count.
        return option.listed.fabric_harm, option.listed.evidence
    component = evidence.weakest_component
    substrate = evidence.zone.substrate
    found = [_sensitivity(substrate, component, method) for method in option.methods]
    rating, grade = _rated(option.rated, substrate)
    sensitive = max((one for one in found if one is not None), default=None)
    if sensitive is not None:
        rating = max(rating, (rating + sensitive[0]) / 2)
        grade = max(grade, sensitive[1], key=_grades().index)
    if evidence.zone.condition != "sound":
        rating += threshold("weathered_extra")
    return min(rating, 10.0), grade


def _rated(rows: tuple[RatedPair, ...], substrate: str) -> Rating:
    """Worst of the rated rows and the poorest grade among them; severe where there is none."""
    if not rows:
        return threshold("rated_severe"), _grades()[-1]
    grade = max((row.evidence for row in rows), key=_grades().index)
    return max(risk_of(row, substrate) for row in rows), grade


@cache
def _grades() -> tuple[str, ...]:
    """Grades of sources, the best first."""
    return tuple(row.evidence for row in SourceGrade.rows())


@cache
def _sensitivity(substrate: str, component: str | None, method: str) -> Rating | None:
    """
    Sensitivity of the weakest component present to what a method does, and its grade.

    None where the stone, or its parent, holds no such component in a share that counts.
    """
    row = Method.named(method)
    limited = row.family in LIMITED_BY_WEAKEST or row.hazard_family == CHELANT
    if component is None or not limited:
        return None
    stones = {substrate, Substrate.named(substrate).parent}
    found = [
        (one.sensitivity_0_10, one.evidence)
        for one in Sensitivity.rows()
        if one.sensitivity_0_10 is not None
        and one.row_type == "sensitivity"
        and one.substrate in stones
        and one.component == component
        and one.hazard_family == row.hazard_family
    ]
    return max(found) if found else None

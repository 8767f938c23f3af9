"""Harm of leaving and of every option, criterion by criterion, in 4,096 simulations."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from heritagecheck.evidence.trials.damaged_fields import damage_share_draws
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.harm.fabric_rating import fabric_rating
from heritagecheck.judgement.harm.normal_draws import DRAWS, Array, Draws, within
from heritagecheck.judgement.options import Option
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.tables import keyed, rows, threshold
from heritagecheck.tables.conditions import holds

# What they bring stays behind in pores, where ×50 does not look.
LEAVES_RESIDUES = {"acid", "alkali", "solvent", "poultice", "biocide"}


@dataclass(frozen=True, eq=False)
class HarmDraws:
    """Harm of leaving and of each option, criterion by criterion."""

    leave: Array
    options: dict[str, Array]
    fabric_by_treatment: dict[str, Array]


def contrast_harm(delta_e: Array | float) -> Array:
    """
    Harm to appearance of a colour difference from the agreed appearance.

    Parameters
    ----------
    delta_e : array_like
        CIEDE2000 difference. [1]

    Returns
    -------
    ndarray
        Harm, interpolated between the anchors of `tables/harm_scale.csv`. [0 to 10]

    Notes
    -----
    The anchors are ours. Limits of colour that conservators quote, such as 3 and 5, are told in
    the older ΔE*ab: they can't be taken over to CIEDE2000, where the same step has another size.
    """
    anchors = [
        (float(row["delta_e00"]), float(row["harm"]))
        for row in rows("harm_scale")
        if row["delta_e00"]
    ]
    steps, harms = zip(*anchors, strict=True)
    return np.asarray(np.interp(np.asarray(delta_e), steps, harms))


def harm_draws(
    evidence: ZoneEvidence,
    options: Sequence[Option],
    draws: Draws,
    *,
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
    Where several records bear on one criterion the worst counts, draw by draw; harms are not added
    up. Treatment averts the share of the harm of leaving that it removes. Harm that goes on
    whether the zone is treated or not (decay by another cause, loose material) enters neither side:
    it would hide the treatment's own harm behind the larger one. `goes_on` names it.
    """
    clues = _leaving(evidence, draws, correlation, cautious=cautious)
    contrast = _contrast(evidence, draws, correlation, cautious=cautious)
    leave = np.zeros((len(CRITERIA), DRAWS))
    _raise_to(leave, [*clues, ("appearance", contrast)])
    treated: dict[str, Array] = {}
    fabric: dict[str, Array] = {}
    for option in options:
        left = 1 - _removed_share(evidence, option, draws, correlation)
        changed = _treated_contrast(evidence, contrast, left, cautious=cautious)
        harm = treated[option.key] = np.zeros_like(leave)
        _raise_to(harm, [("fabric", _fabric_by_treatment(evidence, option, draws, correlation))])
        _raise_to(harm, _rated_treat(option, draws, correlation, cautious=cautious))
        fabric[option.key] = harm[CRITERIA.index("fabric")].copy()
        # What a method leaves behind goes on, and is paid for later too.
        _raise_to(harm, [(on, clue * left) for on, clue in clues])
        _raise_to(harm, [("appearance", changed)])
    return HarmDraws(leave, treated, fabric)


def _raise_to(harm: Array, others: Iterable[tuple[str, Array]]) -> None:
    """Let the worst harm on each criterion count, draw by draw."""
    for criterion, other in others:
        row = harm[CRITERIA.index(criterion)]
        np.maximum(row, other, out=row)


def _leaving(
    evidence: ZoneEvidence, draws: Draws, correlation: float, *, cautious: bool
) -> list[tuple[str, Array]]:
    """Harm of leaving that treatment averts, by the records that bear on it."""
    found: list[tuple[str, Array]] = []
    for row in _of_leaving("yes"):
        applies = holds(row["when"], evidence.facts)
        if applies is False or (applies is None and cautious):
            continue
        harm = draws.rated(row, "leave", correlation)
        found.append((row["criterion"], harm))
    return found


def goes_on(evidence: ZoneEvidence) -> tuple[str, ...]:
    """
    Harm that goes on whether a zone is treated or not, and so weighs on neither side.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.

    Returns
    -------
    tuple of str
        Reasons in words, the gravest first; trifles are left out.
    """
    found = [
        (-float(row["mean"]), row["reason"])
        for row in _of_leaving("no")
        if float(row["mean"]) > 1 and holds(row["when"], evidence.facts)
    ]
    return tuple(dict.fromkeys(reason for _, reason in sorted(found)))


@cache
def _of_leaving(averted: str) -> tuple[dict[str, str], ...]:
    """Rows of `tables/harm_ratings.csv` on leaving, whose harm treatment averts or does not."""
    return tuple(
        row
        for row in rows("harm_ratings")
        if row["option"] == "leave" and row["averted"] == averted
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
    evidence: ZoneEvidence, contrast: Array, left: Array, *, cautious: bool
) -> Array:
    """
    Harm to appearance after treatment: what stays, or what is changed against agreement.

    Where nothing is agreed, the precaution takes today's appearance as the one to be kept.
    """
    agreed = evidence.finding("agreed_appearance")
    if agreed == "as_today" or (agreed is None and cautious):
        change = 20.0 if evidence.colour is None else evidence.colour.delta_e
        return contrast_harm(change * (1 - left))
    return contrast * left


def _removed_share(
    evidence: ZoneEvidence, option: Option, draws: Draws, correlation: float
) -> Array:
    """Share of the soiling, and so of the harm it drives, that an option removes."""
    series, method = option.series, option.method
    if series is not None and series.residual_pct is not None:
        mean, spread = 1 - series.residual_pct / 100, 0.05
    elif option.suitability == "unrated":
        return np.zeros(DRAWS)
    else:
        row = keyed("suitability", "suitability")[option.suitability]
        mean, spread = float(row["removed_share"]), float(row["spread"])
    z = draws.normal(f"removal {method}", option=method, correlation=correlation)
    removed = within(mean + spread * z, 1.0)
    by_spots = None if series is None or series.spots is None else series.spots.removal_draws(z)
    return removed if by_spots is None else np.minimum(removed, by_spots)


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
    return harm


def _leaves_unseen(evidence: ZoneEvidence, option: Option) -> bool:
    """Whether a method leaves what ×50 can't see: a chemical on stone, any liquid on metal."""
    method = keyed("methods", "method")[option.method]
    return method["liquid"] == "yes" if evidence.metal else method["family"] in LEAVES_RESIDUES


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
    return " ".join(sorted(row["row_id"] for row in option.rated)) or option.method


def _rated_treat(
    option: Option, draws: Draws, correlation: float, *, cautious: bool
) -> Iterable[tuple[str, Array]]:
    """Rated harms of treating that apply to an option, criterion by criterion."""
    for row, known in option.harms:
        upper = cautious and not known
        yield row["criterion"], draws.rated(row, option.method, correlation, upper=upper)


def weighed(harm: Array, power: int) -> Array:
    """
    Harm as it enters the total: (H / 10)^p, before the weights.

    Parameters
    ----------
    harm : ndarray
        Harm. [0 to 10]
    power : int
        1 or 2.

    Returns
    -------
    ndarray
        Same shape. [0 to 1]
    """
    part = harm / 10.0
    if power == 2:
        part *= part
    return part


def total(parts: Array, weights: Sequence[float]) -> Array:
    """
    Total harm L = sum of w (H / 10)^p, draw by draw.

    Parameters
    ----------
    parts : ndarray, shape (criteria, draws)
        Output of `weighed`, or a difference of two.
    weights : sequence of float
        Weights that sum to one.

    Returns
    -------
    ndarray, shape (draws,)
        [0 to 1]
    """
    result = np.zeros(parts.shape[1])
    # One criterion after the other, so that the sum is the same on any machine and thread count.
    for row, weight in zip(parts, weights, strict=True):
        if weight:
            result += weight * row
    return result

"""Gentlest first: which gentler methods come before one, because nobody tried them here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from heritagecheck.evidence.zone_evidence import ZoneEvidence, lasting
from heritagecheck.judgement.gates.gate import PASSED
from heritagecheck.judgement.gates.gate_7_panels.series_verdict import TrialVerdict
from heritagecheck.judgement.harm.simulations import fabric_rating
from heritagecheck.judgement.options import (
    Option,
    OptionKey,
    acts_on,
    by_method,
    lasting_stops,
    never_on,
)
from heritagecheck.tables.conditions import holds
from heritagecheck.tables.methods import brief_method

# Rated harm of a method to the fabric, and to people.
Rank = tuple[float, float]
# What a series fails by being laid or read too poorly says nothing against its method.
OF_THE_TRIAL = frozenset(
    {
        "replicates", "date", "ageing", "winter", "control", "unit", "method", "fields",
        "weakest component", "spots", "other panels", "layers", "sequence", "area", "too old",
    }
)  # fmt: skip


def gentler_first(
    evidence: ZoneEvidence, options: Sequence[Option], open_: Mapping[str, Rank]
) -> dict[str, tuple[str, ...]]:
    """
    Gentler methods that come before each method of a zone.

    Method, if no rule stops it for good, to the codes of the methods that are gentler, might answer
    the reason to act, and are neither settled by panels here or on the bed nor shown unfit;
    gentlest first.

    Gentler is a method of lower rated harm to the fabric of this pair and of no higher rated harm
    to people. It might answer the reason where the table rates it effective or partly so on every
    layer that is to be removed. A method is shown unfit by a row that rates it ineffective, by a
    rule that rules it out for what the zone is, by panels of its own whose result is against it, or
    by a reason that the team recorded. What may yet be put right, such as open joints or a missing
    containment, shows no method unfit, and panels that are still ageing settle nothing.
    """
    methods = {
        method: group[0]
        for method, group in by_method(options).items()
        if any(not option.ruled_out or option.waits for option in group)
    }
    if not open_:
        return dict.fromkeys(methods, ())
    found = {}
    for method, option in methods.items():
        fabric, people = _rank(evidence, option)
        found[method] = tuple(
            other for other, rank in open_.items() if rank[0] < fabric and rank[1] <= people
        )
    return found


def still_open(
    evidence: ZoneEvidence, options: Sequence[Option], trials: Mapping[OptionKey, TrialVerdict]
) -> dict[str, Rank]:
    """Methods that might answer the reason to act and are neither settled nor shown unfit."""
    never = never_on(lasting(evidence.facts))
    found = {
        method: _rank(evidence, group[0])
        for method, group in by_method(options).items()
        if _might_answer(evidence, group, never) and not _settled(evidence, group, trials)
    }
    return dict(sorted(found.items(), key=lambda one: one[1]))


def _rank(evidence: ZoneEvidence, option: Option) -> Rank:
    """Rated harm to the fabric and to people of a method."""
    return fabric_rating(evidence, option)[0], people_rating(option)


def people_rating(option: Option) -> float:
    """Rated harm to people of a method itself, whatever can be put right on the zone."""
    rows = [row for row, _ in option.harms if row.criterion == "people"]
    facts = lasting(option.facts) if rows else {}
    return max((row.mean for row in rows if holds(row.when, facts) is True), default=0.0)


def named(methods: Iterable[str]) -> str:
    """Names of some methods in a row."""
    return ", ".join(brief_method(method).lower() for method in methods)


def _might_answer(evidence: ZoneEvidence, group: Sequence[Option], never: frozenset[str]) -> bool:
    """Whether a method acts on every layer to be removed, and nothing rules it out for good."""
    acts = bool(evidence.targets) and all(
        acts_on(evidence, group[0].method, layer) for layer in evidence.targets
    )
    return acts and not all(lasting_stops(option, never) for option in group)


def _settled(
    evidence: ZoneEvidence, group: Sequence[Option], trials: Mapping[OptionKey, TrialVerdict]
) -> bool:
    """Whether panels or a recorded reason have settled what a method can do here."""
    if group[0].method in evidence.zone.reasons_not_tried:
        return True
    verdicts = [trials[option.key] for option in group if option.key in trials]
    return any(verdict.result == PASSED for verdict in verdicts) or (
        bool(verdicts) and all(_shows_unfit(verdict) for verdict in verdicts)
    )


def _shows_unfit(verdict: TrialVerdict) -> bool:
    """Whether the result of some panels is against their method, not only how they were laid."""
    return any(
        check.holds is False and not check.by_doubt and check.name not in OF_THE_TRIAL
        for check in verdict.checks
    )

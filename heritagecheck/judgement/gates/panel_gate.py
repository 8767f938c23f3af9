"""Gate 7 decided: what the panels show, what was not tried, which gentler method comes first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from heritagecheck.evidence.zone_evidence import ZoneEvidence, lasting
from heritagecheck.judgement.gates.case import Case, not_in_place, required
from heritagecheck.judgement.gates.gate import MONITOR, NOT_KNOWN, NOT_PASSED, PASSED, TRIAL, Gate
from heritagecheck.judgement.gates.panel_requirements import in_sentences
from heritagecheck.judgement.gates.series_verdict import TrialVerdict
from heritagecheck.judgement.harm.simulations import fabric_rating
from heritagecheck.judgement.options import (
    Option,
    OptionKey,
    acts_on,
    by_method,
    lasting_stops,
    never_on,
)
from heritagecheck.sentences import lower_first
from heritagecheck.tables.conditions import holds
from heritagecheck.tables.methods import brief_method

# Requirements that a trial panel need not wait for.
LATER = {"consent", "coating_order"}


def panel_gate(case: Case) -> Gate:
    """Gate 7: what the panels show. Panels are works, so none is laid where consent is refused."""
    gate = _panels(case)
    if gate.outcome != TRIAL:
        return gate
    if case.evidence.finding("consent") == "refused":
        refused = f"{gate.reason}; consent is refused, so nothing is tried"
        records = (*gate.records, *case.evidence.record("consent"))
        return replace(gate, reason=refused, records=records, outcome=MONITOR)
    # Every sheet names consent at its head, and panels are not coated as the work would be.
    needed = required(case, listed=False)
    wrong = not_in_place(case, {topic: needed[topic] for topic in needed.keys() - LATER})
    return replace(gate, conditions=tuple(f"before any further panel: {words}" for words in wrong))


def _panels(case: Case) -> Gate:
    """Gate 7 by what the panels show and what was not tried."""
    gap = case.evidence.panels_unaccounted
    if gap:
        return Gate(7, NOT_KNOWN, f"panels are not accounted for: {'; '.join(gap)}", (), TRIAL)
    if listed := _listed(case):
        return listed
    if good := case.panels_pass:
        return _gentlest(case, good)
    verdicts = [case.trials[option.key] for option in case.tried]
    failed = [verdict for verdict in verdicts if verdict.result == NOT_PASSED]
    if failed:
        worth_it = case.trial_worth()
        outcome = TRIAL if worth_it else MONITOR
        nearest, *others = sorted(failed, key=lambda verdict: verdict.failed)
        said = [
            nearest.reason,
            *(f"series {one.series} also fails" for one in others),
            nearest.prospect,
        ]
        said += [] if worth_it else ["another trial is not worth its own harm"]
        records = tuple(record for one in (nearest, *others) for record in one.records)
        return Gate(7, NOT_PASSED, in_sentences(filter(None, said)), records, outcome)
    if verdicts:
        return Gate(7, NOT_KNOWN, verdicts[0].reason, verdicts[0].records, TRIAL)
    return _nothing_tried(case)


def _listed(case: Case) -> Gate | None:
    """Gate 7 for listed housekeeping, which needs no panels; None where none is left."""
    left = [one for one in case.options if one.listed and (not one.ruled_out or one.waits)]
    if not left or case.housekeeping is None:
        return None
    # The listed work is done at the setting of any panels there are, so they must agree.
    for series in filter(None, (one.series for one in left)):
        if series.setting_contradiction:
            reason = f"panels of {series.series} contradict: {series.setting_contradiction}"
            return Gate(7, NOT_KNOWN, reason, series.panels, TRIAL)
    return Gate(
        7, PASSED,
        f"no panels required, because {lower_first(case.housekeeping.name)} is listed housekeeping "
        f"({case.housekeeping.row}, {case.housekeeping.source_id})",
        (), None, brief=f"no panels required for listed housekeeping ({case.housekeeping.row})",
    )  # fmt: skip


def _gentlest(case: Case, good: Sequence[Option]) -> Gate:
    """Gate 7 for the first method whose panels pass and that no gentler one must precede."""
    if case.come_first:
        verdict, gentler = case.trials[good[0].key], named(case.gentler[good[0].method])
        return Gate(
            7, NOT_KNOWN,
            f"gentler methods are not settled by panels here: {gentler}; try them first, or record "
            f"under not_tried why not. What was tried passes: {verdict.reason}",
            verdict.records, TRIAL,
        )  # fmt: skip
    first = next(option for option in good if not case.gentler[option.method])
    verdict = case.trials[first.key]
    left = case.evidence.zone.reasons_not_tried
    untried = "; ".join(f"{named([method])} ({reason})" for method, reason in left.items())
    reason = f"{verdict.reason}; not tried: {untried}" if untried else verdict.reason
    brief = f"{named([first.method])}, panels {verdict.series}: all that is required is met"
    brief += f"; not tried: {untried}" if untried else ""
    return Gate(7, PASSED, reason, verdict.records, None, brief=brief)


def _nothing_tried(case: Case) -> Gate:
    """Gate 7 where there is no panel of any method still open."""
    tried = [case.trials[option.key] for option in case.options if option.key in case.trials]
    laid = tuple(record for verdict in tried for record in verdict.records)
    reason = "no panel on this substrate and soiling"
    if laid:
        reason = f"every method tried here is ruled out: panels {', '.join(laid)}"
    return Gate(7, NOT_KNOWN, reason, laid, TRIAL)


# -- Gentler methods that nobody tried -------------------------------------------------------------

# Rated harm of a method to the fabric, and to people.
Rank = tuple[float, float]
# Checks of how panels were laid or read: failing them says nothing against the method.
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
    Gentler methods to be tried before each method of a zone, gentlest first.

    Methods that a rule stops for good are left out. A gentler method has a lower rated harm to this
    fabric and no higher rated harm to people. It counts only while it might answer the reason to
    act: the table rates it effective or partly so on every layer to be removed, and it is neither
    settled by panels here or on the bed nor shown unfit. Unfit is shown by a rating as ineffective,
    a rule about what the zone is, a result of its own panels, or a reason recorded by the team.
    What can be put right, such as open joints or missing containment, shows no method unfit, and
    panels still ageing settle nothing.
    """
    found = {}
    for method, group in by_method(options).items():
        if any(not option.ruled_out or option.waits for option in group):
            fabric, people = _rank(evidence, group[0])
            found[method] = tuple(
                other for other, rank in open_.items() if rank[0] < fabric and rank[1] <= people
            )
    return found


def still_open(
    evidence: ZoneEvidence, options: Sequence[Option], trials: Mapping[OptionKey, TrialVerdict]
) -> dict[str, Rank]:
    """Methods that might answer the reason to act, neither settled nor shown unfit, by rank."""
    never = never_on(lasting(evidence.facts))
    found = {
        method: _rank(evidence, group[0])
        for method, group in by_method(options).items()
        if _might_answer(evidence, group, never) and not _settled(evidence, group, trials)
    }
    return dict(sorted(found.items(), key=lambda one: one[1]))


def _rank(evidence: ZoneEvidence, option: Option) -> Rank:
    """Rated harm of a method to the fabric and to people."""
    return fabric_rating(evidence, option)[0], people_rating(option)


def people_rating(option: Option) -> float:
    """Rated harm of a method to people, whatever could be put right on the zone."""
    rows = [row for row, _ in option.harms if row.criterion == "people"]
    facts = lasting(option.facts) if rows else {}
    return max((row.mean for row in rows if holds(row.when, facts) is True), default=0.0)


def named(methods: Iterable[str]) -> str:
    """Names of methods, separated by commas."""
    return ", ".join(lower_first(brief_method(method)) for method in methods)


def _might_answer(evidence: ZoneEvidence, group: Sequence[Option], never: frozenset[str]) -> bool:
    """Whether a method acts on every layer to be removed, and nothing rules it out for good."""
    acts = bool(evidence.targets) and all(
        acts_on(evidence, group[0].method, layer) for layer in evidence.targets
    )
    return acts and not all(lasting_stops(option, never) for option in group)


def _settled(
    evidence: ZoneEvidence, group: Sequence[Option], trials: Mapping[OptionKey, TrialVerdict]
) -> bool:
    """Whether panels, or a reason recorded by the team, settled what a method can do here."""
    if group[0].method in evidence.zone.reasons_not_tried:
        return True
    verdicts = [trials[option.key] for option in group if option.key in trials]
    return any(verdict.result == PASSED for verdict in verdicts) or (
        bool(verdicts) and all(_shows_unfit(verdict) for verdict in verdicts)
    )


def _shows_unfit(verdict: TrialVerdict) -> bool:
    """Whether panels speak against their method, and not only against how they were laid."""
    return any(
        check.holds is False and not check.too_few and check.name not in OF_THE_TRIAL
        for check in verdict.checks
    )

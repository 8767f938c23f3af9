"""Gate 7 decided: what the panels show, what was not tried, which gentler method comes first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from heritagecheck.judgement.gates.case import Case, not_in_place, required
from heritagecheck.judgement.gates.gate import MONITOR, NOT_KNOWN, NOT_PASSED, PASSED, TRIAL, Gate
from heritagecheck.judgement.gates.gate_7_panels.requirements import in_sentences
from heritagecheck.judgement.gentler_methods import named
from heritagecheck.judgement.options import Option

# What a trial panel does not wait for.
LATER = {"consent", "coating_order"}


def panel_gate(case: Case) -> Gate:
    """Gate 7: what the panels show; panels are works, so nothing is tried against a refusal."""
    gate = _panels(case)
    if gate.outcome != TRIAL:
        return gate
    if case.evidence.finding("consent") == "refused":
        refused = f"{gate.reason}; consent is refused, so nothing is tried"
        records = (*gate.records, *case.evidence.record("consent"))
        return replace(gate, reason=refused, records=records, outcome=MONITOR)
    # Consent stands at the head of every sheet, and panels are not coated as the work would be.
    asked = required(case, listed=False)
    wrong = not_in_place(case, {topic: asked[topic] for topic in asked.keys() - LATER})
    return replace(gate, conditions=tuple(f"before any further panel: {words}" for words in wrong))


def _panels(case: Case) -> Gate:
    """What the panels show, and what was not tried."""
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
    """Gate 7 where listed housekeeping is left, for which no panels are asked; else nothing."""
    left = [one for one in case.options if one.listed and (not one.ruled_out or one.waits)]
    if not left or case.housekeeping is None:
        return None
    # Who does the listed work takes its setting from the panels, so that they must agree.
    for series in filter(None, (one.series for one in left)):
        if series.setting_contradiction:
            reason = f"panels of {series.series} contradict: {series.setting_contradiction}"
            return Gate(7, NOT_KNOWN, reason, series.panels, TRIAL)
    return Gate(
        7, PASSED,
        f"no panels required: {case.housekeeping.name} is listed housekeeping "
        f"({case.housekeeping.row}, {case.housekeeping.source_id})",
        (), None, brief=f"no panels required: listed housekeeping ({case.housekeeping.row})",
    )  # fmt: skip


def _gentlest(case: Case, good: Sequence[Option]) -> Gate:
    """Of the methods whose panels pass, one that no gentler one comes before."""
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
    """Gate 7 where no panel of a method that is left is there to be read."""
    tried = [case.trials[option.key] for option in case.options if option.key in case.trials]
    laid = tuple(record for verdict in tried for record in verdict.records)
    reason = "no panel on this substrate and soiling"
    if laid:
        reason = f"only what is ruled out was tried: panels {', '.join(laid)}"
    return Gate(7, NOT_KNOWN, reason, laid, TRIAL)

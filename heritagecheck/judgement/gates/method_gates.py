"""Gates 6 and 8, which judge the methods, and listed housekeeping."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.case import Case, change_credible, not_in_place, required
from heritagecheck.judgement.gates.gate import (
    LEAVE,
    MONITOR,
    NOT_KNOWN,
    NOT_PASSED,
    PASSED,
    TRIAL,
    Gate,
)
from heritagecheck.judgement.harm.treat_or_leave import AgainstLeaving
from heritagecheck.judgement.options import Option
from heritagecheck.sentences import lower_first
from heritagecheck.survey.records.structure import WHOLLY_VALUED
from heritagecheck.tables.methods import brief_method
from heritagecheck.tables.row_types import Housekeeping, Soiling

# -- Gate 6: some method is not ruled out and can be carried to the zone ---------------------------


def method_gate(case: Case) -> Gate:
    """Gate 6: at least one method is not ruled out."""
    evidence = case.evidence
    left = [
        option for option in case.options if option.open or (option.waits and not option.questions)
    ]
    if left:
        return _methods_left(left, case.options, evidence.zone.soiling_codes)
    open_questions = dict.fromkeys(
        question.reason
        for option in case.options
        if not option.ruled_out or option.waits
        for question in option.questions
    )
    if open_questions:
        return Gate(
            6, NOT_KNOWN,
            "every method left depends on something not recorded; the rules in question: "
            f"{'; '.join(lower_first(words) for words in list(open_questions)[:4])}",
            (), TRIAL,
        )  # fmt: skip
    if unrated := list(dict.fromkeys(one.name for one in case.options if one.unrated)):
        # An empty row of the table is no finding: nobody looked, so nothing is left for good.
        return Gate(
            6, NOT_KNOWN,
            "each method described for this soiling is ruled out, and no source says how it "
            f"responds to {'; '.join(unrated[:4])}: ask a conservator of this material",
            (), TRIAL,
        )  # fmt: skip
    if evidence.zone.confined and evidence.finding("closed_plan") is None:
        return Gate(
            6, NOT_KNOWN,
            "not recorded whether there is an air, rescue and access plan, without which nobody "
            "works in a confined space",
            (), MONITOR,
        )  # fmt: skip
    outcome = MONITOR if change_credible(evidence) else LEAVE
    return Gate(6, NOT_PASSED, "every method is ruled out", (), outcome)


def _methods_left(
    left: Sequence[Option], options: Sequence[Option], soilings: Sequence[str]
) -> Gate:
    """Gate 6 passed: methods not ruled out, and those for which something is not recorded."""
    names = list(dict.fromkeys(option.name for option in left))
    open_ = {one.name for one in options if one.questions and not one.ruled_out} - set(names)
    not_known = [name for name in dict.fromkeys(one.name for one in options) if name in open_]
    reason = f"not ruled out: {'; '.join(names)}"
    brief = f"not ruled out: {lower_first(brief_method(left[0].method, soilings))}"
    brief += f", and {len(names) - 1} more" if len(names) > 1 else ""
    if not_known:
        reason += f". Not known yet of: {'; '.join(not_known)}"
        brief += f"; not known yet of {len(not_known)}"
    return Gate(6, PASSED, reason, (), None, brief=brief)


# -- Gate 8: least harm passes the precaution; controls, season and consent are in place -----------


def least_harm_gate(case: Case) -> Gate:
    """Gate 8: the precaution, then what must be in place."""
    evidence = case.evidence
    topics = ["controls", "season", "consent", "containment", "lead_exposure", "coating_order"]
    records = evidence.record(*topics)
    if not case.tests:
        return Gate(8, NOT_KNOWN, "no method is left to compare with leaving", records, MONITOR)
    weighed = all(test.weights_given for test in case.tests.values())
    calm = LEAVE if weighed and not change_credible(evidence) else MONITOR
    best = least_harmful(case)
    if best is None:
        nearest = min(case.tests.values(), key=lambda test: test.expected)
        return Gate(8, NOT_PASSED, nearest.reason, records, calm)
    option = case.option(best.option)
    wrong, unknown = _obstacles(case, option)
    if wrong:
        return Gate(8, NOT_PASSED, f"postpone: {', '.join(wrong)}", records, MONITOR)
    if unknown:
        return Gate(8, NOT_KNOWN, f"not recorded: {', '.join(unknown)}", records, MONITOR)
    if not weighed:
        # Members might differ: equal weights neither clean a zone nor leave it for good.
        reason = f"not known whether each member accepts it: {best.reason}"
        return Gate(8, NOT_KNOWN, reason, records, MONITOR)
    conditions = ("formal consent before work starts",) if (
        evidence.finding("consent") == "in_principle"
    ) else ()  # fmt: skip
    return Gate(8, PASSED, best.reason, records, None, conditions, best.brief)


def least_harmful(case: Case) -> AgainstLeaving | None:
    """Least harmful option that passes the precaution; one ready to begin is preferred."""
    passing = [test for test in case.tests.values() if test.passed]
    ready = [test for test in passing if not any(_obstacles(case, case.option(test.option)))]
    open_ = [test for test in passing if case.option(test.option).open]
    return min(ready or open_ or passing, key=lambda test: test.expected, default=None)


def _obstacles(case: Case, option: Option) -> tuple[list[str], list[str]]:
    """What keeps work from starting: recorded as not in place, and not recorded."""
    needed = required(case, listed=option.listed is not None)
    wrong = not_in_place(case, needed) + [stop.reason for stop in option.stops]
    unknown = [topic.replace("_", " ") for topic in needed if not case.evidence.finding(topic)]
    return wrong, unknown + [question.reason for question in option.questions]


# -- Listed housekeeping ---------------------------------------------------------------------------


def as_listed(options: Sequence[Option], row: Housekeeping | None) -> tuple[Option, ...]:
    """Mark the options that are the listed work; the others stay as they are."""
    return tuple(
        replace(option, listed=row) if row and option.method in row.methods else option
        for option in options
    )


def housekeeping_row(evidence: ZoneEvidence) -> Housekeeping | None:
    """
    Row of listed housekeeping that a zone matches, or None.

    Substrate, every soiling, condition, coating, cover, area and lead must be recorded and match. A
    coating of value beneath the dirt does not prevent a match, because it stays.
    """
    zone, targets = evidence.zone, evidence.targets
    beneath = [layer for layer in evidence.layers if layer not in targets]
    stays = all(
        layer.value in WHOLLY_VALUED and Soiling.named(layer.soiling).kind == "coating"
        for layer in beneath
    )
    if not targets or not evidence.layers_complete or not stays:
        return None
    covers = [layer.cover_pct for layer in targets]
    for row in Housekeeping.rows():
        if (
            zone.substrate in row.substrates
            and all(layer.soiling in row.soilings for layer in targets)
            and zone.condition in row.conditions
            and evidence.finding("coating_state") in row.coating_states
            and evidence.lead == row.lead
            and zone.area_m2 <= row.max_area_m2
            and all(cover is not None and cover <= row.max_cover_pct for cover in covers)
        ):
            return row
    return None

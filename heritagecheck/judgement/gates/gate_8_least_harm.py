"""Gate 8: least harm passes the precaution; controls, season and consent are in place."""

from __future__ import annotations

from heritagecheck.judgement.gates.case import Case, change_credible
from heritagecheck.judgement.gates.gate import LEAVE, MONITOR, NOT_KNOWN, NOT_PASSED, PASSED, Gate
from heritagecheck.judgement.gates.work_controls import not_in_place, required
from heritagecheck.judgement.harm.treat_or_leave import AgainstLeaving
from heritagecheck.judgement.options import Option


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
    wrong, unknown = _amiss(case, option)
    if wrong:
        return Gate(8, NOT_PASSED, f"postpone: {', '.join(wrong)}", records, MONITOR)
    if unknown:
        return Gate(8, NOT_KNOWN, f"not recorded: {', '.join(unknown)}", records, MONITOR)
    if not weighed:
        # A member asked might differ: equal weights neither clean a zone nor leave it for good.
        reason = f"not known whether each member accepts it: {best.reason}"
        return Gate(8, NOT_KNOWN, reason, records, MONITOR)
    conditions = ("formal consent before work starts",) if (
        evidence.finding("consent") == "in_principle"
    ) else ()  # fmt: skip
    return Gate(8, PASSED, best.reason, records, None, conditions, best.brief)


def least_harmful(case: Case) -> AgainstLeaving | None:
    """Least harmful option that passes the precaution, of those that may begin if there are any."""
    passing = [test for test in case.tests.values() if test.passed]
    whole = [test for test in passing if not any(_amiss(case, case.option(test.option)))]
    open_ = [test for test in passing if case.option(test.option).open]
    return min(whole or open_ or passing, key=lambda test: test.expected, default=None)


def _amiss(case: Case, option: Option) -> tuple[list[str], list[str]]:
    """What keeps an option from beginning: recorded as not in place, or not recorded."""
    asked = required(case, listed=option.listed is not None)
    wrong = not_in_place(case, asked) + [stop.reason for stop in option.stops]
    unknown = [
        topic.replace("_", " ") for topic in asked if case.evidence.finding(topic) is None
    ] + [question.reason for question in option.questions]
    return wrong, unknown

"""Gate 6: some method is not ruled out and can be carried to the zone."""

from __future__ import annotations

from heritagecheck.judgement.gates.case import Case, change_credible
from heritagecheck.judgement.gates.gate import (
    LEAVE,
    MONITOR,
    NOT_KNOWN,
    NOT_PASSED,
    PASSED,
    TRIAL,
    Gate,
)
from heritagecheck.tables.naming import brief_method


def method_gate(case: Case) -> Gate:
    """Gate 6: some method is left."""
    evidence = case.evidence
    left = list(
        dict.fromkeys(
            option.name
            for option in case.options
            if option.open or (option.waits and not option.questions)
        )
    )
    if left:
        first = next(option for option in case.options if option.name == left[0])
        brief = brief_method(first.method, evidence.zone.soiling_codes).lower()
        brief += f" and {len(left) - 1} more" if len(left) > 1 else ""
        return Gate(
            6, PASSED, f"not ruled out: {'; '.join(left)}", (), None,
            brief=f"not ruled out: {brief}",
        )  # fmt: skip
    hanging = list(
        dict.fromkeys(
            question.reason
            for option in case.options
            if not option.ruled_out or option.waits
            for question in option.questions
        )
    )
    if hanging:
        return Gate(
            6, NOT_KNOWN,
            "every method left depends on something not recorded; the rules in question: "
            f"{'; '.join(words[:1].lower() + words[1:] for words in hanging[:4])}",
            (), TRIAL,
        )  # fmt: skip
    if unrated := list(dict.fromkeys(one.name for one in case.options if one.unrated)):
        # An empty row of the table is no finding: nobody looked, so nothing is left for good.
        return Gate(
            6, NOT_KNOWN,
            "what is described here is ruled out, and no source says how this soiling responds to "
            f"{'; '.join(unrated[:4])}: ask a conservator of this material",
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

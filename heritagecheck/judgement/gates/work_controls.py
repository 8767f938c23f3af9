"""Controls, season, consent and coating that must be in place before work or panels."""

from __future__ import annotations

from collections.abc import Mapping

from heritagecheck.judgement.gates.case import Case

LEAD_EXPOSURE = {"below_action_level", "above_action_level"}
CONSENT_HELD = {"in_principle", "granted", "not_needed"}


def required(case: Case, *, listed: bool) -> dict[str, tuple[str, set[str]]]:
    """What must be in place: topic to what is said where it is not, and the answers that do."""
    evidence = case.evidence
    asked: dict[str, tuple[str, set[str]]] = {
        "controls": ("controls are not in place", {"yes"}),
        "season": ("the season is unsuitable", {"suitable"}),
        "consent": ("consent is not held", CONSENT_HELD),
    }
    if evidence.metal and not listed:
        asked["coating_order"] = ("no coating is ordered", {"yes"})
    coated = evidence.facts["coated"] == frozenset({"yes"})
    if evidence.lead != "no" and coated and not listed:
        above = evidence.finding("lead_exposure") == "above_action_level"
        if evidence.lead == "trace":
            asked["lead_exposure"] = ("lead exposure is not assessed", LEAD_EXPOSURE)
        if evidence.lead != "trace" or above:
            asked["containment"] = ("there is no containment for lead", {"yes"})
    return asked


def not_in_place(case: Case, asked: Mapping[str, tuple[str, set[str]]]) -> list[str]:
    """What is recorded as not in place."""
    found = {topic: case.evidence.finding(topic) for topic in asked}
    return [
        words
        for topic, (words, good) in asked.items()
        if found[topic] is not None and found[topic] not in good
    ]

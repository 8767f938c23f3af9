"""Gate 3: the external cause is cured."""

from __future__ import annotations

from datetime import date

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.case import CAUSE_WORDS, Case
from heritagecheck.judgement.gates.gate import (
    CLEAN,
    MONITOR,
    NOT_KNOWN,
    NOT_PASSED,
    PASSED,
    TRIAL,
    Gate,
)
from heritagecheck.survey.records import Observation
from heritagecheck.tables.expiry import valid_until


def cause_gate(case: Case) -> Gate:
    """Gate 3: the external cause, asked cause by cause."""
    evidence = case.evidence
    records = evidence.record(*CAUSE_WORDS)
    active, unknown, conditions = [], [], []
    for topic in CAUSE_WORDS:
        observation = evidence.observations.get(topic)
        finding = observation.finding if observation else None
        word = _source(topic, observation)
        if finding is None:
            unknown.append(word)
        elif finding == "active":
            active.append(word)
        elif finding == "scheduled" and observation is not None and observation.due is not None:
            if late := _too_late(observation.due, evidence):
                active.append(f"{word} ({late})")
            else:
                conditions.append(
                    f"{word}: end the cause first ({observation.owner}, by {observation.due})"
                )
        elif finding == "by_treatment" and not _ends_with_treatment(evidence, topic):
            unknown.append(f"how treatment would end the {word}")
        elif finding == "by_treatment":
            conditions.append(f"the treatment itself must end the {word}")
        elif finding == "incurable":
            conditions.append(f"{word} can't be cured: re-soiling is accepted and watched")
    if active:
        return Gate(
            3, NOT_PASSED, f"still active: {', '.join(active)}; cure this first", records, MONITOR
        )
    if unknown:
        return Gate(
            3, NOT_KNOWN, f"not recorded: {', '.join(unknown)}; investigate first", records, TRIAL
        )
    reason = "no external cause is left active"
    if conditions:
        reason = f"on condition: {'; '.join(conditions)}"
    return Gate(3, PASSED, reason, records, None, tuple(conditions))


def _source(topic: str, observation: Observation | None) -> str:
    """What a cause is called: as somebody named it by hand where no question does."""
    by_hand = observation.note if observation is not None and topic == "cause_other" else None
    return by_hand or CAUSE_WORDS[topic]


def _too_late(due: date, evidence: ZoneEvidence) -> str:
    """Why a cure that is scheduled is no condition of this advice; empty where it is one."""
    closed = evidence.survey_date
    if due < closed:
        return f"cure overdue since {due}"
    if evidence.survey_open:
        # It may be overdue by the day on which the survey closes.
        return f"cure due on {due}; it counts once the survey is closed"
    return f"not cured before {due}" if due > valid_until(CLEAN, closed) else ""


def _ends_with_treatment(evidence: ZoneEvidence, topic: str) -> bool:
    """Whether treatment can end a cause: re-coating on metal, desalination in a wall."""
    recoated = evidence.metal and evidence.finding("coating_order") == "yes"
    return recoated or (not evidence.metal and topic == "cause_salts")

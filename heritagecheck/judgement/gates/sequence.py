"""All eight gates in order: the first that does not pass sets the outcome."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.case import Case
from heritagecheck.judgement.gates.gate import (
    CLEAN,
    LEAVE,
    MONITOR,
    NOT_KNOWN,
    NOT_PASSED,
    TRIAL,
    Gate,
)
from heritagecheck.judgement.gates.method_gates import least_harm_gate, method_gate
from heritagecheck.judgement.gates.panel_gate import panel_gate
from heritagecheck.judgement.gates.zone_gates import (
    cause_gate,
    knowledge_gate,
    reason_gate,
    substrate_gate,
    value_gate,
)
from heritagecheck.sentences import a_few
from heritagecheck.tables.ages import oldest_allowed

# No reason to act, a cause still active, a substrate unfit to touch: no other answer lifts these.
LASTING_GATES = (2, 3, 4)
# At these gates a zone is left and watched where something is not known; at others, investigated.
WATCHED = {2, 8}
OF_PANELS = 7  # checks the age of each series itself
LAST = 8
STILL_OPEN = "the survey is still open, so close it and assess again"


def all_gates(case: Case) -> tuple[Gate, ...]:
    """All eight gates of one zone in order, also those after the first that does not pass."""
    gates: tuple[Callable[[Case], Gate], ...] = (
        value_gate, reason_gate, cause_gate, substrate_gate, knowledge_gate, method_gate,
        panel_gate, least_harm_gate,
    )  # fmt: skip
    evidence = case.evidence
    found = [on_valid_records(gate(case), evidence) for gate in gates]
    if evidence.survey_open:
        found = [while_open(gate) for gate in found]
    return with_known_stops(found, layers_complete=evidence.layers_complete)


def outcome_of(gates: Sequence[Gate]) -> str:
    """Outcome of the first gate that does not pass; ``"clean"`` where all pass."""
    return next((gate.outcome for gate in gates if gate.outcome is not None), CLEAN)


def on_valid_records(gate: Gate, evidence: ZoneEvidence) -> Gate:
    """
    The gate, weakened where it rests on records that are too old.

    A pass becomes *not known*, and *leave* becomes *leave and monitor*, because someone has to look
    again. Any other result stays: damage does not heal with time.
    """
    old = [] if gate.number == OF_PANELS else too_old(evidence, gate.records)
    if not old:
        return gate
    some = a_few(old)
    if gate.outcome is None:
        return replace(
            gate, result=NOT_KNOWN, conditions=(),
            reason=f"too old to rest on, so look again: {some}. They said: {gate.reason}",
            outcome=MONITOR if gate.number in WATCHED else TRIAL,
        )  # fmt: skip
    if gate.outcome == LEAVE:
        reason = f"{gate.reason}; look again, since these are too old to rest on: {some}"
        return replace(gate, reason=reason, outcome=MONITOR)
    return gate


def while_open(gate: Gate) -> Gate:
    """
    The gate while the survey is open: *clean* and *leave* become *leave and monitor*.

    How old the records will be when it closes is not known, nor what will still be recorded. Trials
    continue.
    """
    if gate.outcome == LEAVE:
        return replace(gate, reason=f"{gate.reason}; {STILL_OPEN}", outcome=MONITOR)
    if gate.number == LAST and gate.outcome is None:
        return replace(
            gate, result=NOT_KNOWN, conditions=(), brief=STILL_OPEN,
            reason=f"{STILL_OPEN}. As it is now: {gate.reason}", outcome=MONITOR,
        )  # fmt: skip
    return gate


def too_old(evidence: ZoneEvidence, records: tuple[str, ...]) -> list[str]:
    """Records made too long before the survey closed."""
    dated = ((record, *evidence.dated[record]) for record in records if record in evidence.dated)
    return [
        record
        for record, table, made in dated
        if made < oldest_allowed(table, evidence.survey_date)
    ]


def with_known_stops(gates: Sequence[Gate], *, layers_complete: bool) -> tuple[Gate, ...]:
    """
    The gates, with *leave and monitor* where investigating could not change the outcome.

    That is so where a gate is not known and a later one is known to stop. It also keeps a lost
    record from turning a known stop into a call for action.
    """
    found = []
    for gate in gates:
        behind = [
            one
            for one in gates
            if one.number in LASTING_GATES
            and one.number > gate.number
            and one.result == NOT_PASSED
            and (one.number != LASTING_GATES[0] or layers_complete)
        ]
        if gate.result == NOT_KNOWN and gate.outcome == TRIAL and behind:
            stop = behind[0]
            reason = f"{gate.reason}; whatever the answer, gate {stop.number} stops: {stop.reason}"
            found.append(replace(gate, reason=reason, outcome=MONITOR))
        else:
            found.append(gate)
    return tuple(found)

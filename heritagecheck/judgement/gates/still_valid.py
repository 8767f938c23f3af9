"""Whether the records that a gate passes on are young enough to say anything of today."""

from __future__ import annotations

from dataclasses import replace

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.gate_7_panels.verdict import NOT_KNOWN
from heritagecheck.judgement.gates.zone_gates import LEAVE, MONITOR, TRIAL, Gate
from heritagecheck.tables.validity import oldest_allowed

# Gates at which what is not known is left and watched; at the others it is investigated.
WATCHED = {2, 8}
OF_PANELS = 7  # asks each series by itself


def on_valid_records(gate: Gate, evidence: ZoneEvidence) -> Gate:
    """
    Let a gate pass, or leave for good, only on records that are not too old.

    Parameters
    ----------
    gate : Gate
        What it says, whatever the age of its records.
    evidence : ZoneEvidence
        Evidence of the zone.

    Returns
    -------
    Gate
        The gate itself, or not known where it passed on old records. *Leave* on old records becomes
        *leave and monitor*: someone has to look again. What an old record holds back stays held
        back, as no damage heals with time.
    """
    old = [] if gate.number == OF_PANELS else too_old(evidence, gate.records)
    if not old:
        return gate
    some = ", ".join(old[:3]) + (", …" if len(old) > 3 else "")
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


def too_old(evidence: ZoneEvidence, records: tuple[str, ...]) -> list[str]:
    """
    Records that were made too long before the survey closed.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    records : tuple of str
        Codes of observations, layers, tests, sets of readings, and of the zone.

    Returns
    -------
    list of str
        Their codes; `tables/validity.csv` says how old each kind may be.
    """
    found = []
    for record in records:
        table, made = evidence.dated.get(record, ("", None))
        if made is not None and made < oldest_allowed(table, evidence.survey_date):
            found.append(record)
    return found

"""Conditions in the words of an approval, ready to copy: for work, for trials, for neither yet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.gate import CLEAN, TRIAL
from heritagecheck.judgement.handover.instruction import Instruction, facts_of_work, rules_of
from heritagecheck.judgement.options import Option


def ready_conditions(
    outcome: str,
    of_gates: Sequence[str],
    option: Option | None,
    instruction: Instruction | None,
    evidence: ZoneEvidence,
    until: date,
    then: Sequence[str],
) -> tuple[str, ...]:
    """Conditions of a zone, as they can be copied into an approval."""
    found = list(of_gates)
    if option is not None and instruction is not None:
        facts = facts_of_work(outcome, option, evidence)
        found += _of_work(outcome, instruction)
        found += rules_of("condition", facts, (*option.methods, *then))
        found.append(f"do not work after {until} unless the zone is inspected again")
    elif outcome == TRIAL:
        found.append("no cleaning and no trial panel here before the open questions are settled")
    return tuple(found)


def _of_work(outcome: str, instruction: Instruction) -> Iterator[str]:
    """Method, setting and bounds, in the words of the contractor's box."""
    method, *then = (
        f"{name[0].lower()}{name[1:]}" for name in (instruction.method, *instruction.then)
    )
    if outcome == CLEAN:
        yield f"by {method} only"
    else:
        # Read as one treatment after another, a list of methods would be laid on one panel.
        order = ", ".join(f"({place}) {name}" for place, name in enumerate((method, *then), 1))
        by = f"each method on its own panels, in this order: {order}" if then else f"by {method}"
        yield f"trial panels only, {by}; no other work"
    for name, words in instruction.setting.lines:
        yield f"{name.lower()}: {words}"
    yield from instruction.start_panel
    yield "accepted by the criteria of the contractor's box, and done within its cautions"

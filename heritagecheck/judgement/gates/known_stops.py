"""What is known to stop a zone stands, whatever an earlier question leaves open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from heritagecheck.judgement.gates.gate_7_panels.verdict import NOT_KNOWN, NOT_PASSED
from heritagecheck.judgement.gates.zone_gates import MONITOR, TRIAL, Gate

# No reason to act, a cause still active, a substrate unfit to touch: no other answer undoes these.
LASTING_GATES = (2, 3, 4)


def with_known_stops(gates: Sequence[Gate], *, layers_complete: bool) -> tuple[Gate, ...]:
    """
    Let nobody be sent to investigate what no answer would free.

    Parameters
    ----------
    gates : sequence of Gate
        All eight, in order.
    layers_complete : bool
        Whether every soiling has its layer record; without it, a reason to act may be missing.

    Returns
    -------
    tuple of Gate
        The same, but where one is not known and a later one is known to stop: such a zone is left
        and watched. Losing a record never turns a known stop into a call for action.
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

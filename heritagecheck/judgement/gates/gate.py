"""One gate: its number, result, reason and records, and the outcome that it sets."""

from __future__ import annotations

from dataclasses import dataclass

LEAVE, MONITOR, TRIAL, CLEAN = "leave", "leave and monitor", "trial first", "clean"
PASSED, NOT_PASSED, NOT_KNOWN = "passed", "not passed", "not known"
QUESTIONS = {
    1: "What would be removed is not itself significant, protective or rare",
    2: "There is a reason to act, and removal would answer it",
    3: "The external cause is cured",
    4: "The substrate is fit to touch",
    5: "Lead, polychromy, metal and structure are known",
    6: "Some method is not ruled out and can be carried to the zone",
    7: "Trials here are replicated, aged and without damage",
    8: "Least harm passes the precaution; controls, season and consent are in place",
}


@dataclass(frozen=True, slots=True)
class Gate:
    """
    Result of one gate, its reason in words, and the records it rests on.

    `brief` is a shorter reason for a page; empty where the reason itself is short.
    """

    number: int
    result: str
    reason: str
    records: tuple[str, ...]
    outcome: str | None
    conditions: tuple[str, ...] = ()
    brief: str = ""

    @property
    def question(self) -> str:
        """What must hold for the gate to pass."""
        return QUESTIONS[self.number]

    def __str__(self) -> str:
        """Give number, result and reason."""
        return f"Gate {self.number} {self.result}: {self.reason}"

"""How far each task of a zone is recorded, by sign and word."""

from __future__ import annotations

from typing import NamedTuple

from heritagecheck.screens.zone.at_hand import ZoneAtHand
from heritagecheck.screens.zone.tasks import TASKS, Task
from heritagecheck.survey.records import Layer, Observation, Panel, Photo, Reading, SiteTest
from heritagecheck.survey.records.record import Record

RECORDED_AS: dict[str, type[Record]] = {
    "soiling": Layer, "findings": Observation, "tests": SiteTest, "colour": Reading,
    "panels": Panel, "photographs": Photo,
}  # fmt: skip


class State(NamedTuple):
    """How far a task is, and what is missing in it."""

    sign: str
    word: str
    missing: tuple[str, ...] = ()


OPEN, PART, RECORDED = ("–", "to do"), ("½", "part recorded"), ("✓", "recorded")
NOT_SAVED, NONE = ("!", "not saved"), ("○", "none recorded")
# Nothing may be missing in these although nobody looked.
MAY_BE_NONE = {"tests", "colour", "photographs"}
ANSWERED, NO_ANSWER = ("•", "worked out"), ("–", "not yet")


def states_of(hand: ZoneAtHand) -> dict[str, State]:
    """State of each task, by its key."""
    return {task.key: _state(hand, task) for task in TASKS}


def _state(hand: ZoneAtHand, task: Task) -> State:
    """State of one task, by what is saved; what is typed and not saved comes first."""
    forms = any(form.task.startswith(f"zone/{hand.code}/{task.key}#") for form in hand.changed())
    typed = forms or task.key in hand.in_hand
    if task.key == "answer":
        return State(*ANSWERED if hand.standing and hand.standing.assessment else NO_ANSWER)
    missing = hand.progress.open.get(task.title, ()) if hand.progress else ()
    if typed:
        return State(*NOT_SAVED, missing)
    if hand.progress is None:
        return State(*OPEN)
    begun = _begun(hand, task)
    if missing:
        return State(*PART if begun else OPEN, missing)
    return State(*RECORDED if begun or task.key not in MAY_BE_NONE else NONE)


def _begun(hand: ZoneAtHand, task: Task) -> bool:
    """Whether anything of a task is saved."""
    kind = RECORDED_AS.get(task.key)
    return kind is None or bool(hand.desk.survey.of_zone(hand.code, kind))

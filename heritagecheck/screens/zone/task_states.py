"""How far each task of a zone is: done, half-filled or open, by sign and word."""

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


OPEN, HALF, DONE = ("–", "open"), ("½", "half-filled"), ("✓", "done")


def states_of(hand: ZoneAtHand) -> dict[str, State]:
    """State of each task, by its key."""
    return {task.key: _state(hand, task) for task in TASKS}


def _state(hand: ZoneAtHand, task: Task) -> State:
    """State of one task, by what is saved; something typed and not saved makes it half-filled."""
    forms = any(form.task.startswith(f"zone/{hand.code}/{task.key}#") for form in hand.changed())
    typed = forms or task.key in hand.in_hand
    if hand.progress is None:
        return State(*HALF if typed else OPEN)
    if task.key == "answer":
        return State(*DONE if hand.standing and hand.standing.assessment else OPEN)
    missing = hand.progress.open.get(task.title, ())
    if typed or (missing and _begun(hand, task)):
        return State(*HALF, missing)
    return State(*OPEN, missing) if missing else State(*DONE)


def _begun(hand: ZoneAtHand, task: Task) -> bool:
    """Whether anything of a task is saved."""
    kind = RECORDED_AS.get(task.key)
    return kind is None or bool(hand.desk.survey.of_zone(hand.code, kind))

"""The tasks of a zone in the order of work: how far each is recorded, and its cautions."""

from __future__ import annotations

from typing import NamedTuple

from heritagecheck.screens.zone.at_hand import ZoneAtHand
from heritagecheck.survey.records import Layer, Observation, Panel, Photo, Reading, SiteTest
from heritagecheck.survey.records.record import Record
from heritagecheck.tables import codes
from heritagecheck.tables.cautions import ALWAYS, Caution, of_outcome, usual_cautions
from heritagecheck.tables.conditions import Facts
from heritagecheck.tables.row_types import Substrate


class Task(NamedTuple):
    """One task: the last word of its route, and what it is called."""

    key: str
    title: str


TASKS = (
    Task("what", "What it is"),
    Task("soiling", "Soiling"),
    Task("findings", "Findings"),
    Task("tests", "Tests"),
    Task("colour", "Colour"),
    Task("panels", "Trial panels"),
    Task("photographs", "Photographs"),
    Task("answer", "Answer"),
)


# -- How far each is recorded ----------------------------------------------------------------------

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


# -- The cautions of each --------------------------------------------------------------------------

# Hazards that a task itself meets; the others of the zone are told below it.
OF_TASK = {
    "what": {"Height", "Closed section"},
    "soiling": {"Bird droppings"},
    "findings": {"Stop work", "Closed section"},
    "tests": {"Lead", "A trace of lead", "Lead not known", "Steel strength", "Closed section"},
    "colour": {"Height", "Closed section"},
    "photographs": {"Height", "Closed section"},
}


def cautions_of_task(hand: ZoneAtHand, task: str) -> tuple[list[Caution], list[Caution]]:
    """
    Cautions that belong to a task, and all others of the zone.

    Returns
    -------
    tuple of two lists of Caution
        What is not known yet counts as if it were so.
    """
    found = [*usual_cautions(_facts(hand), ()), of_outcome(ALWAYS)]
    first = OF_TASK.get(task, set())
    return [one for one in found if one.hazard in first], [
        one for one in found if one.hazard not in first
    ]


def _facts(hand: ZoneAtHand) -> Facts:
    """What is saved of the zone, and over it what the form says now."""
    now = hand.standing.recommendation if hand.standing else None
    facts = {} if now is None else dict(now.evidence.facts)
    values = {name: hand.zone.written.value(name) for name in ("access", "exposure", "substrate")}
    typed = {name: frozenset({str(value)}) for name, value in values.items() if value is not None}
    facts |= typed
    if values["substrate"] in codes("substrates"):
        facts["kind"] = frozenset({Substrate.named(str(values["substrate"])).kind})
    if hand.soilings:
        facts["soiling"] = frozenset(hand.soilings)
    if len(typed) == len(values):
        confined = values["exposure"] == "closed_section" or values["access"] == "confined"
        facts["confined"] = frozenset({"yes" if confined else "no"})
    return facts

"""What all screens of a zone have in common: its tasks with their cautions, save and undo."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, ClassVar, NamedTuple

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import BEFORE, Form, FormScreen
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.screens.zone.at_hand import ZoneAtHand
from heritagecheck.survey.entry.record_form import title_of
from heritagecheck.survey.entry.typed_values import brief, understood
from heritagecheck.survey.records import (
    Attachment,
    Layer,
    Observation,
    Panel,
    Photo,
    Reading,
    SiteTest,
)
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.attachments import sha256_of
from heritagecheck.tables import codes
from heritagecheck.tables.cautions import ALWAYS, Caution, of_outcome, usual_cautions
from heritagecheck.tables.conditions import Facts
from heritagecheck.tables.row_types import Substrate

RECORDED_AS: dict[str, type[Record]] = {
    "soiling": Layer, "findings": Observation, "tests": SiteTest, "colour": Reading,
    "panels": Panel, "photographs": Photo,
}  # fmt: skip
OPEN, PART, RECORDED = ("–", "to do"), ("½", "part recorded"), ("✓", "recorded")
NOT_SAVED, NONE = ("!", "not saved"), ("○", "none recorded")
# Nothing may be missing in these although nobody looked.
MAY_BE_NONE = {"tests", "colour", "photographs"}
ANSWERED, NO_ANSWER = ("•", "worked out"), ("–", "not yet")
# Hazards of the task itself; the others of the zone are listed below it.
OF_TASK = {
    "what": {"Height", "Closed section"},
    "soiling": {"Bird droppings"},
    "findings": {"Stop work", "Closed section"},
    "tests": {"Lead", "A trace of lead", "Lead not known", "Steel strength", "Closed section"},
    "colour": {"Height", "Closed section"},
    "photographs": {"Height", "Closed section"},
}


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


class State(NamedTuple):
    """How far a task is, and what is missing in it."""

    sign: str
    word: str
    missing: tuple[str, ...] = ()


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


class ZoneScreen(FormScreen):
    """One task of one zone."""

    task: ClassVar[str]

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.hand = ZoneAtHand.of(desk, parts[0])
        self.forms = self.hand.forms
        # What the drafts of this screen begin with.
        self.place = f"zone/{parts[0]}/{self.task}"

    @property
    def title(self) -> str:  # type: ignore[override]
        """Code and name of the zone, and the task."""
        return f"{self.hand.code} {self.hand.zone.text['name']}".strip()

    def values(self) -> Mapping[str, Any]:
        """What every screen of a zone shows; those of a task add to it."""
        self.hand.look()
        states = states_of(self.hand)
        keys = [task.key for task in TASKS]
        place = keys.index(self.task)
        own, others = cautions_of_task(self.hand, self.task)
        return {
            "hand": self.hand, "task": TASKS[place], "tasks": TASKS, "states": states,
            "previous": TASKS[place - 1] if place else None,
            "next": TASKS[place + 1] if place + 1 < len(TASKS) else None,
            "own_cautions": own, "other_cautions": others,
            "standing": self.hand.standing, "both": self._both(), "beside": self._beside(),
            "unsaved": [form for form in self.changed_forms() if form.changed],
        }  # fmt: skip

    def changed_forms(self) -> Sequence[Form]:
        """Forms of this task, as far as something in them is not saved."""
        raise NotImplementedError

    def records(self, forms: Sequence[Form]) -> Iterable[Record]:
        """The records that forms make."""
        return [form.written.record() for form in forms]

    def taken_out(self) -> Sequence[Record]:
        """Records that are saved and no longer on the screen."""
        return ()

    def do_task(self, event: Event) -> None:
        """Go to another task; what is typed here stays as a draft."""
        self.desk.go("zone", self.hand.code, event.arg)

    def do_save(self, event: Event) -> None:
        """Save all that was changed in this task, together."""
        forms, gone = self.changed_forms(), self.taken_out()
        if not forms and not gone:
            self.desk.say("Nothing was changed here since the last save.")
            return
        if not self.desk.knows_who() or not self.known() or not self.ready(*forms):
            return
        code, records = self.hand.code, self.records(forms)
        reason = f"zone {code}: {self.task}"
        if self.desk.save(*records, what=f"zone {code}", reason=reason, in_place_of=gone):
            for form in forms:
                form.saved()
                form.look()

    def known(self) -> bool:
        """Whether the zone itself is saved, so that something can be saved of it."""
        if self.hand.record() is None:
            self.desk.refuse(
                f"Not saved yet: zone {self.hand.code} itself is not saved.",
                "Save What it is and its soilings first. What you typed here is kept.",
            )
            return False
        return True

    # -- Files ---------------------------------------------------------------------------------

    def may_keep_file(self) -> bool:
        """Whether a file can be stored with the zone; otherwise shows what comes first."""
        if not self.known():
            return False
        if not self.desk.knows_who():
            self.desk.refuse("Not taken yet: say first who you are.", "Then choose the file again.")
        return bool(self.desk.who)

    def same_file(self, file: GivenFile) -> Attachment | None:
        """The attachment that holds the same content already."""
        content = sha256_of(file.path)
        every = self.desk.survey.all(Attachment)
        return next((one for one in every if one.sha256 == content), None)

    def keep_file(self, file: GivenFile, kind: str, folder: str, what: str) -> Attachment:
        """Keep a file with the zone; its name has its checksum, as instruments use one name."""
        own, content, code = Path(file.name), sha256_of(file.path), self.hand.code
        return self.desk.survey.attach(
            file.path, kind=kind, file=f"{folder}/{own.stem}-{content[:6]}{own.suffix}", zone=code,
            taken_by=self.desk.who, who=self.desk.who, reason=f"zone {code}: {what}",
        )  # fmt: skip

    # -- Saves ---------------------------------------------------------------------------------

    def do_undo_save(self, event: Event) -> None:
        """Take back one's own last save."""
        self.desk.undo()

    def do_redo_save(self, event: Event) -> None:
        """Do it again."""
        self.desk.redo()

    def do_mine(self, event: Event) -> None:
        """Where another person saved other values, keep one's own."""
        self.forms[event.arg].choose(mine=True)

    def do_theirs(self, event: Event) -> None:
        """Take those of the other person."""
        self.forms[event.arg].choose(mine=False)

    def _beside(self) -> list[tuple[str, str]]:
        """What others typed for the same records, a sentence each; and whose can be forgotten."""
        found = []
        for one in self.desk.drafts.beside(self.desk.who, self.place):
            clock = f"{datetime.fromisoformat(one.changed_at).astimezone():%H:%M}"
            if one.who == self.desk.who:
                texts = (text for name, text in one.typed.items() if not name.endswith(BEFORE))
                said = "; ".join(text for text in texts if text and text[0] not in "[{")
                what = f"typed {brief(said)}" if said else "changed something"
                words = f"In another window you {what} at {clock}; it is not saved."
                found.append((words, f"{one.tab} {one.task}"))
            else:
                found.append(
                    (f"{one.who} typed something here at {clock} and has not saved it.", "")
                )
        return found

    def do_forget(self, event: Event) -> None:
        """Forget what was typed in another window."""
        for one in self.desk.drafts.beside(self.desk.who, self.place):
            if one.who == self.desk.who and f"{one.tab} {one.task}" == event.arg:
                self.desk.drafts.forget(one)

    def _both(self) -> list[dict[str, Any]]:
        """Records of which both changed a field: what each has in it."""
        return [
            {
                "key": form.key,
                "fields": [
                    (title_of(form.model, name), _said(form, name, form.text[name]),
                     _said(form, name, theirs))
                    for name, theirs in form.theirs.items()
                ],
            }
            for form in self.changed_forms() if form.theirs
        ]  # fmt: skip


def _said(form: Form, name: str, text: str) -> str:
    """A value as a person reads it."""
    return understood(form.model, name, text, beside=form.fixed) if text else "nothing"

"""What all screens of a zone have in common: the bar of tasks, how it stands, save and undo."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import BEFORE, Form, FormScreen
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone.at_hand import ZoneAtHand
from heritagecheck.screens.zone.tasks import TASKS, cautions_of_task, states_of
from heritagecheck.survey.entry.record_form import title_of
from heritagecheck.survey.entry.typed_values import brief, understood
from heritagecheck.survey.records.record import Record


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

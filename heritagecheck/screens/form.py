"""Fields of a record on a screen: what is typed, how it is understood, what is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from heritagecheck.screens.app import Desk, Screen
from heritagecheck.screens.live_page import Event
from heritagecheck.survey.entry.record_form import RecordForm, question_of, title_of
from heritagecheck.survey.entry.term_search import Term, matching, term_of, terms_for
from heritagecheck.survey.entry.typed_values import NotTakenError, shown, understood
from heritagecheck.survey.records import KEYS, ONE_ROW, TABLE_OF
from heritagecheck.survey.records.fields import terms_within, unit_of
from heritagecheck.survey.records.record import Record

# As many terms are shown as buttons at once; of a longer list, those that fit what is typed.
BUTTONS = 10
BEFORE = " before"  # ends the name under which a draft keeps what a field held
NOTHING: Mapping[str, object] = {}


@dataclass(frozen=True, slots=True)
class Button:
    """A term that can be pressed, and whether it is chosen."""

    code: str
    label: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Field:
    """
    One field as the screen shows it.

    `kind` is ``choice`` (a few buttons), ``search`` (a box that finds buttons), ``several`` (the
    same, for a list), ``text`` or ``long``.
    """

    name: str
    title: str
    help: str
    unit: str
    kind: str
    value: str
    echo: str
    fault: str
    buttons: tuple[Button, ...]
    chosen: tuple[Button, ...]
    needed: bool


class Form:
    """
    One record that is being written or corrected.

    Parameters
    ----------
    desk : Desk
        What all screens share.
    key : str
        Distinguishes this form from the others of the screen.
    task : str
        Key of its draft, such as ``zone/N06/what``.
    model : type of Record
        The record.
    fields : sequence of str
        Its fields in the order of the questions.
    fixed : mapping, optional
        Fields that the screen gives by itself, such as the zone.
    begun : mapping of str to str or Record, optional
        What the fields hold before anybody types: what is offered, or a kept record, whose other
        fields stay as they are.
    kept : callable, optional
        Finds the record that is kept; by its key where none is given.
    """

    def __init__(
        self, desk: Desk, key: str, task: str, model: type[Record], fields: Sequence[str], *,
        fixed: Mapping[str, object] = NOTHING, begun: Mapping[str, str] | Record | None = None,
        kept: Callable[[], Record | None] | None = None,
    ) -> None:  # fmt: skip
        self.key, self.task, self.model, self.fields = key, f"{task}#{key}", model, tuple(fields)
        self.desk, self.fixed, self.kept = desk, dict(fixed), kept or self._by_key
        desk.forms.add(self)
        begun = self._shown(begun) if isinstance(begun, Record) else begun or {}
        self.begun = {name: begun.get(name, "") for name in self.fields}
        self.text = dict(self.begun)
        # What others saved of a field that is changed here too, and what it held before both.
        self.theirs: dict[str, str] = {}
        self._base: dict[str, str] = {}
        self.recall()
        self.from_draft = self.changed
        self.told: set[str] = set()
        self._before: list[dict[str, str]] = []
        self._after: list[dict[str, str]] = []

    @property
    def changed(self) -> bool:
        """Whether something was typed that is not saved."""
        return self.text != self.begun

    def recall(self) -> None:
        """Load the stored draft, unless the record it started from was changed since."""
        draft = self.desk.drafts.read(self.desk.who, self.task)
        for name in self.fields:
            if name in draft and draft[name] != self.begun[name]:
                self.text[name] = draft[name]
                before = draft.get(f"{name}{BEFORE}", self.begun[name])
                if before != self.begun[name]:
                    self.theirs[name], self._base[name] = self.begun[name], before

    def _by_key(self) -> Record | None:
        """The saved record, if there is one."""
        table, values = TABLE_OF[self.model], self.text | self.fixed
        key = [values.get(name) for name in KEYS[table]]
        for one in self.desk.survey.all(self.model):
            if [getattr(one, name) for name in KEYS[table]] == key or table in ONE_ROW:
                return one
        return None

    def saved_text(self) -> dict[str, str] | None:
        """Field values of the saved record; None if there is none."""
        kept = self.kept()
        return None if kept is None else self._shown(kept)

    def _shown(self, kept: Record) -> dict[str, str]:
        """What the fields hold in a record; its other fields stay as they are in it."""
        self.fixed |= {name: value for name, value in kept if name not in self.fields}
        return {name: shown(getattr(kept, name)) for name in self.fields}

    def look(self) -> None:
        """Take over what is saved; where both changed a field, both stay until one is chosen."""
        now = self.saved_text()
        if now is None:
            return
        mine = {name for name in self.fields if self.text[name] != self.begun[name]}
        self.text = {name: self.text[name] if name in mine else now[name] for name in self.fields}
        both = {name for name in mine if self.begun[name] != now[name] or name in self.theirs}
        self.theirs = {name: now[name] for name in both if self.text[name] != now[name]}
        self._base = {name: self._base.get(name, self.begun[name]) for name in self.theirs}
        self.begun = now
        if mine:
            self._keep()

    def choose(self, *, mine: bool) -> None:
        """Where both changed a field, go on with what was typed here, or with what is saved."""
        theirs, self.theirs, self._base = self.theirs, {}, {}
        for name, value in theirs.items() if not mine else ():
            self.type(name, value)
        self._keep()

    def type(self, name: str, value: str) -> None:
        """Take what is typed, and keep it as a draft."""
        if self.text[name] != value:
            self._before.append(dict(self.text))
            self._after.clear()
            self.text[name] = value
            self._keep()

    def undo(self) -> None:
        """Take the last change of a field back."""
        self._turn(self._before, self._after)

    def redo(self) -> None:
        """Make it again."""
        self._turn(self._after, self._before)

    def _turn(self, back: list[dict[str, str]], forth: list[dict[str, str]]) -> None:
        if back:
            forth.append(dict(self.text))
            self.text = back.pop()
            self._keep()

    def _keep(self) -> None:
        """Keep what was changed, and what it was before, as a draft."""
        changed = [name for name in self.fields if self.text[name] != self.begun[name]]
        draft = {name: self.text[name] for name in changed}
        before = self.begun | self._base
        draft |= {f"{name}{BEFORE}": before[name] for name in changed}
        if draft:
            self.desk.drafts.write(self.desk.who, self.task, draft)
        else:
            self.desk.drafts.drop(self.desk.who, self.task)

    def saved(self, **begun: str) -> None:
        """What is typed is saved: the draft goes; the next record begins with what is given."""
        self.desk.drafts.drop(self.desk.who, self.task)
        self.begun = {name: begun.get(name, "") for name in self.fields} if begun else self.text
        self.text = dict(self.begun)
        self.theirs.clear()
        self._base.clear()
        self.told.clear()
        self._before.clear()
        self._after.clear()

    @property
    def written(self) -> RecordForm[Any]:
        """What is typed, on the way to a record."""
        return RecordForm(self.model, self.text, self.fixed)

    def wrong(self) -> dict[str, str]:
        """What is wrong, field by field."""
        return self.written.faults()

    def faults(self) -> dict[str, str]:
        """All that is wrong, field by field, now to be shown."""
        found = self.wrong()
        self.told.update(found)
        return found

    def view(self) -> list[Field]:
        """The fields as the screen shows them."""
        faults = self.wrong() if self.told else {}
        faults = {name: why for name, why in faults.items() if name in self.told}
        return [self._field(name, faults.get(name, "")) for name in self.fields]

    def _field(self, name: str, fault: str) -> Field:
        text, several = self.text[name], bool(terms_within(self.model, name))
        terms = terms_for(self.model, name, self.text | self.fixed)
        listed = [part.strip() for part in text.split(";")] if several else [text]
        meant = [term_of(terms, part) for part in listed if part]
        chosen = tuple(Button(one.code, one.label, True) for one in meant if one)
        typed = listed[-1] if listed and not (meant and meant[-1]) else ""
        long = not terms and self.model.model_fields[name].annotation in (str, str | None)
        info = self.model.model_fields[name]
        return Field(
            name=f"{self.key}.{name}", title=title_of(self.model, name),
            help=question_of(self.model, name), unit=unit_of(self.model, name),
            kind=_kind(terms, several=several, long=long), value=typed if several else text,
            echo="" if fault or terms else self._echo(name),
            fault=fault, buttons=self._buttons(terms, typed, chosen), chosen=chosen,
            needed=info.is_required(),
        )  # fmt: skip

    def _echo(self, name: str) -> str:
        """What was understood; nothing while it can't be taken yet."""
        try:
            return understood(self.model, name, self.text[name], beside=self.text | self.fixed)
        except NotTakenError:
            return ""

    def _buttons(
        self, terms: Sequence[Term], typed: str, chosen: Sequence[Button]
    ) -> tuple[Button, ...]:
        codes = {one.code for one in chosen}
        found = terms if len(terms) <= BUTTONS else matching(terms, typed, BUTTONS)
        return tuple(Button(one.code, one.label, one.code in codes) for one in found)

    def pick(self, name: str, code: str) -> None:
        """Choose a term; of a list, add it or take it out."""
        if not terms_within(self.model, name):
            self.type(name, "" if self.text[name] == code else code)
            return
        terms = terms_for(self.model, name, self.text | self.fixed)
        meant = (term_of(terms, part.strip()) for part in self.text[name].split(";"))
        codes = [one.code for one in meant if one]
        codes = [one for one in codes if one != code] if code in codes else [*codes, code]
        self.type(name, "; ".join(codes))


def _kind(terms: Sequence[Term], *, several: bool, long: bool) -> str:
    """Which control a field is given."""
    if several:
        return "several"
    if terms:
        return "choice" if len(terms) <= BUTTONS else "search"
    return "long" if long else "text"


class FormScreen(Screen):
    """A screen of forms: what is typed goes to the form named before the full stop."""

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.forms: dict[str, Form] = {}

    def typed(self, name: str, value: str) -> None:
        """Keep what was typed into a field."""
        key, _, field = name.partition(".")
        if key in self.forms and field in self.forms[key].text:
            self.forms[key].type(field, value)

    def left(self, name: str) -> None:
        """From now on the faults of this field are shown."""
        key, _, field = name.partition(".")
        if key in self.forms and self.forms[key].text.get(field):
            self.forms[key].told.add(field)

    def do_pick(self, event: Event) -> None:
        """Choose a term: `form.field=code`."""
        name, _, code = event.arg.partition("=")
        key, _, field = name.partition(".")
        self.forms[key].pick(field, code)

    def do_undo_typing(self, event: Event) -> None:
        """Take the last change of a form back."""
        self.forms[event.arg].undo()

    def do_redo_typing(self, event: Event) -> None:
        """Make it again."""
        self.forms[event.arg].redo()

    def ready(self, *forms: Form) -> bool:
        """Whether forms can be saved; else the first wrong field is named and gets the caret."""
        if both := [form for form in forms if form.theirs]:
            self.desk.refuse("Not saved yet: choose first between your values and those saved.")
            self.desk.focus = f"both-{both[0].key}"
            return False
        wrong = [(form, name, why) for form in forms for name, why in form.faults().items()]
        if wrong:
            form, name, _ = wrong[0]
            self.desk.refuse(
                f"Not saved: {len(wrong)} to correct.",
                *(f"{title_of(form.model, name)}: {why}" for form, name, why in wrong),
            )
            self.desk.focus = f"{form.key}.{name}"
        return not wrong

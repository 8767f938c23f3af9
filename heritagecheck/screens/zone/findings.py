"""The questions that apply to a zone, each with its answers as buttons."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, ClassVar

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Field, Form
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone.zone_screen import ZoneScreen
from heritagecheck.survey.entry.codes import next_codes
from heritagecheck.survey.records import Observation, SiteTest
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.zone_facts import Question, by_heading, questions_for
from heritagecheck.tables import codes

OF_A_CURE = {"owner", "due"}


@dataclass(frozen=True, slots=True)
class Asked:
    """One question as the screen shows it."""

    question: Question
    form: Form
    answers: tuple[tuple[str, str, bool], ...]
    fault: str
    fields: tuple[Field, ...]
    why_open: bool
    note_open: bool


class FindingsScreen(ZoneScreen):
    """One group of questions at a time."""

    template = "zone_findings.html"
    task: ClassVar[str] = "findings"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.group = 0
        self.opened: set[str] = set()  # what was opened by hand: `why topic` or `note topic`
        self.why = ""
        self.why_fault = ""
        for topic in codes("topics"):
            self.hand.answer(topic)

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        groups = self._groups()
        self.group = min(self.group, max(len(groups) - 1, 0))
        named = list(groups.items())
        heading, questions = named[self.group] if named else ("", [])
        return {
            **super().values(), "has_record": self.hand.record() is not None,
            "groups": [
                (heading, sum(map(self._is_answered, some)), len(some)) for heading, some in named
            ],
            "group": self.group, "heading": heading,
            "asked": [self._shown(one) for one in questions],
            "rest": len(self._unanswered(questions)),
            "rest_in_all": len(self._unanswered([q for some in groups.values() for q in some])),
            "why": self.why, "why_fault": self.why_fault,
        }  # fmt: skip

    def _groups(self) -> dict[str, list[Question]]:
        """Questions under their headings, as they follow from what is answered so far."""
        zone = self.hand.record()
        if zone is None:
            return {}
        said = [
            Observation.model_construct(topic=topic, finding=form.text["finding"])
            for topic in codes("topics")
            if (form := self.hand.answer(topic)).text["finding"]
        ]
        tests = self.desk.survey.of_zone(self.hand.code, SiteTest)
        return by_heading(questions_for(zone, said, [one for one in tests if one.panel is None]))

    def _is_answered(self, question: Question) -> bool:
        text = self.hand.answer(question.topic).text
        return bool(text["finding"] or text["not_recorded_because"].strip())

    def _unanswered(self, questions: Iterable[Question]) -> list[Question]:
        """Questions that are always shown and not answered yet."""
        return [one for one in questions if not one.only and not self._is_answered(one)]

    def _shown(self, question: Question) -> Asked:
        form = self.hand.answer(question.topic)
        chosen = form.text["finding"]
        why_open = not chosen and bool(
            form.text["not_recorded_because"] or f"why {question.topic}" in self.opened
        )
        note_open = bool(form.text["note"]) or f"note {question.topic}" in self.opened
        open_fields = OF_A_CURE if chosen == "scheduled" else set()
        open_fields |= {"not_recorded_because"} if why_open else set()
        faults = form.written.faults(form.told) if form.told else {}
        open_fields |= {"note"} if note_open or "note" in faults else set()
        return Asked(
            question, form,
            tuple((one, one.replace("_", " "), one == chosen) for one in question.findings),
            faults.get("finding", ""),
            tuple(one for one in form.view() if one.name.partition(".")[2] in open_fields)
            if open_fields else (),
            why_open, note_open,
        )  # fmt: skip

    def typed(self, name: str, value: str) -> None:
        """Keep a reason for all the rest, or what belongs to one question."""
        if name == "rest.why":
            self.why, self.why_fault = value, ""
        else:
            super().typed(name, value)

    def do_answer(self, event: Event) -> None:
        """Choose an answer, or take it away again: `topic=finding`."""
        topic, _, finding = event.arg.partition("=")
        form = self.hand.answer(topic)
        form.type("finding", "" if form.text["finding"] == finding else finding)
        if form.text["finding"]:
            form.type("not_recorded_because", "")

    def do_more(self, event: Event) -> None:
        """Open the reason or the note of a question."""
        self.opened ^= {event.arg}
        what, _, topic = event.arg.partition(" ")
        field = "note" if what == "note" else "not_recorded_because"
        self.desk.focus = f"answer-{topic}.{field}"

    def do_group(self, event: Event) -> None:
        """Show another group of questions."""
        self.group = int(event.arg)

    def do_rest(self, event: Event) -> None:
        """Give one reason for all that nobody answered, in this group or in all."""
        if not self.why.strip():
            self.why_fault = "Write why in a few words, such as not reached from this scaffold."
            self.desk.focus = "rest.why"
            return
        groups = list(self._groups().values())
        asked = groups[self.group] if event.arg == "here" else [q for some in groups for q in some]
        for question in self._unanswered(asked):
            self.hand.answer(question.topic).type("not_recorded_because", self.why.strip())
        self.why = ""

    def changed_forms(self) -> Sequence[Form]:
        """Answers that are not saved."""
        return [form for form in self.hand.changed() if form.model is Observation]

    def records(self, forms: Sequence[Form]) -> Iterable[Record]:
        """The answers; new ones get today's date and the person who saves."""
        new = [form for form in forms if form.kept() is None]
        made = next_codes(self.desk.survey, "observations", len(new), zone=self.hand.code)
        for form, code in zip(new, made, strict=True):
            form.fixed["observation"] = code
        for form in forms:
            if any(
                form.text[one] != form.begun[one] for one in ("finding", "not_recorded_because")
            ):
                form.fixed |= {"seen_on": date.today(), "seen_by": self.desk.who}
        return super().records(forms)

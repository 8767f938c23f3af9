"""The meeting as it goes: who is there, the zone in hand, what is private, and when it is shown."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from typing import Literal

from pydantic import BaseModel

from heritagecheck.survey.entry.codes import next_code
from heritagecheck.survey.entry.zone_edits import Recut, withdrawn, words_given_back
from heritagecheck.survey.meeting.privacy import (
    FACILITATOR,
    MEMBER,
    READER,
    Kind,
    Person,
    PrivateFiles,
    fits,
    hash_of,
    join_word,
    new_key,
    role_typed,
    same_word,
)
from heritagecheck.survey.records import (
    Decision,
    Meeting,
    OpenQuestion,
    Opinion,
    Signature,
    View,
    Zone,
)
from heritagecheck.survey.records.fields import literal_choices
from heritagecheck.survey.records.record import AnyRecord, Record, parts_of_list
from heritagecheck.survey.records.row_reading import record_of
from heritagecheck.survey.records.team import AFTER, BEFORE, NOT_DECIDED
from heritagecheck.survey.store.database_survey import DatabaseSurvey

FILE = "room.json"
CRITERIA = literal_choices(View, "criterion")
MOST_PEOPLE = 40
MOST_TYPED = 400  # fields that one person leaves half filled in


class PrivateAnswer(BaseModel):
    """What a member would do in a zone, until all answers are shown."""

    outcome: str
    why: str = ""
    veto: str = ""
    harm_if_left: str = ""
    harm_if_cleaned: str = ""


class RoomState(BaseModel):
    """Everything that a meeting keeps private until it is shown or over."""

    meeting: str
    held_on: date
    join: str
    facilitator_key: str
    facilitator: str = "facilitator"
    place: str = ""
    people: dict[str, Person] = {}
    zone: str = ""
    agenda: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    answers: dict[str, dict[str, PrivateAnswer]] = {}
    weights: dict[str, dict[str, float]] = {}
    weights_shown: bool = False
    # Zones that were split or joined in this meeting, and the note shown about each.
    recut: dict[str, str] = {}
    timer_ends: float = 0.0
    port: int = 0
    # Whether the survey holds the meeting under its code; every meeting of 2026.7 did.
    code: Literal["free", "claimed", "taken"] = "taken"


class Typed(BaseModel):
    """What a person typed and did not submit yet."""

    fields: dict[str, str] = {}


class Room:
    """
    A running meeting; one process owns it, and every change is on the disk once it is made.

    Private data are in files of the owner alone (`PrivateFiles`) until they are shown; then they
    go into the survey in one journalled save. Methods raise a ValueError that says why they refuse.
    """

    def __init__(self, survey: DatabaseSurvey, today: date) -> None:
        self.survey = survey
        self._files = PrivateFiles(survey)
        self._typed: dict[str, Typed] = {}
        self.changed: Callable[[], None] = lambda: None
        self.over = False
        kept = self._files.read(FILE, RoomState)
        if kept is None:
            kept = RoomState(
                meeting=next_code(survey, "meetings"), held_on=today, join=join_word(),
                facilitator_key="", code="free",
            )  # fmt: skip
            self._files.write(FILE, kept)
        self.state = kept

    @contextmanager
    def _changing(self) -> Iterator[RoomState]:
        """A copy of the state to change; it takes effect once it is on the disk."""
        self._must_go_on()
        state = self.state.model_copy(deep=True)
        yield state
        self._files.write(FILE, state)
        self.state = state
        self.changed()

    def _must_go_on(self) -> None:
        """Refuse changes after the end, which would bring private files back."""
        if self.over:
            raise ValueError("The meeting is over. Start heritagecheck workshop for another.")

    # Who is there

    def facilitator_key(self) -> str:
        """A new key for whoever leads the meeting; an older one is no longer valid."""
        key = new_key()
        with self._changing() as state:
            state.facilitator_key = hash_of(key)
        return key

    def person_of(self, key: str) -> Person | None:
        """The person with this key; None if there is none."""
        if self.state.facilitator_key and fits(key, self.state.facilitator_key):
            return Person(role=self.state.facilitator, kind=FACILITATOR)
        for person in self.state.people.values():
            if any(fits(key, hashed) for hashed in person.keys):
                return person
        return None

    def right_word(self, typed: str) -> bool:
        """Whether the join word was typed."""
        return same_word(typed, self.state.join)

    def join(self, typed: str, kind: Kind) -> tuple[Person, str]:
        """
        Let somebody in who knew the join word: the person, and the key for the browser.

        ValueError if it is not a role, or if somebody has it already.
        """
        role = role_typed(typed)
        known = {name.casefold(): name for name in self.state.people}
        taken = self.state.people.get(known.get(role.casefold(), ""))
        if role.casefold() == self.state.facilitator.casefold() or (taken and taken.keys):
            raise ValueError(
                f"Somebody joined as {role} already. Choose another role, or ask the facilitator "
                "to let you join again."
            )
        if taken and taken.kind != kind:
            raise ValueError(f"{taken.role} takes part as {taken.kind}. Join as that again.")
        if kind not in {MEMBER, READER}:
            raise ValueError("Join as a member or as a reader.")
        if len(self.state.people) >= MOST_PEOPLE and not taken:
            raise ValueError(f"{MOST_PEOPLE} people have joined, which is as many as may.")
        if kind == MEMBER:
            self._take_code(role)
        key = new_key()
        with self._changing() as state:
            person = taken or Person(role=role, kind=kind)
            person = person.model_copy(update={"keys": (hash_of(key),)})
            state.people[person.role] = person
        return person, key

    def let_join_again(self, role: str) -> None:
        """Forget the key of a person whose device was lost or changed; the role stays theirs."""
        with self._changing() as state:
            state.people[role] = state.people[role].model_copy(update={"keys": ()})

    @property
    def members(self) -> tuple[str, ...]:
        """Roles of those who decide."""
        return tuple(one.role for one in self.state.people.values() if one.kind == MEMBER)

    def _take_code(self, first: str) -> None:
        """Save the meeting with its first member, so that no other meeting gets its code."""
        if self.state.code == "taken":
            return
        self.survey.refresh()
        with self._changing() as state:
            began = self._meeting((first,))
            found = next(
                (one for one in self.survey.all(Meeting) if one.meeting == began.meeting), None
            )
            # Killed after it claimed its code, it may have put itself into the survey already.
            if found is not None and (state.code == "free" or found != began):
                state.meeting = next_code(self.survey, "meetings")
            state.code = "claimed"
        self.survey.save(
            self._meeting((first,)), who=self.state.facilitator,
            reason=f"meeting {self.state.meeting} began",
        )  # fmt: skip
        with self._changing() as state:
            state.code = "taken"

    # What a person typed and has not given yet

    def typed(self, role: str) -> Mapping[str, str]:
        """What a person left half filled in."""
        if role not in self._typed:
            kept = self._files.read(_typed_file(role), Typed)
            self._typed[role] = kept or Typed()
        return self._typed[role].fields

    def type(self, role: str, name: str, value: str) -> None:
        """Save what a person types, visible to nobody else."""
        self._must_go_on()
        fields = {**self.typed(role), name: value}
        if not value:
            del fields[name]
        if len(fields) > MOST_TYPED:
            raise ValueError("Too much is left half filled in. Give your answers first.")
        if fields != self.typed(role):
            self._files.write(_typed_file(role), Typed(fields=fields))
            self._typed[role] = Typed(fields=fields)

    def forget_typed(self, role: str, prefix: str) -> None:
        """Forget what was typed into the fields of one form."""
        left = {
            name: text for name, text in self.typed(role).items() if not name.startswith(prefix)
        }
        if left != self.typed(role):
            self._files.write(_typed_file(role), Typed(fields=left))
            self._typed[role] = Typed(fields=left)

    # The way of the meeting

    def take_up(self, zone: str) -> None:
        """Take up a zone, which everybody then has before them."""
        if zone and all(one.zone != zone for one in self.survey.all(Zone)):
            raise ValueError(f"{zone} is not a zone of this survey.")
        with self._changing() as state:
            state.zone, state.timer_ends = zone, 0.0

    def plan(self, zones: Sequence[str]) -> None:
        """Set the order in which zones are taken up."""
        with self._changing() as state:
            state.agenda = tuple(dict.fromkeys(zones))

    def name_meeting(self, *, place: str, held_on: date, facilitator: str) -> None:
        """Say where and when the meeting is held, and who leads it."""
        role = role_typed(facilitator)
        if role in self.state.people:
            raise ValueError(f"{role} joined as {self.state.people[role].kind} already.")
        with self._changing() as state:
            state.place, state.held_on, state.facilitator = place.strip(), held_on, role

    def note_port(self, port: int) -> None:
        """Remember where the meeting is served: after a restart, open pages find it there again."""
        if port != self.state.port:
            with self._changing() as state:
                state.port = port

    def set_timer(self, ends: float) -> None:
        """Set when the time is up, in seconds since 1970; 0 stops the timer."""
        with self._changing() as state:
            state.timer_ends = ends

    # Private answers

    def answered(self, zone: str) -> tuple[str, ...]:
        """Members who gave a private answer; not what it is."""
        return tuple(self.state.answers.get(zone, {}))

    def own_answer(self, role: str, zone: str) -> PrivateAnswer | None:
        """A member's own private answer."""
        return self.state.answers.get(zone, {}).get(role)

    def is_shown(self, zone: str) -> bool:
        """Whether the answers of a zone were shown."""
        return zone in self.state.shown or bool(self.opinions(zone, BEFORE))

    def answer(self, role: str, zone: str, answer: PrivateAnswer) -> None:
        """Save a member's answer in private until all are shown."""
        self._must_decide(role)
        if self.is_shown(zone):
            raise ValueError(
                f"The answers of {zone} were shown already. Give yours under After talk."
            )
        # Refuse now what could not be saved when the answers are shown.
        self._opinion(role, zone, answer, BEFORE)
        with self._changing() as state:
            state.answers.setdefault(zone, {})[role] = answer
        self.forget_typed(role, f"answer.{zone}.")

    def weigh(self, role: str, swings: Mapping[str, float]) -> None:
        """Save a member's weights in private until all are shown."""
        self._must_decide(role)
        if self.state.weights_shown:
            raise ValueError("The weights were shown already and are part of the survey now.")
        self._views(role, swings)
        if missing := [one for one in CRITERIA if one not in swings]:
            raise ValueError(f"Give a weight to each criterion. Missing: {', '.join(missing)}.")
        with self._changing() as state:
            state.weights[role] = dict(swings)
        self.forget_typed(role, "weight.")

    def show_answers(self, zone: str) -> None:
        """Show the answers of a zone: they go into the survey, all in one save."""
        given = self.state.answers.get(zone, {})
        records = [self._opinion(role, zone, one, BEFORE) for role, one in given.items()]
        if records:
            self._save(
                *records, who=self.state.facilitator,
                reason=f"meeting {self.state.meeting}: private answers of {zone} shown",
            )  # fmt: skip
        # Only after the save: a program killed in between shows the same answers again.
        with self._changing() as state:
            state.answers.pop(zone, None)
            state.shown = (*state.shown, zone)

    def show_weights(self) -> None:
        """Show the weights: they go into the survey, and all answers rest on them from then on."""
        records = [
            one for role, swings in self.state.weights.items() for one in self._views(role, swings)
        ]
        if not records:
            raise ValueError("No member gave weights yet.")
        self._save(
            *records, who=self.state.facilitator,
            reason=f"meeting {self.state.meeting}: private weights shown",
        )  # fmt: skip
        with self._changing() as state:
            state.weights, state.weights_shown = {}, True

    # What everybody sees

    def opinions(self, zone: str, given: str) -> tuple[Opinion, ...]:
        """What members of this meeting said of a zone, before or after talk."""
        return tuple(
            one
            for one in self.survey.of_zone(zone, Opinion)
            if one.meeting == self.state.meeting and one.given == given
        )

    def decision(self, zone: str) -> Decision | None:
        """What this meeting decided for a zone."""
        for one in self.survey.of_zone(zone, Decision):
            if one.meeting == self.state.meeting:
                return one
        return None

    def after_talk(self, role: str, zone: str, **values: str | None) -> None:
        """Change a member's answer after talk, or save a dissent; each in the member's own name."""
        self._must_decide(role)
        if not self.is_shown(zone):
            raise ValueError(f"The answers of {zone} were not shown yet. Give yours in private.")
        kept = next((one for one in self.opinions(zone, AFTER) if one.member == role), None)
        before: dict[str, object] = kept.model_dump() if kept else {}
        place = {"meeting": self.state.meeting, "zone": zone, "member": role, "given": AFTER}
        self._save(
            made(Opinion, {**before, **place, **values}), who=role,
            reason=f"meeting {self.state.meeting}: {zone} after talk",
        )  # fmt: skip

    def decide(self, decision: Decision) -> None:
        """Save a decision of the meeting."""
        if not self.is_shown(decision.zone):
            raise ValueError(f"Show the private answers of {decision.zone} before you decide.")
        self._save(
            decision, who=self.state.facilitator, reason=f"meeting {self.state.meeting} decided"
        )

    def recut(self, recut: Recut) -> None:
        """
        Split a zone, or join two, in one journalled save.

        Private answers that were not shown go back to their members with what they wrote, and a
        decision of this meeting is withdrawn: both were about the zones as they were.
        """
        decision = self.decision(recut.kept.zone)
        records: list[Record] = [recut.kept, *([recut.new] if recut.new else [])]
        if decision is not None and decision.outcome != NOT_DECIDED:
            records.append(withdrawn(decision, recut))
        self._save(
            *records, who=self.state.facilitator,
            reason=f"meeting {self.state.meeting}: {recut.in_words}",
            in_place_of=[recut.gone] if recut.gone else [],
        )  # fmt: skip
        for role in self.members:
            self._give_back(role, recut)
        with self._changing() as state:
            for zone in recut.before:
                state.answers.pop(zone, None)
                state.recut.pop(zone, None)
            state.recut |= recut.notes()
            state.shown = tuple(one for one in state.shown if one not in recut.before)
            state.agenda = recut.planned(state.agenda)
            state.zone = recut.kept.zone if state.zone in recut.before else state.zone

    def _give_back(self, role: str, recut: Recut) -> None:
        """Give a member's words on a zone back as a draft; an outcome is to be chosen again."""
        given = {
            zone: answers[role].why for zone, answers in self.state.answers.items()
            if role in answers
        }  # fmt: skip
        words = words_given_back(self.typed(role), given, recut.before)
        for zone in recut.before:
            self.forget_typed(role, f"answer.{zone}.")
        for zone in recut.now if words else ():
            self.type(role, f"answer.{zone}.why", words)

    def ask(self, words: str, owner: str, due: str, zone: str | None) -> None:
        """Save a question that the meeting leaves open."""
        code = next_code(self.survey, "open_questions", meeting=self.state.meeting)
        question = {
            "question": code, "meeting": self.state.meeting, "zone": zone, "words": words,
            "owner": owner, "due": due,
        }  # fmt: skip
        self._save(
            made(OpenQuestion, question),
            who=self.state.facilitator, reason=f"meeting {self.state.meeting}: left open",
        )  # fmt: skip

    def sign(self, signature: Signature) -> None:
        """Save a signature in the name of the one who signs."""
        if signature.signer != self.state.facilitator:
            self._must_decide(signature.signer)
        self._save(signature, who=signature.signer, reason=f"meeting {self.state.meeting}: signed")

    def end(self) -> None:
        """End the meeting; refuse if private answers were not shown."""
        waiting = [zone for zone, given in self.state.answers.items() if given]
        if waiting or self.state.weights:
            left = ", ".join([*waiting, *(["the weights"] if self.state.weights else [])])
            raise ValueError(f"Private answers were not shown yet: {left}. Show them first.")
        self._save(who=self.state.facilitator, reason=f"meeting {self.state.meeting} ended")
        for role in (*self.state.people, self.state.facilitator):
            self._files.drop(_typed_file(role))
        self._files.drop(FILE)
        self._typed.clear()
        self.over = True

    def _must_decide(self, role: str) -> None:
        """Refuse whoever only listens."""
        if role not in self.members:
            raise ValueError(f"Only members give answers and sign; {role} is not a member.")

    def _opinion(self, role: str, zone: str, answer: PrivateAnswer, given: str) -> Opinion:
        """A private answer as the record it becomes."""
        return made(
            Opinion,
            {"meeting": self.state.meeting, "zone": zone, "member": role, "given": given,
             **answer.model_dump()},
        )  # fmt: skip

    def _views(self, role: str, swings: Mapping[str, float]) -> list[View]:
        """Weights of a member as the records they become."""
        return [
            made(View, {"member": role, "criterion": criterion, "swing": swing})
            for criterion, swing in swings.items()
        ]

    def _save(
        self, *records: Record, who: str, reason: str, in_place_of: Sequence[Record] = ()
    ) -> None:
        """Save records, with the record of the meeting if that has changed."""
        self.survey.refresh()
        state = self.state
        kept = next((one for one in self.survey.all(Meeting) if one.meeting == state.meeting), None)
        # A meeting names everybody who ever took part in it.
        members = dict.fromkeys((*parts_of_list(kept.members if kept else ""), *self.members))
        if members:
            meeting = self._meeting(tuple(members))
            records = records if meeting == kept else (meeting, *records)
        if records:
            self.survey.save(*records, who=who, reason=reason, in_place_of=in_place_of)
        self.changed()

    def _meeting(self, members: Sequence[str]) -> Meeting:
        """The record of this meeting."""
        state = self.state
        readers = [one.role for one in state.people.values() if one.kind == READER]
        return Meeting(
            meeting=state.meeting, held_on=state.held_on, facilitator=state.facilitator,
            members="; ".join(members), place=state.place or None,
            readers="; ".join(readers) or None,
        )  # fmt: skip


def made(model: type[AnyRecord], values: Mapping[str, object]) -> AnyRecord:
    """A record of some values; a SurveyError in the words of the form where it can't be."""
    return record_of(model, values, nothing="kept")


def _typed_file(role: str) -> str:
    """Name of the file for what one person typed."""
    return f"typed-{hash_of(role)[:24]}.json"

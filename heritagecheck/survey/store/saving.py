"""Saving into a survey's database: records saved or deleted, saves undone or redone, conflicts."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

import sqlalchemy as sa

from heritagecheck.errors import Fault, Message, SurveyError
from heritagecheck.sentences import count_of
from heritagecheck.survey.checks.contradictions import contradictions
from heritagecheck.survey.records.fields import part_of_message
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import record_of
from heritagecheck.survey.store import journal
from heritagecheck.survey.store.journal import (
    Change,
    Place,
    Save,
    as_at,
    kind_of,
    last_change,
    place_of,
    shown_key,
    text_of,
    text_or_none,
)
from heritagecheck.survey.store.rows import Now, bring_in, links_to, merged, now
from heritagecheck.survey.store.working_copy import WorkingCopy, Writing


class Counts(NamedTuple):
    """How many records a save made new, changed, and found as they were."""

    new: int
    changed: int
    same: int


@dataclass(frozen=True, slots=True)
class Imported:
    """
    What an import took, what it left to be corrected, and what was changed since its export.
    """

    new: int
    changed: int
    same: int
    refused: int
    to_correct: Path | None
    not_read: tuple[str, ...] = ()
    differences: tuple[str, ...] = ()

    def __str__(self) -> str:
        """Say it in a sentence, and list what was not read of older settings."""
        taken = (
            f"{count_of(self.new, 'new record')}, {self.changed:,} changed, {self.same:,} unchanged"
        )
        if self.refused:
            taken += f"; {count_of(self.refused, 'row')} to correct, written to {self.to_correct}"
        for one in self.differences:
            taken += f"\n  {one}. If that is not intended, undo it and ask for the tables again"
        if not self.not_read:
            return taken
        said = "".join(f"\n  {line}" for line in self.not_read)
        return f"{taken}; settings were read from their wording, except these:{said}"


def save(
    copy: WorkingCopy, records: Sequence[Record], made: Save, in_place_of: Sequence[Record] = ()
) -> tuple[Record, ...]:
    """
    Validate and save records; returns them as saved.

    The records `in_place_of` which they come are deleted in the same save.
    """
    wanted = {place_of(record): record for record in map(looked_at, records)}
    if len(wanted) < len(records):
        twice = Counter(map(place_of, records)).most_common(1)[0][0]
        fault = Fault(twice[0], None, "record", twice[1], "was given twice in one save")
        raise SurveyError([fault], nothing="saved")
    keep(copy, wanted, made, in_place_of=in_place_of)
    return tuple(wanted.values())


def keep(
    copy: WorkingCopy,
    wanted: Mapping[Place, Record],
    made: Save,
    *,
    in_place_of: Sequence[Record] = (),
    replace: bool = False,
    agreed_at: bytes | None = None,
) -> Counts:
    """
    Save validated records, in place of others: all of it or nothing.

    With `replace`, also over records that were changed since the survey was read. `agreed_at` is
    the journal's head at which the records were last found free of contradictions; they are checked
    again only if others saved since.
    """
    gone = {place: one for one in in_place_of if (place := place_of(one)) not in wanted}
    with copy.writing() as writing:
        connection = writing.connection
        before = now(connection, [*wanted, *gone])
        changes = [
            Change(*place, text_or_none(was), record)
            for place, record in wanted.items()
            if (was := before[place].record) != record
        ]
        new = sum(change.old is None for change in changes)
        counts = Counts(new, len(changes) - new, len(wanted) - len(changes))
        changes += [
            Change(*place, text_of(was), None)
            for place in gone
            if (was := before[place].record) is not None
        ]
        if not replace:
            _refuse_overwriting(copy, connection, changes, before, gone)
        agrees = agreed_at == journal.head(connection)[1]
        _write(writing, made, changes, before, agrees=agrees)
    return counts


def delete(copy: WorkingCopy, records: Sequence[Record], made: Save) -> None:
    """Take records out of the survey; they stay in the database and in the journal."""
    with copy.writing() as writing:
        connection = writing.connection
        before = now(connection, map(place_of, records))
        changes = []
        for record in records:
            place = place_of(record)
            kept = before[place].record
            if kept is None:
                fault = Fault(place[0], None, "record", place[1], "there is no such record")
                raise SurveyError([fault], nothing="deleted")
            if not copy.knows(place, before[place].version):
                faults = conflict(connection, place, record, before[place], copy.last_seen(place))
                raise SurveyError(faults, nothing="deleted")
            changes.append(Change(*place, text_of(kept), None))
        _write(writing, made, changes, before, nothing="deleted")


def undo_or_redo(copy: WorkingCopy, action: Literal["undo", "redo"], made: Save) -> str:
    """Undo or redo one's own last save, by entries that do the opposite; say so in a sentence."""
    done = {"undo": "undone", "redo": "redone"}[action]
    with copy.writing() as writing:
        connection = writing.connection
        save = journal.next_save(connection, action, made.who)
        if save is None:
            fault = Fault("journal", None, "who", made.who, f"has nothing to {action}")
            raise SurveyError([fault], nothing=done)
        changes = [change for _, change, _, _ in journal.entries(connection, save=save)]
        if action == "undo":
            changes = [Change(c.table, c.key, c.new, c.old) for c in reversed(changes)]
        # As records, so that what an older release wrote is read in the fields of today.
        changes = [Change(c.table, c.key, c.old_today, c.record) for c in changes]
        before = now(connection, ((change.table, change.key) for change in changes))
        refuse_if_changed(connection, changes, before, done)
        again = dataclasses.replace(
            made, reason=made.reason or f"{action} of save {save}", action=action, of_save=save
        )
        _write(writing, again, changes, before, nothing=done)
    return f"Save {save} {done}: {_in_words(Counter(change.table for change in changes))}"


def _in_words(counts: Mapping[str, int]) -> str:
    """How many records of which kinds, such as ``1 zone record, 3 reading records``."""
    return ", ".join(
        count_of(count, f"{kind_of(table)} record") for table, count in sorted(counts.items())
    )


def _write(
    writing: Writing,
    made: Save,
    changes: Sequence[Change],
    before: dict[Place, Now],
    *,
    nothing: str = "saved",
    agrees: bool = False,
) -> None:
    """Write changes into the tables and the journal, if they agree with what is there."""
    if not changes:
        return
    connection = writing.connection
    if not agrees and (faults := list(disagreeing(connection, changes))):
        raise SurveyError(faults, nothing=nothing)
    first = journal.write(connection, made, changes)
    bring_in(connection, first, changes, before)
    gone = [(change.table, change.key) for change in changes if change.after is None]
    if faults := list(links_to(connection, gone)):
        raise SurveyError(faults, nothing=nothing)
    writing.saved.append((first, changes))


def _refuse_overwriting(
    copy: WorkingCopy,
    connection: sa.Connection,
    changes: Iterable[Change],
    before: Mapping[Place, Now],
    gone: Mapping[Place, Record],
) -> None:
    """Refuse to save over what somebody else saved since this survey was read."""
    faults: list[Fault] = []
    for change in changes:
        place = change.table, change.key
        if change.old is not None and not copy.knows(place, before[place].version):
            mine = gone.get(place, change.record)
            faults += conflict(connection, place, mine, before[place], copy.last_seen(place))
    if faults:
        raise SurveyError(faults, nothing="saved")


def looked_at(record: Record) -> Record:
    """The record, validated again: a copy with changed values was not validated."""
    return record_of(type(record), record.model_dump())


def disagreeing(connection: sa.Connection, changes: Sequence[Change]) -> Iterator[Fault]:
    """What would be wrong in the survey if some changes were made."""
    wanted = {(change.table, change.key): change.record for change in changes}
    records = merged(connection, wanted)
    numbers = {table: [0] * len(found) for table, found in records.items()}
    for fault in contradictions(records, numbers, "", frozenset()):
        yield dataclasses.replace(fault, row=None)


def refuse_if_changed(
    connection: sa.Connection, changes: Iterable[Change], before: Mapping[Place, Now], nothing: str
) -> None:
    """Refuse to undo or redo over what was changed since."""
    faults: list[Fault] = []
    for change in changes:
        kept = before[change.table, change.key]
        if text_or_none(kept.record) != change.old:
            who, when = last_change(connection, kept.version)
            key = shown_key(change.key)
            faults.append(
                Fault(change.table, None, "record", key, f"was changed since by {who} at {when}")
            )
    if faults:
        raise SurveyError(faults, nothing=nothing)


def conflict(
    connection: sa.Connection, place: Place, mine: Record | None, kept: Now, seen: int
) -> list[Fault]:
    """Say field by field what somebody else changed since, and what would overwrite it."""
    who, when = last_change(connection, kept.version)
    was = as_at(connection, place, seen)
    theirs = kept.record
    assert mine is not None
    assert theirs is not None
    key = shown_key(place[1])
    return [
        Fault(
            place[0], None, field, shown(getattr(mine, field)),
            Message(
                f"{key} was saved by {who} at {when} with ",
                part_of_message(type(theirs), field, shown(getattr(theirs, field))),
                " here. Refresh, look at both values, and save again",
            ),
        )
        for field in type(theirs).model_fields
        if getattr(mine, field) != getattr(theirs, field)
        and (was is None or getattr(was, field) != getattr(theirs, field))
    ] or [Fault(place[0], None, "record", key, f"was saved by {who} at {when}")]  # fmt: skip


def shown(value: object) -> str:
    """A value as a message shows it."""
    return "nothing" if value is None else str(value)

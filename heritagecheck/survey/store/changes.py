"""What a save changes in a survey, who made it, and what speaks against it."""

from __future__ import annotations

import dataclasses
import getpass
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import sqlalchemy as sa
from pydantic import ValidationError

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.checks.contradictions import contradictions
from heritagecheck.survey.records import TABLE_OF
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import row_faults
from heritagecheck.survey.store import journal
from heritagecheck.survey.store.database import SAVES
from heritagecheck.survey.store.journal import Change, Save, key_of, shown_key, text_of
from heritagecheck.survey.store.related import Place, merged
from heritagecheck.survey.store.rows import Now, as_at, last_change


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
        taken = f"{self.new} records new, {self.changed} changed, {self.same} as they were"
        if self.refused:
            taken += f"; {self.refused} rows to be corrected, written to {self.to_correct}"
        for one in self.differences:
            taken += f"\n  {one}. Is that meant? If not, undo and ask for the tables again"
        if not self.not_read:
            return taken
        said = "".join(f"\n  {line}" for line in self.not_read)
        return f"{taken}; settings were read from their words, but for these:{said}"


def looked_at(record: Record) -> Record:
    """
    A record, looked at anew: a copy with other values was never looked at.

    Parameters
    ----------
    record : Record
        The record.

    Returns
    -------
    Record

    Raises
    ------
    SurveyError
        A value that its field does not take.
    """
    values = record.model_dump()
    try:
        return type(record).model_validate(values)
    except ValidationError as error:
        faults = row_faults(error, TABLE_OF[type(record)], None, values)
        raise SurveyError(faults, nothing="saved") from None


def made_by(who: str | None, reason: str) -> Save:
    """
    Who saves, now, and why.

    Parameters
    ----------
    who : str or None
        By role; the name with which the computer knows the user where none is given.
    reason : str
        Why.

    Returns
    -------
    Save
    """
    when = datetime.now(UTC).isoformat(timespec="milliseconds")
    return Save(when, who or _user(), reason)


def _user() -> str:
    """The name with which the computer knows whoever runs this; in a container some have none."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "a user without a name"


def place_of(record: Record) -> Place:
    """
    Table and key of a record.

    Parameters
    ----------
    record : Record
        The record.

    Returns
    -------
    tuple of str
    """
    table = TABLE_OF[type(record)]
    return table, key_of(table, record)


def text_or_none(record: Record | None) -> str | None:
    """
    A record as the journal writes it.

    Parameters
    ----------
    record : Record or None
        The record.

    Returns
    -------
    str or None
        None for none.
    """
    return None if record is None else text_of(record)


def disagreeing(connection: sa.Connection, changes: Sequence[Change]) -> Iterator[Fault]:
    """
    What would be wrong in the survey if some changes were made.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    changes : sequence of Change
        The changes.

    Yields
    ------
    Fault
    """
    wanted = {(change.table, change.key): change.record for change in changes}
    records = merged(connection, wanted)
    numbers = {table: [0] * len(found) for table, found in records.items()}
    for fault in contradictions(records, numbers, "", frozenset()):
        yield dataclasses.replace(fault, row=None)


def next_save(connection: sa.Connection, action: str, who: str) -> int | None:
    """
    The save that is to be undone or redone.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    action : {"undo", "redo"}
        Which of the two.
    who : str
        Whose save.

    Returns
    -------
    int or None
        None where there is none.
    """
    asked = sa.select(SAVES.c.save, SAVES.c.action, SAVES.c.of_save).where(SAVES.c.who == who)
    found = connection.execute(asked.order_by(SAVES.c.save))
    done, undone = journal.undone_and_done((row.save, row.action, row.of_save) for row in found)
    stack = done if action == "undo" else undone
    return stack[-1] if stack else None


def refuse_if_changed(
    connection: sa.Connection, changes: Iterable[Change], before: Mapping[Place, Now], nothing: str
) -> None:
    """
    Refuse to undo or redo over what was changed since.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    changes : iterable of Change
        What would be done.
    before : mapping of (table, key) to Now
        The records as they are kept now.
    nothing : str
        What was not done, for the message.

    Raises
    ------
    SurveyError
        A record is not as that save left it.
    """
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
    """
    Say field by field what somebody else changed since, and what it would be overwritten with.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    place : (table, key)
        The record.
    mine : Record or None
        As it was to be saved.
    kept : Now
        As it is kept.
    seen : int
        The last entry of the journal that whoever saves has seen.

    Returns
    -------
    list of Fault
        No field that only whoever saves has changed.
    """
    who, when = last_change(connection, kept.version)
    was = as_at(connection, place, seen)
    theirs = kept.record
    assert mine is not None
    assert theirs is not None
    key = shown_key(place[1])
    return [
        Fault(
            place[0], None, field, shown(getattr(mine, field)),
            f"{key} was saved by {who} at {when} with {shown(getattr(theirs, field))} here. "
            "Refresh, look at both values, and save again",
        )
        for field in type(theirs).model_fields
        if getattr(mine, field) != getattr(theirs, field)
        and (was is None or getattr(was, field) != getattr(theirs, field))
    ] or [Fault(place[0], None, "record", key, f"was saved by {who} at {when}")]  # fmt: skip


def shown(value: object) -> str:
    """
    A value as a message shows it.

    Parameters
    ----------
    value : object
        Value of a field.

    Returns
    -------
    str
        ``"nothing"`` where there is none.
    """
    return "nothing" if value is None else str(value)

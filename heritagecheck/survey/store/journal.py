"""The journal of a survey: one entry for each record saved, each holding the hash of the last."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, NamedTuple

import sqlalchemy as sa

from heritagecheck.survey.records import KEYS, ONE_ROW, TABLES
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.settings.old_settings import as_now
from heritagecheck.survey.store.database import (
    HEAD,
    JOURNAL,
    KEPT,
    SAVES,
    DamagedError,
    insert_rows,
)
from heritagecheck.survey.store.record_of_row import stored

NONE_YET = bytes(32)
# Fewer digits of a hash might be met by chance.
FEWEST_DIGITS, ALL_DIGITS = 16, 64
HEXADECIMAL = frozenset("0123456789abcdef")
# As `json.dumps` with the same words, which makes an encoder for each call.
_quoted = json.JSONEncoder(ensure_ascii=False).encode
_written = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode
COLUMNS = ("entry", "when", "who", "table", "key", "old", "new", "reason", "previous")


@dataclass(frozen=True, slots=True)
class Change:
    """One record as it was, as text, and as it shall be; None where it is not there."""

    table: str
    key: str
    old: str | None
    after: Record | str | None

    @property
    def new(self) -> str | None:
        """As it shall be, as text: made when it is asked for, or an import would hold it all."""
        return text_of(self.after) if isinstance(self.after, Record) else self.after

    @property
    def old_today(self) -> str | None:
        """As it was, written in the fields of today."""
        return None if self.old is None else text_of(record_of(self.table, self.old))

    @property
    def record(self) -> Record | None:
        """As it shall be, as a record."""
        return record_of(self.table, self.after) if isinstance(self.after, str) else self.after


@dataclass(frozen=True, slots=True)
class Save:
    """Who made some changes at once, when and why; and which save they undo or redo."""

    made_at: str
    who: str
    reason: str
    action: str = "save"
    of_save: int | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether the journal is whole, and the survey what it says; what is odd about it besides."""

    entries: int
    head: str
    first_bad: int | None
    why: str
    odd: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Nothing was found amiss."""
        return not self.why

    def __bool__(self) -> bool:
        return self.ok

    def __str__(self) -> str:
        """Say it in a sentence."""
        if self.ok and not self.entries:
            return "The journal is whole: nothing was saved yet"
        if self.ok:
            return f"The journal is whole: {self.entries} entries, the last with hash {self.head}"
        where = "" if self.first_bad is None else f"Entry {self.first_bad}: "
        return f"{where}{self.why}"


def key_of(table: str, record: Record) -> str:
    """
    What tells a record of a table from the others, as the journal writes it.

    Parameters
    ----------
    table : str
        Name of the table.
    record : Record
        The record.

    Returns
    -------
    str
        JSON list; empty for a table of exactly one record.
    """
    if table in ONE_ROW:
        return "[]"
    return f"[{', '.join([_quoted(getattr(record, field)) for field in KEYS[table]])}]"


def shown_key(key: str) -> str:
    """
    A key as a message shows it.

    Parameters
    ----------
    key : str
        What `key_of` gave.

    Returns
    -------
    str
    """
    return ", ".join(map(str, json.loads(key)))


def text_of(record: Record) -> str:
    """
    A record as the journal writes it.

    Parameters
    ----------
    record : Record
        The record.

    Returns
    -------
    str
        JSON, without the fields that hold nothing.
    """
    return record.model_dump_json(exclude_none=True)


def record_of(table: str, text: str) -> Record:
    """
    A record from what the journal wrote.

    Parameters
    ----------
    table : str
        Name of the table.
    text : str
        What `text_of` gave, in this release or an older one.

    Returns
    -------
    Record
        In the fields of today.
    """
    return TABLES[table].model_validate(as_now(table, json.loads(text)))


def entry_hash(entry: int, change: Change, save: Save, previous: bytes) -> bytes:
    """
    SHA-256 of one entry, with all that is known of it.

    Parameters
    ----------
    entry : int
        Its number.
    change : Change
        What it says.
    save : Save
        Who, when and why.
    previous : bytes
        Hash of the entry before.

    Returns
    -------
    bytes
    """
    parts = [
        entry, save.made_at, save.who, change.table, change.key, change.old, change.new,
        save.reason, save.action, save.of_save, previous.hex(),
    ]  # fmt: skip
    return sha256(_written(parts).encode()).digest()


def head(connection: sa.Connection, *, lock: bool = False) -> tuple[int, bytes]:
    """
    Number and hash of the last entry.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    lock : bool
        Keep others from writing until this connection's transaction ends.

    Returns
    -------
    tuple of int and bytes
    """
    asked = sa.select(HEAD.c.entry, HEAD.c.hash)
    found = connection.execute(asked.with_for_update() if lock else asked).all()
    if len(found) != 1:
        raise DamagedError(f"the journal has {len(found) or 'no'} heads; it must have one")
    return int(found[0].entry), bytes(found[0].hash)


def write(connection: sa.Connection, save: Save, changes: Sequence[Change]) -> int:
    """
    Add entries to the journal.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Within a transaction that writes, with the head locked.
    save : Save
        Who, when and why.
    changes : sequence of Change
        At least one.

    Returns
    -------
    int
        Number of the first entry; it names the save as well.
    """
    last, previous = head(connection)
    first = last + 1
    connection.execute(
        sa.insert(SAVES),
        {
            "save": first, "made_at": save.made_at, "who": save.who, "reason": save.reason,
            "action": save.action, "of_save": save.of_save,
        },
    )  # fmt: skip

    def chained() -> Iterator[tuple[object, ...]]:
        nonlocal previous
        for entry, change in enumerate(changes, start=first):
            text = change.new
            yield entry, first, change.table, change.key, change.old, text, previous
            written = Change(change.table, change.key, change.old, text)
            previous = entry_hash(entry, written, save, previous)

    insert_rows(connection, JOURNAL, chained())
    connection.execute(sa.update(HEAD).values(entry=last + len(changes), hash=previous))
    return first


def entries(
    connection: sa.Connection, *, save: int | None = None
) -> Iterator[tuple[int, Change, Save, bytes]]:
    """
    Walk over the journal in its order.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    save : int, optional
        Only the entries of this save.

    Yields
    ------
    tuple of int, Change, Save and bytes
        Number, what changed, who and when, and the hash of the entry before.
    """
    asked = (
        sa.select(JOURNAL, SAVES)
        .join_from(JOURNAL, SAVES, JOURNAL.c.save == SAVES.c.save, isouter=True)
        .order_by(JOURNAL.c.entry)
    )
    if save is not None:
        asked = asked.where(JOURNAL.c.save == save)
    # Closed also where whoever asks stops early: a server keeps an open cursor otherwise.
    with connection.execute(asked, execution_options={"yield_per": 5000}) as found:
        for row in found.mappings():
            change = Change(
                row[JOURNAL.c.of_table], row[JOURNAL.c.record_key], row[JOURNAL.c.old],
                row[JOURNAL.c.new],
            )  # fmt: skip
            made = Save(
                row[SAVES.c.made_at], row[SAVES.c.who], row[SAVES.c.reason],
                row[SAVES.c.action], row[SAVES.c.of_save],
            )  # fmt: skip
            yield row[JOURNAL.c.entry], change, made, bytes(row[JOURNAL.c.previous])


def rows(connection: sa.Connection) -> Iterator[tuple[Any, ...]]:
    """
    The journal as rows of `COLUMNS`.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.

    Yields
    ------
    tuple
    """
    for entry, change, save, previous in entries(connection):
        key = shown_key(change.key)
        yield (
            entry, save.made_at, save.who, change.table, key, change.old, change.new,
            save.reason, previous.hex(),
        )  # fmt: skip


def as_printed(given: str) -> str:
    """
    A hash that a report printed, as somebody typed it.

    Parameters
    ----------
    given : str
        Its first digits or all of them, in capital or small letters.

    Returns
    -------
    str
        In small letters.

    Raises
    ------
    ValueError
        Too few or too many digits, or signs that are none.
    """
    digits = given.strip().lower()
    if wrong := sorted(set(digits) - HEXADECIMAL):
        raise ValueError(
            f"A printed hash holds only 0 to 9 and a to f; {given} has {', '.join(wrong)}."
        )
    if not FEWEST_DIGITS <= len(digits) <= ALL_DIGITS:
        raise ValueError(
            f"Give a printed hash, or at least its first {FEWEST_DIGITS} digits; {given} has "
            f"{len(digits)}, where a whole one has {ALL_DIGITS}."
        )
    return digits


class _Told(NamedTuple):
    """A record as the journal says it is, and the entries that made and last changed it."""

    text: str | None
    first: int
    last: int


def verified(connection: sa.Connection, *, printed: str | None = None) -> Verdict:
    """
    Read the whole journal and hold the survey against it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database, at one moment.
    printed : str, optional
        Hash that a report printed: it must be one of this journal's.

    Returns
    -------
    Verdict
        The first entry that is bad, if one is.

    Raises
    ------
    ValueError
        What was printed is no hash, or too few of its digits.

    Notes
    -----
    The chain shows that an entry was changed, left out or put in, unless all after it were written
    anew as well, or the last ones cut off and the head with them. Against that helps only a hash
    that was kept elsewhere, such as in a report.
    """
    printed = None if printed is None else as_printed(printed)
    last, last_hash = head(connection)
    expected, number = NONE_YET, 0
    told: dict[tuple[str, str], _Told] = {}
    reached = set()
    for entry, change, save, previous in entries(connection):
        number += 1
        if entry != number:
            return Verdict(last, last_hash.hex(), number, "this entry is missing")
        if previous != expected:
            return Verdict(
                last, last_hash.hex(), max(number - 1, 1),
                f"it was changed after it was written: entry {number} holds another hash of it",
            )  # fmt: skip
        before = told.get((change.table, change.key))
        if (before and before.text) != change.old:
            wrong = "its old value is not what the entries before it left"
            return Verdict(last, last_hash.hex(), number, wrong)
        first = before.first if before else number
        told[change.table, change.key] = _Told(change.new, first, number)
        expected = entry_hash(entry, change, save, previous)
        reached.add(expected.hex())
    if number != last or expected != last_hash:
        what = "entries after it are missing" if number < last else "it was changed or put in"
        return Verdict(last, last_hash.hex(), max(number, 1), f"{what}: it is not the last written")
    if printed is not None and not any(known.startswith(printed) for known in reached):
        return Verdict(last, last_hash.hex(), None, f"no entry has the printed hash {printed}")
    why = _differs(connection, told)
    return Verdict(last, last_hash.hex(), None, why)


def _differs(connection: sa.Connection, told: dict[tuple[str, str], _Told]) -> str:
    """Name the first record that is not what the journal says; empty where all are."""
    left = {place for place, one in told.items() if one.text is not None}
    for table in TABLES:
        for found in stored(connection, table, KEPT[table].c.deleted == 0):
            place = table, key_of(table, found.record)
            if told.get(place) != (text_of(found.record), found.first, found.version):
                return f"record {place[1]} of {table} is not what the journal says"
            left.discard(place)
    if left:
        table, key = min(left)
        return f"record {key} of {table} is missing, and the journal says nothing of that"
    return ""


def undone_and_done(found: Iterable[tuple[int, str, int | None]]) -> tuple[list[int], list[int]]:
    """
    Saves that can be undone, and that can be done again.

    Parameters
    ----------
    found : iterable of (int, str, int or None)
        Saves in order: number, what it did (``save``, ``undo``, ``redo``), and to which save.

    Returns
    -------
    tuple of list of int
        Saves that stand, oldest first; saves that were undone, the last to be redone first at the
        end. Whatever is saved anew ends what could have been redone.
    """
    done: list[int] = []
    undone: list[int] = []
    for number, action, of_save in found:
        if action == "save":
            done.append(number)
            undone.clear()
        elif action == "undo":
            done.pop()
            undone.append(int(of_save or 0))
        else:
            undone.pop()
            done.append(int(of_save or 0))
    return done, undone

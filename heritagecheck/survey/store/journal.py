"""The journal of a survey: one entry for each record saved, each holding the hash of the last."""

from __future__ import annotations

import getpass
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

import sqlalchemy as sa

from heritagecheck.survey.records import KEYS, ONE_ROW, TABLE_OF, TABLES
from heritagecheck.survey.records.fields import title_of
from heritagecheck.survey.records.old_settings import as_now
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database import insert_rows
from heritagecheck.survey.store.database_errors import DamagedError
from heritagecheck.survey.store.schema import HEAD, JOURNAL, SAVES

# Table and key of a record, as the journal writes them.
Place = tuple[str, str]

# A text as `json.dumps(text, ensure_ascii=False)` writes it, without what that does around it.
_quoted = json.encoder.encode_basestring
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
        """New record as text, made only when needed, as an import would hold all in memory."""
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


def key_of(table: str, record: Record) -> str:
    """Key of a record within its table, as the journal writes it."""
    if table in ONE_ROW:
        return "[]"
    return f"[{', '.join([_quoted(getattr(record, field)) for field in KEYS[table]])}]"


def kind_of(table: str) -> str:
    """What a record of a table is, in words, such as ``site test``."""
    return re.sub(r"(?<!^)(?=[A-Z])", " ", TABLES[table].__name__).lower()


def shown_key(key: str) -> str:
    """A key as a message shows it."""
    return ", ".join(map(str, json.loads(key)))


def text_of(record: Record) -> str:
    """A record as the journal writes it."""
    return record.model_dump_json(exclude_none=True)


def what_changed(table: str, old: str | None, new: str | None) -> str:
    """
    What one entry changed, field by field, in words.

    Examples
    --------
    >>> what_changed("zones", '{"zone":"N06","area_m2":4.0}', '{"zone":"N06","area_m2":4.5}')
    'Area: 4.0, now 4.5'
    """
    if old is None or new is None:
        return "new" if old is None else "taken out"
    before, after = json.loads(old), json.loads(new)
    return "; ".join(
        f"{title_of(TABLES[table], name) if name in TABLES[table].model_fields else name}: "
        f"{before.get(name, 'nothing')}, now {after.get(name, 'nothing')}"
        for name in dict.fromkeys((*before, *after))
        if before.get(name) != after.get(name)
    )


def record_of(table: str, text: str) -> Record:
    """A record from what the journal wrote."""
    return TABLES[table].model_validate(as_now(table, json.loads(text)))


def made_by(who: str | None, reason: str) -> Save:
    """Who saves, now, and why."""
    when = datetime.now(UTC).isoformat(timespec="milliseconds")
    return Save(when, legible(who or _user()), legible(reason))


def legible(text: str) -> str:
    """A text with question marks for what the system could not read of a name: UTF-8 has none."""
    return text.encode("utf-8", "replace").decode()


def place_of(record: Record) -> Place:
    """Table and key of a record."""
    table = TABLE_OF[type(record)]
    return table, key_of(table, record)


def text_or_none(record: Record | None) -> str | None:
    """A record as the journal writes it."""
    return None if record is None else text_of(record)


def entry_hash(
    entry: int, place: Place, old: str | None, new: str | None, save: Save, previous: bytes
) -> bytes:
    """SHA-256 of one entry, with all that is known of it: a JSON list without blanks."""
    parts = (
        str(entry), _json(save.made_at), _json(save.who), _quoted(place[0]), _quoted(place[1]),
        _json(old), _json(new), _json(save.reason), _quoted(save.action),
        "null" if save.of_save is None else str(save.of_save), f'"{previous.hex()}"',
    )  # fmt: skip
    return sha256(f"[{','.join(parts)}]".encode()).digest()


def _json(text: str | None) -> str:
    """A text as JSON, where a damaged database may hold none."""
    return "null" if text is None else _quoted(text)


def head(connection: sa.Connection, *, lock: bool = False) -> tuple[int, bytes]:
    """Number and hash of the last entry."""
    asked = sa.select(HEAD.c.entry, HEAD.c.hash)
    found = connection.execute(asked.with_for_update() if lock else asked).all()
    if len(found) != 1:
        raise DamagedError(f"the journal has {len(found) or 'no'} heads; it must have one")
    return int(found[0].entry), bytes(found[0].hash)


def write(connection: sa.Connection, save: Save, changes: Sequence[Change]) -> int:
    """Add entries to the journal."""
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
            place, text = (change.table, change.key), change.new
            yield entry, first, *place, change.old, text, previous
            previous = entry_hash(entry, place, change.old, text, save, previous)

    insert_rows(connection, JOURNAL, chained())
    connection.execute(sa.update(HEAD).values(entry=last + len(changes), hash=previous))
    return first


def entries(
    connection: sa.Connection, *, save: int | None = None
) -> Iterator[tuple[int, Change, Save, bytes]]:
    """Walk over the journal in its order."""
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
    """The journal as rows of `COLUMNS`."""
    for entry, change, save, previous in entries(connection):
        key = shown_key(change.key)
        yield (
            entry, save.made_at, save.who, change.table, key, change.old, change.new,
            save.reason, previous.hex(),
        )  # fmt: skip


def as_at(connection: sa.Connection, place: Place, entry: int) -> Record | None:
    """A record as it was when the journal had some entry last."""
    asked = (
        sa.select(JOURNAL.c.new)
        .where(JOURNAL.c.of_table == place[0], JOURNAL.c.record_key == place[1])
        .where(JOURNAL.c.entry <= entry)
        .order_by(JOURNAL.c.entry.desc())
        .limit(1)
    )
    text = connection.scalar(asked)
    return None if text is None else record_of(place[0], text)


def last_change(connection: sa.Connection, version: int) -> tuple[str, str]:
    """Who wrote a journal entry, and when."""
    asked = (
        sa.select(SAVES.c.who, SAVES.c.made_at)
        .join_from(SAVES, JOURNAL, SAVES.c.save == JOURNAL.c.save)
        .where(JOURNAL.c.entry == version)
    )
    row = connection.execute(asked).one()
    return row.who, row.made_at


def undone_and_done(found: Iterable[tuple[int, str, int | None]]) -> tuple[list[int], list[int]]:
    """Saves that can be undone, and that can be done again."""
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


def next_save(connection: sa.Connection, action: str, who: str) -> int | None:
    """The save that is to be undone or redone."""
    asked = sa.select(SAVES.c.save, SAVES.c.action, SAVES.c.of_save).where(SAVES.c.who == who)
    found = connection.execute(asked.order_by(SAVES.c.save))
    done, undone = undone_and_done((row.save, row.action, row.of_save) for row in found)
    stack = done if action == "undo" else undone
    return stack[-1] if stack else None


def _user() -> str:
    """The name with which the computer knows whoever runs this; in a container some have none."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "a user without a name"

"""Rows of the database as records: read, and written by what a save changes."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import NamedTuple

import sqlalchemy as sa

from heritagecheck.survey.records import KEYS, ONE_ROW, TABLES
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database import insert_rows, update_rows
from heritagecheck.survey.store.database_errors import DamagedError
from heritagecheck.survey.store.journal import Change, Place, key_of
from heritagecheck.survey.store.schema import KEPT, METADATA

# With more records than these, reading all is quicker than asking for each.
MANY = 200


class Stored(NamedTuple):
    """A record with the journal's entries that made and last changed it: its place and version."""

    first: int
    version: int
    deleted: bool
    record: Record


def stored(
    connection: sa.Connection, table: str, *where: sa.ColumnElement[bool]
) -> Iterator[Stored]:
    """Records of one table, deleted ones as well, in the order in which they came."""
    model, columns = TABLES[table], KEPT[table].c
    fields = list(model.model_fields)
    entries = columns.first_entry, columns.last_entry, columns.deleted
    asked = (
        sa.select(*entries, *(columns[field] for field in fields))
        .where(*where)
        .order_by(columns.first_entry)
    )
    # Codes and words stand in many rows: held once each, a large survey takes half the memory.
    words: dict[str | None, str | None] = {}
    repeated = [
        place
        for place, field in enumerate(fields)
        if isinstance(columns[field].type, sa.Text) and field not in KEYS[table]
    ]
    # What lies in the database was checked when it was saved; checking it again takes most of the
    # time that opening a large survey takes. `verified` finds what was changed behind our back.
    try:
        for first, version, deleted, *values in connection.execute(asked):
            for place in repeated:
                values[place] = words.setdefault(values[place], values[place])
            yield Stored(first, version, bool(deleted), model.trusted(values))
    except DamagedError as error:
        raise DamagedError(f"table {table}, {error}") from None


def kept(connection: sa.Connection, table: str, *where: sa.ColumnElement[bool]) -> Iterator[Record]:
    """Records of one table that are not deleted, in the order in which they came."""
    for one in stored(connection, table, KEPT[table].c.deleted == 0, *where):
        yield one.record


def is_of_key(table: str, key: str) -> tuple[sa.ColumnElement[bool], ...]:
    """What tells the row of one record."""
    if table in ONE_ROW:
        return ()
    columns = KEPT[table].c
    return tuple(
        columns[field] == value for field, value in zip(KEYS[table], json.loads(key), strict=True)
    )


@dataclass(frozen=True, slots=True)
class Now:
    """A record as it is kept; none where it is deleted, version 0 where it never was."""

    record: Record | None
    version: int


NEVER = Now(None, 0)


def now(connection: sa.Connection, places: Iterable[Place]) -> dict[Place, Now]:
    """Records as they are kept now."""
    asked = list(places)
    if len(asked) <= MANY:
        return {place: _one(connection, place) for place in asked}
    found: dict[Place, Now] = {}
    for table in {table for table, _ in asked}:
        for one in stored(connection, table):
            record = None if one.deleted else one.record
            found[table, key_of(table, one.record)] = Now(record, one.version)
    return {place: found.get(place, NEVER) for place in asked}


def _one(connection: sa.Connection, place: Place) -> Now:
    """One record as it is kept now."""
    for found in stored(connection, place[0], *is_of_key(*place)):
        return Now(None if found.deleted else found.record, found.version)
    return NEVER


def bring_in(
    connection: sa.Connection, first: int, changes: Sequence[Change], known: dict[Place, Now]
) -> None:
    """Bring the tables to what journal entries say."""
    new: dict[str, list[tuple[int, Record]]] = {}
    changed: dict[str, list[tuple[int, Record]]] = {}
    gone: dict[str, list[tuple[object, ...]]] = {}
    for entry, change in enumerate(changes, start=first):
        record = change.record
        if record is None:
            gone.setdefault(change.table, []).append((1, entry, *json.loads(change.key)))
        else:
            there = known[change.table, change.key].version > 0
            (changed if there else new).setdefault(change.table, []).append((entry, record))
    # What is named comes before what names it: else SQLite, at each row that might be named, reads
    # the whole of a table that may do so.
    for table in METADATA.sorted_tables:
        if table.name not in TABLES:
            continue
        fields = list(TABLES[table.name].model_fields)
        # A key stays as it is: SQLite would look for all that name it, could it have changed.
        keys = () if table.name in ONE_ROW else KEYS[table.name]
        held = attrgetter(*fields)
        insert_rows(
            connection, table,
            ((entry, entry, 0, *held(record)) for entry, record in new.get(table.name, ())),
        )  # fmt: skip
        others = [field for field in fields if field not in keys]
        update_rows(
            connection, table, ["deleted", "last_entry", *others], keys,
            (
                (0, entry, *(getattr(record, field) for field in (*others, *keys)))
                for entry, record in changed.get(table.name, ())
            ),
        )  # fmt: skip
        update_rows(connection, table, ["deleted", "last_entry"], keys, gone.get(table.name, ()))

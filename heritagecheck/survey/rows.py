"""Rows of the database as records: which are there now, and how changes are brought into them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from heritagecheck.survey.cross_check import ONE_ROW
from heritagecheck.survey.database import JOURNAL, KEPT, SAVES
from heritagecheck.survey.journal import Change, kept_versions, key_of, record_of
from heritagecheck.survey.neighbours import MANY, Place
from heritagecheck.survey.record import Record
from heritagecheck.survey.records import KEYS


@dataclass(frozen=True, slots=True)
class Now:
    """A record as it is kept; none where it is deleted, version 0 where it never was."""

    record: Record | None
    version: int


NEVER = Now(None, 0)


def now(connection: sa.Connection, places: Iterable[Place]) -> dict[Place, Now]:
    """
    Records as they are kept now.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    places : iterable of (table, key)
        Which.

    Returns
    -------
    dict of (table, key) to Now
        In the same order.
    """
    asked = list(places)
    if len(asked) <= MANY:
        return {place: _one(connection, place) for place in asked}
    found: dict[Place, Now] = {}
    for table in {table for table, _ in asked}:
        found |= {(table, key): Now(None, version) for key, version in _deleted(connection, table)}
        for record, version in kept_versions(connection, table):
            found[table, key_of(table, record)] = Now(record, version)
    return {place: found.get(place, NEVER) for place in asked}


def _one(connection: sa.Connection, place: Place) -> Now:
    """One record as it is kept now."""
    table, key = place
    for record, version in kept_versions(connection, table, *_is(table, key)):
        return Now(record, version)
    columns = KEPT[table].c
    gone = connection.scalar(sa.select(columns.last_entry).where(*_is(table, key)))
    return Now(None, gone or 0)


def _deleted(connection: sa.Connection, table: str) -> Iterable[tuple[str, int]]:
    """Keys of the deleted records of a table."""
    columns = KEPT[table].c
    fields = [columns[field] for field in KEYS[table]]
    asked = sa.select(columns.last_entry, *fields).where(columns.deleted == 1)
    for version, *values in connection.execute(asked):
        key = [] if table in ONE_ROW else values
        yield json.dumps(key, ensure_ascii=False, default=str), version


def _is(table: str, key: str) -> tuple[sa.ColumnElement[bool], ...]:
    """What tells the row of one record."""
    if table in ONE_ROW:
        return ()
    return tuple(
        KEPT[table].c[field] == value
        for field, value in zip(KEYS[table], json.loads(key), strict=True)
    )


def bring_in(
    connection: sa.Connection, first: int, changes: Sequence[Change], known: dict[Place, Now]
) -> None:
    """
    Bring the tables to what journal entries say.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Within the transaction that wrote the entries.
    first : int
        Number of the first of them.
    changes : sequence of Change
        What they say, in their order; each record once.
    known : dict of (table, key) to Now
        The records as they were kept before.
    """
    new: dict[str, list[dict[str, object]]] = {}
    for entry, change in enumerate(changes, start=first):
        table = KEPT[change.table]
        if change.new is None:
            gone = sa.update(table).where(*_is(change.table, change.key))
            connection.execute(gone.values(deleted=1, last_entry=entry))
            continue
        record = change.record or record_of(change.table, change.new)
        values = {**dict(record), "last_entry": entry, "deleted": 0}
        if known[change.table, change.key].version:
            changed = sa.update(table).where(*_is(change.table, change.key))
            connection.execute(changed.values(**values))
        else:
            new.setdefault(change.table, []).append({**values, "first_entry": entry})
    for name, found in new.items():
        connection.execute(sa.insert(KEPT[name]), found)


def last_change(connection: sa.Connection, version: int) -> tuple[str, str]:
    """
    Who wrote a journal entry, and when.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    version : int
        Number of the entry.

    Returns
    -------
    tuple of str
        Role and time, in UTC.
    """
    asked = (
        sa.select(SAVES.c.who, SAVES.c.made_at)
        .join_from(SAVES, JOURNAL, SAVES.c.save == JOURNAL.c.save)
        .where(JOURNAL.c.entry == version)
    )
    row = connection.execute(asked).one()
    return row.who, row.made_at

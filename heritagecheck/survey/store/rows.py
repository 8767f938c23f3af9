"""Rows of the database as records: which are there now, and how changes are brought into them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter

import sqlalchemy as sa

from heritagecheck.survey.records import KEYS, ONE_ROW, TABLES
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database import JOURNAL, METADATA, SAVES, insert_rows, update_rows
from heritagecheck.survey.store.journal import Change, key_of, record_of
from heritagecheck.survey.store.record_of_row import is_of_key, stored
from heritagecheck.survey.store.related import MANY, Place


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


def as_at(connection: sa.Connection, place: Place, entry: int) -> Record | None:
    """
    A record as it was when the journal had some entry last.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    place : (table, key)
        Which.
    entry : int
        Number of the entry.

    Returns
    -------
    Record or None
        None where it was not there.
    """
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

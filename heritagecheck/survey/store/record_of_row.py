"""Rows of the database read as records."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import NamedTuple

import sqlalchemy as sa

from heritagecheck.survey.records import KEYS, ONE_ROW, TABLES
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database import KEPT, DamagedError


class Stored(NamedTuple):
    """A record with the journal's entries that made and last changed it: its place and version."""

    first: int
    version: int
    deleted: bool
    record: Record


def stored(
    connection: sa.Connection, table: str, *where: sa.ColumnElement[bool]
) -> Iterator[Stored]:
    """
    Records of one table, deleted ones as well, in the order in which they came.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    table : str
        Name of the table.
    *where : sqlalchemy.ColumnElement
        Only those for which all of this holds.

    Yields
    ------
    Stored
    """
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
    """
    Records of one table that are not deleted, in the order in which they came.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database.
    table : str
        Name of the table.
    *where : sqlalchemy.ColumnElement
        Only those for which all of this holds.

    Yields
    ------
    Record
    """
    for one in stored(connection, table, KEPT[table].c.deleted == 0, *where):
        yield one.record


def is_of_key(table: str, key: str) -> tuple[sa.ColumnElement[bool], ...]:
    """
    What tells the row of one record.

    Parameters
    ----------
    table : str
        Name of the table.
    key : str
        As the journal writes it.

    Returns
    -------
    tuple of sqlalchemy.ColumnElement
        None in a table of exactly one record.
    """
    if table in ONE_ROW:
        return ()
    columns = KEPT[table].c
    return tuple(
        columns[field] == value for field, value in zip(KEYS[table], json.loads(key), strict=True)
    )

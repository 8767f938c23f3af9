"""Rows of the database as records: read, and written by what a save changes."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any, NamedTuple

import sqlalchemy as sa

from heritagecheck.errors import Codes, Fault, Message
from heritagecheck.survey.records import KEYS, LINKS, ONE_ROW, TABLES
from heritagecheck.survey.records.record import Record, zone_of
from heritagecheck.survey.store.database import insert_rows, update_rows
from heritagecheck.survey.store.database_errors import DamagedError
from heritagecheck.survey.store.journal import Change, Place, key_of, kind_of
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
    # Codes and words repeat in many rows: stored once each, a large survey takes half the memory.
    words: dict[str | None, str | None] = {}
    repeated = [
        place
        for place, field in enumerate(fields)
        if isinstance(columns[field].type, sa.Text) and field not in KEYS[table]
    ]
    # Records were validated when they were saved, and validating them again takes most of the time
    # of opening a large survey. `verify` finds what was changed by other programs.
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
    """Condition that selects the row of one record."""
    if table in ONE_ROW:
        return ()
    columns = KEPT[table].c
    return tuple(
        columns[field] == value for field, value in zip(KEYS[table], json.loads(key), strict=True)
    )


@dataclass(frozen=True, slots=True)
class Now:
    """A stored record with its version; None if it is deleted, version 0 if it never existed."""

    record: Record | None
    version: int


NEVER = Now(None, 0)


def now(connection: sa.Connection, places: Iterable[Place]) -> dict[Place, Now]:
    """Records as stored now."""
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
    """One record as stored now."""
    for found in stored(connection, place[0], *is_of_key(*place)):
        return Now(None if found.deleted else found.record, found.version)
    return NEVER


def bring_in(
    connection: sa.Connection, first: int, changes: Sequence[Change], known: dict[Place, Now]
) -> None:
    """Bring the tables to what journal entries say."""
    # By their places in the changes: with pairs of entry and record an import would take more.
    new: dict[str, list[int]] = {}
    changed: dict[str, list[int]] = {}
    gone: dict[str, list[tuple[object, ...]]] = {}
    for place, change in enumerate(changes):
        if change.after is None:
            gone.setdefault(change.table, []).append((1, first + place, *json.loads(change.key)))
        else:
            there = known[change.table, change.key].version > 0
            (changed if there else new).setdefault(change.table, []).append(place)
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
            (
                (first + place, first + place, 0, *held(changes[place].record))
                for place in new.get(table.name, ())
            ),
        )  # fmt: skip
        others = [field for field in fields if field not in keys]
        update_rows(
            connection, table, ["deleted", "last_entry", *others], keys,
            (
                (0, first + place, *(getattr(record, field) for field in (*others, *keys)))
                for place in changed.get(table.name, ())
                for record in (changes[place].record,)
            ),
        )  # fmt: skip
        update_rows(connection, table, ["deleted", "last_entry"], keys, gone.get(table.name, ()))


# -- Records that may agree or disagree with others ------------------------------------------------

Wanted = Mapping[Place, Record | None]
# Table to field to the values whose rows are wanted.
Near = dict[str, dict[str, set[Any]]]
GROUPS = (
    ("readings", "set_name"), ("site_tests", "set_name"), ("panels", "series"),
    ("tile_readings", "session"), ("spots", "panel"), ("attachments", "file"),
    ("section_readings", "profile"),
)  # fmt: skip
OF_A_MEETING = ("opinions", "decisions", "open_questions", "signatures")
SMALL = ("structure", "elevations", "policy", "views")


def merged(connection: sa.Connection, wanted: Wanted) -> dict[str, tuple[Record, ...]]:
    """The neighbourhood of some records as it would be with them."""
    found: dict[str, dict[str, Record]] = {table: {} for table in TABLES}
    many = len(wanted) > MANY
    # The structure lists the beds that any zone may name.
    small = {*SMALL, "zones"} if any(table == "structure" for table, _ in wanted) else SMALL
    near = {} if many else _near(wanted)
    for table in TABLES:
        where = [] if many or table in small else [_any_of(table, near.get(table, {}))]
        found[table].update(_kept(connection, table, *where))
    # What the neighbours name has to be there too, or their own links would look loose.
    while lacking := _named_and_not_found(found, {} if many else near):
        for table, values in lacking.items():
            found[table].update(_kept(connection, table, _any_of(table, values)))
            for field, some in values.items():
                near.setdefault(table, {}).setdefault(field, set()).update(some)
    for (table, key), record in wanted.items():
        if record is None:
            found[table].pop(key, None)
        else:
            found[table][key] = record
    return {table: tuple(records.values()) for table, records in found.items()}


def _kept(
    connection: sa.Connection, table: str, *where: sa.ColumnElement[bool]
) -> dict[str, Record]:
    """Records by their keys."""
    return {key_of(table, record): record for record in kept(connection, table, *where)}


def _named_and_not_found(found: Mapping[str, Mapping[str, Record]], asked: Near) -> Near:
    """Keys and sessions that records name and that were not looked up yet."""
    if not asked:
        return {}
    named: Near = {}
    for table, records in found.items():
        links = [(field, other, KEYS[other][0]) for field, other in LINKS.get(table, {}).items()]
        if table == "readings":
            links.append(("session", "tile_readings", "session"))
        if table == "settings":
            links.append(("series", "panels", "series"))
        for record in records.values():
            for field, other, key in links:
                value = getattr(record, field, None)
                if value is not None and other not in SMALL:
                    named.setdefault(other, {}).setdefault(key, set()).add(value)
    lacking: Near = {}
    for table, fields in named.items():
        for field, values in fields.items():
            new = values - asked.get(table, {}).get(field, set())
            if field == KEYS[table][0]:
                new -= {getattr(record, field) for record in found[table].values()}
            if new:
                lacking.setdefault(table, {})[field] = new
    return lacking


def _any_of(table: str, values: Mapping[str, Collection[Any]]) -> sa.ColumnElement[bool]:
    """Rows that hold one of some values in one of some fields."""
    columns = KEPT[table].c
    return sa.or_(
        sa.false(), *(columns[field].in_(sorted(some)) for field, some in values.items() if some)
    )


def _near(wanted: Wanted) -> Near:
    """For each table, the values that a row must hold one of to be a neighbour."""
    records = [(table, record) for (table, _), record in wanted.items() if record is not None]
    zones = {zone for _, record in records if (zone := zone_of(record)) is not None}
    near: Near = {table: {} for table in TABLES}
    for table, record in records:
        for field, other in LINKS.get(table, {}).items():
            if (value := getattr(record, field, None)) is not None:
                near[other].setdefault(KEYS[other][0], set()).add(value)
    for table, field in GROUPS:
        near[table][field] = {
            getattr(one, field, None) for kind, one in records if kind == table
        } - {None}
    sessions = {
        getattr(one, "session", None)
        for kind, one in records if kind in {"readings", "tile_readings"}
    } - {None}  # fmt: skip
    near["tile_readings"]["session"] = sessions
    near["readings"]["session"] = {
        getattr(one, "session", None) for kind, one in records if kind == "tile_readings"
    } - {None}
    series = {
        getattr(one, "series", None) for kind, one in records if kind in {"panels", "settings"}
    } - {None}
    near["panels"]["series"] = near["settings"]["series"] = series
    held = {getattr(one, "meeting", None) for kind, one in records if kind == "meetings"} - {None}
    for table in OF_A_MEETING:
        near[table]["meeting"] = held
    for table, model in TABLES.items():
        if "zone" in model.model_fields:
            near[table].setdefault("zone", set()).update(zones)
    return near


def links_to(connection: sa.Connection, gone: Sequence[Place]) -> Iterator[Fault]:
    """What still names records that shall be deleted."""
    keys: dict[str, set[str]] = {}
    for table, key in gone:
        if table not in ONE_ROW and len(KEYS[table]) == 1:
            keys.setdefault(table, set()).add(key)
    for other, links in LINKS.items():
        for field, table in links.items():
            if table not in keys:
                continue
            named = {str(json.loads(key)[0]) for key in keys[table]}
            where = _any_of(other, {field: named})
            for record in kept(connection, other, where):
                yield Fault(
                    table, None, KEYS[table][0], str(getattr(record, field)),
                    f"{kind_of(other)} {getattr(record, KEYS[other][0])} refers to it; delete that "
                    "first, or both together",
                )  # fmt: skip
    if any(table == "panels" for table, _ in gone):
        panels, settings = KEPT["panels"].c, KEPT["settings"].c
        there = sa.select(panels.series).where(panels.deleted == 0)
        for one in kept(connection, "settings", settings.series.not_in(there)):
            series, quantity = (str(getattr(one, field)) for field in KEYS["settings"])
            yield Fault(
                "panels", None, "series", series,
                Message(
                    "its setting of ", Codes(quantity), " is still recorded, and no other panel "
                    "belongs to this series; delete that first, or both together",
                ),
            )  # fmt: skip

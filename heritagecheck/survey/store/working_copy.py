"""What one user sees of a survey's database, and which version of each record that is."""

from __future__ import annotations

import threading
from array import array
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import sqlalchemy as sa

from heritagecheck.survey.records import TABLES, Attachment, Records
from heritagecheck.survey.records.record import Record, zone_of
from heritagecheck.survey.store import journal
from heritagecheck.survey.store.attachments import Files
from heritagecheck.survey.store.database import Database
from heritagecheck.survey.store.journal import Change, Place, key_of
from heritagecheck.survey.store.rows import MANY, is_of_key, stored
from heritagecheck.survey.store.schema import JOURNAL, KEPT, NONE_YET
from heritagecheck.survey.survey import Survey, grouped_anew


class Writing(NamedTuple):
    """A transaction that writes, and its first entry with what it changes, if all goes well."""

    connection: sa.Connection
    saved: list[tuple[int, Sequence[Change]]]


class WorkingCopy(Mapping[str, tuple[Record, ...]]):
    """The tables of a survey as one user sees them, each read when first needed."""

    def __init__(self, database: Database, files: Files) -> None:
        self._database = database
        self._follower = Follower(files)
        # What is shown, the journal's last entry when a table was read or the survey opened, and
        # the version of records that were read, or saved here, by themselves.
        self._shown: dict[str, tuple[Record, ...]] = {}
        self._read_at: dict[str, int] = {}
        self._known: dict[Place, int] = {}
        self._lock = threading.RLock()
        self.refresh()

    def __getitem__(self, table: str) -> tuple[Record, ...]:
        """One table as it was when first read."""
        if table not in TABLES:
            raise KeyError(table)
        with self._lock:
            if table not in self._shown:
                with self._database.reading() as connection:
                    self._shown[table] = self._follower.table(connection, table)
                    self._read_at[table] = self._follower.entry
            return self._shown[table]

    def __iter__(self) -> Iterator[str]:
        return iter(TABLES)

    def __len__(self) -> int:
        return len(TABLES)

    def of_zone(self, table: str, zone: str) -> tuple[Record, ...]:
        """Records of one zone, without reading those of others."""
        with self._lock:
            if table in self._shown:
                return tuple(one for one in self._shown[table] if zone_of(one) == zone)
            columns = KEPT[table].c
            with self._database.reading() as connection:
                where = columns.deleted == 0, columns.zone == zone
                read = list(stored(connection, table, *where))
            for one in read:
                self._known[table, key_of(table, one.record)] = one.version
            return tuple(one.record for one in read)

    def moment(self) -> Moment:
        """Every record at one moment."""
        with self._lock, self._database.reading() as connection:
            moment = self._follower.moment(connection)
            for table in TABLES:
                if table not in self._shown:
                    self._read_at[table] = self._follower.entry
            return moment

    def refresh(self) -> None:
        """Show what is saved now, also by others."""
        with self._lock, self._database.reading() as connection:
            self._shown.clear()
            self._known.clear()
            self._read_at = dict.fromkeys(TABLES, journal.head(connection)[0])

    @contextmanager
    def writing(self) -> Iterator[Writing]:
        """Write in one exclusive transaction; this copy is updated only after the commit."""
        saved: list[tuple[int, Sequence[Change]]] = []
        with self._lock:
            with self._database.writing() as connection:
                journal.head(connection, lock=True)
                yield Writing(connection, saved)
            for first, changes in saved:
                self._saved_here(first, changes)

    def _saved_here(self, first: int, changes: Sequence[Change]) -> None:
        """Know what was saved here: a table that was known up to then, up to now."""
        up_to_date = {table for table, entry in self._read_at.items() if entry == first - 1}
        tables = {change.table for change in changes}
        for entry, change in enumerate(changes, start=first):
            if change.table not in up_to_date:
                self._known[change.table, change.key] = entry
        for table in tables:
            self._shown.pop(table, None)
            if table in up_to_date:
                self._read_at[table] = first + len(changes) - 1

    def knows(self, place: Place, version: int) -> bool:
        """Whether the writer has read the version that is stored now."""
        return version <= self._read_at[place[0]] or self._known.get(place) == version

    def last_seen(self, place: Place) -> int:
        """The last entry of the journal of which whoever saves knows for a record."""
        return max(self._read_at[place[0]], self._known.get(place, 0))


# -- The survey as it was at one moment ------------------------------------------------------------


class Moment(Survey):
    """A survey of a database as it was at one moment."""

    def __init__(self, records: Records, files: Files, head: str) -> None:
        super().__init__(records, None)
        self._files = files
        self._head = head

    @property
    def journal_head(self) -> str:
        """Hash of the journal's last entry at that moment."""
        return self._head

    @property
    def name(self) -> str:
        """Address of the database, without any password."""
        return self._files.survey

    @property
    def place(self) -> Path | None:
        """Folder that holds the survey's files; None where nobody said which it is."""
        return None if self._files.folder is None else self._files.folder.parent

    def holding(self, records: Records) -> Survey:
        """The survey as if it held other records, with its files; no journal knows that moment."""
        return Moment(records, self._files, "")

    def file(self, name: str) -> Path | None:
        """Path of a file of the survey."""
        return self._files.path_of(name, self.all(Attachment))


class _Table(NamedTuple):
    """Records of one table that are not deleted, and the journal's entry that made each."""

    firsts: array[int]
    records: tuple[Record, ...]


class Follower:
    """
    The records of a database: read once, then only what the journal says was changed.

    For one thread at a time, each transaction started after the last. A table or moment that was
    handed out does not change.
    """

    def __init__(self, files: Files) -> None:
        self.entry = 0
        self._head = NONE_YET
        self._files = files
        self._tables: dict[str, _Table] = {}
        self._moment: Moment | None = None

    def table(self, connection: sa.Connection, table: str) -> tuple[Record, ...]:
        """Records of one table."""
        self._follow(connection)
        if table not in self._tables:
            firsts, records = array("q"), []
            for one in stored(connection, table, KEPT[table].c.deleted == 0):
                firsts.append(one.first)
                records.append(one.record)
            self._tables[table] = _Table(firsts, tuple(records))
        return self._tables[table].records

    def moment(self, connection: sa.Connection) -> Moment:
        """The whole survey."""
        self._follow(connection)
        if self._moment is None:
            records = {table: self.table(connection, table) for table in TABLES}
            self._moment = Moment(records, self._files, self._head.hex())
        return self._moment

    def _follow(self, connection: sa.Connection) -> None:
        """Bring what is held to what the database holds."""
        entry, head = journal.head(connection)
        if head == self._head:
            return
        places = self._changed(connection, entry)
        if places is None:
            self._tables, self._moment = {}, None
        else:
            self._bring_in(connection, places, head)
        self.entry, self._head = entry, head

    def _changed(self, connection: sa.Connection, entry: int) -> dict[str, set[str]] | None:
        """Keys that were changed since, by table; None where all is to be read again."""
        # So it is where much was changed, or where the journal does not go on from what was read,
        # as after a backup was put in the database's place.
        if not 0 < entry - self.entry <= MANY:
            return None
        asked = sa.select(JOURNAL.c.of_table, JOURNAL.c.record_key, JOURNAL.c.previous)
        since = asked.where(JOURNAL.c.entry > self.entry).order_by(JOURNAL.c.entry)
        found = connection.execute(since).all()
        if bytes(found[0].previous) != self._head:
            return None
        places: dict[str, set[str]] = {}
        for one in found:
            places.setdefault(one.of_table, set()).add(one.record_key)
        return places

    def _bring_in(
        self, connection: sa.Connection, places: dict[str, set[str]], head: bytes
    ) -> None:
        """Bring what was changed into the tables that are held, and into the moment."""
        tables = dict(self._tables)
        zones: dict[str, set[str]] = {}
        for table in places.keys() & tables.keys():
            tables[table], zones[table] = _with_changes(
                connection, table, tables[table], places[table]
            )
        if self._moment is not None:
            records = {table: tables[table].records for table in TABLES}
            moment = Moment(records, self._files, head.hex())
            moment.by_zone = grouped_anew(self._moment.by_zone, records, zones)
            self._moment = moment
        self._tables = tables


def _with_changes(
    connection: sa.Connection, table: str, before: _Table, keys: Iterable[str]
) -> tuple[_Table, set[str]]:
    """A table with the records of some keys as they are now, and the zones that this touches."""
    firsts, records = before.firsts[:], list(before.records)
    zones: set[str | None] = set()
    where = sa.or_(*(sa.and_(sa.true(), *is_of_key(table, key)) for key in keys))
    for now in stored(connection, table, where):
        place = bisect_left(firsts, now.first)
        was_there = firsts[place : place + 1] == array("q", [now.first])
        held = [*records[place : place + was_there], *([] if now.deleted else [now.record])]
        zones |= {zone_of(record) for record in held}
        firsts[place : place + was_there] = array("q", [] if now.deleted else [now.first])
        records[place : place + was_there] = [] if now.deleted else [now.record]
    return _Table(firsts, tuple(records)), {zone for zone in zones if zone is not None}

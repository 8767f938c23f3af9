"""What one user sees of a survey's database, and which version of each record that is."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import NamedTuple

import sqlalchemy as sa

from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store import journal
from heritagecheck.survey.store.attachments import Files
from heritagecheck.survey.store.database import Database
from heritagecheck.survey.store.journal import Place, key_of
from heritagecheck.survey.store.rows import stored
from heritagecheck.survey.store.schema import KEPT
from heritagecheck.survey.store.snapshot import Follower, Moment


class Writing(NamedTuple):
    """A transaction that writes, and the entries it will leave if all goes well."""

    connection: sa.Connection
    saved: dict[Place, int]


class WorkingCopy(Mapping[str, tuple[Record, ...]]):
    """The tables of a survey as one user sees them, each read when it is first asked for."""

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
        """One table, as it was when it was first asked for."""
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
                return tuple(
                    one
                    for one in self._shown[table]
                    if getattr(one, "zone") == zone  # noqa: B009
                )
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
        """Write alone, until all is kept or nothing; only then is it known here as well."""
        saved: dict[Place, int] = {}
        with self._lock:
            with self._database.writing() as connection:
                journal.head(connection, lock=True)
                yield Writing(connection, saved)
            self._known.update(saved)
            for table, _ in saved:
                self._shown.pop(table, None)

    def knows(self, place: Place, version: int) -> bool:
        """Whether whoever saves has seen the version that is kept now."""
        return version <= self._read_at[place[0]] or self._known.get(place) == version

    def last_seen(self, place: Place) -> int:
        """The last entry of the journal of which whoever saves knows for a record."""
        return max(self._read_at[place[0]], self._known.get(place, 0))

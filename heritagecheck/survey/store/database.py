"""The database of a survey, SQLite or PostgreSQL: opened, brought up to date, read and written."""

from __future__ import annotations

import secrets
import shutil
import sqlite3
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from itertools import islice
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from heritagecheck.errors import StoreError
from heritagecheck.survey.store import postgresql, sqlite_file
from heritagecheck.survey.store.database_errors import damaged, told, why
from heritagecheck.survey.store.schema import METADATA, MIGRATIONS, NEWEST, make_tables
from heritagecheck.survey.store.sqlite_file import (
    Source,
    copied,
    in_one_file,
    may_be_written,
    read_from,
    shared,
    state_of,
    written_meanwhile,
)
from heritagecheck.whole_file import written_whole

# So many rows are sent at once.
AT_ONCE = 5000
# Alembic holds what it does in variables of its module: one thread at a time. PostgreSQL would let
# two programs make the same table at once; whoever comes second waits for this number.
_MIGRATING = threading.Lock()
MIGRATING_NUMBER = 20260001


class Database:
    """
    One database, SQLite or PostgreSQL, at the newest schema.

    A file of this release is only read until something is saved, so that a read-only file can be
    opened and a backup stays unchanged. If a file of an older release is read-only, a copy of it is
    migrated and read. `brought_up` is called with the connection and the older version once the
    schema is migrated; its changes and the new schema are committed together.
    """

    def __init__(
        self,
        place: str | Path,
        *,
        files: str | Path | None = None,
        brought_up: Callable[[sa.Connection, str], None] | None = None,
    ) -> None:
        text = str(place)
        # As it was given, with a password where it holds one: never shown, only to open it again.
        self.place = text
        self._brought_up = brought_up
        self.file = None if "://" in text else Path(text)
        self.files = Path(files) if files is not None else _files_beside(self.file)
        self._turning = threading.Lock()
        self._source: Source | None = None
        self._written_ahead = False
        if self.file is not None:
            sqlite_file.refuse_no_file(self.file)
            if not self.file.exists():
                self._begin(self.file)
            self._source = read_from(self.file)
            self._engine = sqlite_file.connections(self._source)
        elif text.startswith(postgresql.BEGINS):
            self._engine = postgresql.connections(text)
        else:
            raise ValueError(
                f"{text.partition('://')[0]}:// is not the address of a survey. Give a file such "
                f"as survey.db, or a database as {postgresql.FORM}"
            )
        try:
            self._bring_up_to_date()
        except BaseException:
            self.close()
            raise

    @property
    def name(self) -> str:
        """Where the database is, without any password."""
        return str(self.file) if self.file else postgresql.shown(self._engine.url)

    @property
    def is_sqlite(self) -> bool:
        """Whether it is a file of SQLite."""
        return self.file is not None

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A connection that sees one moment of the database."""
        with told(self.name, "read"):
            engine, source = self._to_read()
            with engine.connect() as connection, connection.begin():
                yield connection
        # SQLite was told that nobody writes this file, so it did not watch for changes.
        alone = source is not None and "immutable" in source.options
        if self.file and source and alone and state_of(self.file) != source.state:
            raise StoreError(written_meanwhile(self.file))

    def _to_read(self) -> tuple[sa.Engine, Source | None]:
        """Connections to the file as it is now: one that is not shared is looked for again."""
        with self._turning:
            old = self._source
            if self.file and old and old.state and state_of(self.file) != old.state:
                self._turn_to(read_from(self.file))
            return self._engine, self._source

    def _turn_to(self, source: Source) -> None:
        """Read another file, or the same in another way; reads in progress end with the old one."""
        self._engine.dispose()
        if self._source and self._source.folder:
            self._source.folder.cleanup()
        self._source, self._engine = source, sqlite_file.connections(source)

    def copy_into(self, path: Path) -> None:
        """Copy an SQLite database as it is at one moment into a new file, which nothing guards."""
        with self._to_read()[0].connect() as connection:
            sqlite_file.copy_into(sqlite_file.driver_connection(connection), path)

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A connection that commits everything when the block ends, or nothing if it fails."""
        at_the_end = False
        try:
            with told(self.name, "saved"):
                self._write_ahead()
                with self._writer.connect() as connection, connection.begin():
                    yield connection
                    at_the_end = True
        except StoreError as error:
            said = getattr(error.__cause__, "orig", None)
            if at_the_end and not self.is_sqlite and getattr(said, "sqlstate", None) is None:
                raise StoreError(
                    f"{self.name}: the connection broke during the save. Check "
                    "whether it was saved before you save again"
                ) from error
            raise

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()
        if self._source and self._source.folder:
            self._source.folder.cleanup()

    @property
    def _writer(self) -> sa.Engine:
        """Connections on which whoever writes waits for the one before, then sees what it left."""
        if self.is_sqlite:
            return self._engine.execution_options(begin="BEGIN IMMEDIATE")
        return self._engine.execution_options(isolation_level="READ COMMITTED")

    def _begin(self, file: Path) -> None:
        """Make the file of a new survey, so that it is there whole or not at all."""
        half = file.with_name(f".{file.name}.{secrets.token_hex(4)}.unfinished")
        self._engine = sqlite_file.connections(Source(half, {"mode": "rwc"}, None))
        try:
            with told(self.name, "changed"):
                with self._writer.connect() as connection, connection.begin():
                    make_tables(connection)
                # Only now, so that everything is in this one file even if the disk fills up.
                sqlite_file.write_ahead(self.name, self._engine)
            self._engine.dispose()
            sqlite_file.give_name(half, file)
        finally:
            self._engine.dispose()
            # A disk that may only be read refuses to remove even what is not there.
            with suppress(OSError):
                sqlite_file.remove_sqlite(half)

    def _bring_up_to_date(self) -> None:
        """Make the tables of an empty database; bring an older one to this release's schema."""
        with self.reading() as connection:
            names = set(sa.inspect(connection).get_table_names())
            found = (
                connection.scalar(sa.text("SELECT version_num FROM alembic_version"))
                if "alembic_version" in names
                else None
            )
        if found == NEWEST:
            return
        if found is None and (ours := names & METADATA.tables.keys()):
            raise damaged(
                self.name, f"it holds {min(ours)}, but does not say which release made it"
            )
        if found is None and names:
            raise StoreError(f"{self.name} is a database, but not one of a survey: {min(names)}")
        if found is None and self.is_sqlite:
            raise damaged(self.name, "it holds no table")
        if found is not None and found not in _known_versions():
            raise StoreError(
                f"{self.name} has schema {found}, made by a newer release of heritagecheck; this "
                f"one knows schemas up to {NEWEST}. Nothing was changed: install the newer release"
            )
        if self.file is not None and not may_be_written(self.file):
            self._turn_to(copied(self.file))
            self._migrate()
            return
        if self.file is not None:
            sqlite_file.copy_sqlite(self.file, sqlite_file.free_name(self.file, f"before-{NEWEST}"))
        with told(self.name, "changed"):
            self._write_ahead()
        self._migrate()

    def _write_ahead(self) -> None:
        """Let readers and a writer work at once, from the first save on."""
        if self.file is None or self._written_ahead:
            return
        with self._turning:
            source = shared(self.file)
            engine = sqlite_file.connections(source)
            try:
                sqlite_file.write_ahead(self.name, engine)
            finally:
                engine.dispose()
            self._turn_to(source)
            self._written_ahead = True

    def _migrate(self) -> None:
        """Run the migrations that are wanted, all of them or none."""
        from alembic import command
        from alembic.config import Config
        from alembic.migration import MigrationContext

        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
        with _MIGRATING, told(self.name, "changed"):
            writer = self._writer.execution_options(foreign_keys="OFF")
            with writer.connect() as connection, connection.begin():
                if not self.is_sqlite:
                    connection.execute(sa.select(sa.func.pg_advisory_xact_lock(MIGRATING_NUMBER)))
                config.attributes["connection"] = connection
                # Another program may have been first, so check again now that the lock is held.
                found = MigrationContext.configure(connection).get_current_revision()
                command.upgrade(config, "head")
                if self._brought_up is not None and found is not None:
                    self._brought_up(connection, found)


def _known_versions() -> set[str]:
    """Schemas that this release can bring up to date."""
    return {path.name[:4] for path in (MIGRATIONS / "versions").glob("[0-9]*.py")}


def _files_beside(file: Path | None) -> Path | None:
    """Folder of the attachments of an SQLite file."""
    return None if file is None else file.with_name(f"{file.stem}.files")


def insert_rows(
    connection: sa.Connection, table: sa.Table, rows: Iterable[tuple[Any, ...]]
) -> None:
    """Add rows to a table, by the driver's own words: with many rows twice as fast."""
    columns = list(table.columns)
    names, signs = _quoted(connection, columns), _signs(connection, columns)
    _each(
        connection, f"INSERT INTO {table.name} ({', '.join(names)}) VALUES ({', '.join(signs)})",
        columns, rows,
    )  # fmt: skip


def update_rows(
    connection: sa.Connection,
    table: sa.Table,
    fields: Sequence[str],
    keys: Sequence[str],
    rows: Iterable[tuple[Any, ...]],
) -> None:
    """Change rows of a table, likewise."""
    columns = [table.c[name] for name in (*fields, *keys)]
    equal = [
        f"{name} = {sign}"
        for name, sign in zip(
            _quoted(connection, columns), _signs(connection, columns), strict=True
        )
    ]
    where = f" WHERE {' AND '.join(equal[len(fields) :])}" if keys else ""
    changed = ", ".join(equal[: len(fields)])
    _each(connection, f"UPDATE {table.name} SET {changed}{where}", columns, rows)


def _quoted(connection: sa.Connection, columns: Iterable[sa.Column[Any]]) -> list[str]:
    """Names of columns as this database writes them."""
    return [connection.dialect.identifier_preparer.quote(column.name) for column in columns]


def _signs(connection: sa.Connection, columns: Iterable[sa.Column[Any]]) -> list[str]:
    """Placeholders for column values in this driver's statements."""
    return ["?" if connection.dialect.name == "sqlite" else "%s" for _ in columns]


def _each(
    connection: sa.Connection,
    statement: str,
    columns: Sequence[sa.Column[Any]],
    rows: Iterable[tuple[Any, ...]],
) -> None:
    """Do the same for each of some rows, which hold a value for each column, some at a time."""
    dialect = connection.dialect
    as_taken = [column.type.dialect_impl(dialect).bind_processor(dialect) for column in columns]
    takes = [
        (place, take)
        for place, take in enumerate(as_taken)
        if take is not None and not isinstance(columns[place].type, sa.LargeBinary)
    ]

    def taken(row: tuple[Any, ...]) -> tuple[Any, ...]:
        values = list(row)
        for place, take in takes:
            values[place] = take(values[place])
        return tuple(values)

    left = map(taken, rows) if takes else iter(rows)
    while some := list(islice(left, AT_ONCE)):
        connection.exec_driver_sql(statement, some)


# -- A copy, while others go on writing ------------------------------------------------------------

# Lies in the folder of files until the database, which comes last, is there as well.
UNFINISHED = "backup.unfinished"


def back_up(source: Database, path: Path) -> Path:
    """Copy a database into a new SQLite file, and its attachments into the folder next to it."""
    folder = path.with_name(f"{path.stem}.files")
    mark = folder / UNFINISHED
    if mark.is_file() and not path.exists():
        shutil.rmtree(folder)
    for taken in (path, folder):
        if taken.exists():
            raise FileExistsError(f"{taken} exists. Nothing was written; name a new file.")
    if not path.parent.is_dir():
        raise StoreError(f"{path} was not written: there is no folder {path.parent}")
    try:
        # The database gets its name last: whoever finds it finds its files as well.
        with written_whole(path) as half:
            # The records first: what they name is in the folder already, whatever comes later.
            if source.file is not None:
                source.copy_into(half)
            else:
                _copy_rows(source, half)
            if source.files is not None and source.files.is_dir():
                with written_whole(folder) as half_folder:
                    _copy_files(source.files, half_folder)
                    (half_folder / UNFINISHED).touch()
        mark.unlink(missing_ok=True)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(f"{path} was not written, because {why(error)}") from error
    return path


def _copy_rows(source: Database, path: Path) -> None:
    """Copy every row of a server's database as it is at one moment."""
    target = Database(path)
    try:
        with source.reading() as old, target.writing() as new:
            for table in METADATA.sorted_tables:
                new.execute(sa.delete(table))
                found = old.execute(sa.select(table), execution_options={"yield_per": AT_ONCE})
                for rows in found.mappings().partitions(AT_ONCE):
                    new.execute(sa.insert(table), [dict(row) for row in rows])
    finally:
        target.close()
    with closing(sqlite3.connect(path)) as connection:
        in_one_file(connection)


def _copy_files(source: Path, target: Path) -> None:
    """Copy a folder of attachments, also while others attach more."""
    target.mkdir()
    for path in sorted(source.rglob("*")):
        # What is only being attached is named by no record yet, and goes as soon as it is whole.
        if path.suffix != ".unfinished" and path.is_file():
            copy = target / path.relative_to(source)
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, copy)

"""The database of a survey: its tables derived from the records, its schema, its connections."""

from __future__ import annotations

import errno
import os
import re
import secrets
import shutil
import sqlite3
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from datetime import date
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine.interfaces import DBAPIConnection

from heritagecheck.errors import StoreError
from heritagecheck.survey.records import KEYS, LINKS, ONE_ROW, TABLES
from heritagecheck.survey.records.fields import kinds
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store import address
from heritagecheck.survey.store.read_in_place import (
    Source,
    copied,
    may_be_written,
    read_from,
    shared,
    state_of,
    written_meanwhile,
)
from heritagecheck.whole_file import written_whole

NEWEST = "0014"
MIGRATIONS = Path(__file__).parent / "migrations"
WAIT_MS = 30_000
# So many rows are sent at once.
AT_ONCE = 5000
PAUSE = 0.02  # s between two tries, where SQLite leaves the waiting to us
# Alembic holds what it does in variables of its module: one thread at a time. PostgreSQL would let
# two programs make the same table at once; whoever comes second waits for this number.
_MIGRATING = threading.Lock()
MIGRATING_NUMBER = 20260001
AnyRecord = TypeVar("AnyRecord", bound=Record)
DAMAGED = (
    "The survey was changed outside heritagecheck, its file was damaged, or this is not the survey "
    "you meant.\nGo on with the last backup that check finds whole; keep this file for comparison."
)
# What SQLite says of a table or column that only a damaged survey lacks, or has twice.
LACKING = re.compile(
    r"no such (table|column)|already exists|duplicate column|could not decode", re.I
)

# SQLite's strict tables take these four types alone.
WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: sa.types.TypeEngine[Any] = sa.REAL().with_variant(sa.DOUBLE_PRECISION(), "postgresql")
HASH = sa.LargeBinary()


class DamagedError(ValueError):
    """What lies in the database makes no sense; it says where."""


def damaged(name: str, where: str) -> StoreError:
    """
    The error of a survey that is damaged.

    Parameters
    ----------
    name : str
        Where it is kept.
    where : str
        What is damaged in it.

    Returns
    -------
    StoreError
        With what to do.
    """
    return StoreError(f"{name} is damaged here: {where}.\n{DAMAGED}")


class Day(sa.types.TypeDecorator[date]):
    """A date: one of PostgreSQL's own, or year-month-day as text, since SQLite has none."""

    impl = sa.Text
    cache_ok = True

    def load_dialect_impl(self, dialect: sa.Dialect) -> sa.types.TypeEngine[Any]:
        """Type of the column."""
        return dialect.type_descriptor(sa.Date() if dialect.name == "postgresql" else sa.Text())

    def process_bind_param(self, value: date | None, dialect: sa.Dialect) -> Any:
        """Value as the column takes it."""
        return value if value is None or dialect.name == "postgresql" else value.isoformat()

    def process_result_value(self, value: Any, dialect: sa.Dialect) -> date | None:
        """Value as the record takes it."""
        try:
            return date.fromisoformat(value) if isinstance(value, str) else value
        except ValueError:
            raise DamagedError(f"{value!r} is no date") from None


def _column(table: str, model: type[Record], field: str) -> sa.Column[Any]:
    """One field of a record as a column."""
    kind = kinds(model, field)
    of_type: sa.types.TypeEngine[Any] = next(
        (type_ for python, type_ in ((date, Day()), (float, NUMBER), (int, WHOLE))
         if python in kind), sa.Text(),
    )  # fmt: skip
    links = []
    if other := LINKS.get(table, {}).get(field):
        # Asked when a save ends, so that one save may bring a record and what it names.
        links = [sa.ForeignKey(f"{other}.{KEYS[other][0]}", deferrable=True, initially="DEFERRED")]
    return sa.Column(field, of_type, *links, nullable=not model.model_fields[field].is_required())


def _metadata() -> tuple[sa.MetaData, dict[str, sa.Table]]:
    """Every table of the database."""
    naming = {
        "ix": "ix_%(table_name)s_%(column_0_N_name)s", "uq": "uq_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s", "pk": "pk_%(table_name)s",
    }  # fmt: skip
    data = sa.MetaData(naming_convention=naming)
    found: dict[str, sa.Table] = {}
    for name, model in TABLES.items():
        unique = [] if name in ONE_ROW else [sa.UniqueConstraint(*KEYS[name])]
        found[name] = sa.Table(
            name,
            data,
            # The journal's entries that made and last changed the record: its place and version.
            sa.Column("first_entry", WHOLE, primary_key=True, autoincrement=False),
            sa.Column("last_entry", WHOLE, nullable=False),
            sa.Column("deleted", WHOLE, nullable=False),
            *(_column(name, model, field) for field in model.model_fields),
            *unique,
            sqlite_strict=True,
        )
    for name, field in INDEXED:
        sa.Index(None, found[name].c[field])
    return data, found


# What one zone, set, series or session holds is found without reading a whole table.
INDEXED = (
    ("layers", "zone"), ("observations", "zone"), ("readings", "zone"), ("readings", "set_name"),
    ("readings", "session"), ("site_tests", "zone"), ("site_tests", "set_name"),
    ("panels", "zone"), ("panels", "series"), ("settings", "series"), ("settings", "zone"),
    ("spots", "panel"), ("spots", "zone"),
    ("attachments", "zone"), ("attachments", "file"), ("height_maps", "zone"),
    ("tile_readings", "session"), ("photos", "zone"),
)  # fmt: skip
METADATA, KEPT = _metadata()
SAVES = sa.Table(
    "saves",
    METADATA,
    sa.Column("save", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("made_at", sa.Text, nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("action", sa.Text, nullable=False),
    sa.Column("of_save", WHOLE, nullable=True),
    sqlite_strict=True,
)
JOURNAL = sa.Table(
    "journal",
    METADATA,
    sa.Column("entry", WHOLE, primary_key=True, autoincrement=False),
    sa.Column(
        "save", WHOLE, sa.ForeignKey("saves.save", deferrable=True, initially="DEFERRED"),
        nullable=False,
    ),
    sa.Column("of_table", sa.Text, nullable=False),
    sa.Column("record_key", sa.Text, nullable=False),
    sa.Column("old", sa.Text, nullable=True),
    sa.Column("new", sa.Text, nullable=True),
    sa.Column("previous", HASH, nullable=False),
    sqlite_strict=True,
)  # fmt: skip
HEAD = sa.Table(
    "head",
    METADATA,
    sa.Column("one", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("entry", WHOLE, nullable=False),
    sa.Column("hash", HASH, nullable=False),
    sqlite_strict=True,
)


class Database:
    """
    One database, SQLite or PostgreSQL, at the newest schema.

    Parameters
    ----------
    place : str or Path
        File of an SQLite database, or ``postgresql+psycopg://…``.
    files : str or Path, optional
        Folder of the attachments; beside an SQLite file where none is named.
    brought_up : callable, optional
        Told the connection and the version of an older database once its schema is of today: what
        it writes is kept with the new schema, or neither is.

    Raises
    ------
    StoreError
        It can't be reached or made, is no survey's, is damaged, or was made by a newer release.
    ValueError
        The address is neither a file nor one of PostgreSQL.

    Notes
    -----
    A file that is there, of this release, is only read until something is saved: so one that may
    not be written is read like any other, and a backup that is looked at stays as it is. Where one
    of an older release may not be written, a copy of it is brought up to date and read.
    """

    def __init__(
        self,
        place: str | Path,
        *,
        files: str | Path | None = None,
        brought_up: Callable[[sa.Connection, str], None] | None = None,
    ) -> None:
        text = str(place)
        self._brought_up = brought_up
        self.file = None if "://" in text else Path(text)
        self.files = Path(files) if files is not None else _files_beside(self.file)
        self._turning = threading.Lock()
        self._source: Source | None = None
        self._written_ahead = False
        if self.file is not None:
            _refuse_no_file(self.file)
            if not self.file.exists():
                self._begin(self.file)
            self._source = read_from(self.file)
            self._engine = _sqlite(self._source)
        elif text.startswith(address.BEGINS):
            self._engine = _postgresql(text)
        else:
            raise ValueError(
                f"{text.partition('://')[0]}:// is no address of a survey: name a file such as "
                f"survey.db, or a database as {address.FORM}"
            )
        try:
            self._bring_up_to_date()
        except BaseException:
            self.close()
            raise

    @property
    def name(self) -> str:
        """Where the database is, without any password."""
        return str(self.file) if self.file else address.shown(self._engine.url)

    @property
    def is_sqlite(self) -> bool:
        """Whether it is a file of SQLite."""
        return self.file is not None

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """
        A connection that sees one moment of the database.

        Yields
        ------
        sqlalchemy.Connection
        """
        with self._told("read"):
            engine, source = self._to_read()
            with engine.connect() as connection, connection.begin():
                yield connection
        # SQLite was told that nobody writes this file, and kept no eye on it.
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
        """Read another file, or the same in another way; whoever is reading ends as begun."""
        self._engine.dispose()
        if self._source and self._source.folder:
            self._source.folder.cleanup()
        self._source, self._engine = source, _sqlite(source)

    def copy_into(self, path: Path) -> None:
        """
        Copy an SQLite database as it is at one moment into a new file, which nothing guards.

        Parameters
        ----------
        path : Path
            The file to be made; half of it where copying fails.
        """
        with self._to_read()[0].connect() as connection:
            _copy(_raw(connection), path)

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """
        A connection on which all is kept when the block ends, or nothing where it fails.

        Yields
        ------
        sqlalchemy.Connection
            No other writes until the block ends.
        """
        at_the_end = False
        try:
            with self._told("saved"):
                self._write_ahead()
                with self._writer.connect() as connection, connection.begin():
                    yield connection
                    at_the_end = True
        except StoreError as error:
            told = getattr(error.__cause__, "orig", None)
            if at_the_end and not self.is_sqlite and getattr(told, "sqlstate", None) is None:
                raise StoreError(
                    f"{self.name}: the connection broke while the save was being kept. Look "
                    "whether it is there before you save again"
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
        self._engine = _sqlite(Source(half, {"mode": "rwc"}, None))
        try:
            self._migrate()
            # Only now, so that all of it lies in this one file, also where the disk is full.
            with self._told("changed"):
                _turn_ahead(self.name, self._engine)
            self._engine.dispose()
            _named(half, file)
        finally:
            self._engine.dispose()
            # A disk that may only be read refuses to remove even what is not there.
            with suppress(OSError):
                remove_sqlite(half)

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
            raise damaged(self.name, f"it holds {min(ours)}, but not the release that made it")
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
            copy_sqlite(self.file, free_name(self.file, f"before-{NEWEST}"))
        with self._told("changed"):
            self._write_ahead()
        self._migrate()

    def _write_ahead(self) -> None:
        """Let readers and a writer work at once, from the first save on."""
        if self.file is None or self._written_ahead:
            return
        with self._turning:
            source = shared(self.file)
            engine = _sqlite(source)
            try:
                _turn_ahead(self.name, engine)
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
        with _MIGRATING, self._told("changed"):
            writer = self._writer.execution_options(foreign_keys="OFF")
            with writer.connect() as connection, connection.begin():
                if not self.is_sqlite:
                    connection.execute(sa.select(sa.func.pg_advisory_xact_lock(MIGRATING_NUMBER)))
                config.attributes["connection"] = connection
                # Another program may have come first; so it is asked again, now that none can.
                found = MigrationContext.configure(connection).get_current_revision()
                command.upgrade(config, "head")
                if self._brought_up is not None and found is not None:
                    self._brought_up(connection, found)

    @contextmanager
    def _told(self, what: str) -> Iterator[None]:
        """Tell in plain words why the database could not be used."""
        try:
            yield
        except (sa.exc.DBAPIError, sqlite3.Error) as error:
            if where := _damage(error):
                raise damaged(self.name, where) from error
            cause = _cause(getattr(error, "orig", error))
            if cause is None:
                raise
            raise StoreError(
                f"{self.name}: nothing was {what}, because {cause}. What was saved before is as "
                "it was"
            ) from error
        except DamagedError as error:
            raise damaged(self.name, str(error)) from error
        except UnicodeDecodeError as error:  # SQLite's message holds a damaged name
            raise damaged(self.name, "its list of tables") from error


def insert_rows(connection: sa.Connection, table: sa.Table, rows: Iterable[Iterable[Any]]) -> None:
    """
    Add rows to a table, by the driver's own words: with many rows twice as fast.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Within a transaction that writes.
    table : sqlalchemy.Table
        The table.
    rows : iterable of iterable
        One value for each column, in the order of the columns.
    """
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
    rows: Iterable[Iterable[Any]],
) -> None:
    """
    Change rows of a table, likewise.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Within a transaction that writes.
    table : sqlalchemy.Table
        The table.
    fields : sequence of str
        What is changed.
    keys : sequence of str
        What tells one row from the others; none in a table of exactly one.
    rows : iterable of iterable
        New values of the fields, then the key.
    """
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
    """What stands for the values of columns in this driver's statements."""
    return ["?" if connection.dialect.name == "sqlite" else "%s" for _ in columns]


def _each(
    connection: sa.Connection,
    statement: str,
    columns: Iterable[sa.Column[Any]],
    rows: Iterable[Iterable[Any]],
) -> None:
    """Do the same for each of some rows, which hold a value for each column, some at a time."""
    dialect = connection.dialect
    as_taken = [column.type.dialect_impl(dialect).bind_processor(dialect) for column in columns]
    takes = [(place, take) for place, take in enumerate(as_taken) if take is not None]

    def taken(row: Iterable[Any]) -> tuple[Any, ...]:
        values = list(row)
        for place, take in takes:
            values[place] = take(values[place])
        return tuple(values)

    left = iter(rows)
    while some := [taken(row) for row in islice(left, AT_ONCE)]:
        connection.exec_driver_sql(statement, some)


def _known_versions() -> set[str]:
    """Schemas that this release can bring up to date."""
    return {path.name[:4] for path in (MIGRATIONS / "versions").glob("[0-9]*.py")}


def _files_beside(file: Path | None) -> Path | None:
    """Folder of the attachments of an SQLite file."""
    return None if file is None else file.with_name(f"{file.stem}.files")


def free_name(file: Path, word: str) -> Path:
    """
    A name beside a file that nothing bears yet.

    Parameters
    ----------
    file : Path
        The file.
    word : str
        What the name says.

    Returns
    -------
    Path
    """
    names = (f"{file.stem}.{word}{'' if turn == 1 else f'-{turn}'}{file.suffix}"
             for turn in range(1, 10_000))  # fmt: skip
    return next(path for name in names if not (path := file.with_name(name)).exists())


def copy_sqlite(source: Path, target: Path) -> None:
    """
    Copy an SQLite database as it is at one moment, also while others write.

    Parameters
    ----------
    source, target : Path
        The database, and the file to be made; whole, or not there at all.

    Raises
    ------
    FileExistsError
        Something bears that name already.
    StoreError
        It could not be written.
    """
    if target.exists():
        raise FileExistsError(f"{target} exists. Nothing was written; name a new file.")
    try:
        with written_whole(target) as half, closing(sqlite3.connect(source)) as old:
            old.execute(f"PRAGMA busy_timeout = {WAIT_MS}")
            _copy(old, half)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(f"{target} was not written, because {why(error)}") from error


def _copy(old: sqlite3.Connection, target: Path) -> None:
    """Copy a database as it is at one moment into a new file; half of it where that fails."""
    with closing(sqlite3.connect(target)) as new:
        old.backup(new)
        in_one_file(new)


def in_one_file(connection: sqlite3.Connection) -> None:
    """
    Let an SQLite database lie in its file alone, so that it can be carried away.

    Parameters
    ----------
    connection : sqlite3.Connection
        The only one to that database.
    """
    connection.execute("PRAGMA journal_mode = DELETE")


def remove_sqlite(file: Path) -> None:
    """
    Remove an SQLite database that nobody uses, and what SQLite keeps beside it.

    Parameters
    ----------
    file : Path
        The file; it need not be there.
    """
    for suffix in ("", "-wal", "-shm", "-journal"):
        path = file.with_name(f"{file.name}{suffix}")
        if path.exists():
            path.unlink()


def _refuse_no_file(file: Path) -> None:
    """Refuse what can't be the file of a survey, nor become one."""
    if not file.parent.is_dir():
        raise StoreError(f"{file}: there is no folder {file.parent}")
    if file.exists() and not file.is_file():
        what = "a folder" if file.is_dir() else "no plain file"
        raise StoreError(f"{file} is {what}, not a database")
    try:
        with file.open("rb") as opened:
            empty = not opened.read(1)
    except FileNotFoundError:
        return
    except OSError as error:
        raise StoreError(f"{file} can't be read: {error.strerror or error}") from error
    if empty:
        raise StoreError(
            f"{file} is empty, so what was in it is lost. Go back to a backup; to begin a new "
            "survey, remove this file first"
        )


def _named(half: Path, file: Path) -> None:
    """Give a new survey its name, unless another program was quicker: then that one's is used."""
    try:
        os.link(half, file)
    except FileExistsError:
        return
    except OSError:  # a disk on which no file has two names
        try:
            half.rename(file)
        except OSError as error:
            raise StoreError(f"{file} was not made, because {why(error)}") from error


def _raw(connection: sa.Connection) -> sqlite3.Connection:
    """The driver's own connection."""
    raw = connection.connection.dbapi_connection
    assert isinstance(raw, sqlite3.Connection)
    return raw


def _turn_ahead(name: str, engine: sa.Engine) -> None:
    """Let changes to a file of SQLite be written ahead of it; that is kept in the file."""
    with engine.connect() as connection:
        raw = _raw(connection)
        # SQLite refuses at once, whatever busy_timeout says, where a reader would have to wait
        # to become the writer: this pragma begins as one. So the waiting is done here.
        until = time.monotonic() + WAIT_MS / 1000
        while True:
            try:
                (mode,) = raw.execute("PRAGMA journal_mode = WAL").fetchone()
                break
            except sqlite3.OperationalError as error:
                busy = error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
                if not busy or time.monotonic() > until:
                    raise
                time.sleep(PAUSE)
    # Where programs can share no memory beside the file, SQLite leaves it as it was, and says
    # so by no error: asking again would never end.
    if mode != "wal":
        raise StoreError(
            f"{name}: this folder's disk can't hold a survey that several may open, as "
            "many network shares can't. Keep it on a local disk"
        )


def _sqlite(source: Source) -> sa.Engine:
    """Connections to an SQLite file."""
    engine = sa.create_engine(
        sa.URL.create(
            "sqlite", database=source.path.absolute().as_uri(),
            query={"uri": "true", **source.options},
        )
    )  # fmt: skip

    @sa.event.listens_for(engine, "connect")
    def _set_up(connection: DBAPIConnection, _record: object) -> None:
        # The driver's own transactions would begin late and commit before some statements.
        connection.isolation_level = None
        for pragma in (
            f"busy_timeout = {WAIT_MS}", "synchronous = FULL",
        ):  # fmt: skip
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        options = connection.get_execution_options()
        connection.exec_driver_sql(f"PRAGMA foreign_keys = {options.get('foreign_keys', 'ON')}")
        connection.exec_driver_sql(options.get("begin", "BEGIN"))

    return engine


def _postgresql(text: str) -> sa.Engine:
    """Connections to a PostgreSQL database, each transaction seeing one moment of it."""
    url = address.parsed(text)
    try:
        engine = sa.create_engine(url, isolation_level="REPEATABLE READ", pool_pre_ping=True)
    except ImportError as error:
        raise ImportError(
            "A survey in PostgreSQL needs psycopg: pip install 'heritagecheck[team]'"
        ) from error

    @sa.event.listens_for(engine, "do_connect")
    def _connect(
        dialect: sa.Dialect, _record: object, words: Sequence[Any], named: dict[str, Any]
    ) -> DBAPIConnection:
        try:
            return dialect.connect(*words, **named)
        except dialect.loaded_dbapi.ProgrammingError as error:  # before any server is asked
            said = str(error).replace(str(url.password or address.HIDDEN), address.HIDDEN)
            said = address.without_passwords(said)
            raise StoreError(f"{address.shown(url)}: this address can't be used: {said}") from None

    return engine


def why(error: BaseException) -> str:
    """
    Say in plain words why something could not be written.

    Parameters
    ----------
    error : BaseException
        What a database or the disk complains of.

    Returns
    -------
    str
    """
    if isinstance(error, StoreError) and error.__cause__ is not None:
        error = getattr(error.__cause__, "orig", None) or error.__cause__
    return _cause(error) or str(error)


def _damage(error: Exception) -> str:
    """Say what of the database is damaged, where that is what it complains of."""
    raw = getattr(error, "orig", None) or error
    said = str(raw).strip().partition("\n")[0]
    if isinstance(raw, sqlite3.Error):
        code = getattr(raw, "sqlite_errorcode", sqlite3.SQLITE_ERROR)
        lacking = code == sqlite3.SQLITE_ERROR and LACKING.search(said)
        return said if code & 0xFF == sqlite3.SQLITE_CORRUPT or lacking else ""
    # Only a value that the server gave and Python can't hold comes without its words for it.
    given = isinstance(error, sa.exc.DataError) and getattr(raw, "sqlstate", None) is None
    return said if given or getattr(raw, "sqlstate", None) in _POSTGRESQL_DAMAGED else ""


def _cause(error: BaseException | None) -> str | None:
    """Say in plain words what a database complains of, where it is none of our mistakes."""
    if isinstance(error, OSError):
        full = error.errno in {errno.ENOSPC, errno.EDQUOT}
        return "the disk is full" if full else error.strerror or str(error)
    state = getattr(error, "sqlstate", None)
    if state is not None:
        return _POSTGRESQL.get(state) or _POSTGRESQL.get(state[:2])
    code = getattr(error, "sqlite_errorcode", None)
    if code is not None:
        return _SQLITE.get(code) or _SQLITE.get(code & 0xFF)
    if type(error).__module__ == "psycopg" and type(error).__name__ == "OperationalError":
        first = str(error).strip().partition("\n")[0]
        return f"the server can't be reached: {address.without_passwords(first)}"
    return None


_SQLITE = {
    sqlite3.SQLITE_FULL: "the disk is full",
    sqlite3.SQLITE_READONLY: "it may not be written",
    sqlite3.SQLITE_CANTOPEN: "the file can't be opened, or this user may not write into its folder",
    sqlite3.SQLITE_IOERR: "the disk failed",
    sqlite3.SQLITE_IOERR_SHMSIZE: "the disk is full",
    sqlite3.SQLITE_BUSY: "somebody else has been writing for half a minute; try again",
    sqlite3.SQLITE_LOCKED: "somebody else is writing; try again",
    sqlite3.SQLITE_CORRUPT: "the file is damaged; go back to a backup",
    sqlite3.SQLITE_NOTADB: "it is not an SQLite database; if it was one, go back to a backup",
    sqlite3.SQLITE_PERM: "this user may not use it",
}
_POSTGRESQL = {
    "53100": "the server's disk is full",
    "53300": "the server has too many connections; try again",
    "25006": "it may not be written",
    "42501": "this user may not use it",
    "3D000": "there is no such database",
    "28P01": "the password is not right",
    "28000": "this user may not use it",
    "40001": "somebody else saved at the same moment; try again",
    "40P01": "somebody else saved at the same moment; try again",
    "57P01": "the server is being shut down",
    "08": "the server can't be reached",
    "58": "the server's disk failed",
}


# Damaged pages and indexes; a file, a table or a column that is not there.
_POSTGRESQL_DAMAGED = frozenset({"XX001", "XX002", "58P01", "42P01", "42703"})


def files_copied(source: Path, target: Path) -> None:
    """
    Copy a folder of attachments, also while others attach more.

    Parameters
    ----------
    source, target : Path
        The folder, and the one to be made.
    """
    target.mkdir()
    for path in sorted(source.rglob("*")):
        # What is only being attached is named by no record yet, and goes as soon as it is whole.
        if path.suffix != ".unfinished" and path.is_file():
            copy = target / path.relative_to(source)
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, copy)

"""A survey's SQLite file: create it whole, connect, take a consistent copy, remove it."""

from __future__ import annotations

import os
import shutil
import sqlite3
import time
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine.interfaces import DBAPIConnection

from heritagecheck.errors import StoreError
from heritagecheck.survey.store.database_errors import why
from heritagecheck.whole_file import written_whole

WAIT_MS = 30_000
PAUSE = 0.02  # s between two tries, where SQLite leaves the waiting to us


def connections(source: Source) -> sa.Engine:
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


def write_ahead(name: str, engine: sa.Engine) -> None:
    """Turn on write-ahead logging, a setting that SQLite stores in the file."""
    with engine.connect() as connection:
        raw = driver_connection(connection)
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
    # If the folder allows no shared memory file, SQLite keeps the old mode without an error, so
    # that trying again would never end.
    if mode != "wal":
        raise StoreError(
            f"{name}: this folder's disk can't hold a survey that several may open, as "
            "many network shares can't. Keep it on a local disk"
        )


def driver_connection(connection: sa.Connection) -> sqlite3.Connection:
    """The driver's own connection."""
    raw = connection.connection.dbapi_connection
    assert isinstance(raw, sqlite3.Connection)
    return raw


def refuse_no_file(file: Path) -> None:
    """Refuse what can't be the file of a survey, nor become one."""
    if not file.parent.is_dir():
        raise StoreError(f"{file}: there is no folder {file.parent}")
    if file.exists() and not file.is_file():
        what = "a folder" if file.is_dir() else "not a plain file"
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


def give_name(half: Path, file: Path) -> None:
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


def free_name(file: Path, word: str) -> Path:
    """An unused name next to a file."""
    names = (f"{file.stem}.{word}{'' if turn == 1 else f'-{turn}'}{file.suffix}"
             for turn in range(1, 10_000))  # fmt: skip
    return next(path for name in names if not (path := file.with_name(name)).exists())


def copy_sqlite(source: Path, target: Path) -> None:
    """Copy an SQLite database as it is at one moment, also while others write."""
    if target.exists():
        raise FileExistsError(f"{target} exists. Nothing was written; name a new file.")
    try:
        with written_whole(target) as half, closing(sqlite3.connect(source)) as old:
            old.execute(f"PRAGMA busy_timeout = {WAIT_MS}")
            copy_into(old, half)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(f"{target} was not written, because {why(error)}") from error


def copy_into(old: sqlite3.Connection, target: Path) -> None:
    """Copy a database as it is at one moment into a new file; half of it where that fails."""
    with closing(sqlite3.connect(target)) as new:
        old.backup(new)
        in_one_file(new)


def in_one_file(connection: sqlite3.Connection) -> None:
    """Let an SQLite database lie in its file alone, so that it can be carried away."""
    connection.execute("PRAGMA journal_mode = DELETE")


def remove_sqlite(file: Path) -> None:
    """Remove an SQLite database that nobody uses, with its -wal and -shm files."""
    for suffix in ("", "-wal", "-shm", "-journal"):
        path = file.with_name(f"{file.name}{suffix}")
        if path.exists():
            path.unlink()


# -- Read so that nothing is written ---------------------------------------------------------------

# Byte of the file's header that is 2 with write-ahead logging (SQLite's description of its file
# format, 1.3.3).
AHEAD_AT, AHEAD = 18, b"\x02"
COPIES = 3
CANT_OPEN = frozenset(
    {
        sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_IOERR,
    }
)  # fmt: skip
State = tuple[tuple[int, int, int] | None, ...]


class Source(NamedTuple):
    """Which file is read, how, and the state in which it was found; none where it is shared."""

    path: Path
    options: dict[str, str]
    state: State | None
    folder: TemporaryDirectory[str] | None = None


def read_from(file: Path) -> Source:
    """
    How to read an SQLite file without changing it or its folder.

    If the file may be written, it is read together with those who write into it. Otherwise it is
    read alone, or, if there are uncommitted -wal or -journal files, as a copy with these. SQLite
    shares memory with writers through a -shm file. On a full or read-only disk it cannot make one,
    and then nobody can be writing either.
    """
    ahead = _written_ahead(file)
    if ahead and not _left_over(file) and may_be_written(file) and _opens(file):
        return shared(file)
    state = state_of(file)
    if _holds(state[2]) or (ahead and _holds(state[1])):
        return copied(file)
    return Source(file, {"mode": "ro"} | ({"immutable": "1"} if ahead else {}), state)


def shared(file: Path) -> Source:
    """A file of SQLite together with those who write into it."""
    return Source(file, {"mode": "rw"}, None)


def state_of(file: Path) -> State:
    """Signature that changes when an SQLite file or its -wal file is written."""
    return tuple(_stat(_beside(file, suffix)) for suffix in ("", "-wal", "-journal"))


def _stat(path: Path) -> tuple[int, int, int] | None:
    """Time, size and number of a file."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise StoreError(f"{path} can't be read: {error.strerror or error}") from error
    return found.st_mtime_ns, found.st_size, found.st_ino


def _left_over(file: Path) -> bool:
    """Whether a file that nobody shares has a -wal file, which SQLite would merge or delete."""
    # A program that writes also has a -shm file; without one, both files were copied here.
    lie = any(_holds(_stat(_beside(file, suffix))) for suffix in ("-wal", "-journal"))
    return lie and not _beside(file, "-shm").exists()


def _holds(one: tuple[int, int, int] | None) -> bool:
    """Whether a file is there, and not empty."""
    return one is not None and one[1] > 0


def _beside(file: Path, suffix: str) -> Path:
    """Files that SQLite creates next to a database."""
    return file.with_name(file.name + suffix)


def _written_ahead(file: Path) -> bool:
    """Whether the file uses write-ahead logging."""
    try:
        with file.open("rb") as opened:
            opened.seek(AHEAD_AT)
            return opened.read(1) == AHEAD
    except OSError as error:
        raise StoreError(f"{file} can't be read: {error.strerror or error}") from error


def may_be_written(file: Path) -> bool:
    """Whether this user may write the file and create others next to it."""
    return os.access(file, os.W_OK) and os.access(file.parent, os.W_OK)


def _opens(file: Path) -> bool:
    """Whether SQLite can share the file; what else is wrong with it shows when it is read."""
    try:
        with closing(sqlite3.connect(f"{file.absolute().as_uri()}?mode=rw", uri=True)) as tried:
            tried.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.DatabaseError as error:
        return error.sqlite_errorcode & 0xFF not in CANT_OPEN
    except UnicodeDecodeError:  # a damaged name within the message itself
        return True
    return True


def copied(file: Path) -> Source:
    """A private copy of an SQLite file and of its -wal file."""
    for _ in range(COPIES):
        state = state_of(file)
        folder = TemporaryDirectory(prefix="heritagecheck-", ignore_cleanup_errors=True)
        copy = Path(folder.name) / file.name
        try:
            for suffix, there in zip(("", "-wal", "-journal"), state, strict=True):
                if there is not None:
                    shutil.copyfile(_beside(file, suffix), _beside(copy, suffix))
        except OSError as error:
            folder.cleanup()
            raise StoreError(f"{file} can't be read: {error.strerror or error}") from error
        if state_of(file) == state:
            return Source(copy, {"mode": "rw"}, state, folder)
        folder.cleanup()
    raise StoreError(written_meanwhile(file))


def written_meanwhile(file: Path) -> str:
    """What is said where others wrote into a file that could not be shared with them."""
    return f"{file} was written by others while it was read; try again"

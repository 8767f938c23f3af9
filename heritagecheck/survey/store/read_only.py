"""How a survey's file is read so that nothing is written: neither in it nor beside it."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from heritagecheck.errors import StoreError

# The file's header says at this place whether changes are written ahead, into a file beside it
# (SQLite's own description of its file format, 1.3.3).
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
    How to read a file of SQLite, and leave it and its folder as they are.

    The file itself, shared with those who write into it, where it may be written. Else the file
    alone, where that is all of it, or a copy of it and what lies beside it. SQLite keeps memory in
    common with whoever writes in a file beside the survey's. On a full disk, or one that may only
    be read, it can't make one; then nobody can be writing either.
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
    """What shows that a file of SQLite, or what lies beside it, was written."""
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
    """Whether changes lie beside a file that nobody shares; SQLite would bring them in, or away."""
    # Whoever writes keeps a memory in common beside them; without it, both were copied here.
    lie = any(_holds(_stat(_beside(file, suffix))) for suffix in ("-wal", "-journal"))
    return lie and not _beside(file, "-shm").exists()


def _holds(one: tuple[int, int, int] | None) -> bool:
    """Whether a file is there, and not empty."""
    return one is not None and one[1] > 0


def _beside(file: Path, suffix: str) -> Path:
    """What SQLite keeps beside a file."""
    return file.with_name(file.name + suffix)


def _written_ahead(file: Path) -> bool:
    """Whether changes are written into a file beside it first."""
    try:
        with file.open("rb") as opened:
            opened.seek(AHEAD_AT)
            return opened.read(1) == AHEAD
    except OSError as error:
        raise StoreError(f"{file} can't be read: {error.strerror or error}") from error


def may_be_written(file: Path) -> bool:
    """Whether this user may write a file, and others beside it."""
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
    """A copy of a file of SQLite and of the changes beside it, which nobody else sees."""
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

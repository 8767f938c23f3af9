"""What a database or a disk complains of, in plain words, and what to do."""

from __future__ import annotations

import errno
import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

import sqlalchemy as sa

from heritagecheck.errors import StoreError
from heritagecheck.survey.store.postgresql import without_passwords

DAMAGED = (
    "The survey was changed outside heritagecheck, its file was damaged, or this is not the survey "
    "you meant.\nUse the last backup that passes check; keep this file for comparison."
)
# What SQLite says of a table or column that only a damaged survey lacks, or has twice.
LACKING = re.compile(
    r"no such (table|column)|already exists|duplicate column|could not decode", re.I
)


class DamagedError(ValueError):
    """The database holds something that cannot be read; the message says where."""


def damaged(name: str, where: str) -> StoreError:
    """The error of a survey that is damaged."""
    return StoreError(f"{name} is damaged here: {where}.\n{DAMAGED}")


@contextmanager
def told(name: str, what: str) -> Iterator[None]:
    """Tell in plain words why a database could not be used."""
    try:
        yield
    except (sa.exc.DBAPIError, sqlite3.Error) as error:
        if where := _damage(error):
            raise damaged(name, where) from error
        cause = _cause(getattr(error, "orig", error))
        if cause is None:
            raise
        raise StoreError(
            f"{name}: nothing was {what}, because {cause}. What was saved before is unchanged"
        ) from error
    except DamagedError as error:
        raise damaged(name, str(error)) from error
    except UnicodeDecodeError as error:  # SQLite's message holds a damaged name
        raise damaged(name, "its list of tables") from error


def why(error: BaseException) -> str:
    """Say in plain words why something could not be written."""
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
        return f"the server can't be reached: {without_passwords(first)}"
    return None


_SQLITE = {
    sqlite3.SQLITE_FULL: "the disk is full",
    sqlite3.SQLITE_READONLY: "it can't be written to",
    sqlite3.SQLITE_CANTOPEN: "the file can't be opened, or this user may not write into its folder",
    sqlite3.SQLITE_IOERR: "the disk failed",
    sqlite3.SQLITE_IOERR_SHMSIZE: "the disk is full",
    sqlite3.SQLITE_BUSY: "somebody else has been writing for half a minute; try again",
    sqlite3.SQLITE_LOCKED: "somebody else is writing; try again",
    sqlite3.SQLITE_CORRUPT: "the file is damaged; use a backup",
    sqlite3.SQLITE_NOTADB: "it is not an SQLite database; if it was one, use a backup",
    sqlite3.SQLITE_PERM: "this user may not use it",
}
_POSTGRESQL = {
    "53100": "the server's disk is full",
    "53300": "the server has too many connections; try again",
    "25006": "it can't be written to",
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

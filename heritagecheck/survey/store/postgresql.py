"""A survey on a PostgreSQL server: its address, shown without a password, and connections."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine.interfaces import DBAPIConnection

from heritagecheck.errors import StoreError

BEGINS = "postgresql+psycopg://"
FORM = f"{BEGINS}user@host/name"
HIDDEN = "***"
# Of an address's query only what is plainly no secret is shown.
_SECRET = re.compile(r"(?i)(pass(?:word)?=)[^&\s]*|(=)[^&\s]*[^&\s\w./,-][^&\s]*")


def connections(text: str) -> sa.Engine:
    """Connections to a PostgreSQL database, each transaction seeing one moment of it."""
    url = parsed(text)
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
        except dialect.loaded_dbapi.ProgrammingError as error:  # before any server is contacted
            said = str(error).replace(str(url.password or HIDDEN), HIDDEN)
            said = without_passwords(said)
            raise StoreError(f"{shown(url)}: this address can't be used: {said}") from None

    return engine


def parsed(text: str) -> sa.URL:
    """An address taken apart."""
    place = text.removeprefix(BEGINS).partition("?")[0]
    try:
        url = sa.make_url(text)
        # With a sign out of place, who may use it would be taken for the database's name.
        if re.search("[:@]", url.database or "") or not 0 < (url.port or 1) < 65_536:
            raise ValueError
    except (sa.exc.ArgumentError, ValueError):
        wrong = f"this is not a database's address; write {FORM}, a port as a number: host:5432"
    else:
        if text.isprintable() and place.count("@") <= 1:
            return url
        wrong = "in a password write @ as %40, and each space or other special character likewise"
    raise StoreError(f"{BEGINS}…: {wrong}") from None


def shown(url: sa.URL) -> str:
    """An address without any password."""
    whole, sign, query = url.render_as_string().partition("?")
    return whole + sign + _hidden(query)


def without_passwords(text: str) -> str:
    """A text in which no address shows who may use it."""
    return _hidden(re.sub(r"://.*@", f"://{HIDDEN}@", text))


def _hidden(query: str) -> str:
    """What may be shown of a query."""
    return _SECRET.sub(rf"\1\2{HIDDEN}", query)

"""Addresses of databases on a server: taken apart, refused in words, shown without a password."""

from __future__ import annotations

import re

import sqlalchemy as sa

from heritagecheck.errors import StoreError

BEGINS = "postgresql+psycopg://"
FORM = f"{BEGINS}user@host/name"
HIDDEN = "***"
# Of an address's query only what is plainly no secret is shown.
_SECRET = re.compile(r"(?i)(pass(?:word)?=)[^&\s]*|(=)[^&\s]*[^&\s\w./,-][^&\s]*")


def parsed(text: str) -> sa.URL:
    """
    An address taken apart.

    Parameters
    ----------
    text : str
        The address, from ``postgresql+psycopg://`` on.

    Returns
    -------
    sqlalchemy.URL

    Raises
    ------
    StoreError
        It is none; nothing of it is repeated, since a password may stand anywhere in it.
    """
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
    """
    An address without any password.

    Parameters
    ----------
    url : sqlalchemy.URL
        The address.

    Returns
    -------
    str
    """
    whole, sign, query = url.render_as_string().partition("?")
    return whole + sign + _hidden(query)


def without_passwords(text: str) -> str:
    """
    A text in which no address shows who may use it.

    Parameters
    ----------
    text : str
        Any text; an address in it need not be a good one.

    Returns
    -------
    str
    """
    return _hidden(re.sub(r"://.*@", f"://{HIDDEN}@", text))


def _hidden(query: str) -> str:
    """What may be shown of a query."""
    return _SECRET.sub(rf"\1\2{HIDDEN}", query)

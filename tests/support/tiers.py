"""What each of the two tiers tries: `make test` a telling part, `make test-long` the whole."""

from collections.abc import Collection, Iterable
from typing import Any

import pytest
from hypothesis import settings


def examples(short: int, *, long: int) -> int:
    """Give the number of examples of a property: all of them in the long tier."""
    full = settings.get_profile("long").max_examples
    return long if settings.default.max_examples == full else short


def some_of(values: Iterable[Any], *, short: Collection[Any]) -> list[Any]:
    """
    Give parameters of which `make test` tries only a part, the others being marked as long.

    A tuple holds the values of several parameters.
    """
    values = list(values)
    assert all(one in values for one in short), f"{short} are not all among {values}"
    return [
        one if one in short else pytest.param(*(one if isinstance(one, tuple) else (one,)),
                                              marks=pytest.mark.long)
        for one in values
    ]  # fmt: skip


def two_sizes(small: Any, full: Any) -> list[Any]:
    """
    Give parameters of a test in two sizes: `make test` tries the small one, `make test-long` both.

    The full one holds all that the small one does, so `make test-all` leaves the small one out.
    A tuple holds the values of several parameters.
    """
    return [
        pytest.param(*(one if isinstance(one, tuple) else (one,)), marks=mark)
        for one, mark in ((small, pytest.mark.small), (full, pytest.mark.long))
    ]


def full_on_sqlite(names: str, small: Any, full: Any) -> pytest.MarkDecorator:
    """
    Let a test run in two sizes on SQLite, as `two_sizes` says; in the small one on PostgreSQL too.

    What is killed there is our program alone, and it is our program that the full size is about;
    PostgreSQL itself is killed in test_crash.py.
    """
    on_sqlite = [
        pytest.param("sqlite", *one.values, marks=one.marks) for one in two_sizes(small, full)
    ]
    [smaller, _] = two_sizes(small, full)
    on_server = pytest.param("postgresql", *smaller.values, marks=pytest.mark.long)
    return pytest.mark.parametrize(
        f"new_database, {names}", [*on_sqlite, on_server], indirect=["new_database"],
        ids=["sqlite small", "sqlite", "postgresql"],
    )  # fmt: skip


# Of `make test` on SQLite alone; `make test-long` tries the same on PostgreSQL.
server_is_long = pytest.mark.parametrize(
    "new_database", some_of(["sqlite", "postgresql"], short=["sqlite"]), indirect=True
)

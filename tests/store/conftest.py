"""Both kinds of database, a really small disk, a folder that can't be written."""

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from bursts import Forks, forks
from real_postgres import NoPostgresError, Server, postgres
from small_disk import NoDiskError, SmallDisk, small_disk


def left_out(why: str) -> None:
    """Leave a test out where something is lacking; where everything is checked, fail."""
    if os.environ.get("CI"):
        pytest.fail(why, pytrace=False)
    pytest.skip(why)


def started() -> Iterator[Server]:
    """Start a real PostgreSQL, or say why it can't be."""
    try:
        with postgres() as running:
            yield running
    except NoPostgresError as missing:
        left_out(str(missing))


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """Give a real PostgreSQL, started for these tests alone."""
    yield from started()


@pytest.fixture
def server_to_kill() -> Iterator[Server]:
    """Give another for one test; with few databases in it, it is soon up again after a kill."""
    yield from started()


@pytest.fixture
def files(tmp_path: Path) -> Path:
    """Give the folder of attachments that `database` uses."""
    return tmp_path / "kept.files"


@pytest.fixture(params=["sqlite", "postgresql"])
def new_database(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], str]:
    """Give a way to make places for surveys that hold nothing yet, once of each kind."""
    if request.param == "postgresql":
        make: Callable[[], str] = request.getfixturevalue("server").new_database
        return make
    names = (str(tmp_path / f"kept{turn or ''}.db") for turn in range(1000))
    return lambda: next(names)


@pytest.fixture
def database(new_database: Callable[[], str]) -> str:
    """Give a place for a survey that holds nothing yet, once of each kind."""
    return new_database()


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[SmallDisk]:
    """Give a disk of six megabytes."""
    try:
        with small_disk(tmp_path / "disk") as mounted:
            yield mounted
    except NoDiskError as missing:
        left_out(str(missing))


@pytest.fixture(scope="session")
def program() -> Iterator[Forks]:
    """Give a warm process that forks others; to start it takes as long as many a test."""
    with forks() as started_once:
        yield started_once


@pytest.fixture(scope="session")
def programs(program: Forks) -> Iterator[list[Forks]]:
    """Give four of them."""
    with ExitStack() as stack:
        yield [program, *(stack.enter_context(forks()) for _ in range(3))]


@pytest.fixture
def fork(program: Forks) -> Iterator[Forks]:
    """Give one of them; what it forked is gone when the test ends."""
    yield program
    program.end()

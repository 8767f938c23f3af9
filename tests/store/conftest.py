"""Both kinds of database, a really small disk, a folder that can't be written."""

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from bursts import Forks, forks
from real_postgres import NoPostgresError, Server, postgres
from small_disk import NoDiskError, SmallDisk, small_disk

import heritagecheck as hc
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey


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


@pytest.fixture(scope="session")
def example_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the example in a file of SQLite, its attachments beside it; to be copied, not used."""
    place = tmp_path_factory.mktemp("example") / "kept.db"
    hc.import_survey(example_folder(), place, who="conservator", reason="begun").close()
    return place


@pytest.fixture(scope="session")
def example_on_server(server: Server, example_file: Path) -> str:
    """Give the name of a database of the server with the same; to be copied, not used."""
    url, files = server.new_database(), example_file.with_suffix(".files")
    hc.import_survey(example_folder(), url, files=files, who="conservator", reason="begun").close()
    return url.rpartition("/")[2]


@pytest.fixture
def filled(request: pytest.FixtureRequest, database: str, files: Path, example_file: Path) -> str:
    """Give a place that holds the example, once of each kind."""
    shutil.copytree(example_file.with_suffix(".files"), files)
    if "://" in database:
        running: Server = request.getfixturevalue("server")
        running.drop(database)
        made_of = request.getfixturevalue("example_on_server")
        running.run(f"CREATE DATABASE {database.rpartition('/')[2]} TEMPLATE {made_of}")
    else:
        shutil.copyfile(example_file, database)
    return database


@pytest.fixture
def survey(filled: str, files: Path) -> Iterator[DatabaseSurvey]:
    """Give the example survey in a database of its own."""
    with DatabaseSurvey(filled, files=files) as opened:
        yield opened


@pytest.fixture
def other(tmp_path: Path, example_file: Path) -> Iterator[DatabaseSurvey]:
    """Give the same survey in a file of somebody else."""
    place = tmp_path / "other.db"
    shutil.copyfile(example_file, place)
    shutil.copytree(example_file.with_suffix(".files"), place.with_suffix(".files"))
    with DatabaseSurvey(place) as opened:
        yield opened


@pytest.fixture(scope="session")
def small_file(example_file: Path) -> Path:
    """Give a file with a few zones of the example, in few pages; to be copied, not used."""
    place = example_file.with_name("small.db")
    with DatabaseSurvey(example_file) as example, DatabaseSurvey(place) as survey:
        survey.save(*example.all(Elevation), who="conservator")
        survey.save(*example.all(Zone)[:3], who="conservator")
    return place


@pytest.fixture
def small(small_file: Path, tmp_path: Path) -> Path:
    """Give a file of one's own with the same."""
    return Path(shutil.copyfile(small_file, tmp_path / "small.db"))


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

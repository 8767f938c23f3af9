"""Both kinds of database, a really small disk, a folder that can't be written."""

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from real_postgres import NoPostgresError, Server, postgres


def left_out(why: str) -> None:
    """Leave a test out where something is lacking; where everything is checked, fail."""
    if os.environ.get("CI"):
        pytest.fail(why, pytrace=False)
    pytest.skip(why)


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """Give a real PostgreSQL, started for these tests alone."""
    try:
        with postgres() as started:
            yield started
    except NoPostgresError as missing:
        left_out(str(missing))


@pytest.fixture
def files(tmp_path: Path) -> Path:
    """Give the folder of attachments that `database` uses."""
    return tmp_path / "kept.files"


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest, tmp_path: Path, files: Path) -> str:
    """Give a place for a survey that holds nothing yet, once of each kind."""
    if request.param == "sqlite":
        return str(tmp_path / "kept.db")
    return str(request.getfixturevalue("server").new_database())


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Give a folder on a disk of six megabytes."""
    folder = tmp_path / "disk"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", str(folder)]
    if subprocess.run(command, capture_output=True, check=False).returncode:
        left_out("mounting a small disk needs root")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)

"""A full disk, a folder that may only be read: told in words, nothing lost, no half of a file."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from bursts import STEPS, content, place_of, step
from real_postgres import Server
from small_disk import NoDiskError, SmallDisk, as_modes_say, small_disk

import heritagecheck as hc
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import Attachment, Zone
from heritagecheck.survey.store import sqlite_file
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.journal import text_of
from heritagecheck.survey.store.schema import MIGRATIONS

KIB = 1024
SUPPORT = Path(__file__).parents[1] / "support"


Copier = Callable[[Path, Path], DatabaseSurvey]


def imported(place: Path | str, files: Path) -> DatabaseSurvey:
    """The example survey in a database, imported into it."""
    return hc.import_survey(example_folder(), place, files=files, who="conservator")


@pytest.fixture
def copied(example_file: Path) -> Copier:
    """Give a way to have the example in a file of SQLite without another import."""

    def copy(place: Path, files: Path) -> DatabaseSurvey:
        shutil.copyfile(example_file, place)
        shutil.copytree(example_file.with_suffix(".files"), files)
        return DatabaseSurvey(place, files=files)

    return copy


def names(folder: Path) -> set[str]:
    """What lies in a folder, the ballast aside."""
    return {path.name for path in folder.iterdir()} - {"ballast"}


def saved_until_it_fails(survey: DatabaseSurvey, match: str) -> int:
    """Save step after step, until one is refused in these words; how many were not."""
    for number in range(STEPS):
        try:
            survey.save(step(number), who="conservator")
        except OSError as error:
            said, done = str(error), number
            break
    else:
        pytest.fail("no save was refused")
    assert re.search(match, said), said
    return done


def told(place: Path, files: Path) -> str:
    """What somebody who opens a survey and looks at its zones is told, if they can't."""
    try:
        with DatabaseSurvey(place, files=files) as survey:
            assert len(survey.all(Zone)) == 52
    except OSError as error:
        return str(error)
    return ""


def holds(survey: DatabaseSurvey, before: int, done: int) -> None:
    """Check whether a survey holds what was saved, that alone, and each record with its value."""
    assert survey.verify(), str(survey.verify())
    journal = survey.journal.iloc[before:]
    steps = [step(number) for number in range(done)]
    assert list(journal["new"]) == [text_of(record) for record in steps]
    for record in {place_of(record): record for record in steps}.values():
        assert survey.record(*place_of(record)) == record


# -- A full disk ----------------------------------------------------------------------------------


def test_a_full_disk_is_told_and_what_was_saved_is_whole(disk: SmallDisk, copied: Copier) -> None:
    """
    Saves go on until the disk is full; the one that fails says so, and leaves nothing behind.

    As soon as there is room again, the same survey goes on, and so does whoever opens it.
    """
    place, files = disk.folder / "kept.db", disk.folder / "kept.files"
    survey = copied(place, files)
    before = len(survey.journal)
    disk.fill(leave_bytes=300 * KIB)

    done = saved_until_it_fails(survey, rf"{place}: nothing was saved, because the disk is full\.")
    assert done > 5
    with pytest.raises(OSError, match=r"the disk is full\. What was saved before is unchanged"):
        survey.save(*(step(number) for number in range(200, 400)))
    disk.free()

    holds(survey, before, done)
    survey.save(step(done))
    survey.close()
    with DatabaseSurvey(place, files=files) as again:
        holds(again, before, done + 1)
        again.save(step(done + 1))
        holds(again, before, done + 2)


def test_a_save_that_failed_gives_no_right_to_overwrite(disk: SmallDisk, copied: Copier) -> None:
    """
    Somebody else saved the same zone meanwhile: the second try is refused.

    Their entry bears the number that the failed one would have had, which must not be taken for it.
    """
    place, files = disk.folder / "kept.db", disk.folder / "kept.files"
    with copied(place, files) as survey, DatabaseSurvey(place, files=files) as other:
        mine, theirs = step(0).changed(note="mine" * 7_000), step(0).changed(note="theirs")
        disk.fill(leave_bytes=16 * KIB)
        with pytest.raises(OSError, match=r"the disk is full"):
            survey.save(mine, who="conservator")
        disk.free()
        other.save(theirs, who="engineer")

        with pytest.raises(hc.SurveyError, match=r"N01 was saved by engineer at .* with theirs"):
            survey.save(step(0).changed(note="mine"), who="conservator")

        other.refresh()
        assert other.record("zones", "N01") == theirs


def test_a_survey_on_a_full_disk_can_be_looked_at(disk: SmallDisk, copied: Copier) -> None:
    """With not a byte left, whoever has it open reads on, and others open it as well."""
    place, files = disk.folder / "kept.db", disk.folder / "kept.files"
    with copied(place, files) as survey:
        before = len(survey.journal)
        disk.fill()

        assert survey.verify()
        assert not told(place, files)
    disk.free()
    with DatabaseSurvey(place, files=files) as again:
        holds(again, before, 0)


def test_a_survey_that_nobody_has_open_on_a_full_disk_is_left_as_it_is(
    disk: SmallDisk, copied: Copier
) -> None:
    """SQLite needs some room to open it: it is read, or whoever opens it is told why not."""
    place, files = disk.folder / "kept.db", disk.folder / "kept.files"
    with copied(place, files) as survey:
        before = len(survey.journal)
    disk.fill()

    said = told(place, files)

    assert not said or re.search(rf"{place}: nothing was read, because the disk is full", said)
    disk.free()
    with DatabaseSurvey(place, files=files) as again:
        holds(again, before, 0)


def test_a_survey_can_t_be_begun_on_a_full_disk(disk: SmallDisk) -> None:
    """Neither an empty one nor an import; once there is room, both can."""
    place, files = disk.folder / "kept.db", disk.folder / "kept.files"
    disk.fill(leave_bytes=40 * KIB)
    with pytest.raises(OSError, match=rf"{place}: nothing was .*, because the disk is full"):
        hc.open_survey(place, files=files)
    disk.free()

    for room_kib in (100, 500, 900):
        disk.fill(leave_bytes=room_kib * KIB)
        with pytest.raises(OSError, match=r" was .*, because the disk is full"):
            imported(place, files)
        disk.free()

    with imported(place, files) as survey:
        assert survey.verify()
        assert survey.imported is not None
        assert survey.imported.changed == 0


def test_an_older_file_on_a_full_disk_is_left_as_it_is(disk: SmallDisk) -> None:
    """It is brought up to date only after a copy, and there is no room for one."""
    place = disk.folder / "older.db"
    engine = sa.create_engine(f"sqlite:///{place}")
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA journal_mode = WAL")
    engine.dispose()
    was = place.read_bytes()
    disk.fill(leave_bytes=60 * KIB)

    with pytest.raises(
        OSError, match=r"older\.before-\d+\.db was not written, because the disk is"
    ):
        DatabaseSurvey(place)
    disk.free()
    assert names(disk.folder) == {"older.db"}
    assert place.read_bytes() == was
    with DatabaseSurvey(place) as survey:
        assert survey.verify()


@contextmanager
def table_space(server: Server, size_mb: int) -> Iterator[tuple[SmallDisk, str]]:
    """A small disk for one database of the server, and that database."""
    with small_disk(server.folder / "disk", size_mb) as disk:
        own = disk.folder / "own"
        own.mkdir()
        server.own(own)
        server.run(f"CREATE TABLESPACE small LOCATION '{own}'")
        place = server.new_database("TABLESPACE small")
        try:
            yield disk, place
        finally:
            server.drop(place)
            server.run("DROP TABLESPACE small")


@pytest.mark.long
def test_a_full_disk_of_the_server_is_told_and_what_was_saved_is_whole(
    server: Server, files: Path, disk: SmallDisk
) -> None:
    """The same with PostgreSQL, whose tables lie on a really small disk."""
    del disk  # it only says whether disks can be mounted here
    with table_space(server, 24) as (small, place):
        survey = imported(place, files)
        before = len(survey.journal)
        small.fill(leave_bytes=100 * KIB)

        done = saved_until_it_fails(
            survey, r"nothing was saved, because the server's disk is full\. What was saved before"
        )
        assert done > 5
        small.free()

        holds(survey, before, done)
        survey.save(step(done))
        survey.close()
        with DatabaseSurvey(place, files=files) as again:
            holds(again, before, done + 1)


def test_a_file_that_finds_no_room_is_not_attached(
    filled: str, files: Path, disk: SmallDisk, tmp_path: Path
) -> None:
    """Neither a record nor a half of the file is left; with room it is attached."""
    files = Path(shutil.copytree(files, disk.folder / "kept.files"))
    photograph = tmp_path / "soffit.jpg"
    photograph.write_bytes(content(1))
    with DatabaseSurvey(filled, files=files) as survey:
        before, kept = len(survey.journal), set(files.rglob("*"))
        disk.fill(leave_bytes=len(content(1)) // 2)

        with pytest.raises(OSError, match=rf"{photograph} was not saved, because the disk is full"):
            survey.attach(photograph, kind="photograph", zone="N06")
        assert {path for path in files.rglob("*") if path.is_file()} <= kept
        assert len(survey.journal) == before
        disk.free()

        found = survey.attach(photograph, kind="photograph", zone="N06")
        assert found in survey.all(Attachment)
        assert (survey.file("soffit.jpg") or Path()).read_bytes() == content(1)
        assert survey.verify()


@pytest.mark.parametrize("room_kib", [0, 50, 700])
def test_a_backup_that_finds_no_room_leaves_nothing(
    filled: str, files: Path, tmp_path: Path, disk: SmallDisk, room_kib: int
) -> None:
    """No half of a database, nor a database without its files; the survey is as it was."""
    picture = tmp_path / "soffit.jpg"
    picture.write_bytes(content(1) * 100)
    with DatabaseSurvey(filled, files=files) as survey:
        survey.attach(picture, kind="photograph", zone="N06")
        before = len(survey.journal)
        disk.fill(leave_bytes=room_kib * KIB)

        with pytest.raises(OSError, match=r"disk/copy\.\w+ was not written, because the disk is"):
            survey.backup(disk.folder / "copy.db")
        assert names(disk.folder) == set()
        disk.free()

        holds(survey, before, 0)
        survey.backup(disk.folder / "copy.db")
        with DatabaseSurvey(disk.folder / "copy.db") as copy:
            holds(copy, before, 0)


@pytest.mark.parametrize(
    ("name", "room_kib"), [("out", 0), ("out", 40), ("out.zip", 20), ("out.xlsx", 0)]
)
def test_an_export_that_finds_no_room_leaves_nothing(
    tmp_path: Path, files: Path, disk: SmallDisk, name: str, room_kib: int, copied: Copier
) -> None:
    """No half of a folder, an archive or a workbook; with room it is written."""
    with copied(tmp_path / "kept.db", files) as survey:
        disk.fill(leave_bytes=room_kib * KIB)

        with pytest.raises(
            OSError, match=rf"disk/{name} was not written, because the disk is full"
        ):
            survey.export(disk.folder / name)
        assert names(disk.folder) == set()
        disk.free()

        assert survey.export(disk.folder / name).exists()
        assert names(disk.folder) == {name}


# -- What may only be read ------------------------------------------------------------------------


def test_a_survey_on_a_disk_that_may_only_be_read_is_left_as_it_is(
    disk: SmallDisk, copied: Copier
) -> None:
    """It is read, or says in words why not; saving is refused in words that name the file."""
    place, files = disk.folder / "kept.db", disk.folder / "kept.files"
    with copied(place, files) as survey:
        before = len(survey.journal)
    was = place.read_bytes()
    disk.read_only()

    said = told(place, files)

    assert not said or re.search(rf"{place}: nothing was read, because \w", said)
    with pytest.raises(OSError, match=rf"{place}: nothing was \w+, because \w"):
        DatabaseSurvey(place, files=files).save(step(0))
    assert place.read_bytes() == was
    disk.writable()
    with DatabaseSurvey(place, files=files) as again:
        holds(again, before, 0)
        again.save(step(0))
        holds(again, before, 1)


def test_nothing_is_begun_or_written_where_it_may_only_be_read(
    tmp_path: Path, files: Path, disk: SmallDisk, copied: Copier
) -> None:
    """A new survey, an import, a backup, a file: each names what it could not write."""
    with copied(tmp_path / "kept.db", files) as survey:
        disk.read_only()

        with pytest.raises(OSError, match=r"disk/new\.db: .* can't be opened, or this user"):
            hc.open_survey(disk.folder / "new.db")
        with pytest.raises(OSError, match=r"disk/new\.db: "):
            imported(disk.folder / "new.db", files)
        with pytest.raises(OSError, match=r"disk/copy\.db was not written, because"):
            survey.backup(disk.folder / "copy.db")
        picture = tmp_path / "soffit.jpg"
        picture.write_bytes(content(1))
        with (
            DatabaseSurvey(tmp_path / "kept.db", files=disk.folder / "files") as elsewhere,
            pytest.raises(OSError, match=rf"{picture} was not saved, because"),
        ):
            elsewhere.attach(picture, kind="photograph")
        assert names(disk.folder) == set()
        disk.writable()


@pytest.mark.parametrize("name", ["out", "out.zip", "out.xlsx"])
def test_nothing_is_exported_where_it_may_only_be_read(
    tmp_path: Path, files: Path, disk: SmallDisk, name: str, copied: Copier
) -> None:
    """Folder, archive and workbook: the message names what was not written."""
    with copied(tmp_path / "kept.db", files) as survey:
        disk.read_only()

        with pytest.raises(OSError, match=rf"disk/{name} was not written, because"):
            survey.export(disk.folder / name)
        assert names(disk.folder) == set()


def test_a_database_of_the_server_that_may_only_be_read_is_told(
    server: Server, files: Path
) -> None:
    """PostgreSQL refuses, and the survey says so; what is there can be read."""
    place = server.new_database()
    imported(place, files).close()
    name = place.rpartition("/")[2]
    server.run(f"ALTER DATABASE {name} SET default_transaction_read_only = on")

    with DatabaseSurvey(place, files=files) as survey:
        assert len(survey.all(Zone)) == 52
        with pytest.raises(OSError, match=rf"{name}: nothing was saved, because it can.t be"):
            survey.save(step(0))
        assert survey.verify()


READ = """
import sys
import heritagecheck as hc
from heritagecheck.survey.records import Zone
from bursts import step
place, what = sys.argv[1:]
try:
    survey = hc.open_survey(place)
    print("zones", len(survey.all(Zone)))
    survey.save(step(0))
    print("saved")
except OSError as error:
    print(type(error).__name__, error)
"""


def as_a_plain_user(place: Path) -> str:
    """What a user whose rights are those of the files' modes is told, who opens and saves."""
    try:
        words = as_modes_say()
    except NoDiskError as missing:
        if os.environ.get("CI"):
            pytest.fail(str(missing), pytrace=False)
        pytest.skip(str(missing))
    done = subprocess.run(
        [*words, sys.executable, "-W", "error", "-c", READ, str(place), "save"],
        capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(SUPPORT), "PYTHONDONTWRITEBYTECODE": "1"},
    )  # fmt: skip
    assert not done.stderr
    return done.stdout


@pytest.mark.parametrize("which", ["file", "folder", "both"])
def test_a_file_that_a_user_may_not_write_is_left_as_it_is(
    tmp_path: Path, which: str, copied: Copier
) -> None:
    """The modes of the file or its folder forbid it: told in words that name the file."""
    folder = tmp_path / "shared"
    folder.mkdir()
    place = folder / "kept.db"
    with copied(place, folder / "kept.files") as survey:
        before = len(survey.journal)
    was = place.read_bytes()
    if which in {"file", "both"}:
        place.chmod(0o444)
    if which in {"folder", "both"}:
        folder.chmod(0o555)

    said = as_a_plain_user(place)

    assert "saved" not in said.splitlines()
    assert f"StoreError {place}: nothing was " in said
    assert place.read_bytes() == was
    folder.chmod(0o755)
    place.chmod(0o644)
    with DatabaseSurvey(place) as again:
        holds(again, before, 0)
        again.save(step(0))


# -- What can't be shared --------------------------------------------------------------------------


@pytest.mark.skipif(os.name != "posix", reason="SQLite locks with dotfiles on Unix alone")
def test_a_disk_on_which_several_can_t_write_at_once_is_refused(
    tmp_path: Path, files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """
    SQLite's own way for shares without locks keeps no memory in common, and so can't write ahead.

    It then leaves the file as it is without an error (https://sqlite.org/pragma.html, journal_mode:
    "If the journal mode could not be changed, the original journal mode is returned").
    """
    place = tmp_path / "kept.db"
    create = sa.create_engine

    def without_shared_memory(url: sa.URL) -> sa.Engine:
        return create(url.update_query_dict({"vfs": "unix-dotfile"}))

    monkeypatch.setattr(sqlite_file.sa, "create_engine", without_shared_memory)
    with pytest.raises(OSError, match=r"kept\.db: this folder's disk can't hold"):
        DatabaseSurvey(place, files=files)
    monkeypatch.undo()

    with DatabaseSurvey(place, files=files) as survey:
        assert survey.journal.empty

"""A survey that may not be written is read all the same, and what is only read stays as it is."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from damaged_files import answer
from small_disk import SmallDisk

from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.schema import MIGRATIONS

READ = ("check", "export", "backup", "sheets")


def content(folder: Path) -> dict[str, bytes]:
    """Every file in a folder, the ballast aside."""
    found = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    return {name: text for name, text in found.items() if name != "ballast"}


def backup(small: Path, folder: Path) -> Path:
    """A backup, in one file by itself."""
    with DatabaseSurvey(small) as survey:
        return survey.backup(folder / "survey.db")


def copy(small: Path, folder: Path) -> Path:
    """A copy of a survey that nobody has open."""
    return Path(shutil.copyfile(small, folder / "survey.db"))


def left(small: Path, folder: Path) -> Path:
    """A copy of a file with changes beside it, made while somebody had both open."""
    with closing(sqlite3.connect(small)) as other:
        other.execute("CREATE TABLE songs (title TEXT)")
        other.execute("DROP TABLE songs")
        other.commit()
        for suffix in ("", "-wal"):
            name = f"{small.name}{suffix}"
            shutil.copyfile(small.with_name(name), folder / f"survey.db{suffix}")
    assert (folder / "survey.db-wal").stat().st_size > 0
    return folder / "survey.db"


@pytest.mark.parametrize("made", [backup, copy, left])
def test_a_survey_that_is_only_read_stays_as_it_is(small: Path, tmp_path: Path, made) -> None:
    """To the byte, and nothing is left beside it; the first save is another matter."""
    folder = tmp_path / "folder"
    folder.mkdir()
    place = made(small, folder)
    was = content(folder)

    for word in READ:
        assert answer(word, place, tmp_path / "out").code == 0
    assert content(folder) == was
    with DatabaseSurvey(place) as survey:
        survey.save(survey.all(Zone)[0].changed(note="seen again"))
        assert survey.verify()
    assert content(folder) != was


@pytest.mark.parametrize("made", [backup, copy, left])
def test_a_survey_is_read_where_it_may_not_be_written(
    small: Path, disk: SmallDisk, tmp_path: Path, made
) -> None:
    """On a disk that may only be read, and on a full one; saving is refused in words."""
    place = made(small, disk.folder)
    was = content(disk.folder)
    disk.read_only()

    for word in READ:
        found = answer(word, place, tmp_path / "out")
        assert (found.code, found.err) == (0, "")
    with DatabaseSurvey(place) as survey:
        with pytest.raises(OSError, match="nothing was saved, because"):
            survey.save(survey.all(Zone)[0].changed(note="seen again"))
        assert survey.verify()
    disk.writable()
    assert content(disk.folder) == was
    disk.fill()
    assert answer("check", place, tmp_path / "full").code == 0


def test_what_others_save_is_seen_also_where_the_file_was_not_shared(
    small: Path, tmp_path: Path
) -> None:
    """A backup that is being looked at becomes somebody's survey: the next look shows it."""
    place = backup(small, tmp_path)
    with DatabaseSurvey(place) as looked_at, DatabaseSurvey(place) as other:
        new = other.all(Zone)[0].changed(note="theirs")
        assert looked_at.all(Zone)[0] != new
        other.save(new, who="engineer")

        looked_at.refresh()

        assert looked_at.all(Zone)[0] == new
        assert looked_at.verify()


def test_an_older_survey_is_read_where_it_may_not_be_written(disk: SmallDisk) -> None:
    """A copy is brought up to date, and the file stays as it is; saving is refused in words."""
    place = disk.folder / "survey.db"
    engine = sa.create_engine(f"sqlite:///{place}")
    with engine.begin() as connection:
        made = Config()
        made.set_main_option("script_location", str(MIGRATIONS))
        made.attributes["connection"] = connection
        command.upgrade(made, "0012")
    engine.dispose()
    was = content(disk.folder)
    disk.read_only()

    with DatabaseSurvey(place) as survey:
        assert survey.verify()
        north = Elevation(
            elevation="north", name="North", drawing="drawings/north.svg", width_m=9, height_m=9
        )
        with pytest.raises(OSError, match="nothing was saved, because"):
            survey.save(north)
    assert content(disk.folder) == was


def test_what_lies_beside_a_survey_stays_there(small: Path, tmp_path: Path) -> None:
    """A journal of SQLite's own, such as a crash leaves, is looked at in a copy."""
    folder = tmp_path / "folder"
    folder.mkdir()
    place = copy(small, folder)
    (folder / "survey.db-journal").write_bytes(b"left by another program" * 99)
    was = content(folder)

    assert answer("check", place, tmp_path / "out").code == 0
    assert content(folder) == was

"""A survey that may not be written is read all the same, and what is only read stays as it is."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from damaged_files import answer
from small_disk import SmallDisk

from heritagecheck.survey.kept import KeptSurvey
from heritagecheck.survey.records import Zone

READ = ("check", "export", "backup", "sheets")


def content(folder: Path) -> dict[str, bytes]:
    """Every file in a folder, the ballast aside."""
    found = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    return {name: text for name, text in found.items() if name != "ballast"}


def backup(small: Path, folder: Path) -> Path:
    """A backup, in one file by itself."""
    with KeptSurvey(small) as survey:
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

    for command in READ:
        assert answer(command, place, tmp_path / "out").code == 0
    assert content(folder) == was
    with KeptSurvey(place) as survey:
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

    for command in READ:
        found = answer(command, place, tmp_path / "out")
        assert (found.code, found.err) == (0, "")
    with KeptSurvey(place) as survey:
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
    with KeptSurvey(place) as looked_at, KeptSurvey(place) as other:
        new = other.all(Zone)[0].changed(note="theirs")
        assert looked_at.all(Zone)[0] != new
        other.save(new, who="engineer")

        looked_at.refresh()

        assert looked_at.all(Zone)[0] == new
        assert looked_at.verify()


def test_an_older_survey_that_may_not_be_written_says_to_copy_it(
    small: Path, disk: SmallDisk
) -> None:
    """Its tables must be brought up to date first."""
    place = copy(small, disk.folder)
    with closing(sqlite3.connect(place)) as other:
        other.execute("UPDATE alembic_version SET version_num = '0012'")
        other.commit()
    disk.read_only()

    with pytest.raises(OSError, match=r"older release \(schema 0012\).*Copy it and the folder of"):
        KeptSurvey(place)

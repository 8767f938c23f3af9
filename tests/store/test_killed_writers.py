"""Whatever writes may be killed at any moment: nothing torn, and the next call ends the work."""

from __future__ import annotations

import filecmp
import shutil
from pathlib import Path

import pytest
from killed import NEW, OLD, killed_and_called_again
from tiers import two_sizes

from heritagecheck.errors import StoreError
from heritagecheck.survey.places import UNFINISHED, read_folder, start_survey
from heritagecheck.survey.records import Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.whole_file import unfinished, write_whole, written_whole


def below(folder: Path) -> set[str]:
    """Every file below a folder, and every folder of ours that is not finished."""
    return {
        str(path.relative_to(folder))
        for path in folder.rglob("*")
        if path.is_file() or "unfinished" in path.name
    }


@pytest.mark.parametrize("times", two_sizes(2, 6))
def test_a_folder_half_made_by_start_is_finished_by_the_next_call(
    tmp_path: Path, times: int
) -> None:
    """Every part is there and whole, and no sign of the first try; what was there is kept."""
    turns = killed_and_called_again("start", tmp_path, times)
    whole = below(tmp_path / "warm" / "wall")

    assert len(turns) == times
    for turn in turns:
        assert below(turn / "wall") == whole
        left = turn / "left" / "wall"
        for name in below(left) & whole:
            assert filecmp.cmp(left / name, turn / "wall" / name, shallow=False), name
        with DatabaseSurvey(turn / "wall" / "survey.db") as survey:
            assert survey.verify()


def test_what_was_filled_in_meanwhile_is_kept(tmp_path: Path) -> None:
    """Whoever used a part of a half-made folder does not lose it to the second call."""
    wall = start_survey(tmp_path / "wall")
    (wall / UNFINISHED).touch()
    (wall / "README.md").unlink()
    (wall / "fields.md").write_text("my notes", encoding="utf-8")

    start_survey(wall)

    assert (wall / "fields.md").read_text(encoding="utf-8") == "my notes"
    assert (wall / "README.md").stat().st_size > 1000
    with pytest.raises(FileExistsError, match=r"wall exists and is not empty\. Nothing was wri"):
        start_survey(wall)


@pytest.mark.parametrize("times", two_sizes(2, 6))
@pytest.mark.parametrize(("work", "name"), [("export", "out"), ("archive", "out.zip")])
def test_a_killed_export_is_there_whole_or_not_at_all(
    tmp_path: Path, work: str, name: str, times: int
) -> None:
    """What bears its name is the whole of it; the next call leaves that, and nothing besides."""
    turns = killed_and_called_again(work, tmp_path, times)
    whole = tmp_path / "warm" / name

    for turn in turns:
        # Where it was whole when it was killed, the empty folder that it was made in may stay.
        files = {path.name for path in turn.iterdir()} - {unfinished(turn / name).name}
        assert files == {"left", "report.html", name}
        assert not {one for one in below(turn) if one.startswith(f"{unfinished(Path(name))}/")}
        for made in (turn / "left" / name, turn / name):
            if whole.is_file() and made.exists():
                assert made.read_bytes() == whole.read_bytes()
            elif made.exists():
                assert below(made) == below(whole)
                assert read_folder(made).records == read_folder(whole).records


@pytest.mark.parametrize("times", two_sizes(3, 12))
def test_a_killed_backup_is_there_whole_or_not_at_all(
    example_file: Path, tmp_path: Path, times: int
) -> None:
    """Its database comes last, so that no copy lacks its files."""
    shutil.copyfile(example_file, tmp_path / "kept.db")
    (tmp_path / "kept.files").mkdir()
    turns = killed_and_called_again("backup", tmp_path, times)

    for turn in turns:
        for place in (turn / "left", turn):
            if (place / "copy.db").exists():
                assert (place / "copy.files").is_dir()
                with DatabaseSurvey(place / "copy.db") as copy:
                    assert copy.verify()
                    assert len(copy.all(Zone)) == 52
        assert not {one for one in below(turn) if "unfinished/" in one and "left/" not in one}


def test_a_file_that_is_replaced_is_the_old_one_or_the_new(tmp_path: Path) -> None:
    """At every touch of the disk; the next call leaves the new one alone there."""
    turns = killed_and_called_again("file", tmp_path, 1000)

    assert len(turns) > 3
    for turn in turns:
        assert (turn / "left" / "report.html").read_bytes() in {OLD, NEW}
        assert (turn / "report.html").read_bytes() == NEW
        assert {one for one in below(turn) if "left/" not in one} == {"report.html"}


def test_two_who_write_the_same_thing_leave_one_whole(tmp_path: Path) -> None:
    """The second takes the first's for something left behind; the first says so, writing none."""
    out = tmp_path / "out.txt"

    def first() -> None:
        with written_whole(out) as half:
            half.write_text("the first", encoding="utf-8")
            write_whole(out, b"the second")

    with pytest.raises(OSError, match=r"out\.txt is being written by another program as well; try"):
        first()

    assert out.read_bytes() == b"the second"
    assert [path.name for path in tmp_path.iterdir()] == ["out.txt"]


def test_what_is_written_lands_over_nothing_of_somebody_else(tmp_path: Path) -> None:
    """Neither over what was there, nor over what came while it was being made."""
    taken = tmp_path / "taken"
    taken.mkdir()

    with pytest.raises(IsADirectoryError, match=r"taken"):
        write_whole(taken, b"mine")

    def write_while_another_does() -> None:
        with written_whole(tmp_path / "out") as half:
            half.write_text("mine", encoding="utf-8")
            (tmp_path / "out").write_text("theirs", encoding="utf-8")

    with pytest.raises(FileExistsError, match=r"out exists\. Nothing was written"):
        write_while_another_does()

    assert (tmp_path / "out").read_text(encoding="utf-8") == "theirs"
    assert not unfinished(tmp_path / "out").exists()


def test_a_folder_of_the_user_is_never_taken_for_something_unfinished(tmp_path: Path) -> None:
    """Folders whose names say that something is not finished are left as they are."""
    survey = read_folder(Path(__file__).parents[2] / "data" / "quillmere")
    theirs = [tmp_path / "out.unfinished", tmp_path / "out.unfinished.zip", tmp_path / ".out.part"]
    for folder in theirs:
        folder.mkdir()
        (folder / "letter").write_text("theirs", encoding="utf-8")

    survey.export(tmp_path / "out")
    survey.export(tmp_path / "out.zip")

    assert all((folder / "letter").read_text(encoding="utf-8") == "theirs" for folder in theirs)
    with pytest.raises(StoreError, match=r"there is no folder .*gone"):
        survey.export(tmp_path / "gone" / "out")

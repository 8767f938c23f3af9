"""Copies of a survey, made while others write: whole, of one moment, never over something else."""

from __future__ import annotations

import random
import sqlite3
import time
from pathlib import Path

import pytest
from bursts import STEPS, Forks, content, copy_beside, step
from tiers import full_on_sqlite, server_is_long

from heritagecheck.survey.records import TABLES, Attachment
from heritagecheck.survey.store.database_survey import DatabaseSurvey

BACKUPS = 3
KILLS = 8


@pytest.fixture
def copies(tmp_path: Path) -> Path:
    """Give the folder for the copies."""
    folder = tmp_path / "copies"
    folder.mkdir()
    return folder


def journal_of(survey: DatabaseSurvey) -> list[tuple[object, ...]]:
    """Every entry of a journal, word for word."""
    return list(survey.journal.fillna("").itertuples(index=False, name=None))


def files_in(folder: Path) -> set[str]:
    """Names of the files in a folder and all those below it."""
    return {path.name for path in folder.rglob("*") if path.is_file()}


@server_is_long
def test_a_backup_while_another_writes_is_the_survey_at_one_moment(
    survey: DatabaseSurvey, database: str, files: Path, copies: Path, fork: Forks
) -> None:
    """
    It opens, it agrees with its journal, and its journal is the beginning of the survey's.

    It holds all that had been acknowledged when it was begun, and whoever writes notices nothing.
    """
    began = len(survey.journal)
    child = fork.begin("save", database, files, range(STEPS))
    acknowledged = []
    for turn in range(BACKUPS):
        child.hear_until(10 * (turn + 1))
        acknowledged.append(began + len(child.done))
        survey.backup(copies / f"{turn}.db")
    child.end()
    assert child.error is None
    assert child.exit_code is not None
    assert child.exit_code < 0, "it had ended before the last backup was made"

    written = journal_of(survey)
    for turn in range(BACKUPS):
        with DatabaseSurvey(copies / f"{turn}.db") as copy:
            entries = journal_of(copy)
            assert entries == written[: len(entries)]
            assert len(entries) >= acknowledged[turn]
            assert copy.verify()
            assert survey.verify(copy.journal_head)


@server_is_long
def test_a_backup_holds_the_files_that_its_records_name(
    survey: DatabaseSurvey, database: str, files: Path, copies: Path, fork: Forks
) -> None:
    """Also while another attaches files: each is there byte for byte, and no half of one."""
    child = fork.begin("attach", database, files, range(STEPS))
    for turn in range(BACKUPS):
        child.hear_until(3 * (turn + 1))
        survey.backup(copies / f"{turn}.db")
    child.end()
    assert child.error is None

    for turn in range(BACKUPS):
        with DatabaseSurvey(copies / f"{turn}.db") as copy:
            assert copy.verify()
            kept = copy.all(Attachment)
            pictures = [one.attachment for one in kept if one.attachment.startswith("picture ")]
            assert len(pictures) >= 3 * (turn + 1)
            assert not any(copy.check()["table"] == "attachments")
            for number, code in enumerate(pictures):
                path = copy.file(f"{number}.jpg") or Path()
                assert (code, path.read_bytes()) == (f"picture {number}", content(number))
                assert copies in path.parents
        assert not {name for name in files_in(copies) if "unfinished" in name}


def test_a_backup_is_never_written_over_something_else(
    survey: DatabaseSurvey, copies: Path
) -> None:
    """A file of that name, or a folder where its files would lie, is refused and left alone."""
    (copies / "a.db").write_text("a letter")
    (copies / "b.files").mkdir()
    (copies / "b.files" / "letter").write_text("a letter")

    with pytest.raises(FileExistsError, match=r"a\.db exists\. Nothing was written; name a new"):
        survey.backup(copies / "a.db")
    with pytest.raises(FileExistsError, match=r"b\.files exists\. Nothing was written"):
        survey.backup(copies / "b.db")
    with pytest.raises(OSError, match=r"c\.db was not written: there is no folder .*gone"):
        survey.backup(copies / "gone" / "c.db")

    assert (copies / "a.db").read_text() == "a letter"
    assert files_in(copies) == {"a.db", "letter"}


def test_a_backup_is_a_file_of_sqlite_whatever_the_survey_is_kept_in(
    survey: DatabaseSurvey, copies: Path
) -> None:
    """Table by table the same records in the same order; what was deleted stays so, on record."""
    layer = survey.records["layers"][3]
    survey.delete(layer, who="engineer", reason="seen twice")
    made = survey.backup(copies / "copy.db")

    assert made == copies / "copy.db"
    assert made.read_bytes().startswith(b"SQLite format 3\0")
    assert {path.name for path in copies.iterdir()} == {"copy.db", "copy.files"}
    with DatabaseSurvey(made) as copy:
        assert {table: copy.records[table] for table in TABLES} == dict(survey.records)
        assert layer not in copy.records["layers"]
        assert journal_of(copy) == journal_of(survey)
        assert copy.journal_head == survey.journal_head
        assert copy.fingerprint == survey.fingerprint


def test_a_backup_goes_on_as_a_survey_of_its_own(survey: DatabaseSurvey, copies: Path) -> None:
    """It is saved to and undone, guards its journal; the survey it was made of never notices."""
    survey.save(step(0), who="conservator")
    head = survey.journal_head
    made = survey.backup(copies / "copy.db")

    with DatabaseSurvey(made) as copy:
        copy.save(step(1), who="conservator")
        copy.undo(who="conservator")
        copy.undo(who="conservator")
        assert copy.record("zones", "N01") != step(0)
        assert copy.verify()
    raw = sqlite3.connect(made)
    with pytest.raises(sqlite3.DatabaseError, match="the journal is only ever added to"):
        raw.execute("DELETE FROM journal WHERE entry = 5")
    assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    raw.close()
    assert survey.journal_head == head
    assert survey.record("zones", "N01") == step(0)


def test_a_backup_of_a_backup_is_the_same(survey: DatabaseSurvey, copies: Path) -> None:
    """Whatever was copied once can be copied again."""
    first = survey.backup(copies / "first.db")
    with DatabaseSurvey(first) as copy:
        second = copy.backup(copies / "second.db")

    with DatabaseSurvey(second) as copy:
        assert copy.verify()
        assert copy.journal_head == survey.journal_head
        assert files_in(copies / "second.files") == files_in(copies / "first.files")


@full_on_sqlite("kills", 3, KILLS)
def test_a_kill_during_a_backup_leaves_no_half_of_one_under_its_name(
    survey: DatabaseSurvey, database: str, files: Path, fork: Forks, kills: int
) -> None:
    """What bears the name is whole, with its files; what was left over does not hinder the next."""
    chance = random.Random(2026)
    picture = files.with_name("soffit.jpg")
    picture.write_bytes(content(1) * 50)
    survey.attach(picture, kind="photograph", zone="N06")
    child = fork.begin("backup", database, files, range(-2, 0))
    child.hear_until(1)
    began = time.monotonic()
    child.hear_until(2)
    one_s = time.monotonic() - began
    child.end()

    for number in range(kills):
        child = fork.begin("backup", database, files, range(number, number + 1))
        child.hear()
        time.sleep((number + chance.random()) / kills * one_s)
        child.end()
        assert child.error is None

        made = copy_beside(files, number)
        if not made.exists():
            survey.backup(made)
        with DatabaseSurvey(made) as copy:
            assert copy.verify()
            assert copy.journal_head == survey.journal_head
            assert not any(copy.check()["table"] == "attachments"), "its files are not there"

"""A damaged survey says where it is damaged and what to do: no traceback, no answer from it."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa
from damaged_files import amiss, answer

from heritagecheck.cli import main
from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.journal import Save, place_of

DAMAGED = 20
COMMANDS = ("check", "assess", "report", "export", "backup", "sheets")
VIEW = ("ALTER TABLE views RENAME TO v2", "CREATE VIEW views AS SELECT * FROM v2")


def done(place: Path | str, *statements: str) -> None:
    """Do something to a survey's database with another program."""
    engine = sa.create_engine(str(place) if "://" in str(place) else f"sqlite:///{place}")
    with engine.begin() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)
    engine.dispose()


def test_a_file_damaged_anywhere_is_told_in_a_sentence(small: Path, tmp_path: Path) -> None:
    """Bits, bytes and pages at seeded places; whatever passes `check` holds the same records."""
    assert not list(amiss(small.read_bytes(), 2026, DAMAGED, tmp_path / "damaged"))


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("DROP TABLE head", "no such table: head"),
        ("DELETE FROM head", "the journal has no heads; it must have one"),
        ("INSERT INTO head VALUES (2, 5, x'00')", "the journal has 2 heads"),
        ("DROP TABLE journal", "table journal is missing"),
        ("DROP TABLE readings", "table readings is missing"),
        ("DROP TABLE alembic_version", "but does not say which release made it"),
        ("DELETE FROM alembic_version", "but does not say which release made it"),
        ("UPDATE alembic_version SET version_num = '0003'", "duplicate column name: wetted"),
        ("UPDATE zones SET surveyed_on = '2026-13-45'", "table zones, '2026-13-45' is not a date"),
        ("DROP TRIGGER journal_no_update", "trigger journal_no_update is missing or altered"),
        (
            "CREATE TRIGGER quiet AFTER INSERT ON saves BEGIN DELETE FROM head; END",
            "trigger quiet is not ours",
        ),
        ("INSERT INTO saves VALUES (2, '', '', '', '', 1)", "save 2 has no entry in the journal"),
    ],
)
def test_what_another_program_did_is_named(
    small: Path, tmp_path: Path, statement: str, said: str
) -> None:
    """Exit code 1; the file, what is damaged in it, and to go back to a backup."""
    done(small, statement)
    found = answer("check", small, tmp_path / "out")

    assert (found.code, found.out) == (1, "")
    assert found.err.startswith(f"{small} is damaged here: ")
    assert said in found.err
    assert "Use the last backup that passes check" in found.err


def test_no_command_goes_on_with_a_damaged_survey(
    small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A value that another program changed, and that looks like any other, gives no answer."""
    done(small, "UPDATE zones SET area_m2 = area_m2 + 1")

    for command in COMMANDS:
        found = answer(command, small, tmp_path / "out")
        assert (found.code, found.out) == (1, "")
        assert found.err.startswith(f"{small} is damaged here: zone N01 ")
    assert main(["import", str(tmp_path), str(small)]) == 1
    assert "is damaged here: zone N01 " in capsys.readouterr().err
    assert {path.name for path in (tmp_path / "out").iterdir()} == set()


def test_tables_that_are_not_as_the_records_ask_are_named(
    new_database: Callable[[], str], files: Path, small_file: Path
) -> None:
    """Columns and indexes put in or taken out, a view in place of a table; mended, it is whole."""
    place = new_database()
    with DatabaseSurvey(small_file) as example, DatabaseSurvey(place, files=files) as survey:
        survey.save(*example.all(Elevation), *example.all(Zone))
    if "://" in place:  # so that the indexes are looked through as well
        done(place, "CREATE EXTENSION amcheck")
    damages = [
        (["UPDATE zones SET last_entry = 1"], "is not what the journal says",
         ["UPDATE zones SET last_entry = first_entry"]),
        (["ALTER TABLE zones ADD COLUMN spy TEXT"], "column spy of table zones is not ours",
         ["ALTER TABLE zones DROP COLUMN spy"]),
        (["DROP INDEX ix_readings_zone"], "index ix_readings_zone of table readings is missing",
         ["CREATE INDEX ix_readings_zone ON readings (zone)"]),
        (list(VIEW), "table views is a view, not a table",
         ["DROP VIEW views", "ALTER TABLE v2 RENAME TO views"]),
        (["CREATE TABLE songs (title TEXT)"], "table songs is not ours", ["DROP TABLE songs"]),
        (["CREATE VIEW songs AS SELECT 1"], "view songs is not ours", ["DROP VIEW songs"]),
    ]  # fmt: skip
    if "://" in place:
        damages += [
            (["ALTER TABLE journal DISABLE TRIGGER journal_kept"],
             "trigger journal_kept is missing or altered",
             ["ALTER TABLE journal ENABLE TRIGGER journal_kept"]),
            (["CREATE OR REPLACE FUNCTION journal_is_kept() RETURNS trigger LANGUAGE plpgsql AS "
              "$$ BEGIN RETURN NULL; END $$"], "function journal_is_kept is missing or altered",
             ["CREATE OR REPLACE FUNCTION journal_is_kept() RETURNS trigger LANGUAGE plpgsql AS "
              "$$ BEGIN RAISE EXCEPTION 'the journal is only ever added to'; END $$"]),
        ]  # fmt: skip

    for statements, said, mended in damages:
        done(place, *statements)
        with DatabaseSurvey(place, files=files) as survey:
            assert said in str(survey.verify())
        done(place, *mended)
        with DatabaseSurvey(place, files=files) as survey:
            assert survey.verify()


def test_a_date_that_python_can_not_hold_is_told(
    new_database: Callable[[], str], files: Path, small_file: Path
) -> None:
    """PostgreSQL has days without end, SQLite any text."""
    place = new_database()
    with DatabaseSurvey(small_file) as example, DatabaseSurvey(place, files=files) as survey:
        survey.save(*example.all(Elevation), *example.all(Zone))
    done(place, "UPDATE zones SET surveyed_on = 'infinity'")

    with (
        DatabaseSurvey(place, files=files) as survey,
        pytest.raises(OSError, match=r"(?s) is damaged here: .*(infinity|date too).*backup"),
    ):
        survey.all(Zone)


def test_an_empty_file_is_no_new_survey(tmp_path: Path) -> None:
    """All that was in it is lost; every command says so, and leaves it as it is."""
    place = tmp_path / "survey.db"
    place.touch()

    for command in COMMANDS:
        found = answer(command, place, tmp_path / "out")
        assert (found.code, found.out) == (1, "")
        assert found.err.startswith(f"{place} is empty, so what was in it is lost. Go back to a")
    assert place.stat().st_size == 0
    with pytest.raises(OSError, match="remove this file first"):
        DatabaseSurvey(place)


def test_time_that_goes_back_is_told_and_is_no_damage(
    small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Clocks may be wrong; whoever reads the journal should know."""
    with DatabaseSurvey(small) as survey:
        zone = survey.all(Zone)[0].changed(note="before its time")
        survey.keep({place_of(zone): zone}, Save("2001-01-01T00:00:00+00:00", "me", ""))
        verdict = survey.verify()

    assert verdict
    assert main(["check", str(small)]) == 0
    said = capsys.readouterr().out
    assert re.search(
        r"Save \d+ is dated 1 January 2001, 00:00, before save \d+, which it follows", said
    )
    assert "a clock was wrong, or it was made up later." in said


def test_whole_tables_pass_after_a_copy(small: Path, tmp_path: Path) -> None:
    """What lies elsewhere is looked through in the same way."""
    copy = Path(shutil.copyfile(small, tmp_path / "elsewhere.db"))

    with DatabaseSurvey(copy) as survey:
        assert survey.verify()

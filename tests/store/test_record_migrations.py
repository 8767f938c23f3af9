"""A survey of an older release is opened: sentences and units are read once, and nothing is lost.

`older/survey-0004.sql` was written by the release before settings became fields.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from heritagecheck.errors import SurveyError
from heritagecheck.survey.records import Panel, Setting, Spot, Structure, Zone
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.schema import MIGRATIONS

WRITTEN = (Path(__file__).parent / "older" / "survey-0004.sql").read_text("utf-8")
BEFORE = "3cefd25d83bf2454ad2e5715636ce75ca58b28f453feea234b43e28b422ec2ca"
TABLES = (
    "structure", "elevations", "zones", "layers", "panels", "spots", "saves", "journal",
)  # fmt: skip


def copied(older: sqlite3.Connection, server: str) -> None:
    """Put the rows of the file into a server's database of the same schema."""
    engine = sa.create_engine(server)
    with engine.begin() as connection:
        made = Config()
        made.set_main_option("script_location", str(MIGRATIONS))
        made.attributes["connection"] = connection
        command.upgrade(made, "0004")
        (entry, end) = older.execute("SELECT entry, hash FROM head").fetchone()
        connection.exec_driver_sql("UPDATE head SET entry = %s, hash = %s", (entry, end))
        for table in TABLES:
            found = older.execute(f"SELECT * FROM {table}")
            names = ", ".join(f'"{one[0]}"' for one in found.description)
            for row in found:
                signs = ", ".join(["%s"] * len(row))
                connection.exec_driver_sql(f"INSERT INTO {table} ({names}) VALUES ({signs})", row)
    engine.dispose()


@pytest.fixture
def opened(database: str, files: Path, tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """Give the older survey as this release opens it, once on each kind of database."""
    place = tmp_path / "older.db" if "://" in database else Path(database)
    with sqlite3.connect(place) as older:
        older.executescript(WRITTEN)
        if "://" in database:
            copied(older, database)
    older.close()
    with DatabaseSurvey(database, files=files) as survey:
        yield survey


def panel(survey: DatabaseSurvey, code: str) -> Panel:
    """One panel."""
    return next(one for one in survey.all(Panel) if one.panel == code)


def settings(survey: DatabaseSurvey, series: str) -> dict[str, str]:
    """What was dialled for a series: quantity to what is told of it."""
    return {one.quantity: one.told for one in survey.all(Setting) if one.series == series}


def test_units_that_can_be_read_in_one_way_become_quantity_and_unit(opened: DatabaseSurvey) -> None:
    """Panels and spots alike; every number stays what it was."""
    pulse, wash = panel(opened, "N15-pulse-1"), panel(opened, "E15-wash-1")

    assert (pulse.scale, pulse.cleaning_low) == (Scale("peak_fluence", "J/cm²"), 1.4)
    assert (wash.scale, wash.damage_low) == (Scale("pressure", "bar"), 28)
    assert {one.scale for one in opened.all(Spot)} == {Scale("peak_fluence", "J/cm²")}
    assert len(opened.all(Spot)) == 11


def test_fluence_without_peak_or_mean_is_asked_about_and_never_guessed(
    opened: DatabaseSurvey,
) -> None:
    """The unit is known, the quantity is not; the sentence gives no quantity either."""
    found = panel(opened, "doubt-1")

    assert found.scale == Scale(None, "J/cm²")
    assert settings(opened, "doubt") == {
        "pulse_duration": "10 ns", "repetition_rate": "10 Hz", "not_read": "1.5 J/cm²",
    }  # fmt: skip
    assert any("doubt, whether J/cm² is the peak" in what for what in opened.check()["what"])


def test_what_could_not_be_read_stays_and_is_listed(opened: DatabaseSurvey) -> None:
    """A unit nobody knows goes into the note; words go into a row; the sentence stays."""
    found = panel(opened, "clicks-1")
    listed = "\n".join(opened.check()["what"])

    assert found.scale == Scale(None, None)
    assert (found.cleaning_low, found.note) == (3, "a note; unit as written: clicks")
    assert found.setting == "dial at 3 clicks, calcite, 2,5 bar?"
    assert settings(opened, "clicks") == {
        "medium": "calcite", "not_read": "dial at 3 clicks; 2,5 bar?",
    }  # fmt: skip
    assert "words not read: clicks, dial at 3 clicks; 2,5 bar?" in listed
    assert "unit unclear: clicks, the unit of the setting is not recorded" in listed


def test_the_reading_is_a_save_of_the_journal_which_stays_whole(opened: DatabaseSurvey) -> None:
    """The older entries are as they were; the new ones say who and why."""
    assert opened.verify()
    assert opened.verify(printed=BEFORE)
    read = opened.journal.query("who == 'heritagecheck' and table != 'structure'")
    assert set(read["table"]) == {"panels", "spots", "settings"}
    assert "read once from their words" in read["reason"].iloc[0]
    assert read["reason"].nunique() == 1


def test_beds_that_zones_name_are_listed_once(opened: DatabaseSurvey) -> None:
    """The list holds them all, is the journal's last entry, and holds new names off."""
    last = opened.journal.iloc[-1]
    zone = opened.record("zones", "N15")

    assert opened.only(Structure).listed_beds == {
        "granite": ("grey granite, bed A", "dark granite, bed D", "polished granite, bed C"),
    }  # fmt: skip
    assert {zone.bed_or_system for zone in opened.all(Zone)} == set(
        opened.only(Structure).listed_beds["granite"]
    )
    assert (last["who"], last["table"]) == ("heritagecheck", "structure")
    assert "look whether two names are one bed" in last["reason"]
    with pytest.raises(SurveyError, match="no such bed or coating system is listed for granite"):
        opened.save(zone.changed(bed_or_system="dark, upper bed"), who="conservator")


def test_it_is_read_once(opened: DatabaseSurvey, database: str, files: Path) -> None:
    """Whoever clears a field later does not find it filled again."""
    wrong = next(one for one in opened.all(Setting) if one.series == "doubt")
    opened.delete(wrong, who="conservator", reason="not so")
    with DatabaseSurvey(database, files=files) as again:
        assert wrong not in again.all(Setting)
        assert len(again.journal) == len(opened.journal)


def test_what_was_deleted_or_undone_before_comes_back_in_the_fields_of_today(
    opened: DatabaseSurvey,
) -> None:
    """An entry of the older form is read when it is undone; the journal stays whole."""
    opened.undo(who="conservator")
    back = panel(opened, "gone-1")

    assert back.scale == Scale("pressure", "psi")
    assert opened.verify()
    opened.redo(who="conservator")
    assert "gone-1" not in {one.panel for one in opened.all(Panel)}
    opened.undo(who="engineer")
    assert panel(opened, "plain-1").scale == Scale("pressure", "bar")
    assert opened.verify()


def test_panels_whose_settings_were_read_are_not_undone_from_under_them(
    opened: DatabaseSurvey,
) -> None:
    """An older save that brought panels waits for their settings to be deleted first."""
    opened.undo(who="conservator")

    with pytest.raises(SurveyError, match="is still recorded, and no other panel"):
        opened.undo(who="conservator")

"""Codes that the program makes: in the survey's habit, unused, never used before."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from filled_forms import example

import heritagecheck as hc
from heritagecheck import tables
from heritagecheck.survey.entry.codes import next_code, next_codes, next_name
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import KEYS, TABLES, Observation
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.survey import Survey

EMPTY = Survey(dict.fromkeys(TABLES, ()))


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Keep the example survey in a database, of which each test that changes it has a copy."""
    path = tmp_path_factory.mktemp("codes") / "survey.db"
    with hc.import_survey(example_folder(), into=path):
        return path


@pytest.fixture
def kept(imported: Path, tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """Give the example survey in a database."""
    shutil.copy(imported, tmp_path / "survey.db")
    with DatabaseSurvey(tmp_path / "survey.db") as copy:
        yield copy


@pytest.mark.parametrize(
    ("table", "beside", "code", "first"),
    [
        ("zones", {"elevation": "north"}, "N19", "N01"),
        ("zones", {"elevation": "legs"}, "C05", "L01"),
        ("layers", {"zone": "N06"}, "N06-L2", "N06-L1"),
        ("observations", {"zone": "N06"}, "N06-O23", "N06-O01"),
        ("readings", {"zone": "N06", "target": "soiled"}, "N06-S25", "N06-soiled-01"),
        ("readings", {"zone": "C04", "target": "reference"}, "C04-R01", "C04-reference-01"),
        ("readings", {"zone": "N12", "target": "soiled", "geometry": "SCI"},
         "N12-S02", "N12-soiled-01"),
        ("readings", {"zone": "N06", "target": "panel", "panel": "N06-pulse-1"},
         "N06-pulse-1-R01", "N06-pulse-1-R01"),
        ("tile_readings", {"session": "9 September 1"},
         "9 September 1 tile 5", "9 September 1 tile 1"),
        ("site_tests", {"zone": "N06", "quantity": "nitrate_pct"},
         "N06-nitrate_pct-1", "N06-nitrate_pct-1"),
        ("site_tests", {"zone": "T01", "panel": "T01-grit-1", "quantity": "adhesion_mpa"},
         "T01-grit-1-adhesion_mpa-4", "T01-grit-1-adhesion_mpa-1"),
        ("panels", {"series": "N06-pulse"}, "N06-pulse-7", "N06-pulse-1"),
        ("panels", {"series": "C01-mist"}, "C01-mist-1", "C01-mist-1"),
        ("spots", {"panel": "N06-pulse-1"}, "N06-pulse-1-S25", "N06-pulse-1-S01"),
        ("photos", {}, "P4", "P1"),
        ("attachments", {}, "P4", "P1"),
        ("height_maps", {}, "H4", "H1"),
    ],
)  # fmt: skip
def test_codes_follow_the_habit_of_the_survey(
    table: str, beside: dict[str, str], code: str, first: str
) -> None:
    """The example's own way of numbering goes on; an empty survey begins with a plain one."""
    assert next_code(example(), table, **beside) == code
    assert next_code(EMPTY, table, **beside) == first


def test_every_kind_of_record_with_a_code_of_its_own_gets_one() -> None:
    """No table is forgotten: all but elevations, which are named, and records without a code."""
    named = {"structure", "elevations", "settings", "policy", "views"}
    named |= {"opinions", "decisions", "signatures"}
    may_name = {"elevation", "zone", "series", "panel", "session", "quantity", "target", "meeting"}
    for table in TABLES.keys() - named:
        fields = may_name & TABLES[table].model_fields.keys() - {KEYS[table][0]}

        assert next_code(EMPTY, table, **dict.fromkeys(fields, "A"))


def test_another_habit_is_kept_too() -> None:
    """A survey that writes L-N06/007 goes on with L-N06/008, and in another zone likewise."""
    layers = tuple(
        example().records["layers"][0].changed(layer=f"L-{zone}/{number:03}", zone=zone)
        for zone, number in (("N06", 6), ("N06", 7), ("N07", 1))
    )
    survey = Survey({**EMPTY.records, "layers": layers})

    assert next_code(survey, "layers", zone="N06") == "L-N06/008"
    assert next_code(survey, "layers", zone="N08") == "L-N08/001"


def test_some_codes_at_once_differ_and_pass_over_those_of_a_draft() -> None:
    """Codes of records that are not saved yet are not given again, whatever their capitals."""
    codes = next_codes(example(), "layers", 3, taken=["n06-l2"], zone="N06")

    assert codes == ("N06-L3", "N06-L4", "N06-L5")


def test_zones_of_a_new_elevation_get_letters_of_their_own() -> None:
    """N is the north's already, and no two elevations share their letters."""
    assert next_codes(example(), "zones", 2, elevation="nave") == ("NA01", "NA02")
    assert next_code(example(), "zones", elevation="n") == "n-01"


def test_a_code_that_was_deleted_is_never_used_again(kept: DatabaseSurvey) -> None:
    """Whoever reads N06-O23 in an old report must not find another answer under it."""
    (new,) = not_answered(kept)
    kept.save(new, who="conservator")
    kept.delete(new, who="conservator", reason="asked of another zone")

    assert new.observation == "N06-O23"
    assert all(one.observation != "N06-O23" for one in kept.of_zone("N06", Observation))
    assert next_code(kept, "observations", zone="N06") == "N06-O24"


def test_a_code_that_was_undone_is_never_used_again(kept: DatabaseSurvey) -> None:
    """What was undone may be done again; until then its code stays its own."""
    kept.save(*not_answered(kept), who="conservator")
    kept.undo(who="conservator")

    assert next_code(kept, "observations", zone="N06") == "N06-O24"
    kept.redo(who="conservator")
    assert kept.record("observations", "N06-O23")


def not_answered(survey: DatabaseSurvey) -> tuple[Observation, ...]:
    """A new record of zone N06."""
    asked = {one.topic for one in survey.of_zone("N06", Observation)}
    topic = next(code for code in tables.codes("topics") if code not in asked)
    code = next_code(survey, "observations", zone="N06")
    return (
        Observation(
            observation=code, zone="N06", topic=topic, not_recorded_because="rain",
            seen_on=date(2026, 9, 8), seen_by="conservator",
        ),
    )  # fmt: skip


def test_names_of_sets_and_series_are_numbered_from_the_second() -> None:
    """A second set of soiled readings is another set."""
    assert next_name(example(), "readings", "set_name", "N06-soiled") == "N06-soiled-2"
    assert next_name(example(), "panels", "series", "N06-gel") == "N06-gel"
    assert next_name(EMPTY, "elevations", "elevation", "north") == "north"

"""A survey in a database: what is saved stays, is on record, and can be taken back."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pandas as pd
import pytest
from tiers import server_is_long

import heritagecheck as hc
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import (
    TABLES,
    Attachment,
    Layer,
    Panel,
    Reading,
    Spot,
    Structure,
    TileReading,
    Zone,
)
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.journal import key_of, made_by


def named(survey: DatabaseSurvey, zone: str) -> Zone:
    """Give one zone."""
    found = survey.record("zones", zone)
    assert isinstance(found, Zone)
    return found


def test_a_survey_only_begun_says_that_it_has_no_structure_yet(database: str, files: Path) -> None:
    """Whoever asks for the one record of an empty table is told which, and what to do."""
    with (
        DatabaseSurvey(database, files=files) as survey,
        pytest.raises(
            hc.SurveyError,
            match=r"structure: this table holds no row yet; write it below its headings and import",
        ),
    ):
        survey.only(Structure)


def test_what_is_saved_is_there_for_whoever_opens_it_next(
    survey: DatabaseSurvey, database: str, files: Path
) -> None:
    """A new value is shown at once here, and by everybody who opens the survey afterwards."""
    survey.save(named(survey, "N06").changed(note="seen from the lift"), who="conservator")

    assert named(survey, "N06").note == "seen from the lift"
    with DatabaseSurvey(database, files=files) as other:
        assert named(other, "N06").note == "seen from the lift"


def test_every_kind_of_record_comes_back_as_it_went_in(database: str, files: Path) -> None:
    """Numbers to the last digit, dates, texts of any script, and what is empty stays empty."""
    folder = example_folder()
    read, kept = hc.open_survey(folder), hc.import_survey(folder, database, files=files)
    odd = "  =1+1; Ελληνικά עברית 🪨\nsecond line’s “end”"
    zone = named(kept, "N06").changed(note=odd.strip(), area_m2=0.1 + 0.2)
    kept.save(zone)

    with DatabaseSurvey(database, files=files) as again:
        for table in TABLES:
            if table not in {"zones", "attachments"}:
                assert again.records[table] == read.records[table]
        assert named(again, "N06") == zone


def test_a_record_with_a_wrong_value_is_refused_and_nothing_of_that_save_is_kept(
    survey: DatabaseSurvey,
) -> None:
    """A copy with other values is looked at again; the good record beside it is not kept either."""
    good = named(survey, "N05").changed(note="good")
    bad = named(survey, "N06").changed(condition="rubbish")
    before = len(survey.journal)

    with pytest.raises(hc.SurveyError, match=r"zones: condition = rubbish: must be one of: sound"):
        survey.save(good, bad)

    assert named(survey, "N05").note != "good"
    assert len(survey.journal) == before


def test_a_record_that_contradicts_another_is_refused(survey: DatabaseSurvey) -> None:
    """A set-up that changes within a set, a zone nobody knows, a panel of another zone."""
    reading = survey.of_zone("N06", Reading)[0]
    cases = [
        (reading.changed(geometry="SCE"), "all of set_name"),
        (reading.changed(zone="N99"), r"zone = N99: no zone N99 in the table zones"),
        (
            survey.all(Panel)[0].changed(zone="E01"),
            r"zone, 5 cells such as N09: must be the same for all of series",
        ),
        (survey.of_zone("N06", Layer)[0].changed(soiling="guano"), r"the soilings of zone"),
    ]
    for record, message in cases:
        with pytest.raises(hc.SurveyError, match=message):
            survey.save(record)


def test_records_that_name_one_another_are_saved_at_once(survey: DatabaseSurvey) -> None:
    """Tile readings and the readings of their session; a panel and its spots."""
    panel = survey.all(Panel)[0]
    tiles = [
        TileReading(
            tile_reading=f"new-{minute}", session="new", tile_readings_in_session=2, minutes=minute,
            L_star=96.1, a_star=-0.1, b_star=1.2, instrument="portable sphere d/8",
            read_on=panel.done_on, read_by="conservator",
        )
        for minute in (0, 45)
    ]  # fmt: skip
    spot = Spot(
        spot="new spot", panel=panel.panel, zone=panel.zone, spots_on_panel=1, dose=1.2,
        dose_unit="J/cm²", cleaned="yes", damaged="no", read_on=panel.done_on,
    )  # fmt: skip
    reading = survey.all(Reading)[0]
    readings = [
        one.changed(session="new")
        for one in survey.of_zone(reading.zone, Reading)
        if one.set_name == reading.set_name
    ]

    survey.save(*tiles, *readings, who="conservator")

    assert [tile for tile in survey.all(TileReading) if tile.session == "new"] == tiles
    if not any(one.panel == panel.panel for one in survey.all(Spot)):
        survey.save(panel.changed(spots_laid=1), spot)
        assert spot in survey.all(Spot)


def test_a_spot_of_no_panel_and_a_session_without_tile_are_refused(survey: DatabaseSurvey) -> None:
    """A spot belongs to a panel, a session to its white tile."""
    panel = survey.all(Panel)[0]
    spot = Spot(
        spot="stray", panel="no such", zone=panel.zone, spots_on_panel=1,
        not_read_because="rain",
    )  # fmt: skip

    with pytest.raises(hc.SurveyError, match=r"panel = no such: no panel no such in"):
        survey.save(spot)
    with pytest.raises(hc.SurveyError, match=r"session = Monday: no white tile was read"):
        survey.save(survey.all(Reading)[0].changed(session="Monday"))


def test_two_people_editing_one_zone_lose_nothing(
    survey: DatabaseSurvey, database: str, files: Path
) -> None:
    """The second save is refused with both values; after a refresh it goes through."""
    with DatabaseSurvey(database, files=files) as other:
        mine = named(survey, "N06").changed(note="mine", area_m2=2.5)
        theirs = named(other, "N06").changed(note="theirs")
        other.save(theirs, who="engineer")

        with pytest.raises(
            hc.SurveyError,
            match=r"(?s)Nothing was saved.*note = mine: N06 was saved by engineer .* theirs here",
        ):
            survey.save(mine, who="conservator")
        with pytest.raises(hc.SurveyError) as refused:
            survey.save(mine, who="conservator")

        # The area was changed by nobody else.
        assert list(refused.value.faults["field"]) == ["note"]
        assert named(other, "N06").note == "theirs"
        survey.refresh()
        assert named(survey, "N06") == theirs
        survey.save(mine, who="conservator")
        other.refresh()
        assert named(other, "N06") == mine


def test_a_record_made_anew_does_not_overwrite_what_was_saved_since(
    survey: DatabaseSurvey, database: str, files: Path
) -> None:
    """Also where the zone was never looked at before: this survey was opened before that save."""
    with DatabaseSurvey(database, files=files) as other:
        other.save(named(other, "N06").changed(note="theirs"), who="engineer")
        fresh = Zone.model_validate({**named(other, "N06").model_dump(), "note": "mine"})

        with pytest.raises(hc.SurveyError, match=r"saved by engineer"):
            survey.save(fresh)


def test_deleting_hides_and_the_journal_keeps(survey: DatabaseSurvey) -> None:
    """A deleted record is gone from the survey, stays in the journal, and can be had back."""
    layer = survey.of_zone("N06", Layer)[0]
    survey.delete(layer, who="conservator", reason="seen twice")

    assert layer not in survey.all(Layer)
    last = survey.journal.iloc[-1]
    assert last["reason"] == "seen twice"
    assert pd.isna(last["new"])
    assert json.loads(last["old"])["layer"] == layer.layer
    assert survey.verify()
    survey.undo(who="conservator")
    assert layer in survey.all(Layer)


def test_what_others_name_is_not_deleted(survey: DatabaseSurvey) -> None:
    """A panel with readings on it, a zone with anything on it: each that names it is told."""
    with pytest.raises(hc.SurveyError, match=r"(?s)zone = N06: layer .* refers to it"):
        survey.delete(named(survey, "N06"), reason="a mistake")

    assert named(survey, "N06") in survey.all(Zone)


def test_a_deleted_record_may_be_written_anew(survey: DatabaseSurvey) -> None:
    """It comes back under its code, in its old place."""
    layer = survey.of_zone("N06", Layer)[0]
    order = [one.layer for one in survey.all(Layer)]
    survey.delete(layer, reason="a mistake")
    survey.save(layer.changed(cover_pct=12.5))

    assert [one.layer for one in survey.all(Layer)] == order
    assert survey.record("layers", layer.layer) == layer.changed(cover_pct=12.5)
    assert survey.verify()


def test_undo_and_redo_go_back_and_forth_by_new_entries(survey: DatabaseSurvey) -> None:
    """Two saves are undone, one is redone; the journal only grows."""
    zone = named(survey, "N06")
    for words in ("first", "second"):
        survey.save(zone.changed(note=words), who="conservator")
    before = len(survey.journal)

    said = survey.undo(who="conservator")
    assert "undone: 1 zone record" in said
    assert named(survey, "N06").note == "first"
    survey.undo(who="conservator")
    assert named(survey, "N06") == zone
    survey.redo(who="conservator")
    assert named(survey, "N06").note == "first"
    assert len(survey.journal) == before + 3
    assert survey.verify()


def test_a_new_save_ends_what_could_be_done_again(survey: DatabaseSurvey) -> None:
    """As in any editor: after something new there is nothing to redo."""
    zone = named(survey, "N06")
    survey.save(zone.changed(note="first"), who="conservator")
    survey.undo(who="conservator")
    survey.save(zone.changed(note="other"), who="conservator")

    with pytest.raises(hc.SurveyError, match=r"conservator: has nothing to redo"):
        survey.redo(who="conservator")


def test_nobody_undoes_what_another_changed_since(
    survey: DatabaseSurvey, database: str, files: Path
) -> None:
    """Undo takes back one's own save, and only while its result still stands."""
    survey.save(named(survey, "N06").changed(note="mine"), who="conservator")
    with DatabaseSurvey(database, files=files) as other:
        other.save(named(other, "N06").changed(note="theirs"), who="engineer")

    with pytest.raises(hc.SurveyError, match=r"N06: was changed since by engineer at"):
        survey.undo(who="conservator")
    with pytest.raises(hc.SurveyError, match=r"approver: has nothing to undo"):
        survey.undo(who="approver")


@server_is_long
def test_a_whole_import_is_taken_back_at_once(survey: DatabaseSurvey) -> None:
    """It was one save, whatever it held."""
    survey.undo(who="conservator")

    assert all(len(survey.records[table]) == 0 for table in TABLES)
    assert survey.verify()
    survey.redo(who="conservator")
    assert len(survey.all(Zone)) == 52


def test_a_save_of_what_is_there_already_is_no_entry(survey: DatabaseSurvey) -> None:
    """Pressing Save twice does not fill the journal."""
    before = survey.journal_head
    survey.save(named(survey, "N06"))

    assert survey.journal_head == before


def test_the_one_structure_may_be_renamed(survey: DatabaseSurvey) -> None:
    """A table of one record keeps one, whatever its name becomes."""
    survey.save(survey.record("structure").changed(structure="Quillmere Waterworks"))

    assert [one.structure for one in survey.records["structure"]] == ["Quillmere Waterworks"]
    assert survey.verify()


def test_one_record_twice_in_a_save_is_refused(survey: DatabaseSurvey) -> None:
    """Which of the two should hold is asked, not guessed."""
    zone = named(survey, "N06")

    with pytest.raises(hc.SurveyError, match=r"was given twice in one save"):
        survey.save(zone.changed(note="a"), zone.changed(note="b"))


def test_a_survey_just_begun_says_what_it_lacks(database: str, files: Path) -> None:
    """An empty database opens, says so in words, and refuses to be assessed."""
    with DatabaseSurvey(database, files=files) as fresh:
        assert str(fresh).startswith("Survey of a structure not yet named: 0 zones")
        assert fresh.check()["what"].str.startswith("not ready to assess").all()
        with pytest.raises(hc.SurveyError, match=r"Nothing was assessed.\n.*structure: this table"):
            hc.assess(fresh)


def test_an_attachment_is_known_by_its_content(
    survey: DatabaseSurvey, database: str, files: Path, tmp_path: Path
) -> None:
    """A copy is kept under its SHA-256; the original may go."""
    photograph = tmp_path / "soffit.jpg"
    photograph.write_bytes(b"not really a picture")
    found = survey.attach(photograph, kind="photograph", zone="N06", file="photographs/soffit.jpg")
    photograph.unlink()

    path = survey.file("photographs/soffit.jpg")
    assert path is not None
    assert path.read_bytes() == b"not really a picture"
    assert path.name == found.sha256
    assert found in survey.of_zone("N06", Attachment)
    assert not survey.check()["what"].str.contains("soffit").any()


@pytest.mark.parametrize("what", ["missing", "altered"])
def test_a_missing_or_altered_file_is_found(
    survey: DatabaseSurvey, tmp_path: Path, what: str
) -> None:
    """Check names the file and its zone; export refuses to write the survey without it."""
    photograph = tmp_path / "soffit.jpg"
    photograph.write_bytes(b"not really a picture")
    survey.attach(photograph, kind="photograph", zone="N06")
    path = survey.file("soffit.jpg")
    assert path is not None
    if what == "missing":
        path.unlink()
    else:
        path.write_bytes(b"another")

    found = survey.check().query("table == 'attachments'")
    assert list(found["zone"]) == ["N06"]
    assert found["what"].iloc[0].startswith("no file" if what == "missing" else "file altered")
    with pytest.raises(hc.SurveyError, match=rf"soffit\.jpg: {what}; put the file back"):
        survey.export(tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_two_files_of_one_name_are_told_apart(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """Cameras count from 1 again: the second keeps its name, with some digits of its checksum."""
    found = []
    for place, content in (("monday", b"one"), ("tuesday", b"two")):
        (tmp_path / place).mkdir()
        (tmp_path / place / "IMG_0001.jpg").write_bytes(content)
        found.append(survey.attach(tmp_path / place / "IMG_0001.jpg", kind="photograph"))

    assert found[0].file == "IMG_0001.jpg"
    assert found[1].file == f"IMG_0001-{found[1].sha256[:6]}.jpg"
    path = survey.file(found[1].file)
    assert path is not None
    assert path.read_bytes() == b"two"
    with pytest.raises(hc.SurveyError, match=r"file = IMG_0001\.jpg: already given"):
        survey.save(found[1].changed(file="IMG_0001.jpg"))


def test_a_refused_database_is_not_touched(tmp_path: Path) -> None:
    """Another program's file is the same to the last byte after it was refused."""
    path = tmp_path / "other.db"
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE songs (title TEXT)")
    other.close()
    before = path.read_bytes()

    with pytest.raises(OSError, match="not one of a survey"):
        DatabaseSurvey(path)

    assert path.read_bytes() == before


def test_a_bad_attachment_is_refused(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """No file, no such kind, a name outside the survey's folder."""
    photograph = tmp_path / "soffit.jpg"
    photograph.write_bytes(b"x")

    with pytest.raises(OSError, match=r"gone\.jpg can't be read"):
        survey.attach(tmp_path / "gone.jpg", kind="photograph")
    with pytest.raises(hc.SurveyError, match=r"kind = holiday: must be one of: photograph"):
        survey.attach(photograph, kind="holiday")
    with pytest.raises(
        hc.SurveyError, match=r"must name a file in the survey's folder or below it"
    ):
        survey.attach(photograph, kind="photograph", file="../soffit.jpg")


def test_what_agreed_before_others_saved_is_held_against_it_again(survey: DatabaseSurvey) -> None:
    """An import is looked at before it is kept; what comes between the two is not passed over."""
    head, layer = bytes.fromhex(survey.journal_head), survey.of_zone("N06", Layer)[0]
    zone = named(survey, "N06")
    left = [code for code in zone.soiling_codes if code != layer.soiling]
    survey.delete(layer, reason="seen twice")
    survey.save(zone.changed(soilings="; ".join(left or ["guano"])), who="engineer")

    with pytest.raises(hc.SurveyError, match=rf"soiling = {layer.soiling}: .*the soilings of zone"):
        survey.keep({("layers", key_of("layers", layer)): layer}, made_by(None, ""), agreed_at=head)

    assert layer not in survey.all(Layer)


def test_the_report_of_a_kept_survey_is_that_of_its_moment(survey: DatabaseSurvey) -> None:
    """What is saved after the assessment does not change it, and its head is the one it saw."""
    assessment = hc.assess(survey, zones=["N06"])
    head = survey.journal_head
    survey.save(named(survey, "N06").changed(note="later"))

    assert assessment.survey.journal_head == head
    assert assessment.survey.record("zones", "N06").note != "later"  # type: ignore[attr-defined]
    assert survey.journal_head != head

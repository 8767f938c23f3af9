"""Colour of a zone on its screen: meter, tile, sets typed and pasted, nonsense, what is told."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from bare_survey import bare_rows, keep
from hand_at_screen import Hand

from heritagecheck.screens.app import App
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.screens.routes import screens
from heritagecheck.survey.records import Attachment, Reading, TileReading, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey

METER = {
    "instrument": "sphere meter", "aperture_mm": "8,0", "read_on": date.today().isoformat(),
    "read_by": "conservator",
}  # fmt: skip
PICKED = {"geometry": "SCI", "illuminant": "D65/10"}
SOILED = [f"{42 + k % 4},{k} {1 + k % 3},5 {7 + k % 2},{k}" for k in range(10)]
CLEAN = [f"{60 + k % 5},{k} {k % 3},5 {6 + k % 2},{k}" for k in range(10)]


@pytest.fixture
def survey(tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """A survey of one zone, Z1, that is not closed yet."""
    rows = bare_rows()
    rows["structure"][0]["survey_date"] = date.today().isoformat()
    with DatabaseSurvey(keep(rows, tmp_path / "survey.db")) as opened:
        yield opened


def at(survey: DatabaseSurvey, route: str = "zone/Z1/colour", who: str = "conservator") -> Hand:
    """Somebody at the colour of a zone."""
    hand = Hand(App(survey, screens()))
    hand.app.hear(Event("open", arg=route, value=who))
    return hand


def with_meter(hand: Hand) -> Hand:
    """The same, with a meter that was confirmed."""
    for name, value in METER.items():
        hand.type(f"meter.{name}", value)
    for name, code in PICKED.items():
        hand.press("pick", f"meter.{name}={code}")
    hand.press("use_meter")
    return hand


def line(hand: Hand, text: str, key: str = "soiled", once: str = "", do: str = "line") -> None:
    """Type a line and press Enter."""
    hand.app.hear(Event(do, arg=key, value=text, once=once, route=hand.app.route))


def read_set(hand: Hand, key: str, rows: list[str], state: str = "dry") -> None:
    """Type a whole set."""
    hand.press("set", key)
    hand.press("state", state)
    for row in rows:
        line(hand, row, key)


def told(hand: Hand) -> str:
    """What the page says, without its marks."""
    return " ".join(re.sub(r"<[^>]+>", " ", hand.page).split())


def test_two_sets_are_typed_and_compared(survey: DatabaseSurvey) -> None:
    """Ten soiled and ten clean readings with decimal commas: saved as two sets, and compared."""
    hand = with_meter(at(survey))
    read_set(hand, "soiled", SOILED)
    hand.press("save_set", "soiled")
    read_set(hand, "reference", CLEAN)

    said = told(hand)
    hand.press("save_set", "reference")

    assert "10 soiled and 10 clean readings compared." in said
    assert "A colour difference says nothing about whether cleaning would do harm." in said
    readings = survey.all(Reading)
    assert {one.set_name: one.set_size for one in readings} == {"Z1-soiled": 10, "Z1-reference": 10}
    assert readings[0].L_star == 42.0
    assert readings[0].aperture_mm == 8.0
    assert survey.all(Zone)[0].colour_sets == 2


def test_the_next_day_or_zone_asks_only_for_a_yes(survey: DatabaseSurvey) -> None:
    """The meter of the last readings is offered; nothing is taken before it is confirmed."""
    hand = with_meter(at(survey))
    read_set(hand, "soiled", SOILED[:5])
    hand.press("save_set", "soiled")

    another = at(survey, who="surveyor")
    assert 'name="line.L"' not in another.page
    another.press("use_offer")
    another.press("set", "reference")

    assert 'name="line.L"' in another.page


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "holds 0 values"), ("abc", "holds 1 value"), ("61 2", "holds 2 values"),
        ("999 1 2", "L*: “999” is too high"), ("1 2 3 4", "holds 4 values"),
        ("😀 1 2", "L*: “😀” is not a number"), ("<b>x</b> 1 2", "is not a number"),
    ],
)  # fmt: skip
def test_nonsense_in_the_line_is_told_and_kept(
    survey: DatabaseSurvey, text: str, said: str
) -> None:
    """One sentence beside the line; what was typed is still there; no reading is made of it."""
    hand = with_meter(at(survey))
    read_set(hand, "soiled", [text])

    assert said in told(hand)
    assert "<b>x" not in hand.page
    assert "not saved</span>" not in hand.page


@pytest.mark.parametrize("name", ["instrument", "aperture_mm", "read_on", "read_by"])
@pytest.mark.parametrize("nonsense", ["", "\u202e", "12,,5", "31.02.2026"])
def test_nonsense_of_a_meter_is_refused_or_plain(
    survey: DatabaseSurvey, name: str, nonsense: str
) -> None:
    """A field of the meter is a word or is refused beside it; the screen lives on."""
    hand = at(survey)
    for field, code in PICKED.items():
        hand.press("pick", f"meter.{field}={code}")
    for field, value in (METER | {name: nonsense}).items():
        hand.type(f"meter.{field}", value)
    hand.press("use_meter")

    assert "The program failed" not in hand.page
    if not nonsense.strip() or name in {"aperture_mm", "read_on"}:
        assert 'class="why wrong"' in hand.page


def test_a_pasted_column_of_200_rows(survey: DatabaseSurvey) -> None:
    """200 rows with a heading and a slip: 198 are taken, two are named; then the set is saved."""
    hand = with_meter(at(survey))
    read_set(hand, "soiled", [])
    rows = ["L*\ta*\tb*", *(f"{40 + k % 7},{k % 10}\t1,{k % 10}\t8,{k % 9}" for k in range(198)),
            "61,2\t\t9,4"]  # fmt: skip

    line(hand, "\n".join(rows), do="paste")

    assert "198 rows taken. 2 rows could not be read." in told(hand)
    assert "Row 1: L*: “L*” is not a number" in told(hand)
    assert hand.page.count('id="reading-') < 30
    hand.press("save_set", "soiled")
    assert {one.set_size for one in survey.all(Reading)} == {198}


def test_the_state_of_the_stone_is_asked_before_a_reading(survey: DatabaseSurvey) -> None:
    """Silence is not read as dry; the line stays as it was typed."""
    hand = with_meter(at(survey))
    hand.press("set", "soiled")

    line(hand, "61,2 1,8 9,4")

    assert "Say first whether the stone is dry, damp or wet." in hand.page
    assert 'value="61,2 1,8 9,4"' in hand.page


def test_wet_readings_are_kept_and_not_compared(survey: DatabaseSurvey) -> None:
    """They are flagged at once, and do not count as dry ones."""
    hand = with_meter(at(survey))
    read_set(hand, "reference", CLEAN)
    hand.press("save_set", "reference")
    read_set(hand, "soiled", SOILED, state="wet")

    assert "These readings are kept and shown, and never compared." in hand.page
    assert "Not compared yet. 0 dry readings of soiled stone are too few" in told(hand)


def test_a_stone_goes_with_the_readings(survey: DatabaseSurvey) -> None:
    """One tap names the stone of all that follow; a plus sign alone goes on to a new one."""
    hand = with_meter(at(survey))
    read_set(hand, "soiled", [])
    hand.press("place", "Stone 1")
    for row in ("61 1 9", "62 1 9", "+", "63 1 9"):
        line(hand, row)
    hand.press("save_set", "soiled")

    assert [one.place for one in survey.all(Reading)] == ["Stone 1", "Stone 1", "Stone 3"]


def test_a_reading_is_taken_out_and_brought_back(survey: DatabaseSurvey) -> None:
    """Undo goes back one change at a time."""
    hand = with_meter(at(survey))
    read_set(hand, "soiled", ["61 1 9", "62 1 9"])

    hand.press("remove", "0")
    assert "61  1  9" not in hand.page
    hand.press("back")

    assert "61  1  9" in hand.page


def test_a_draft_outlives_the_program(survey: DatabaseSurvey) -> None:
    """A reading that was told is there again in a new program, and one told twice is one."""
    hand = with_meter(at(survey))
    read_set(hand, "soiled", [])
    line(hand, "61,2 1,8 9,4", once="mark")

    again = at(survey)
    line(again, "61,2 1,8 9,4", once="mark")
    again.press("set", "soiled")

    assert "1 not saved" in told(again)
    assert "Colour not saved" in told(at(survey, "zone/Z1/what"))
    again.press("save_set", "soiled")
    assert len(survey.all(Reading)) == 1


def test_the_white_tile_shows_its_drift(survey: DatabaseSurvey) -> None:
    """Start and end within the limit: said so; beyond it: an alert, and what to do."""
    hand = with_meter(at(survey))
    line(hand, "96,8 -0,1 1,3", do="tile", once="a")
    line(hand, "96,8 -0,1 1,3", do="tile", once="a")
    line(hand, "96,9 -0,1 1,3", do="tile", once="b")
    steady = told(hand)
    line(hand, "97,8 -0,1 1,3", do="tile", once="c")

    assert "2 tile readings" in steady
    assert "Drift 0.10 ΔE*ab of 0.3 allowed." in steady
    assert "The tile drifted by 1.00 ΔE*ab; 0.3 is the limit." in told(hand)
    assert {one.tile_readings_in_session for one in survey.all(TileReading)} == {3}


def test_a_set_read_with_a_white_tile_names_its_session(survey: DatabaseSurvey) -> None:
    """The session is that of the tile; without a tile it stays empty."""
    hand = with_meter(at(survey))
    line(hand, "96,8 -0,1 1,3", do="tile", once="a")
    read_set(hand, "soiled", SOILED[:5])
    hand.press("save_set", "soiled")

    assert {one.session for one in survey.all(Reading)} == {survey.all(TileReading)[0].session}


def test_a_set_that_was_not_taken_asks_for_its_reason_only(survey: DatabaseSurvey) -> None:
    """One tap says why for the whole set, and nothing else is asked."""
    hand = at(survey)
    hand.press("set", "reference")
    hand.press("not_measured", "the stone was wet")

    (one,) = survey.all(Reading)
    assert (one.not_measured_because, one.state, one.set_size) == ("the stone was wet", None, 1)
    assert "not measured because the stone was wet" in told(hand)


def test_a_chip_matched_by_eye(survey: DatabaseSurvey) -> None:
    """Without any meter a Munsell notation is kept, as matched by eye."""
    hand = at(survey)
    hand.press("set", "soiled")
    hand.press("state", "dry")
    hand.press("by_eye", "yes")
    line(hand, "blue")
    wrong = told(hand)
    line(hand, "10yr 6/2")
    hand.press("save_set", "soiled")

    (one,) = survey.all(Reading)
    assert "“blue” is not a Munsell notation" in wrong
    assert (one.munsell, one.geometry, one.aperture_mm) == ("10YR 6/2", "visual", None)


def test_nothing_is_saved_for_a_zone_that_is_not(survey: DatabaseSurvey) -> None:
    """The readings wait as drafts until the zone itself is saved."""
    hand = with_meter(at(survey, "zone/Z9/colour"))
    read_set(hand, "soiled", SOILED)
    hand.press("save_set", "soiled")

    assert "zone Z9 itself is not saved" in hand.page
    assert "10 not saved" in told(hand)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "this file is empty"),
        (b"%PDF-1.7 ...", "this is a binary file"),
        (b"Sample;L;a;b\n1;61;2;9\n", "copy its columns L*, a*, b*, and paste them"),
    ],
)
def test_a_file_that_is_no_meter_file(
    survey: DatabaseSurvey, tmp_path: Path, content: bytes, said: str
) -> None:
    """It is refused beside the button with what to do, and nothing is kept of it."""
    path = tmp_path / "given"
    path.write_bytes(content)
    hand = with_meter(at(survey))
    hand.press("set", "soiled")
    hand.app.take(GivenFile(path, "export.csv", "meter"))

    assert said in told(hand)
    assert not survey.records["attachments"]


def test_the_meter_s_own_file_becomes_a_set(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """It says what it holds; what it leaves open comes from the meter that was confirmed."""
    path = tmp_path / "given"
    head = ["CGATS.17", "NUMBER_OF_FIELDS 4", "BEGIN_DATA_FORMAT",
            "SAMPLE_ID LAB_L LAB_A LAB_B", "END_DATA_FORMAT", "NUMBER_OF_SETS 5",
            "BEGIN_DATA"]  # fmt: skip
    rows = [f"A{k} {60 + k} {k % 3}.5 8.{k}" for k in range(5)]
    path.write_text("\n".join([*head, *rows, "END_DATA"]))
    hand = with_meter(at(survey))
    hand.press("set", "soiled")
    hand.press("state", "dry")
    hand.app.take(GivenFile(path, "day.txt", "meter"))

    assert "holds 5 measurements; 5 would be saved: A0, A1" in told(hand)
    hand.press("take_file", "soiled")

    found = survey.all(Reading)
    assert [one.L_star for one in found] == [60, 61, 62, 63, 64]
    assert {one.aperture_mm for one in found} == {8.0}
    assert {one.file for one in found} == {survey.records["attachments"][0].attachment}

    of_all = survey.all(Attachment)[0].changed(zone=None)
    survey.save(of_all, who="conservator", reason="it holds readings of several zones")
    hand.app.take(GivenFile(path, "day.txt", "meter"))
    assert survey.all(Attachment) == (of_all,)

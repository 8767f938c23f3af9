"""Colours typed or pasted, the set they make, and the day with the meter."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest
from filled_forms import example

from heritagecheck.evidence.colour.reading_sets import lying_apart, set_so_far
from heritagecheck.survey.entry.colour_entry import (
    ColourRow,
    MeterDay,
    SetInHand,
    by_eye_of,
    read_munsell,
    read_row,
    read_rows,
    zone_with_sets,
)
from heritagecheck.survey.entry.drafts import Drafts
from heritagecheck.survey.entry.typed_values import NotTakenError
from heritagecheck.survey.records import Reading, TileReading, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey

DAY = date(2026, 11, 30)
METER = {
    "instrument": "sphere meter", "geometry": "SCI", "aperture_mm": "8,0", "illuminant": "D65/10",
    "read_on": "2026-11-30", "read_by": "conservator",
}  # fmt: skip
GREY = ColourRow((61.2, 1.8, 9.4), None, None)


@pytest.mark.parametrize(
    "text",
    [
        "61,2 1,8 9,4", "61.2 1.8 9.4", "61.2, 1.8, 9.4", "61.2,1.8,9.4", "61,2;1,8;9,4",
        "61,2\t1,8\t9,4", "  61,2   1,8 9,4 ", "６１,2 1,8 9,4",
    ],
)  # fmt: skip
def test_a_row_is_read_however_it_is_parted(text: str) -> None:
    """Comma or point, blanks, tabs, semicolons or commas with a blank: the same colour."""
    assert read_row(text) == GREY


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "holds 0 values, not three"),
        ("61,2 1,8", "“61,2 1,8” holds 2 values, not three"),
        ("61,2 1,8 9,4 3,1", "holds 4 values, not three"),
        ("L* a* b*", "L*: “L*” is not a number"),
        ("612 1,8 9,4", "L*: “612” is too high"),
        ("61 200 9", "a*: “200” is too high"),
        ("61 1.234,5 9", "a*: “1.234,5” has more than one comma or point"),
        ("😀 😀 😀", "L*: “😀” is not a number"),
        ("nan inf 1", "L*: “nan” is not a number"),
    ],
)
def test_a_row_that_is_no_colour_says_why(text: str, said: str) -> None:
    """One sentence, which names the number that is wrong; nothing is guessed."""
    with pytest.raises(NotTakenError) as why:
        read_row(text)

    assert said in str(why.value)


def test_the_stone_may_stand_behind_the_colour() -> None:
    """Words behind the three numbers name the stone; a fourth number is not taken as one."""
    assert read_row("61,2 1,8 9,4 Stone 2").place == "Stone 2"
    assert read_row("61,2;1,8;9,4;north jamb").place == "north jamb"


def test_a_pasted_column_names_each_row_that_can_t_be_read() -> None:
    """Of 200 rows with a heading, a gap and a slip, 198 are read; two sentences, by row number."""
    rows = ["L*;a*;b*", *["61,2;1,8;9,4"] * 198, "", "61,2;;9,4"]

    read, wrong = read_rows("\n".join(rows))

    assert len(read) == 198
    assert [one.partition(":")[0] for one in wrong] == ["Row 1", "Row 201"]


def test_a_chip_is_read_by_its_notation() -> None:
    """Small letters and a decimal comma are taken; a word for a colour is not."""
    assert read_munsell("7,5yr 6/2").munsell == "7.5YR 6/2"
    with pytest.raises(NotTakenError, match="“brownish” is not a Munsell notation; write hue"):
        read_munsell("brownish")


def test_a_set_survives_as_text() -> None:
    """A draft that was written and read again is the same set, with its stones."""
    begun = SetInHand("soiled", "dry", "Stone 1")
    begun.add(GREY, "a")
    begun.new_place()
    begun.add(ColourRow(None, "N 5/", None), "b")

    again = SetInHand.of("soiled", begun.typed)

    assert again == begun
    assert [one.place for one in again.readings] == ["Stone 1", "Stone 3"]


def test_a_reading_told_again_is_taken_once() -> None:
    """A page that lost its answer tells a reading again: it stays one reading."""
    begun = SetInHand("soiled", "dry")
    begun.add(GREY, "a")
    begun.add(GREY, "a")
    begun.add(GREY, "b")

    assert len(begun.readings) == 2


def test_only_dry_readings_of_the_meter_are_counted() -> None:
    """Wet stone and a chip matched by eye are kept, and not compared."""
    begun = SetInHand("soiled", "dry")
    begun.add(GREY)
    begun.state = "wet"
    begun.add(GREY)
    begun.add(ColourRow(None, "N 5/", None))

    assert len(begun.readings) == 3
    assert begun.dry_lab() == [GREY.lab]


def test_a_set_becomes_records_with_codes_and_size() -> None:
    """Codes go on where those of the zone end; the set says how many readings it holds."""
    begun = SetInHand("soiled", "dry", "Stone 1")
    for _ in range(3):
        begun.add(GREY)
    shared = by_eye_of("conservator", DAY) | {
        "instrument": "sphere meter", "geometry": "SCI", "aperture_mm": 8.0, "illuminant": "D65/10",
    }  # fmt: skip

    made = begun.records("N06", shared, example())

    known = {one.reading for one in example().all(Reading)}
    assert not known & {one.reading for one in made}
    assert {one.set_name for one in made} == {"N06-soiled-2"}
    assert [one.set_size for one in made] == [3, 3, 3]


def test_a_set_of_a_panel_names_it() -> None:
    """The record says that a panel was read, and which."""
    begun = SetInHand("N09-mist-1", "dry")
    begun.add(ColourRow(None, "10YR 6/2", None))

    (made,) = begun.records("N09", by_eye_of("conservator", DAY), example())

    assert (made.target, made.panel, made.geometry) == ("panel", "N09-mist-1", "visual")


def test_sets_are_counted_only_where_the_count_is_known() -> None:
    """A new set counts one more; where nobody said how many there were, nothing is claimed."""
    zone = next(one for one in example().all(Zone) if one.zone == "N06")
    before = example().of_zone("N06", Reading)
    begun = SetInHand("soiled", "dry")
    begun.add(GREY)
    new = begun.records("N06", by_eye_of("conservator", DAY) | {
        "instrument": "sphere meter", "geometry": "SCI", "aperture_mm": 8.0, "illuminant": "D65/10",
    }, example())  # fmt: skip

    assert zone_with_sets(zone.changed(colour_sets=2), before, new)[0].colour_sets == 3
    assert zone_with_sets(zone.changed(colour_sets=None), (), new)[0].colour_sets == 1
    assert zone_with_sets(zone.changed(colour_sets=None), before, new) == ()


def test_the_day_is_confirmed_once(tmp_path: Path) -> None:
    """What was confirmed holds for the day, also in another program; on the next it is asked."""
    with DatabaseSurvey(tmp_path / "survey.db") as survey:
        MeterDay.confirmed(survey, METER, "conservator", DAY).keep(Drafts(survey), "conservator")

        found = MeterDay.of(Drafts(survey), "conservator", DAY)

        assert found is not None
        assert found.shared(survey)["aperture_mm"] == 8.0
        assert found.shared(survey)["session"] is None
        assert MeterDay.of(Drafts(survey), "conservator", date(2026, 12, 1)) is None


def test_the_white_tile_counts_its_readings(tmp_path: Path) -> None:
    """Each record says how many there are; a clock that was set back moves none before the last."""
    with DatabaseSurvey(tmp_path / "survey.db") as survey:
        day = MeterDay.confirmed(survey, METER, "conservator", DAY)
        for clock, told in (((9, 0), "a"), ((9, 40), "b"), ((8, 0), "c")):
            now = datetime(2026, 11, 30, *clock)
            day, records = day.with_tile(survey, (96.8, -0.1, 1.3), now, told)
            survey.save(*records, who="conservator", reason="white tile")

        tiles = survey.all(TileReading)

        assert [one.minutes for one in day.tiles(survey)] == [0, 40, 40]
        assert {one.tile_readings_in_session for one in tiles} == {3}
        assert day.shared(survey)["session"] == "2026-11-30 conservator"


def test_a_set_so_far_asks_for_ten_at_least() -> None:
    """Few readings give no number; even ones ask for ten, uneven ones for more."""
    even = [[60 + 0.1 * k, 1 + 0.1 * (k % 2), 8 + 0.1 * (k % 3)] for k in range(6)]
    uneven = [[60 + 3.0 * k, 1 + (k % 2), 8 + (k % 3)] for k in range(6)]

    assert set_so_far(even[:4]).needed is None
    assert set_so_far(even).needed == 10
    # Standard deviation of L* 3 · √3.5 = 5.6: (1.96 · 5.6)² is 121, and Student's t asks for more.
    assert 121 < (set_so_far(uneven).needed or 0) < 130


def test_readings_without_a_spread_mark_none() -> None:
    """Twelve equal readings, or three, have none that lies apart."""
    assert lying_apart([[60.0, 1.0, 8.0]] * 12) == ()
    assert lying_apart([[60.0, 1.0, 8.0]] * 3) == ()

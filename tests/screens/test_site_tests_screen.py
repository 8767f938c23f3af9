"""Tests on a zone: results line by line, sets that keep their size, coatings, reasons."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from bare_survey import STEEL, bare_rows, keep
from hand_at_screen import Hand

from heritagecheck.screens.app import App
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.routes import screens
from heritagecheck.survey.records import SiteTest
from heritagecheck.survey.store.database_survey import DatabaseSurvey


@pytest.fixture
def survey(tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """A survey of a painted steel zone, Z1."""
    with DatabaseSurvey(keep(bare_rows(STEEL), tmp_path / "survey.db")) as opened:
        yield opened


@pytest.fixture
def wall(survey: DatabaseSurvey) -> Hand:
    """Somebody at the tests of Z1."""
    found = Hand(App(survey, screens()))
    found.app.hear(Event("open", arg="zone/Z1/tests", value="conservator"))
    return found


def pick(hand: Hand, field: str, code: str) -> None:
    """Choose a term of a field."""
    hand.app.hear(Event("pick", arg=f"{field}={code}", route=hand.app.route))


def test_set_is_typed_line_by_line(wall: Hand, survey: DatabaseSurvey) -> None:
    """The page counts and averages as it goes; all lines are one set of one save."""
    wall.press("part", "plate_loss_pct")
    wall.type("test-plate_loss_pct-0.value", "3,5\n4\n\n6.5")
    wall.type("test-plate_loss_pct-0.method", "ultrasonic")
    assert "3 results: mean 4.67, spread (standard deviation) 1.6, from 3.5 to 6.5 %" in wall.page
    wall.press("save")

    kept = survey.of_zone("Z1", SiteTest)
    assert [one.value for one in kept] == [3.5, 4.0, 6.5]
    assert {(one.set_size, one.set_name, one.tested_by, one.tested_on) for one in kept} == {
        (3, kept[0].set_name, "conservator", date.today())
    }


def test_result_added_later_joins_the_set(wall: Hand, survey: DatabaseSurvey) -> None:
    """Known results keep their codes; the size of the set grows in all of them."""
    wall.press("part", "plate_loss_pct")
    wall.type("test-plate_loss_pct-0.value", "3\n4")
    wall.type("test-plate_loss_pct-0.method", "ultrasonic")
    wall.press("save")
    codes = [one.site_test for one in survey.of_zone("Z1", SiteTest)]
    wall.type("test-plate_loss_pct-0.value", "3\n4\n5")
    wall.press("save")

    kept = survey.of_zone("Z1", SiteTest)
    assert [one.site_test for one in kept][:2] == codes
    assert [(one.value, one.set_size) for one in kept] == [(3, 3), (4, 3), (5, 3)]


def test_result_taken_away_stays_missed_until_somebody_says_otherwise(
    wall: Hand, survey: DatabaseSurvey
) -> None:
    """A set never shrinks by itself: a lost result is a gap; a slip is corrected by the number."""
    wall.press("part", "plate_loss_pct")
    wall.type("test-plate_loss_pct-0.value", "3\n4\n50")
    wall.type("test-plate_loss_pct-0.method", "ultrasonic")
    wall.press("save")
    wall.type("test-plate_loss_pct-0.value", "3\n4")
    wall.press("save")
    assert [(one.value, one.set_size) for one in survey.of_zone("Z1", SiteTest)] == [(3, 3), (4, 3)]
    wall.type("test-plate_loss_pct-0.set_size", "1")
    wall.press("save")
    assert "2 results are written here; give at least that many." in wall.page
    wall.type("test-plate_loss_pct-0.set_size", "2")
    wall.press("save")

    assert [(one.value, one.set_size) for one in survey.of_zone("Z1", SiteTest)] == [(3, 2), (4, 2)]


def test_chips_of_two_coatings_are_one_set(wall: Hand, survey: DatabaseSurvey) -> None:
    """Each part has its coating, depth and limit; lead is cautioned above."""
    assert "treat it as lead paint until a laboratory says otherwise" in wall.page
    for number, (coating, text) in enumerate({"red primer": "0,9", "grey coat": "0"}.items()):
        wall.press("part", "lead_lab_pct")
        part = f"test-lead_lab_pct-{number}"
        wall.type(f"{part}.value", text)
        wall.type(f"{part}.method", "laboratory")
        wall.type(f"{part}.coating", coating)
        wall.type(f"{part}.detection_limit", "0.005")
        pick(wall, f"{part}.full_depth", "yes")
    wall.press("save")

    kept = survey.of_zone("Z1", SiteTest)
    assert [(one.coating, one.value, one.full_depth, one.set_size) for one in kept] == [
        ("red primer", 0.9, "yes", 2), ("grey coat", 0.0, "yes", 2),
    ]  # fmt: skip
    assert len({one.set_name for one in kept}) == 1


def test_one_reason_for_all_that_was_not_measured(wall: Hand, survey: DatabaseSurvey) -> None:
    """Each usual quantity gets a record with the reason, and nothing else is asked."""
    wall.press("rest", "all")
    assert "Write why in a few words" in wall.page
    wall.type("rest.why", "no meter on site")
    wall.press("rest", "all")
    wall.press("save")

    kept = survey.of_zone("Z1", SiteTest)
    assert len(kept) > 3
    assert {(one.value, one.not_measured_because) for one in kept} == {(None, "no meter on site")}


def test_wrong_line_is_named_and_nothing_is_lost(wall: Hand, survey: DatabaseSurvey) -> None:
    """The line and its limits stand beside the results; a draft of it survives."""
    wall.press("part", "rust_area_pct")
    wall.type("test-rust_area_pct-0.value", "5\n🙂\n140")
    wall.type("test-rust_area_pct-0.method", "chart")
    wall.press("save")
    assert "Line 2: “🙂” is not a number" in wall.page
    assert not survey.of_zone("Z1", SiteTest)
    again = Hand(App(survey, screens()))
    again.app.hear(Event("open", arg="zone/Z1/tests", value="conservator"))

    assert "5\n🙂\n140</textarea>" in again.page

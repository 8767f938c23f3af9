"""The steps from zone to zone, on the example and on surveys that hold next to nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from bare_survey import CLOSED, STEEL, bare_rows, keep

from heritagecheck.judgement.assess import assess
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.notebook.walk import notebook
from heritagecheck.screens.notebook.zones import WORTH_A_LOOK, ZonesWalk
from heritagecheck.tables.cautions import WITH_CAUTIONS

STEPS = ("outcomes", "wall", "list", "where", "colour", "evidence", "gates", "harm", "ruled_out",
         "open_points", "card", "worth_a_look")  # fmt: skip
MORE = ("N01", "N04", "N08", "N10", "T03")  # of each outcome, urgent and not


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ZonesWalk]:
    """Give the steps of the example, with the answers of a few zones, worked out once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path_factory.mktemp("course"))
        walk = notebook("zones")
        walk._assessment = assess(walk.survey, zones=[*WORTH_A_LOOK, *MORE])
        yield walk


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., ZonesWalk]:
    """Give the steps of a survey of one's own, of the zones named."""

    def begun(*zones: dict[str, Any]) -> ZonesWalk:
        rows = bare_rows(*zones)
        keep(rows if zones else rows | {"zones": []}, tmp_path / "survey.db")
        monkeypatch.chdir(tmp_path)
        return notebook("zones")

    return begun


def shown(walk: ZonesWalk, name: str) -> str:
    """Give a step as a browser gets it."""
    return getattr(walk, name)().html


def test_every_step_is_tried() -> None:
    """No step of the notebook is left out of these tests."""
    named = [name for name, one in vars(ZonesWalk).items() if hasattr(one, "__wrapped__")]

    assert named == list(STEPS)


@pytest.mark.parametrize("name", STEPS)
def test_steps_show_the_example(example: ZonesWalk, name: str) -> None:
    """Each step shows something of N06, and none fails."""
    words = shown(example, name)

    assert "failed" not in words
    assert "Traceback" not in words
    assert "can’t be shown" not in words
    assert len(words) > 200


def test_no_step_fails_where_next_to_nothing_is_recorded(own: Callable[..., ZonesWalk]) -> None:
    """Three zones of which nothing was seen: each step says something, in whole sentences."""
    walk = own({}, STEEL, CLOSED)
    for code in walk.zones():
        walk.pick(zone=code)
        for name in STEPS:
            words = shown(walk, name)

            assert "The program failed" not in words, name
            assert "Traceback" not in words, name
            assert any(part in words for part in ("<p>", "<svg", "<td>")), name


def test_what_is_missing_is_said_with_what_to_do(own: Callable[..., ZonesWalk]) -> None:
    """A drawing that is missing, a colour never read, numbers never measured, urgency not seen."""
    walk = own({})

    assert "Add or draw it on the survey" in shown(walk, "wall")
    assert "No soiled stone was read. 03_colour shows how" in shown(walk, "colour")
    assert "Nothing was measured on this zone." in shown(walk, "evidence")
    assert "was not looked at in full: Z1. Look there first." in shown(walk, "outcomes")
    assert "No urgency" not in shown(walk, "outcomes") + shown(walk, "open_points")
    assert all(one.hazard in shown(walk, "open_points") for one in walk.zone.cautions)
    assert "not looked at in full" in shown(walk, "list")


def test_a_survey_without_zones_says_so(own: Callable[..., ZonesWalk]) -> None:
    """Every step asks for the first zone."""
    walk = own()

    assert {"This survey has no zone yet." in shown(walk, name) for name in STEPS} == {True}


def test_list_keeps_what_was_asked_for(example: ZonesWalk) -> None:
    """Two filters hold together; the list sorts by urgency, the most urgent first."""
    page = example.list()

    def choose(label: str, value: str) -> str:
        page.shown.hear(Event("type", name=label, value=value))
        return page.shown.html()

    assert "Show all 11 zones" in page.html
    assert "3 zones" in choose("Outcome", "leave")

    wanted = example.assessment.table.query("outcome == 'leave' and elevation == 'north'")
    words = choose("Elevation", "north")

    assert f"{len(wanted)} zones" in words
    assert all(f'aria-label="Choose {code}"' in words for code in wanted["zone"])

    choose("Outcome", "")
    choose("Elevation", "")
    page.shown.hear(Event("sort", arg="table 0|urgency"))

    words = page.shown.html()

    assert words.index("<td>make safe") < words.index("<td>act by")


def test_a_press_on_wall_or_list_brings_the_card_with_its_cautions(example: ZonesWalk) -> None:
    """A zone pressed on the elevation is the one of the list's card, of all gates and the sheet."""
    wall, cards = example.wall(), [example.list(), example.card()]

    assert 'data-do="pick" data-arg="N09"' in wall.html

    wall.shown.hear(Event("pick", arg="N09"))

    assert "N09 Limestone cornice, left half is chosen: clean." in wall.shown.html()
    for card in cards:
        words = card.shown.html()
        assert "N09 Limestone cornice, left half" in words
        for caution in example.zone.cautions:
            assert caution.words[:40] in words.replace("&#39;", "'").replace("&#x27;", "'")

    example.pick(zone="N06")


def test_reasons_of_gates_that_name_a_setting_say_that_cautions_go_with_it(
    example: ZonesWalk,
) -> None:
    """Where panels were laid, their settings and windows stand among the reasons."""
    words = shown(example, "gates")

    assert words.index("The panels were laid at 0.6 J/cm² peak") < words.index(WITH_CAUTIONS)


def test_day_by_which_someone_must_act_keeps_its_capital(example: ZonesWalk) -> None:
    """A sentence begins with a capital, and the month has one too."""
    example.pick(zone="T05")

    assert "T05: leave and monitor. Act by 12 April 2027." in shown(example, "open_points")


def test_zones_worth_a_look_are_in_the_example(example: ZonesWalk) -> None:
    """Each zone that the course names is there, with the outcome that its words speak of."""
    assert set(WORTH_A_LOOK) <= set(example.zones())
    assert example.assessment.zone("N09").outcome == "clean"
    assert example.assessment.zone("T05").urgency
    assert "laser_ns_1064" in "".join(example.assessment.zone("N15").ruled_out)

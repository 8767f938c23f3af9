"""Zones split and joined in the meeting, and the elevation with what was decided on it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from bare_survey import bare_rows, keep
from in_the_room import InTheRoom, answer, fill, press

from heritagecheck.screens.live_page import Event
from heritagecheck.survey.records import Decision, Opinion, Zone

WALL = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 900 900">'
    '<rect width="900" height="900" fill="#fff"/></svg>'
)
# Two bays side by side, the first 4 m by 2 m, the second 2 m by 2 m.
LEFT, RIGHT = "1 1; 5 1; 5 3; 1 3", "5 1; 7 1; 7 3; 5 3"
WORDS = "Only I know of the iron behind the ashlar"


@pytest.fixture
def hall(tmp_path: Path) -> Iterator[InTheRoom]:
    """A meeting about two bays that are drawn side by side; the first is in hand."""
    (tmp_path / "north.svg").write_text(WALL)
    rows = bare_rows({"outline": LEFT, "area_m2": 8}, {"outline": RIGHT})
    found = InTheRoom(keep(rows, tmp_path / "survey.db"))
    found.room.survey.attach(tmp_path / "north.svg", kind="drawing", file="north.svg")
    press(found.leads, "take_up", "Z1")
    yield found
    found.room.survey.close()


def zones(hall: InTheRoom) -> dict[str, float]:
    """Zones of the survey with their areas."""
    return {one.zone: one.area_m2 for one in hall.room.survey.all(Zone)}


def cut(hall: InTheRoom) -> str:
    """Split the first bay by a plumb line, a quarter from its left end; give what was said."""
    hall.leads.desk.route = "cut/Z1"
    assert "Split here" in hall.leads.html()
    line = json.dumps([[200, 50], [200, 350]])
    hall.leads.hear(Event("points", value=line, route=hall.leads.route))
    return press(hall.leads, "split")


def decide(hall: InTheRoom) -> str:
    """Decide for Z1 what is recommended, and give what was said."""
    hall.leads.desk.route = "zone"
    press(hall.leads, "show_answers")
    press(hall.leads, "choose", f"decide.Z1.outcome={hall.answers.of_zone('Z1').outcome}")
    fill(hall.leads, "decide.Z1.reasons", "As discussed")
    return press(hall.leads, "decide", "Z1")


def test_private_answers_of_a_split_zone_are_asked_again(hall: InTheRoom) -> None:
    """By hand: 2 m² of 8 m² are split off. Words go back to their member alone, no outcome does."""
    engineer, owner = hall.device("engineer"), hall.device("owner")
    answer(engineer, "leave", WORDS, veto="clean")

    assert "Z1 is split. The smaller part is" in cut(hall)
    new = (zones(hall).keys() - {"Z1", "Z2"}).pop()
    assert zones(hall) == {"Z1": 6, "Z2": 4, new: 2}
    assert hall.room.survey.last_saved[0] == "facilitator"
    assert hall.room.answered("Z1") == ()
    for zone in ("Z1", new):
        press(hall.leads, "take_up", zone)
        page = engineer.html()
        assert WORDS in page
        assert "split into" in page
        assert "answer and decide again" in page
        assert 'aria-pressed="true"' not in page
        assert WORDS not in owner.html()
    assert "Kept in private" in answer(engineer, "leave", WORDS, zone=new)


def test_a_decision_does_not_carry_over_to_a_part(hall: InTheRoom) -> None:
    """It is withdrawn in the same save, its signature no longer counts, and the part has none."""
    engineer = hall.device("engineer")
    answer(engineer, "leave", WORDS)
    assert "Saved: Z1" in decide(hall)
    press(engineer, "sign", "Z1")
    assert "Signed: engineer" in engineer.html()
    hall.room.plan(["Z1", "Z2"])
    cut(hall)
    new = (zones(hall).keys() - {"Z1", "Z2"}).pop()

    [decision] = hall.room.survey.all(Decision)
    assert (decision.zone, decision.outcome) == ("Z1", "not decided")
    assert f"Z1 split into Z1 and {new} after the decision" in decision.reasons
    assert "As discussed" in decision.reasons
    assert hall.room.decision(new) is None
    assert not hall.room.is_shown(new)
    page = engineer.html()
    assert "Not signed yet." in page
    assert "Evidence changed since the decision" in page
    assert hall.room.state.agenda == ("Z1", new, "Z2")
    # What was said stays on record for the zone as it was.
    assert [one.zone for one in hall.room.survey.all(Opinion)] == ["Z1"]


def test_joined_zones_are_answered_as_one(hall: InTheRoom) -> None:
    """The words on both parts come back for the whole; the other code leaves plan and survey."""
    engineer = hall.device("engineer")
    answer(engineer, "leave", "Left bay is sound")
    press(hall.leads, "take_up", "Z2")
    answer(engineer, "clean", "Right bay is black", zone="Z2")
    hall.room.plan(["Z2", "Z1"])
    hall.leads.desk.route = "cut/Z1"
    press(hall.leads, "mode", "join")
    assert "Join with Z2" in hall.leads.html()
    assert "Joined: Z1 now holds Z2 too." in press(hall.leads, "join", "Z2")

    assert zones(hall) == {"Z1": 12}
    assert hall.room.state.zone == "Z1"
    assert hall.room.state.agenda == ("Z1",)
    page = engineer.html()
    assert "Left bay is sound\nRight bay is black" in page
    assert "is about Z1 without Z2" in page


def test_only_the_facilitator_cuts(hall: InTheRoom) -> None:
    """Neither a member nor a reader reaches the screen or its buttons."""
    for app in (hall.device("engineer"), hall.device("press", "reader")):
        app.desk.route = "cut/Z1"
        assert "Split here" not in app.html()
        for do in ("split", "join", "points", "mode"):
            assert "Nothing was done" in press(app, do, "Z2")
    assert zones(hall) == {"Z1": 8, "Z2": 4}


def test_a_line_that_does_not_cross_changes_nothing(hall: InTheRoom) -> None:
    """A sentence says how to draw it; answers stay given."""
    engineer = hall.device("engineer")
    answer(engineer, "leave")
    hall.leads.desk.route = "cut/Z1"
    line = json.dumps([[10, 10], [20, 20]])
    hall.leads.hear(Event("points", value=line, route=hall.leads.route))

    assert "Draw it from side to side." in press(hall.leads, "split")
    assert hall.room.answered("Z1") == ("engineer",)


def test_the_elevation_shows_what_was_decided(hall: InTheRoom) -> None:
    """To everybody, by sign and words; what is private or hidden is not on it."""
    engineer = hall.device("engineer")
    hidden = hall.answers.of_zone("Z1").sentence
    engineer.desk.route = hall.leads.desk.route = "facade"
    assert "Z1 A bay: not taken up" in engineer.html()
    engineer.desk.route = ""
    answer(engineer, "leave", WORDS)
    hall.leads.desk.route = engineer.desk.route = "facade"
    page = hall.leads.html()
    assert "Z1 A bay: answers in private: 1 of 1" in page
    assert WORDS not in page
    assert hidden not in page
    assert 'data-do="take_up"' not in engineer.html()
    assert "Saved: Z1" in decide(hall)
    outcome = hall.room.survey.all(Decision)[0].outcome

    assert f"Z1 A bay: {outcome}" in engineer.html()
    press(engineer, "take_up", "Z2")
    assert hall.room.state.zone == "Z1"
    hall.leads.desk.route = "facade"
    press(hall.leads, "take_up", "Z2")
    assert hall.room.state.zone == "Z2"

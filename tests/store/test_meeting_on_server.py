"""A meeting about a survey on a team's server: the whole way, and two rooms at once."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from bare_survey import bare_rows, records
from in_the_room import ADDRESSES, InTheRoom, answer, fill, press
from real_postgres import Server

from heritagecheck.judgement.decisions import last_decision
from heritagecheck.screens.meeting.room_app import RoomApp
from heritagecheck.survey.meeting.room import CRITERIA
from heritagecheck.survey.records import Decision, Meeting, Opinion, Signature, View
from heritagecheck.survey.store.database_survey import DatabaseSurvey

SECRET = "Only I know of the iron behind the ashlar"


@pytest.fixture
def place(server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Give a database of the server that holds two zones."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "here"))
    url = server.new_database()
    with DatabaseSurvey(url) as survey:
        survey.save(*records(bare_rows({}, {"zone": "Z2"})), who="office")
    yield url
    server.drop(url)


def everything(server: Server, place: str) -> str:
    """All that the database holds, as a reader of it may see it."""
    name = place.rpartition("/")[2]
    tables = server.run("SELECT tablename FROM pg_tables WHERE schemaname = 'public'", name)
    assert len(tables) > 10
    return " ".join(str(server.run(f'SELECT * FROM "{table}"', name)) for (table,) in tables)


def decide(hall: InTheRoom, reasons: str) -> str:
    """Record what is recommended, with its reasons."""
    press(hall.leads, "choose", f"decide.Z1.outcome={hall.answers.of_zone('Z1').outcome}")
    fill(hall.leads, "decide.Z1.reasons", reasons)
    return press(hall.leads, "decide", "Z1")


def test_a_meeting_on_a_server_from_joining_to_changed_evidence(
    server: Server, place: str, tmp_path: Path
) -> None:
    """Private until shown, there again after a kill, dissent, signature, and what changed since."""
    hall = InTheRoom(place)
    press(hall.leads, "take_up", "Z1")
    engineer, owner = hall.device("engineer"), hall.device("owner")
    assert "Kept in private" in answer(engineer, "leave", SECRET)
    owner.desk.route = "weights"
    for criterion in CRITERIA:
        fill(owner, f"weight.{criterion}", "100")
    assert "Kept in private" in press(owner, "give")
    assert SECRET not in everything(server, place)
    assert not hall.room.survey.all(View)
    assert SECRET in (hall.room._files.folder / "room.json").read_text("utf-8")
    assert tmp_path in hall.room._files.folder.parents

    again = InTheRoom(place)
    assert again.room.answered("Z1") == ("engineer",)
    again.leads.desk.route = "zone"
    press(again.leads, "show_answers")
    assert SECRET in everything(server, place)
    assert "Members may now dissent and sign" in decide(again, "As recommended")
    owner = RoomApp(again.room, again.answers, owner.key, "", ADDRESSES)
    fill(owner, "dissent.Z1.words", "I would have laid panels.")
    press(owner, "dissent", "Z1")
    assert "Signed" in press(owner, "sign", "Z1")

    with DatabaseSurvey(place) as office:
        assert [one.signer for one in office.all(Signature)] == ["owner"]
        assert {one.dissent for one in office.all(Opinion)} == {None, "I would have laid panels."}
        office.save(office.record("zones", "Z1").changed(note="A crack"), who="office")
    assert "Evidence changed since signing:</b> zones: changed among 1 record" in owner.html()


def test_two_rooms_on_one_server_do_not_overwrite_each_other(
    place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two computers begin a meeting before either has a member: each has a code of its own."""
    one = InTheRoom(place)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "there"))
    other = InTheRoom(place)
    for hall, outcome in ((one, "leave"), (other, "trial first")):
        press(hall.leads, "take_up", "Z1")
        assert "Kept in private" in answer(hall.device("engineer"), outcome, SECRET)
    for hall in (one, other):
        press(hall.leads, "show_answers")
        assert "Saved: Z1" in decide(hall, f"Reasons of {hall.room.state.meeting}")

    with DatabaseSurvey(place) as survey:
        assert [found.meeting for found in survey.all(Meeting)] == ["M1", "M2"]
        assert {(said.meeting, said.outcome) for said in survey.all(Opinion)} == {
            ("M1", "leave"), ("M2", "trial first"),
        }  # fmt: skip
        assert [found.reasons for found in survey.all(Decision)] == [
            "Reasons of M1", "Reasons of M2",
        ]  # fmt: skip
        assert getattr(last_decision(survey, "Z1"), "meeting", "") == "M2"
    for hall, shown, hidden in ((one, "M1", "M2"), (other, "M2", "M1")):
        assert f"Reasons of {shown}" in hall.leads.html()
        assert f"Reasons of {hidden}" not in hall.leads.html()

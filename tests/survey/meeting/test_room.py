"""A meeting: roles that nobody shares, answers that stay private, nothing lost when killed."""

from __future__ import annotations

import os
import shutil
import sqlite3
from datetime import date
from pathlib import Path

import pytest
from bare_survey import bare_rows, keep

from heritagecheck.errors import StoreError, SurveyError
from heritagecheck.survey.meeting.privacy import (
    PrivateFiles,
    fits,
    hash_of,
    join_word,
    role_typed,
    same_word,
)
from heritagecheck.survey.meeting.room import CRITERIA, PrivateAnswer, Room
from heritagecheck.survey.records import Meeting, Opinion, View
from heritagecheck.survey.store.database_survey import DatabaseSurvey

TODAY = date(2026, 5, 4)
SECRET = "The oriel must not be touched"


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Keep a survey of two zones."""
    return keep(bare_rows({}, {"zone": "Z2"}), tmp_path / "survey.db")


def opened(place: Path) -> Room:
    """The meeting as a server that was just started holds it."""
    return Room(DatabaseSurvey(place), TODAY)


def with_members(place: Path, *roles: str) -> Room:
    """A meeting that some members joined."""
    room = opened(place)
    for role in roles or ("engineer", "owner"):
        room.join(role, "member")
    room.take_up("Z1")
    return room


def test_a_role_belongs_to_one_person_with_its_key(place: Path) -> None:
    """Nobody joins as another; only the facilitator lets a role join again, with a new key."""
    room = opened(place)
    engineer, key = room.join(" Engineer ", "member")

    assert engineer.role == "Engineer"
    assert room.person_of(key) == engineer
    assert room.person_of("guessed") is None
    with pytest.raises(ValueError, match="Somebody joined as engineer already"):
        room.join("engineer", "member")
    with pytest.raises(ValueError, match="Somebody joined as facilitator already"):
        room.join("facilitator", "member")
    room.let_join_again("Engineer")
    assert room.person_of(key) is None
    with pytest.raises(ValueError, match="takes part as member"):
        room.join("engineer", "reader")
    _, other = room.join("engineer", "member")
    assert room.person_of(other) is not None


@pytest.mark.parametrize(
    ("typed", "says"),
    [("  ", "Write your role first"), ("a;b", "without semicolons"), ("x" * 61, "at most 60")],
)
def test_a_role_that_can_be_none_is_refused(typed: str, says: str) -> None:
    """Each in a sentence."""
    with pytest.raises(ValueError, match=says):
        role_typed(typed)


def test_the_join_word_can_be_said_and_typed_freely() -> None:
    """Capitals, blanks and hyphens do not count; another word does not fit; keys are hashed."""
    word = join_word()

    assert same_word(word.replace("-", " ").upper(), word)
    assert not same_word(word[:-1], word)
    assert len({join_word() for _ in range(50)}) == 50
    assert fits("key", hash_of("key"))
    assert not fits("kez", hash_of("key"))


def test_only_one_program_holds_a_meeting(place: Path) -> None:
    """A second would write its own state over answers that were acknowledged; it is refused."""
    with DatabaseSurvey(place) as survey:
        files = PrivateFiles(survey)
        said = pytest.raises(StoreError, match="held by another program already")
        with files.held_alone(), said, files.held_alone():
            pass
        with files.held_alone():
            assert (place.with_suffix(".meeting") / "held").is_file()


def test_a_meeting_has_a_code_of_its_own(place: Path) -> None:
    """Two that begin at once, with the same roles, differ from the first member on."""
    one, other = opened(place), opened(place)
    one.join("engineer", "member")
    other.join("engineer", "member")

    assert (one.state.meeting, other.state.meeting) == ("M1", "M2")
    assert [found.meeting for found in opened(place).survey.all(Meeting)] == ["M1", "M2"]


@pytest.mark.parametrize(("role", "code"), [("engineer", "M1"), ("owner", "M2")])
def test_a_meeting_killed_while_it_takes_its_code(place: Path, role: str, code: str) -> None:
    """What is in the survey under its code is its own only where it is the same meeting."""
    room = opened(place)
    with room._changing() as state:
        state.code = "claimed"
    room.survey.save(
        Meeting(meeting="M1", held_on=TODAY, facilitator="facilitator", members="engineer")
    )
    room = opened(place)
    room.join(role, "member")

    assert (room.state.meeting, room.state.code) == (code, "taken")


def test_private_answers_are_in_no_file_that_a_reader_may_get(place: Path, tmp_path: Path) -> None:
    """Neither database, export, backup nor journal holds them; their own file is the owner's."""
    room = with_members(place)
    room.type("engineer", "answer.Z1.why", SECRET)
    room.answer("engineer", "Z1", PrivateAnswer(outcome="leave", why=SECRET, veto="clean"))
    room.weigh("engineer", dict.fromkeys(CRITERIA, 73.0))
    room.type("engineer", "answer.Z2.why", SECRET)
    room.survey.export(tmp_path / "sent")
    room.survey.backup(tmp_path / "backup.db")
    copied = tmp_path / "copy.db"
    with sqlite3.connect(place) as open_, sqlite3.connect(copied) as other:
        open_.backup(other)

    found = [
        path
        for path in tmp_path.rglob("*")
        if path.is_file() and SECRET.encode() in path.read_bytes()
    ]
    assert {path.parent for path in found} == {tmp_path / "survey.meeting"}
    assert not room.survey.all(Opinion)
    assert not room.survey.all(View)
    if os.name != "nt":
        assert (tmp_path / "survey.meeting").stat().st_mode & 0o077 == 0
        assert all(path.stat().st_mode & 0o077 == 0 for path in found)


def test_answers_go_into_the_survey_in_one_save_when_they_are_shown(place: Path) -> None:
    """All at once, with the meeting and who was there; afterwards nothing private is left."""
    room = with_members(place)
    room.answer("engineer", "Z1", PrivateAnswer(outcome="leave", why=SECRET, veto="clean"))
    room.answer("owner", "Z1", PrivateAnswer(outcome="trial first"))
    assert room.answered("Z1") == ("engineer", "owner")
    before = room.survey.journal
    room.show_answers("Z1")
    added = room.survey.journal.iloc[len(before) :]

    assert sorted(added["table"]) == ["meetings", "opinions", "opinions"]
    assert set(added["who"]) == {"facilitator"}
    assert {(one.member, one.outcome) for one in room.opinions("Z1", "before talk")} == {
        ("engineer", "leave"), ("owner", "trial first"),
    }  # fmt: skip
    assert room.survey.all(Meeting)[0].members == "engineer; owner"
    assert SECRET not in (place.with_suffix(".meeting") / "room.json").read_text("utf-8")
    with pytest.raises(ValueError, match="were shown already"):
        room.answer("owner", "Z1", PrivateAnswer(outcome="clean"))


def test_a_killed_meeting_goes_on_where_it_was(place: Path) -> None:
    """A new server knows people, answers, the zone in hand, and what was typed."""
    room = with_members(place)
    _, key = room.join("ecologist", "member")
    room.answer("engineer", "Z1", PrivateAnswer(outcome="leave"))
    room.type("ecologist", "answer.Z1.why", "half a sen")
    again = opened(place)

    assert again.state == room.state
    assert again.person_of(key) is not None
    assert again.own_answer("engineer", "Z1") == PrivateAnswer(outcome="leave")
    assert again.typed("ecologist") == {"answer.Z1.why": "half a sen"}


def test_a_meeting_killed_while_it_shows_answers_shows_them_again(
    place: Path, tmp_path: Path
) -> None:
    """Saved, but still private when it was killed: nothing is lost and nothing is there twice."""
    room = with_members(place)
    room.answer("engineer", "Z1", PrivateAnswer(outcome="leave"))
    shutil.copyfile(tmp_path / "survey.meeting" / "room.json", tmp_path / "before.json")
    room.show_answers("Z1")
    shutil.copyfile(tmp_path / "before.json", tmp_path / "survey.meeting" / "room.json")
    again = opened(place)
    entries = len(again.survey.journal)

    assert again.is_shown("Z1")
    again.show_answers("Z1")
    assert len(again.survey.journal) == entries
    assert again.answered("Z1") == ()


def test_only_members_answer_and_only_when_it_is_time(place: Path) -> None:
    """Readers don't decide; after talk comes after the answers; a veto needs its reason."""
    room = with_members(place)
    room.join("press", "reader")

    with pytest.raises(ValueError, match="press is not a member"):
        room.answer("press", "Z1", PrivateAnswer(outcome="leave"))
    with pytest.raises(ValueError, match="were not shown yet"):
        room.after_talk("owner", "Z1", outcome="leave")
    with pytest.raises(SurveyError, match="a veto needs its reason"):
        room.answer("owner", "Z1", PrivateAnswer(outcome="leave", veto="clean"))
    with pytest.raises(ValueError, match="Missing: historic evidence"):
        room.weigh("owner", {"fabric": 100.0})
    with pytest.raises(ValueError, match="not a zone of this survey"):
        room.take_up("Z9")


def test_each_speaks_in_the_own_name_after_talk(place: Path) -> None:
    """A changed answer and a dissent are saved by the member; one does not undo the other."""
    room = with_members(place)
    room.show_answers("Z1")
    room.after_talk("owner", "Z1", outcome="trial first", why="Convinced")
    room.after_talk("owner", "Z1", dissent=SECRET)
    (said,) = room.opinions("Z1", "after talk")

    assert (said.outcome, said.dissent) == ("trial first", SECRET)
    assert room.survey.last_saved[0] == "owner"


def test_a_meeting_does_not_end_over_answers_that_nobody_saw(place: Path) -> None:
    """They are named; once shown it ends, and nothing private is left on the disk."""
    room = with_members(place)
    room.answer("engineer", "Z2", PrivateAnswer(outcome="leave"))
    room.weigh("owner", dict.fromkeys(CRITERIA, 50.0))

    with pytest.raises(ValueError, match="were not shown yet: Z2, the weights"):
        room.end()
    room.show_answers("Z2")
    room.show_weights()
    assert {one.member for one in room.survey.all(View)} == {"owner"}
    room.end()
    with pytest.raises(ValueError, match="The meeting is over"):
        room.type("owner", "answer.Z1.why", "too late")
    with pytest.raises(ValueError, match="The meeting is over"):
        room.take_up("Z1")
    assert not list(place.with_suffix(".meeting").glob("*"))
    assert opened(place).state.meeting == "M2"

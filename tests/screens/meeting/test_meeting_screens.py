"""The screens of a meeting: what each person sees and may do, without a browser."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

import pytest
from bare_survey import bare_rows, keep
from in_the_room import ADDRESSES, InTheRoom, answer, fill, press

import heritagecheck as hc
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.room_app import RoomApp
from heritagecheck.survey.meeting.room import CRITERIA
from heritagecheck.survey.records import Decision, Opinion, Signature, View

SECRET = "Only I know of the iron behind the ashlar"
HIDDEN = "What heritagecheck recommends"


@pytest.fixture
def hall(tmp_path: Path) -> Iterator[InTheRoom]:
    """A meeting about a survey of two zones; the first is in hand."""
    found = InTheRoom(keep(bare_rows({}, {"zone": "Z2"}), tmp_path / "survey.db"))
    press(found.leads, "take_up", "Z1")
    yield found
    found.room.survey.close()


def test_nobody_is_let_in_without_the_word(hall: InTheRoom) -> None:
    """A wrong word shows nothing of the survey; cautions and privacy come before joining."""
    app = hall.device()
    page = app.html()

    assert "Licensed people decide" in page
    assert "Whoever runs this computer can read them" in page
    assert "not encrypted" in page
    assert "mill" not in page
    fill(app, "word", "wrong-word")
    assert "This is not the join word" in press(app, "knock")
    assert "This is not the join word" in press(app, "join", "member")
    assert hall.room.members == ()


def test_a_member_cannot_act_as_another(hall: InTheRoom) -> None:
    """A role is taken once; what a page tells of itself counts for nothing."""
    engineer, other = hall.device("engineer"), hall.device("engineer")

    assert "Somebody joined as engineer already" in other.desk.said + " ".join(other.desk.faults)
    owner = hall.device("owner")
    for event in (Event("who", arg="engineer"), Event("open", value="engineer"), Event("i_am")):
        owner.hear(event)
    answer(owner, "leave")
    assert hall.room.answered("Z1") == ("owner",)
    assert (owner.who, engineer.who) == ("owner", "engineer")


def test_a_private_answer_is_on_no_other_page(hall: InTheRoom) -> None:
    """Neither its words nor its outcome reach another device before all are shown."""
    engineer, owner = hall.device("engineer"), hall.device("owner")
    reader = hall.device("press", "reader")
    others = (owner, reader, hall.leads, hall.device())
    before = [other.html() for other in others[:2]]
    assert "Kept in private" in answer(engineer, "leave and monitor", SECRET, veto="clean")

    assert SECRET in engineer.html()
    for other in others:
        for route in ("", "zone", "wall", "minutes"):
            other.desk.route = route
            assert SECRET not in other.html()
            assert "holds a veto" not in other.html()
        other.desk.route = ""
    now = [other.html().replace("Answered: 1", "Answered: 0") for other in others[:2]]
    assert now == before
    hall.leads.desk.route = "zone"
    press(hall.leads, "show_answers")
    assert SECRET in owner.html()
    assert "Veto" in reader.html()


def test_the_recommendation_is_hidden_until_the_answers_are_shown(hall: InTheRoom) -> None:
    """Facts first: neither the outcome nor its sentence is on any page before that."""
    engineer = hall.device("engineer")
    said = hall.answers.of_zone("Z1").sentence
    for app in (engineer, hall.leads):
        assert "Facts" in app.html()
        assert HIDDEN not in app.html()
        assert said not in app.html()
        assert "Monitoring." not in app.html()
    answer(engineer, "leave")
    press(hall.leads, "show_answers")

    assert HIDDEN in engineer.html()
    assert said in engineer.html()
    # A caution of "leave and monitor" says that inspection and trigger are given above.
    assert str(hall.answers.of_zone("Z1").monitoring)[1:] in engineer.html()
    assert "For approval; not permission to work." in engineer.html()


def test_urgency_that_nobody_looked_at_is_not_called_none(hall: InTheRoom) -> None:
    """The facilitator plans by this table: silence is not an answer."""
    hall.answers.keep(hc.assess(hall.answers.evidence_now()))
    hall.leads.desk.route = ""
    page = hall.leads.html()

    assert "not looked at in full" in page
    assert "none recorded" not in page


def test_a_reader_only_reads(hall: InTheRoom) -> None:
    """No button is there, and what is told all the same is not done."""
    reader = hall.device("press", "reader")

    assert "Give my private answer" not in reader.html()
    for do in ("answer", "after", "dissent", "sign", "decide", "show_answers", "take_up"):
        assert "Nothing was done" in press(reader, do, "Z1")
    member = hall.device("owner")
    for do in ("decide", "show_answers", "take_up", "end", "join_again"):
        assert "Nothing was done" in press(member, do, "Z2")
    assert hall.room.state.zone == "Z1"
    assert not hall.room.survey.all(Opinion)


def test_nothing_is_chosen_for_anybody(hall: InTheRoom) -> None:
    """An answer without outcome, a veto without reason: each is refused in a sentence."""
    engineer = hall.device("engineer")

    assert 'aria-pressed="true"' not in engineer.html()
    assert "Choose an outcome first" in press(engineer, "answer", "Z1")
    assert "A veto needs its reason" in answer(engineer, "leave", veto="clean")
    assert "Meanwhile Z1 was taken up" in press(engineer, "answer", "Z2")


def test_decision_with_override_dissent_and_signature(hall: InTheRoom) -> None:
    """An override needs its reason and is named; dissent is word for word; members sign."""
    engineer, owner = hall.device("engineer"), hall.device("owner")
    answer(engineer, "leave", SECRET)
    press(hall.leads, "show_answers")
    recommended = hall.answers.of_zone("Z1").outcome
    other = "leave" if recommended != "leave" else "leave and monitor"
    press(hall.leads, "choose", f"decide.Z1.outcome={other}")
    fill(hall.leads, "decide.Z1.reasons", "As discussed")
    assert (
        "is needed, because the recommendation is" in press(hall.leads, "decide", "Z1")
        or "Reason" in hall.leads.desk.faults[0]
    )
    fill(hall.leads, "decide.Z1.override_reason", "The roof comes first")
    assert f"{other}, overriding the recommendation ({recommended})" in press(
        hall.leads, "decide", "Z1"
    )
    fill(owner, "dissent.Z1.words", "I would have laid panels.")
    press(owner, "dissent", "Z1")
    fill(engineer, "sign.name", "A. Fell")
    assert "Signed: the decision on Z1" in press(engineer, "sign", "Z1")

    assert "“I would have laid panels.”" in engineer.html()
    assert "A. Fell, engineer" in owner.html()
    signed = hall.room.survey.all(Signature)
    assert [(one.signer, one.name) for one in signed] == [("engineer", "A. Fell")]
    assert hall.room.survey.last_saved[0] == "engineer"


def test_clean_without_recommendation_and_hard_stops_are_refused(hall: InTheRoom) -> None:
    """The decision is not saved; each reason is a sentence on the facilitator's page."""
    engineer = hall.device("engineer")
    answer(engineer, "leave", SECRET, veto="leave and monitor")
    press(hall.leads, "show_answers")
    fill(hall.leads, "decide.Z1.reasons", "We want it")
    fill(hall.leads, "decide.Z1.override_reason", "We want it")
    fill(hall.leads, "decide.Z1.method", "dry_grit_blast")
    press(hall.leads, "choose", "decide.Z1.outcome=clean")
    assert "not be clean" in press(hall.leads, "decide", "Z1")
    press(hall.leads, "choose", "decide.Z1.outcome=treat by override")
    said = press(hall.leads, "decide", "Z1")
    assert "No override" in said or "is not among the methods" in said

    press(hall.leads, "choose", "decide.Z1.outcome=leave and monitor")
    assert "holds a veto against" in press(hall.leads, "decide", "Z1")
    assert not hall.room.survey.all(Decision)


def test_nobody_signs_on_changed_evidence(hall: InTheRoom) -> None:
    """The zone was changed after the decision: signing is refused, and what changed is shown."""
    engineer = hall.device("engineer")
    press(hall.leads, "show_answers")
    recommended = hall.answers.of_zone("Z1").outcome
    press(hall.leads, "choose", f"decide.Z1.outcome={recommended}")
    fill(hall.leads, "decide.Z1.reasons", "As recommended")
    press(hall.leads, "decide", "Z1")
    survey = hall.room.survey
    zone = survey.record("zones", "Z1")
    survey.save(zone.changed(note="A crack"), who="conservator", reason="seen today")

    assert "Evidence changed since the decision: zones: changed among 1 record" in press(
        engineer, "sign", "Z1"
    )
    assert "Evidence changed since the decision" in engineer.html()
    assert not survey.all(Signature)


def test_weights_stay_private_until_they_are_shown(hall: InTheRoom) -> None:
    """Given in private, refused where incomplete, shown to all at once."""
    engineer, owner = hall.device("engineer"), hall.device("owner")
    engineer.desk.route = owner.desk.route = "weights"
    assert "write a number from 0 to 100" in press(engineer, "give")
    for place, criterion in enumerate(CRITERIA):
        fill(engineer, f"weight.{criterion}", str(100 - 13 * place))
    assert "Kept in private" in press(engineer, "give")

    assert "87" not in owner.html()
    assert not hall.room.survey.all(View)
    hall.leads.desk.route = ""
    assert "gave weights" in hall.leads.html()
    press(hall.leads, "show_weights")
    assert "87" in owner.html()
    assert {one.member for one in hall.room.survey.all(View)} == {"engineer"}


def test_weights_may_be_given_by_comparing_two_at_a_time(hall: InTheRoom) -> None:
    """Ratios that contradict nothing give back the points behind them, with a ratio of 0."""
    engineer, owner = hall.device("engineer"), hall.device("owner")
    engineer.desk.route = owner.desk.route = "weights"
    press(engineer, "way", "pairs")
    assert "Not compared yet: fabric and historic evidence" in press(engineer, "give")
    points = dict(zip(CRITERIA, (9, 9, 3, 3, 1, 1), strict=True))
    for one, other in combinations(CRITERIA, 2):
        share = points[one] / points[other]
        code = f"{share:g}" if share >= 1 else f"1/{1 / share:g}"
        fill(engineer, f"pair.{one}.{other}", code)
    page = engineer.html()

    assert "consistency ratio 0.00" in page
    assert "Your comparisons agree with one another" in page
    assert "Kept in private" in press(engineer, "give")
    assert "consistency ratio" not in owner.html()
    kept = hall.room.state.weights["engineer"]
    assert kept == {one: pytest.approx(100 * times / 9, abs=0.05) for one, times in points.items()}


def test_comparisons_that_contradict_one_another_are_named(hall: InTheRoom) -> None:
    """All alike but one: that one is named, and kept as it was given."""
    engineer = hall.device("engineer")
    engineer.desk.route = "weights"
    press(engineer, "way", "pairs")
    for one, other in combinations(CRITERIA, 2):
        fill(engineer, f"pair.{one}.{other}", "1")
    fill(engineer, f"pair.{CRITERIA[0]}.{CRITERIA[1]}", "9")

    assert "Your comparisons contradict one another" in engineer.html()
    assert "fabric against historic evidence: 9 times given" in engineer.html()
    assert "Kept in private" in press(engineer, "give")


def test_two_members_are_one_pair(hall: InTheRoom) -> None:
    """A number is followed by what is counted, one or many."""
    for role, outcome in (("engineer", "leave"), ("owner", "trial first")):
        answer(hall.device(role), outcome)
    press(hall.leads, "show_answers")

    assert "Of 1 pair of members, 1 chose differently." in hall.leads.html()


def test_agreement_is_shown_of_what_was_shown(hall: InTheRoom) -> None:
    """By hand: two of three pairs differ; the least that would bring agreement; a veto."""
    members = [hall.device(role) for role in ("engineer", "owner", "ecologist")]
    reader = hall.device("press", "reader")
    reader.desk.route = "agreement"
    assert "No answers were shown yet" in reader.html()
    for member, outcome in zip(members, ("leave", "leave", "trial first"), strict=True):
        answer(member, outcome, SECRET)
    assert "leave: 2" not in reader.html()
    press(hall.leads, "show_answers")
    page = reader.html()

    assert "Of 3 pairs of members, 2 chose differently." in page
    assert "leave: 2 (engineer, owner)" in page
    assert "leave: ecologist would change" in page
    assert "It says little for fewer than 10 zones" in page
    fill(members[2], "after.Z1.why", "Convinced")
    press(members[2], "choose", "after.Z1.outcome=leave")
    press(members[2], "after", "Z1")
    assert "By what each member said last: All agree." in members[0].html()
    press(reader, "round", "last")
    assert "All members agree on 1 of 1 zones" in reader.html()


def test_expected_harm_is_scored_in_private_and_shown_by_zone(hall: InTheRoom) -> None:
    """By hand: 2, 5 and 10 if left have the middle 5, and 8 lie between the ends."""
    members = [hall.device(role) for role in ("engineer", "owner", "ecologist")]
    for member, left in zip(members, ("10", "2", "5"), strict=True):
        press(member, "choose", f"answer.Z1.harm_if_left={left}")
        answer(member, "leave")
    press(members[0], "choose", "answer.Z1.harm_if_cleaned=0")
    press(members[0], "answer", "Z1")
    assert "10 (engineer)" not in members[1].html()
    assert 'harm_if_cleaned=0"' in members[0].html()
    press(hall.leads, "show_answers")

    shown = "2 (owner), 5 (ecologist), 10 (engineer); middle 5, 8 between lowest and highest."
    for app in (*members, hall.leads):
        assert f"<b>Harm if it is left:</b> {shown}" in app.html()
    assert "<b>Harm if it is cleaned:</b> 0 (engineer)." in members[1].html()
    # A changed outcome keeps the score; a changed score takes its place.
    press(members[1], "choose", "after.Z1.outcome=leave and monitor")
    press(members[1], "after", "Z1")
    assert shown in members[1].html()
    press(members[1], "choose", "after.Z1.harm_if_left=5")
    press(members[1], "after", "Z1")
    assert "5 (ecologist), 5 (owner), 10 (engineer); middle 5, 5 between" in members[1].html()


def test_what_weights_change_is_said_after_the_answers(hall: InTheRoom) -> None:
    """An untouched zone is decided by an early gate; no page says so before the answers."""
    engineer = hall.device("engineer")
    assert "What weights change here" not in engineer.html()
    answer(engineer, "leave")
    press(hall.leads, "show_answers")

    assert "What weights change here" in engineer.html()
    assert "Weights change nothing here: gate " in engineer.html()


def test_what_is_typed_comes_back_on_another_page(hall: InTheRoom) -> None:
    """A laptop that slept, or was reloaded, finds its half sentence; others never see it."""
    engineer = hall.device("engineer")
    fill(engineer, "answer.Z1.why", SECRET)
    again = RoomApp(hall.room, hall.answers, engineer.key, "", ADDRESSES)

    assert SECRET in again.html()
    assert SECRET not in hall.leads.html()


def test_a_role_that_joins_again_ends_the_old_device(hall: InTheRoom) -> None:
    """From then on the lost device shows nothing but the join page."""
    lost = hall.device("engineer")
    hall.leads.desk.route = ""
    press(hall.leads, "join_again", "engineer")

    assert "Join word" in lost.html()
    found = hall.device("engineer")
    assert "You are: engineer" in found.html()


def test_the_facilitator_plans_what_fits(hall: InTheRoom) -> None:
    """The table sorts and filters; the plan holds as many zones as there are minutes for."""
    hall.leads.desk.route = ""
    press(hall.leads, "work_out")
    page = hall.leads.html()
    assert 'id="row-Z1"' in page
    assert 'id="row-Z2"' in page
    assert "Write the minutes as a number" in press(hall.leads, "plan")
    fill(hall.leads, "minutes", "120")
    assert "Planned:" in press(hall.leads, "plan")
    assert set(hall.room.state.agenda) == {"Z1", "Z2"}
    # Both without views, so 7.5 minutes each.
    page = hall.leads.html()
    assert "After 0 min, 7.5 min: Z1. No views yet." in page
    assert "After 7.5 min, 7.5 min: Z2." in page
    fill(hall.leads, "minutes", "8")
    assert "Not in it: Z2." in press(hall.leads, "plan")


def test_what_is_decided_is_planned_no_more(hall: InTheRoom) -> None:
    """Planned again in the middle of a meeting, only what is open is in it; then nothing is."""
    hall.device("engineer")
    for zone in ("Z1", "Z2"):
        hall.leads.desk.route = ""
        press(hall.leads, "work_out")
        fill(hall.leads, "minutes", "60")
        press(hall.leads, "plan")
        assert hall.room.state.agenda[0] == zone
        press(hall.leads, "take_up", zone)
        press(hall.leads, "show_answers")
        outcome = hall.answers.of_zone(zone).outcome
        press(hall.leads, "choose", f"decide.{zone}.outcome={outcome}")
        fill(hall.leads, f"decide.{zone}.reasons", "As discussed")
        assert "Saved" in press(hall.leads, "decide", zone)
    hall.leads.desk.route = ""

    assert "No zone of the table is open" in press(hall.leads, "plan")


def test_the_table_names_what_is_not_known(hall: InTheRoom) -> None:
    """By number, and unfolded by what it is."""
    hall.leads.desk.route = ""
    press(hall.leads, "work_out")
    page = hall.leads.html().partition('id="row-Z1"')[2].partition("</tr>")[0]

    assert "<details><summary>" in page
    assert page.count("<li>") == int(page.partition("<summary>")[2].partition("<")[0])


def test_the_minutes_are_written_from_the_room(hall: InTheRoom, tmp_path: Path) -> None:
    """PDF and CSV beside the survey, in one step; the meeting ends once all is shown."""
    engineer = hall.device("engineer")
    answer(engineer, "leave")
    hall.leads.desk.route = "minutes"
    assert "were not shown yet: Z1" in press(hall.leads, "end")
    hall.leads.desk.route = "zone"
    press(hall.leads, "show_answers")
    hall.leads.desk.route = "minutes"
    press(hall.leads, "minutes")
    assert sorted(path.name for path in (tmp_path / "minutes").iterdir()) == [
        "M1-decisions.csv", "M1-minutes.pdf",
    ]  # fmt: skip
    press(hall.leads, "end")
    assert "Nothing private is left" in hall.leads.html()

"""The form of a zone: what it is, soiling, findings, the answer, two people at once, nonsense."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from html import unescape
from pathlib import Path

import pytest
from bare_survey import bare_rows, keep
from hand_at_screen import Hand

from heritagecheck.errors import SurveyError
from heritagecheck.screens.app import App
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.routes import screens, zone_form
from heritagecheck.survey.records import Layer, Observation, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey

TYPED = {
    "name": "left door jamb", "area_m2": "1,2", "significance_reason": "Tooled by hand",
}  # fmt: skip
PICKED = {
    "substrate": "granite", "finish": "tooled", "condition": "sound", "exposure": "sheltered",
    "access": "ground", "significance": "medium",
}  # fmt: skip


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A survey of one zone, Z1 with a black crust, by a policy that was agreed."""
    return keep(bare_rows(), tmp_path / "survey.db")


@pytest.fixture
def survey(place: Path) -> Iterator[DatabaseSurvey]:
    """The survey, opened."""
    with DatabaseSurvey(place) as opened:
        yield opened


def at(survey: DatabaseSurvey, route: str, who: str = "conservator") -> Hand:
    """Somebody on one screen of the survey."""
    hand = Hand(App(survey, screens()))
    hand.app.hear(Event("open", arg=route, value=who))
    return hand


def pick(hand: Hand, field: str, code: str) -> None:
    """Choose a term of a field."""
    hand.app.hear(Event("pick", arg=f"{field}={code}", route=hand.app.route))


def fill_in_new_zone(hand: Hand) -> None:
    """Fill in what a new zone is."""
    hand.press("elevation", "N")
    for field, text in TYPED.items():
        hand.type(f"zone.{field}", text)
    for field, code in PICKED.items():
        pick(hand, f"zone.{field}", code)


def test_new_zone_is_saved_with_its_soilings(survey: DatabaseSurvey) -> None:
    """What it is waits as a draft for the layers; then both are one save, with who and today."""
    hand = at(survey, "zone/Z2/what")
    fill_in_new_zone(hand)
    hand.press("save")
    assert hand.app.route == "zone/Z2/soiling"
    assert "Name what lies on it" in hand.page
    hand.press("add", "algae")
    hand.type("soiling.search", "crust")
    hand.press("add", "black_gypsum_crust")
    hand.press("up", "black_gypsum_crust")
    pick(hand, "layer-algae.value", "not_valued")
    pick(hand, "layer-black_gypsum_crust.value", "not_assessed")
    hand.press("save")

    assert "Saved: zone Z2" in hand.page
    kept = survey.record("zones", "Z2")
    assert isinstance(kept, Zone)
    assert kept.soiling_codes == ("black_gypsum_crust", "algae")
    assert (kept.area_m2, kept.surveyed_by, kept.surveyed_on) == (1.2, "conservator", date.today())
    assert {one.soiling: one.value for one in survey.of_zone("Z2", Layer)} == {
        "algae": "not_valued", "black_gypsum_crust": "not_assessed",
    }  # fmt: skip
    assert len(set(survey.journal["entry"]) - set(range(1, 5))) == 3


def test_soiling_of_a_zone_that_is_not_described_leads_back(survey: DatabaseSurvey) -> None:
    """Layers alone can't be saved: the form names what is asked first, and goes there."""
    hand = at(survey, "zone/Z2/soiling")
    hand.press("add", "algae")
    hand.press("save")

    assert hand.app.route == "zone/Z2"
    assert "First fill in: Elevation" not in hand.page
    assert "First fill in: Its name" in hand.page or "First fill in: What it is" in hand.page


def test_layer_taken_off_the_list_goes_in_the_same_save(survey: DatabaseSurvey) -> None:
    """Its record is taken out together with the new list; one undo brings both back."""
    hand = at(survey, "zone/Z1/soiling")
    hand.press("add", "algae")
    pick(hand, "layer-algae.value", "not_valued")
    pick(hand, "layer-black_gypsum_crust.value", "protective")
    assert 'id="layer-black_gypsum_crust.made_of"' in hand.page
    hand.press("save")
    hand.press("drop", "algae")
    hand.press("save")
    assert [one.soiling for one in survey.of_zone("Z1", Layer)] == ["black_gypsum_crust"]

    hand.press("undo_save")
    assert {one.soiling for one in survey.of_zone("Z1", Layer)} == {"algae", "black_gypsum_crust"}
    assert 'id="layer-of-algae"' in hand.page


def test_values_of_another_zone_are_taken_over_only_when_confirmed(survey: DatabaseSurvey) -> None:
    """They are shown first; one press takes them; condition and soilings are never among them."""
    hand = at(survey, "zone/Z2/what")
    hand.press("elevation", "N")
    hand.press("like", "Z1")
    form = hand.app.screen.forms["zone"]  # type: ignore[attr-defined]
    assert "is all of this true here too?" in hand.page
    assert form.text["substrate"] == ""
    hand.press("take_over")

    assert form.text["substrate"] == "granite"
    assert form.text["condition"] == form.text["soilings"] == ""


def test_draft_of_every_task_survives_the_end_of_the_program(survey: DatabaseSurvey) -> None:
    """What was typed and chosen is there again, and nothing of it is saved."""
    hand = at(survey, "zone/Z1")
    hand.type("zone.note", "Looks wet")
    hand.go("zone/Z1/findings")
    hand.press("answer", "falling_material=no")
    again = at(survey, "zone/Z1")

    assert "Looks wet" in again.page
    assert "this is your draft" in again.page
    again.go("zone/Z1/findings")
    assert 'aria-pressed="true" data-do="answer" data-arg="falling_material=no"' in again.page
    assert not survey.all(Observation)


def test_answers_are_saved_with_who_and_when_and_judged_anew(survey: DatabaseSurvey) -> None:
    """Questions follow from answers at once; the strip tells what a save did."""
    hand = at(survey, "zone/Z1/findings")
    group = hand.page.count('data-do="group"')
    assert group > 3
    hand.press("group", "1")
    assert "Only where decay is slow or active" in hand.page
    hand.press("answer", "decay=none")
    assert "asked-decay_cause" not in hand.page
    hand.press("answer", "decay=active")
    assert 'id="asked-decay_cause"' in hand.page
    assert "Only where decay is slow or active" not in hand.page
    hand.press("save")

    (kept,) = survey.all(Observation)
    assert (kept.topic, kept.finding, kept.seen_by, kept.seen_on) == (
        "decay", "active", "conservator", date.today(),
    )  # fmt: skip
    assert "Still " in hand.page or "Was: " in hand.page


def test_scheduled_cure_asks_for_owner_and_day(survey: DatabaseSurvey) -> None:
    """Nothing is saved without them; what is wrong stands beside the question."""
    hand = at(survey, "zone/Z1/findings")
    hand.press("group", "2")
    hand.press("answer", "cause_moisture=scheduled")
    hand.press("save")
    assert not survey.all(Observation)
    assert "A scheduled cure needs an owner and a due date" in hand.page
    hand.type("answer-cause_moisture.owner", "building manager")
    hand.type("answer-cause_moisture.due", "1 October 2027")
    hand.press("save")

    (kept,) = survey.all(Observation)
    assert (kept.owner, kept.due) == ("building manager", date(2027, 10, 1))


def test_one_reason_for_all_the_rest(survey: DatabaseSurvey) -> None:
    """It fills only what nobody answered, and is never read as an answer."""
    hand = at(survey, "zone/Z1/findings")
    hand.press("answer", "falling_material=no")
    hand.press("rest", "here")
    assert "Write why in a few words" in hand.page
    hand.type("rest.why", "hidden by the hoarding")
    hand.press("rest", "here")
    hand.press("save")

    kept = {one.topic: one for one in survey.all(Observation)}
    assert kept["falling_material"].finding == "no"
    others = [one for topic, one in kept.items() if topic != "falling_material"]
    assert others
    assert {(one.finding, one.not_recorded_because) for one in others} == {
        (None, "hidden by the hoarding")
    }


def test_who_is_asked_in_place_and_what_was_pressed_is_then_done(survey: DatabaseSurvey) -> None:
    """Nothing is saved by nobody, and nothing that was typed is lost."""
    hand = at(survey, "zone/Z1", who="")
    hand.type("zone.note", "Looks wet")
    hand.press("save")
    assert "say first who you are" in hand.page
    assert survey.record("zones", "Z1").note is None  # type: ignore[attr-defined]
    hand.type("desk.who", "conservator")
    hand.press("i_am")

    assert "Saved: zone Z1" in hand.page
    assert survey.record("zones", "Z1").note == "Looks wet"  # type: ignore[attr-defined]
    assert list(survey.journal["who"])[-1] == "conservator"
    assert not hand.app.desk.drafts.all()


def test_two_people_on_one_zone_choose_between_their_values(place: Path) -> None:
    """What the other changed alone is taken over; where both changed a field, both are shown."""
    with DatabaseSurvey(place) as mine, DatabaseSurvey(place) as theirs:
        one, other = at(mine, "zone/Z1"), at(theirs, "zone/Z1", who="engineer")
        assert one.page
        one.type("zone.area_m2", "5")
        other.type("zone.area_m2", "6")
        other.type("zone.note", "Seen from the ladder")
        other.press("save")

        page = one.page
        assert "Saved meanwhile by engineer at " in page
        assert "Two people changed the same record" in page
        assert "<td>5 m²</td><td>6 m²</td>" in page
        one.press("save")
        assert "choose first between your values and those saved" in one.page
        one.press("mine", "zone")
        one.press("save")
        kept = mine.record("zones", "Z1")
        assert isinstance(kept, Zone)
        assert (kept.area_m2, kept.note) == (5, "Seen from the ladder")


def test_save_right_after_theirs_overwrites_nothing_unseen(place: Path) -> None:
    """Also where the page was not drawn again between their save and one's own."""
    with DatabaseSurvey(place) as mine, DatabaseSurvey(place) as theirs:
        one, other = at(mine, "zone/Z1"), at(theirs, "zone/Z1", who="engineer")
        assert one.page
        one.type("zone.note", "Wet at the foot")
        other.type("zone.note", "Dry all over")
        other.press("save")

        for event in (
            Event("leave", name="zone.note", route="zone/Z1"),
            Event("save", route="zone/Z1"),
        ):
            one.app.hear(event)

        assert getattr(theirs.record("zones", "Z1"), "note") == "Dry all over"  # noqa: B009
        assert "Two people changed the same record" in one.page


def test_their_value_can_be_taken_and_mine_brought_back(place: Path) -> None:
    """Neither value is lost by the choice: undo typing shows one's own again."""
    with DatabaseSurvey(place) as mine, DatabaseSurvey(place) as theirs:
        one = at(mine, "zone/Z1")
        one.type("zone.area_m2", "5")
        theirs.save(theirs.record("zones", "Z1").changed(area_m2=6.0), who="engineer")
        assert "Two people" in one.page
        one.press("theirs", "zone")
        form = one.app.screen.forms["zone"]  # type: ignore[attr-defined]
        assert form.text["area_m2"] == "6"
        one.press("undo_typing", "zone")

        assert form.text["area_m2"] == "5"


def test_draft_older_than_what_others_saved_is_shown_beside_it(place: Path) -> None:
    """A reload after somebody else saved overwrites nothing unseen."""
    with DatabaseSurvey(place) as mine, DatabaseSurvey(place) as theirs:
        one = at(mine, "zone/Z1")
        one.type("zone.area_m2", "5")
        theirs.save(theirs.record("zones", "Z1").changed(area_m2=6.0), who="engineer")
    with DatabaseSurvey(place) as later:
        again = at(later, "zone/Z1")

        assert "<td>5 m²</td><td>6 m²</td>" in again.page


def test_answer_names_the_outcome_cautions_and_where_each_gap_is_closed(
    survey: DatabaseSurvey,
) -> None:
    """The outcome comes first, cautions below it; each gap has a button to its task."""
    hand = at(survey, "zone/Z1/answer")
    page = hand.page
    recommendation = hand.app.desk.at_hand["zone/Z1"].standing.recommendation

    assert page.index(recommendation.sentence) < page.index(recommendation.cautions[0].words)
    assert all(one.hazard in page for one in recommendation.cautions)
    assert recommendation.urgency_not_looked_at
    assert "Nothing urgent is recorded. Not looked at: Is" in page
    assert page.count('data-do="task" data-arg="findings"') > 2
    hand.press("card")
    assert "Hide the full card" in hand.page


def test_answer_by_the_offered_policy_says_that_nobody_agreed_it(tmp_path: Path) -> None:
    """Where no policy is agreed yet, the strip and the answer say so."""
    with DatabaseSurvey(keep(bare_rows(agreed=False), tmp_path / "survey.db")) as survey:
        page = at(survey, "zone/Z1/answer").page

    assert "by values that your team has not agreed" in page


@pytest.mark.parametrize("task", ["what", "soiling", "findings"])
def test_nonsense_in_every_field_is_a_sentence_beside_it(survey: DatabaseSurvey, task: str) -> None:
    """Emoji, columns and stray signs are refused or kept as words; nothing is lost or saved."""
    nonsense = "🙂\tüß\n-1,2,3"
    before = survey.journal_head
    hand = at(survey, f"zone/Z1/{task}")
    if task == "findings":
        hand.press("group", "2")
        hand.press("answer", "cause_moisture=scheduled")
        hand.press("more", "note cause_moisture")
    names = [one for one in re.findall(r' name="([^"]+)"', hand.page) if "search" not in one]
    for name in names:
        hand.type(name, nonsense)
        assert "The program failed" not in hand.page
    hand.press("save")

    assert len(names) > 2
    assert "Not saved: " in hand.page
    assert 'class="why wrong"' in hand.page
    assert "The program failed" not in hand.page
    assert hand.page.count("🙂") >= len(names)
    assert survey.journal_head == before


def test_cautions_of_height_and_closed_sections_follow_the_choice(survey: DatabaseSurvey) -> None:
    """They are shown in full as soon as the access is chosen, before anything is saved."""
    hand = at(survey, "zone/Z1")
    assert "A fall from height kills" not in hand.page
    pick(hand, "zone.access", "rope")
    assert "A fall from height kills" in hand.page
    pick(hand, "zone.access", "confined")

    assert "The air of a closed section can kill" in hand.page


def test_form_of_a_survey_without_database_is_refused(survey: DatabaseSurvey) -> None:
    """Nothing can be saved into it: the form says so before anything is typed."""
    with pytest.raises(SurveyError, match="into a database first"):
        zone_form(survey.still(), "Z1")


def test_what_others_typed_on_the_same_screen_is_told(survey: DatabaseSurvey) -> None:
    """Another person's draft in a sentence; one's own of another window with its text."""
    office, hand = at(survey, "zone/Z1/what", "office"), at(survey, "zone/Z1/what")
    assert "has not saved it" not in hand.page
    office.type("zone.note", "a crack")
    assert re.search(r"office typed something here at \d\d:\d\d and has not saved it", hand.page)
    hand.go("zone/Z1/soiling")
    assert "has not saved it" not in hand.page

    hand.go("zone/Z1/what")
    hand.type("zone.note", "first window")
    second = at(survey, "zone/Z1/what")
    assert "first window" in second.page
    hand.type("zone.note", "first window, longer")
    second.type("zone.note", "second window")
    words = unescape(second.page)
    assert "In another window you typed “first window, longer” at" in words
    mark = re.search(r'data-do="forget" data-arg="([^"]+)"', second.page)
    assert mark is not None
    second.press("forget", mark[1])
    assert "In another window" not in second.page

"""From an empty folder to what the team agrees: the start page, the structure, the policy."""

import re
from datetime import date
from importlib import import_module

from hand_at_screen import Hand

from heritagecheck.screens.app import App
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.routes import OF_TRIALS, OF_ZONE, SCREENS, screens
from heritagecheck.survey.entry.offers import offered_policy
from heritagecheck.survey.records import AgreedPolicy, Structure, View
from heritagecheck.survey.store.database_survey import DatabaseSurvey

STRUCTURE = {
    "structure": "Quillmere Pumping Station",
    "asked": "Which zones can be cleaned",
    "significance": "The last engine house of its kind in the valley",
    "surveyed_by": "conservator",
    "survey_date": "2026-09-30",
}


def type_structure(hand: Hand) -> None:
    """Fill in the screen of the structure."""
    for field, text in STRUCTURE.items():
        hand.type(f"structure.{field}", text)


def weigh(hand: Hand) -> None:
    """Fill in and save the weights of the engineer."""
    hand.type("member", "engineer")
    for criterion, swing in (
        ("fabric", "100"), ("historic evidence", "60"), ("appearance", "20"), ("people", "90"),
        ("environment", "40"), ("resources", "10"),
    ):  # fmt: skip
        hand.type(f"{criterion}.swing", swing)
    hand.press("add_member")


def test_role_is_asked_before_anything_else(survey: DatabaseSurvey) -> None:
    """No step can be taken by nobody; an empty role is refused in a sentence."""
    hand = Hand(App(survey, screens()))
    hand.app.hear(Event("open"))

    assert 'data-arg="structure"' not in hand.page
    hand.press("begin")
    assert "Write your role first" in hand.page
    hand.type("role", " conservator ")
    hand.press("begin")
    assert "You are: conservator" in hand.page
    assert 'data-arg="structure"' in hand.page


def test_structure_is_saved_with_who_and_shown_as_done(hand: Hand, survey: DatabaseSurvey) -> None:
    """What was typed is one record and one save; the start page names the next step."""
    hand.press("go", "structure")
    type_structure(hand)
    hand.press("save")

    (kept,) = survey.all(Structure)
    assert kept.structure == STRUCTURE["structure"]
    assert list(survey.journal["who"]) == ["conservator"]
    assert "Saved: the structure" in hand.page
    assert "Go on: Elevations" in hand.page


def test_structure_that_lacks_a_field_is_refused_beside_it(
    hand: Hand, survey: DatabaseSurvey
) -> None:
    """The fields are named, the first gets the caret, and what was typed stays."""
    hand.press("go", "structure")
    hand.type("structure.survey_date", "next spring")
    hand.press("save")

    assert not survey.all(Structure)
    assert hand.page.count('role="alert"') == 3
    assert 'value="next spring"' in hand.page
    assert 'data-focus="1"' in hand.page


def test_structure_needs_only_a_name(hand: Hand, survey: DatabaseSurvey) -> None:
    """The role at work is offered as surveyor; all else is asked if known."""
    hand.press("go", "structure")
    assert "leave empty while the survey is open" in hand.page
    assert hand.page.count("(if known)") == 5
    hand.type("structure.structure", "Quillmere Pumping Station")
    hand.press("save")

    (kept,) = survey.all(Structure)
    assert (kept.surveyed_by, kept.asked, kept.survey_date) == ("conservator", None, None)
    assert "Go on: Elevations" in hand.page


def test_structure_can_be_renamed(hand: Hand, survey: DatabaseSurvey) -> None:
    """The new name takes the place of the old one; the journal keeps both."""
    hand.press("go", "structure")
    type_structure(hand)
    hand.press("save")
    hand.press("go", "structure")
    hand.type("structure.structure", "Quillmere Engine House")
    hand.press("save")

    assert [one.structure for one in survey.all(Structure)] == ["Quillmere Engine House"]


def test_structure_keeps_what_its_screen_does_not_ask(survey: DatabaseSurvey) -> None:
    """Licence and beds, which came with an import, are as they were after another field changed."""
    before = Structure(
        structure="Quillmere Pumping Station", licence="CC BY 4.0", beds="granite: grey granite"
    )
    survey.save(before, who="conservator", reason="imported")
    hand = Hand(App(survey, screens()))
    hand.app.hear(Event("open", value="conservator"))
    hand.press("go", "structure")
    hand.type("structure.asked", "Which zones can be cleaned")
    hand.press("save")

    assert survey.all(Structure) == (before.changed(asked="Which zones can be cleaned"),)


def test_draft_is_there_after_the_program_was_killed(hand: Hand, survey: DatabaseSurvey) -> None:
    """Another program on the same survey shows what was typed and not saved."""
    hand.press("go", "structure")
    type_structure(hand)

    with DatabaseSurvey(survey.name) as again:
        later = Hand(App(again, screens()))
        later.app.hear(Event("open", arg="structure", value="conservator"))
        assert STRUCTURE["structure"] in later.page
        assert "Not saved yet: this is your draft." in later.page


def test_offered_values_are_agreed_in_one_go(hand: Hand, survey: DatabaseSurvey) -> None:
    """One press keeps all of them, as of today, with a comma in a number where one is changed."""
    hand.press("go", "policy")
    hand.type("policy.margin", "1,5")
    hand.press("agree")

    (agreed,) = survey.all(AgreedPolicy)
    assert agreed.margin == 1.5
    assert agreed.margin_high == 2


def test_what_is_agreed_again_is_agreed_today(hand: Hand, survey: DatabaseSurvey) -> None:
    """A day that the form took over with somebody else's values is not the day of this press."""
    survey.save(offered_policy(date(2020, 5, 1)), who="engineer", reason="agreed")
    hand.press("go", "policy")
    weigh(hand)
    hand.press("agree")

    (agreed,) = survey.all(AgreedPolicy)
    assert agreed.agreed_on == date.today()


def test_value_out_of_range_is_refused_in_a_sentence(hand: Hand, survey: DatabaseSurvey) -> None:
    """Nothing is agreed; the fault names the value and what is allowed."""
    hand.press("go", "policy")
    hand.type("policy.margin", "0,5")
    hand.press("agree")

    assert not survey.all(AgreedPolicy)
    assert "Not saved: 1 to correct." in hand.page


def test_weights_of_a_member_are_saved_together(hand: Hand, survey: DatabaseSurvey) -> None:
    """Six numbers make six records; before that, the page says that all criteria count equally."""
    hand.press("go", "policy")
    assert "all six criteria count equally" in hand.page
    weigh(hand)

    assert {view.member for view in survey.all(View)} == {"engineer"}
    assert len(survey.all(View)) == 6
    assert "all six criteria count equally" not in hand.page


def test_table_of_weights_can_be_moved_by_keyboard(hand: Hand) -> None:
    """On a telephone it is wider than the screen, so its box takes the focus and has a name."""
    hand.press("go", "policy")
    weigh(hand)
    [box] = re.findall(r'<div class="scroll"[^>]*>', hand.page)

    assert 'tabindex="0"' in box
    assert 'role="region" aria-label="Weights of the members"' in box


def test_last_save_can_be_undone_and_redone(hand: Hand, survey: DatabaseSurvey) -> None:
    """The start page undoes one's own last save, and says which."""
    hand.press("go", "policy")
    hand.press("agree")
    hand.press("go", "")
    hand.press("undo_save")
    assert not survey.all(AgreedPolicy)
    hand.press("redo_save")
    assert len(survey.all(AgreedPolicy)) == 1


def test_every_route_names_a_screen_that_is_there() -> None:
    """Screens are imported when somebody first goes there: none of their names leads nowhere."""
    for module, name in (SCREENS | OF_ZONE | OF_TRIALS).values():
        assert callable(getattr(import_module(f"heritagecheck.screens.{module}"), name))

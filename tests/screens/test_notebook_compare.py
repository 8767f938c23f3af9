"""Steps that compare, without a browser: two zones, two assessments, another policy."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from bare_survey import bare_rows, keep

from heritagecheck.screens.live_page import Event
from heritagecheck.screens.notebook.compare import CompareWalk
from heritagecheck.screens.notebook.walk import EXAMPLE, Walk
from heritagecheck.survey.records import Layer
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.working_copy import Moment

ZONE_STEPS = ("two_zones", "harm", "colours")
STEPS = (*ZONE_STEPS, "two_assessments", "other_policy")
FAULTS = ("failed", "Traceback", "Error")


@cache
def assessed() -> Walk:
    """Give the example, assessed once for all tests."""
    here = CompareWalk()
    assert here.assessment.zone("N13")
    return here


@pytest.fixture
def example(own: Path) -> CompareWalk:
    """Give the steps over the example."""
    here = CompareWalk()
    here._take(EXAMPLE, assessed().survey, assessed().assessment)
    return here


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give an empty folder in which the notebooks are."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def said(page: Any) -> str:
    """Words of a step as a reader without widgets has them."""
    return page.as_cell(str(page.shown))[0]["text/plain"]


def test_every_step_shows_the_example(example: CompareWalk) -> None:
    """Nothing fails, and both zones that were chosen are in each step on two zones."""
    example.pick(zone="N13", beside="N07")
    for name in ZONE_STEPS:
        words = said(getattr(example, name)())

        assert "N13" in words, name
        assert "N07" in words, name
        assert not [fault for fault in FAULTS if fault in words], name


def test_both_answers_carry_their_cautions_and_what_differs_comes_first(
    example: CompareWalk,
) -> None:
    """Cards with every caution, one a column; the table opens with the outcomes."""
    example.pick(zone="N13", beside="N07")
    page = example.two_zones().shown.html()

    for zone in ("N13", "N07"):
        for caution in example.assessment.zone(zone).cautions:
            assert caution.hazard in page
    assert "repeat(auto-fit,minmax(min(100%,400px),1fr))" in page
    rows = page.partition("<tbody>")[2].split("<tr>")[1:]
    assert "Outcome" in rows[0]
    assert "clean" in rows[0]
    assert "leave and monitor" in rows[0]


def test_another_zone_is_held_beside_from_the_list(example: CompareWalk) -> None:
    """The list at the top chooses both zones; the same zone twice is said, not shown."""
    page = example.harm()
    example._picker.hear(Event("type", name="beside", value="N09"))

    assert "N09 Limestone cornice" in page.html
    assert 'id="pick-beside"' in example._picker.html()

    example._picker.hear(Event("type", name="zone", value="N09"))

    assert "Choose two different zones at the top." in page.html


def test_a_bare_survey_says_what_is_missing(own: Path) -> None:
    """Three zones without any reading or panel: words for each step, and no fault."""
    keep(bare_rows({}, {"condition": "sound"}, {}), own / "survey.db")
    here = CompareWalk()

    assert (here.zone_code, here.beside_code) == ("Z1", "Z2")
    assert "Condition" in here.two_zones().shown.html()
    assert said(here.colours()).startswith("Neither zone has colours that could be compared.")
    assert "Z1" in said(here.harm())


@pytest.mark.parametrize(
    ("zones", "words"),
    [
        ([], "This survey has no zone yet. Begin one on its start page."),
        ([{}], "This survey has one zone, and nothing to hold beside it. Record another one."),
    ],
)
def test_too_few_zones_are_said(own: Path, zones: list[dict[str, Any]], words: str) -> None:
    """Without a second zone there is nothing to compare."""
    rows = bare_rows(*zones)
    rows["zones"] = rows["zones"] if zones else []
    keep(rows, own / "survey.db")
    here = CompareWalk()

    for name in ZONE_STEPS:
        assert said(getattr(here, name)()) == words


# -- Two assessments -------------------------------------------------------------------------------


def pressed(page: Any, label: str) -> str:
    """What a step shows after a button was pressed."""
    page.shown.hear(Event("press", arg=label))
    return str(page.shown)


def test_an_assessment_is_saved_beside_the_survey_and_chosen_again(own: Path) -> None:
    """First there is none; each press makes another folder, and a change is told with its cause."""
    place = keep(bare_rows({}, {}, {}), own / "survey.db")
    here = CompareWalk()
    page = here.two_assessments()

    assert said(page).startswith("No earlier assessment is beside this survey. Save this one.")

    words = pressed(page, "Save this assessment")

    [kept] = own.glob("assessment-*/assessment.json")
    assert f"Saved in {kept}." in words
    assert "0 records changed since." in words
    assert words.endswith("No outcome, gate or method has changed.")
    pressed(page, "Save this assessment")
    assert len(list(own.glob("assessment-*/assessment.json"))) == 2

    with DatabaseSurvey(place) as survey:
        zone = survey.record("zones", "Z2")
        survey.save(zone.changed(note="in the rain"), who="conservator", reason="seen")
        survey.save(
            Layer(layer="Z2-1", zone="Z2", soiling="black_gypsum_crust", value="significant"),
            who="conservator",
        )
    here._picker.hear(Event("again"))
    words = str(page.shown)

    assert "2 records changed since." in words
    assert "1 zone has another outcome, gate or method." in words
    assert words.endswith(f"Z2 now:\n{here.assessment.zone('Z2')}")

    pressed(page, "Find what made each change")

    assert "layer Z2-1 was recorded" in page.shown.html()
    assert "Taken back alone, it gives the earlier answer again." in page.shown.html()


def test_a_folder_that_can_not_be_written_is_told(
    own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is saved, in a sentence."""

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "no", "assessment.json")

    keep(bare_rows({}), own / "survey.db")
    page = CompareWalk().two_assessments()
    monkeypatch.setattr("heritagecheck.judgement.recommendation.written", refuse)

    assert "assessment.json" in pressed(page, "Save this assessment")
    assert not list(own.glob("assessment-*"))


def test_a_survey_without_a_folder_says_so(own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a server, nobody may have said where its files are: nothing can lie beside it."""
    keep(bare_rows({}), own / "survey.db")
    page = CompareWalk().two_assessments()
    monkeypatch.setattr(Moment, "place", None)

    assert said(page).startswith("Nobody said in which folder the files of this survey are")


def test_the_example_offers_an_exercise_and_says_that_it_is_one(example: CompareWalk) -> None:
    """Made when asked, on a copy: the survey that is shown stays as it is."""
    before, page = example.survey.journal_head, example.two_assessments()

    assert "The example comes without a second assessment" in said(page)
    assert "records changed" not in said(page)

    words = pressed(page, "Make the earlier one")

    assert "1 record changed since." in words
    assert "2 zones have another outcome, gate or method." in words
    assert example.survey.journal_head == before

    pressed(page, "Find what made each change")
    shown = page.shown.html()

    assert "site test T01-grit-1-adhesion_mpa-1 was recorded" in shown
    for caution in example.assessment.zone("T01").cautions:
        assert caution.hazard in shown


# -- Another policy --------------------------------------------------------------------------------

ALPHA = "Simulations that may favour leaving, %"


def moved(page: Any, **values: str) -> str:
    """What a step shows after sliders and lists were moved."""
    for name, value in values.items():
        page.shown.hear(Event("type", name=name, value=value))
    return str(page.shown)


def test_another_policy_is_marked_as_a_trial_and_never_kept(example: CompareWalk) -> None:
    """On top and at each result; the policy of the survey, and its journal, stay as they were."""
    example.pick(zone="N13")
    page, agreed = example.other_policy(), example.assessment.policy
    before = example.survey.journal_head

    assert said(page).startswith("A trial: not agreed, and not saved.")
    assert "Every value is as it was agreed." in said(page)

    words = moved(page, **{ALPHA: "2"})

    assert words.startswith("A trial: not agreed, and not saved.")
    assert "0.02 in this trial, 0.1 as agreed." in words
    assert "6 zones of 18 would get another outcome. Nothing of it is agreed or saved." in words
    assert "N13 in this trial: not agreed, not saved: N13: Leave and monitor" in words
    assert "In this trial, not agreed" in page.shown.html()
    assert example.assessment.policy == agreed
    assert example.survey.journal_head == before
    for caution in example.assessment.zone("N13").cautions:
        assert caution.hazard in page.shown.html()


def test_fewer_years_ahead_are_tried(example: CompareWalk) -> None:
    """A slider from 1 year to the 25 for which harm is rated; it begins at what was agreed."""
    page = example.other_policy()

    assert "Years ahead considered: 25" in said(page)

    words = moved(page, **{"Years ahead considered": "5"})

    assert "Years ahead considered: 5 in this trial, 25 as agreed." in words
    assert "5 zones of 18 would get another outcome." in words


def test_weights_that_are_no_policy_are_refused_in_a_sentence(example: CompareWalk) -> None:
    """What `Policy` refuses is said as it says it, and nothing is assessed."""
    page = example.other_policy()
    zeros = {f"{one}, owner": "0" for one in ("Fabric", "Historic evidence", "Appearance",
                                              "People", "Environment")}  # fmt: skip
    words = moved(page, **{"Whose weights": "owner"}, **zeros)

    assert words.endswith(
        "This can’t be a policy. Weights of owner: give a weight above 0 to a criterion other than "
        "resources."
    )


def test_weights_of_all_members_move_together(example: CompareWalk) -> None:
    """A slider that nobody moved leaves each member's own weight."""
    page = example.other_policy()
    words = moved(page, **{"Appearance, all members": "20"})

    for member in example.assessment.policy.weights:
        assert f"Weight of appearance, {member}: 20 in this trial" in words
    assert "Weight of fabric" not in words


def test_many_zones_wait_for_a_press(example: CompareWalk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where judging again takes long, a button does it, and again for other values."""
    monkeypatch.setattr("heritagecheck.screens.notebook.compare.AT_ONCE", 5)
    page = example.other_policy()

    assert "would get another outcome" not in moved(page, **{ALPHA: "30"})

    page.shown.hear(Event("press", arg="Try these values"))

    assert "1 zone of 18 would get another outcome." in str(page.shown)
    assert "would get another outcome" not in moved(page, **{ALPHA: "31"})


def test_without_weights_only_precaution_is_tried(own: Path) -> None:
    """Where no member gave weights, none are offered; a bare survey has nothing to change."""
    keep(bare_rows({}, {}, {}), own / "survey.db")
    words = said(CompareWalk().other_policy())

    assert "Whose weights" not in words
    assert f"{ALPHA}: 10" in words
    assert "A policy can change 0 answers of 3." in words


def test_without_an_agreed_policy_the_step_says_so(own: Path) -> None:
    """There is nothing to hold a trial against."""
    keep(bare_rows({}, {}, agreed=False), own / "survey.db")

    for name in STEPS:
        assert said(getattr(CompareWalk(), name)()).startswith("The answers can’t be worked out")

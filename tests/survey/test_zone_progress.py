"""What a zone still needs: questions that apply, tasks that are open, all zones in a sentence."""

from __future__ import annotations

from typing import Any

import pytest
from bare_survey import CLOSED, GRANITE, STEEL, bare_rows

import heritagecheck as hc
from heritagecheck.survey.entry.zone_progress import (
    TASKS,
    ZoneProgress,
    progress_sentence,
    zone_progress,
)
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Observation, SiteTest, Zone
from heritagecheck.survey.records.zone_facts import by_heading, open_questions, questions_for
from heritagecheck.tables import rows

SEEN = {"seen_on": "2026-05-01", "seen_by": "conservator"}
Rows = dict[str, list[dict[str, Any]]]


def zone_of(**zone: Any) -> Zone:
    """Give a bare zone."""
    return build(bare_rows(zone)).all(Zone)[0]


def said(topic: str, finding: str | None, because: str | None = None) -> Observation:
    """Give one answer, or the reason for none."""
    row = {"observation": topic, "zone": "Z1", "topic": topic, "finding": finding,
           "not_recorded_because": because, **SEEN}  # fmt: skip
    return Observation.model_validate(row)


def lead_test(**fields: Any) -> dict[str, Any]:
    """Give one full-depth chip in which the laboratory found no lead."""
    return {
        "site_test": "L1", "zone": "Z1", "quantity": "lead_lab_pct", "value": 0,
        "detection_limit": 0.005, "full_depth": "yes", "set_name": "L", "set_size": 1,
        "method": "laboratory", "tested_on": "2026-05-01", "tested_by": "laboratory", **fields,
    }  # fmt: skip


def reading(target: str, **fields: Any) -> dict[str, Any]:
    """Give one colour reading."""
    return {
        "reading": target, "zone": "Z1", "set_name": target, "set_size": 1, "target": target,
        "L_star": 40, "a_star": 0, "b_star": 3, "state": "dry", "geometry": "SCI",
        "aperture_mm": 25, "illuminant": "D65/10", "instrument": "sphere",
        "read_on": "2026-05-01", "read_by": "conservator", **fields,
    }  # fmt: skip


def whole(**zone: Any) -> Rows:
    """Rows of a zone of which all that is asked is answered."""
    raw = bare_rows({"condition": "sound", "panels_laid": 0, **zone})
    code = raw["zones"][0]["soilings"]
    raw["layers"] = [{"layer": "L1", "zone": "Z1", "soiling": code, "value": "not_valued"}]
    asked = open_questions(build(raw).all(Zone)[0], (), ())
    raw["observations"] = [
        said(one.topic, one.findings[0]).model_dump(mode="json") for one in asked
    ]
    raw["readings"] = [reading("soiled"), reading("reference")]
    return raw


def progress_of(raw: Rows) -> ZoneProgress:
    """Give the progress of the first zone."""
    return zone_progress(build(raw))[0]


# -- Questions --------------------------------------------------------------------------------


def test_danger_comes_first_and_every_question_says_how_to_find_out() -> None:
    """Headings in the order of the gates; each question has its answers and what to look at."""
    asked = questions_for(zone_of())

    assert next(iter(by_heading(asked))) == "First: is anybody in danger?"
    assert asked[0].topic == "falling_material"
    assert all(one.how and len(one.findings) > 1 for one in asked)
    assert [one.topic for one in asked if one.only == "there is one"] == ["owner_wish"]


@pytest.mark.parametrize(
    ("zone", "asked", "not_asked"),
    [
        (GRANITE, {"joints", "pointing"}, {"metal_identity", "containment", "closed_plan"}),
        (STEEL, {"metal_identity", "coating_order", "lead_shedding"}, {"joints", "closed_plan"}),
        (CLOSED, {"closed_plan", "interior_seen", "coating_order"}, {"glass_near"}),
        ({"soilings": "iron_stain"}, {"stain_disfigures"}, {"coating_order"}),
    ],
)
def test_only_what_fits_the_zone_is_asked(
    zone: dict[str, Any], asked: set[str], not_asked: set[str]
) -> None:
    """Stone, metal, coatings, stains and closed sections bring questions of their own."""
    topics = {one.topic for one in questions_for(zone_of(**zone))}

    assert asked <= topics
    assert not topics & not_asked


def test_a_question_follows_from_the_answer_to_another() -> None:
    """What drives the decay is asked once there is decay; before, the form says where it is."""
    zone = zone_of()

    def of_cause(*answers: Observation) -> list[str]:
        return [one.only for one in questions_for(zone, answers) if one.topic == "decay_cause"]

    assert of_cause() == ["decay is slow or active"]
    assert of_cause(said("decay", "slow")) == [""]
    assert of_cause(said("decay", "none")) == []
    # No answer is not the answer "none".
    assert of_cause(said("decay", None, "no access")) == ["decay is slow or active"]


def test_chips_without_lead_end_the_questions_about_a_coating_that_nobody_saw() -> None:
    """Bare metal is asked about its coating until somebody shows that it holds no lead."""
    zone = zone_of(**CLOSED | {"coatings": 1})
    chips = [SiteTest.model_validate(lead_test())]

    assert "lead_shedding" in {one.topic for one in questions_for(zone)}
    assert "lead_shedding" not in {one.topic for one in questions_for(zone, (), chips)}


# -- Progress ---------------------------------------------------------------------------------


@pytest.mark.parametrize("zone", [GRANITE, STEEL, CLOSED])
def test_a_zone_with_nothing_but_its_row_is_not_begun(zone: dict[str, Any]) -> None:
    """Every task that applies is open, in the order of work."""
    found = progress_of(bare_rows(zone))

    assert found.state == "not started"
    assert list(found.open) == [task for task in TASKS if task in found.open]
    assert {"What it is", "Soiling", "Findings", "Trial panels"} <= found.open.keys()
    assert ("Colour" in found.open) == (zone is GRANITE)
    assert found.lead_to_test == (zone is not GRANITE)
    assert "Is material loose over people?" in found.open["Findings"]


def test_a_zone_is_recorded_once_all_that_is_asked_has_an_answer() -> None:
    """What gate 8 asks is arranged later, and photographs are asked of no zone."""
    assert progress_of(whole()) == ZoneProgress("Z1", "A bay", "recorded", {}, False)


@pytest.mark.parametrize(
    ("table", "change", "task", "words"),
    [
        ("zones", {"condition": "not_assessed"}, "What it is", "condition of the substrate"),
        ("zones", {"panels_laid": None}, "Trial panels", "how many panels were laid"),
        ("zones", {"panels_laid": 2}, "Trial panels", "0 of 2 panels recorded"),
        ("layers", {"value": "not_assessed"}, "Soiling",
         "whether the black crust is itself of value"),
        ("layers", {"value": "rare"}, "Soiling", "what the black crust is made of"),
        ("readings", {"set_size": 2}, "Colour", "set soiled: 1 of 2 recorded"),
    ],
)  # fmt: skip
def test_what_is_missing_is_named_under_its_task(
    table: str, change: dict[str, Any], task: str, words: str
) -> None:
    """One thing missing makes a recorded zone part recorded, and says where to go."""
    raw = whole()
    raw[table][0] |= change

    found = progress_of(raw)

    assert (found.state, dict(found.open)) == ("part recorded", {task: (words,)})


@pytest.mark.parametrize(
    ("table", "task"), [("layers", "Soiling"), ("observations", "Findings"), ("readings", "Colour")]
)
def test_each_lost_record_opens_its_task_again(table: str, task: str) -> None:
    """A record that is gone is not an answer."""
    raw = whole()
    del raw[table][0]

    assert list(progress_of(raw).open) == [task]


def test_a_reason_for_no_answer_counts_as_answered() -> None:
    """Whoever wrote why there is none is not asked again."""
    raw = whole()
    raw["observations"][0] |= {"finding": None, "not_recorded_because": "no access before May"}
    raw["readings"][0] |= {
        "L_star": None, "a_star": None, "b_star": None, "not_measured_because": "out of reach",
    }  # fmt: skip
    raw["layers"][0] |= {"value": "not_assessed", "value_reason": "no section may be taken"}

    assert progress_of(raw).state == "recorded"


@pytest.mark.parametrize(
    ("test", "to_test", "open_"),
    [
        ({}, False, ()),
        ({"full_depth": "no"}, True, ("a lead test",)),
        ({"quantity": "lead_xrf_mg_cm2", "value": 0.1, "detection_limit": None, "full_depth": None},
         True, ("a lead test",)),
        ({"value": None, "detection_limit": None, "not_measured_because": "sampling refused"},
         True, ()),
        ({"value": 2, "detection_limit": None}, False, ()),
    ],
)  # fmt: skip
def test_a_coating_needs_a_lead_test_that_shows_something(
    test: dict[str, Any], to_test: bool, open_: tuple[str, ...]
) -> None:
    """Chips down to the substrate settle it, a low XRF does not, and a reason only says why not."""
    raw = whole(soilings="previous_coating", coatings=1)
    raw["site_tests"] = [lead_test(**test)]

    found = progress_of(raw)

    assert found.lead_to_test == to_test
    assert found.open.get("Tests", ()) == open_


def test_a_coating_that_nobody_tested_is_counted_first() -> None:
    """As many chips are due as there are coatings."""
    assert progress_of(whole(soilings="previous_coating")).open["Tests"] == (
        "a lead test",
        "how many coatings there are",
    )


def test_a_panel_is_open_until_its_spots_and_its_setting_are_recorded() -> None:
    """Spots that were laid are all to be found again, and the setting can be dialled again."""
    raw = whole(panels_laid=1)
    raw["panels"] = [
        {"panel": "P1", "zone": "Z1", "series": "S1", "panels_in_series": 1,
         "soiling": "black_gypsum_crust", "method": "nebulised_water", "setting": "for people",
         "done_on": "2026-04-01", "not_read_because": "fell off", "spots_laid": 4}
    ]  # fmt: skip
    waiting = progress_of(raw).open["Trial panels"]
    raw["panels"][0]["spots_laid"] = None
    told = progress_of(raw).open["Trial panels"]

    assert waiting == ("panel P1: 0 of 4 spots recorded", *told)
    assert "setting of S1: pressure [bar]" in told


def test_the_example_is_told_in_a_sentence() -> None:
    """As many zones open as `check` finds something to write down in, but for panels that age."""
    survey = hc.demo_survey()
    progress = zone_progress(survey)
    left = survey.check()
    written = left[~left["what"].str.contains("white tile|read too early")]
    lead = {one.zone for one in progress if "Tests" in one.open}

    assert {one.zone for one in progress if one.open} - lead == set(written["zone"]) - lead
    assert progress_sentence(progress).startswith(
        f"{sum(one.state == 'recorded' for one in progress)} of 52 zones fully recorded; "
    )


def test_sentences_leave_out_what_there_is_not() -> None:
    """One zone, none, and one that needs a lead test."""
    assert progress_sentence(()) == "no zone recorded yet"
    assert progress_sentence([progress_of(whole())]) == "1 of 1 zone fully recorded"
    assert progress_sentence([progress_of(bare_rows(STEEL))]) == (
        "0 of 1 zone fully recorded; 1 needs a lead test"
    )


def test_no_topic_is_left_without_a_heading() -> None:
    """A topic of a new gate would else not be asked."""
    asked = {one.topic for one in questions_for(zone_of(**STEEL | CLOSED))}
    asked |= {one.topic for one in questions_for(zone_of(soilings="iron_stain"))}

    assert {row["topic"] for row in rows("topics")} - asked == {"lead_exposure"}


def test_readings_of_too_few_places_leave_colour_open() -> None:
    """Five readings of two stones are not five places, so the task is not finished."""
    raw = whole()
    raw["readings"] = [reading("reference")] + [
        reading("soiled", reading=f"S{number}", set_size=5, place=f"stone {number % 2}")
        for number in range(5)
    ]
    assert progress_of(raw).open["Colour"] == ("set soiled: 2 of at least 5 places read",)

    for number, row in enumerate(raw["readings"][1:]):
        row["place"] = f"stone {number}"
    assert "Colour" not in progress_of(raw).open


def test_too_few_readings_are_not_called_too_few_places() -> None:
    """Three readings can't be compared wherever they were taken: their places are not the cause."""
    raw = whole()
    raw["readings"] = [reading("reference")] + [
        reading("soiled", reading=f"S{number}", set_size=3, place=f"stone {number % 2}")
        for number in range(3)
    ]

    assert "Colour" not in progress_of(raw).open

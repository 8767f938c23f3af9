"""Names of quarry beds and coating systems: spelling neither parts one bed nor joins two."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from guidance_form import DAY, frame

import heritagecheck as hc
from heritagecheck.errors import SurveyError
from heritagecheck.survey.places import build, example_folder
from heritagecheck.survey.records import Structure, Zone
from heritagecheck.survey.records.structure import (
    list_of,
    listed_beds,
    may_be_one_bed,
    names_to_ask_about,
    near_names,
    same_bed,
)
from heritagecheck.survey.survey import Survey

ZONE = {
    "zone": "A1", "elevation": "A", "name": "only", "area_m2": 3, "substrate": "granite",
    "finish": "tooled", "condition": "sound", "exposure": "rain_washed", "access": "scaffold",
    "significance": "medium", "significance_reason": "a reason", "soilings": "algae",
    "surveyed_on": "2026-06-01", "surveyed_by": "conservator",
}  # fmt: skip


@pytest.mark.parametrize(
    ("one", "other", "same", "near"),
    [
        ("grey granite, bed A", "Grey Granite bed A ", True, False),
        ("red lead 1889; alkyd 1961", "red lead 1889, alkyd 1961", True, False),
        ("ﬁne bed", "fine bed", True, False),
        ("grey granite, bed A", "gray granite, bed A", False, True),
        ("grey granite, bed A", "bed A, grey granite", False, True),
        ("north quarry, lower bed", "nort quarry, lower bed", False, True),
        ("grey granite, bed A", "grey granite, bed B", False, False),
        ("red lead 1889, alkyd 1961", "red lead 1889, alkyd 1962", False, False),
        ("red lead 1889, alkyd 1961", "red lead 1889, alkyd 1961, bottom ring", False, False),
        ("top bed", "lower bed", False, False),
        ("north quarry", "south quarry", False, False),
        ("east quarry", "west quarry", False, False),
        ("north quarry", "nroth quarry", False, True),
        ("north quarry", "north quarry2", False, False),
        (None, "north quarry", False, False),
        ("...", "north quarry", False, False),
        (None, None, False, False),
    ],
)
def test_beds_are_told_apart_by_what_they_say_and_not_by_spelling(
    one: str | None, other: str | None, same: bool, near: bool
) -> None:
    """Case, blanks and punctuation say nothing; a number or letter does; a slip is asked about."""
    assert same_bed(one, other) == same_bed(other, one) == same
    assert near_names(one, other) == near_names(other, one) == near


@pytest.mark.parametrize(
    ("one", "other", "may"),
    [
        ("bed A", "bed a", True), ("grey bed A", "gray bed A", True), ("bed A", "bed B", False),
        (None, "bed B", True), (" ", "bed B", True), (None, None, True),
    ],
)  # fmt: skip
def test_harm_counts_wherever_the_bed_may_be_the_same(
    one: str | None, other: str | None, may: bool
) -> None:
    """An unnamed bed is any bed of its stone for harm, and never one for good panels."""
    assert may_be_one_bed(one, other) == may_be_one_bed(other, one) == may


def test_a_slip_between_two_listed_names_is_asked_about() -> None:
    """Two spellings of grey on one stone are asked about; such a name on brick is no question."""
    listed = {
        "granite": ("grey granite, bed A", "gray granite, bed A", "pale granite, bed B"),
        "brick": ("grey granit, bed A",),
    }

    assert list(names_to_ask_about(listed)) == [("grey granite, bed A", "gray granite, bed A")]


# -- The survey's own list ----------------------------------------------------------------------


def survey_of(beds: str | None, *zones: dict[str, Any]) -> Survey:
    """A survey of some zones that lists some beds."""
    rows = frame()
    rows["structure"] = [one | {"beds": beds} for one in rows["structure"]]
    rows["zones"] = [ZONE | zone for zone in zones]
    rows["layers"] = [
        {"layer": f"L{number}", "zone": one["zone"], "soiling": "algae", "value": "not_valued"}
        for number, one in enumerate(rows["zones"])
    ]
    topic = {"topic": "falling_material", "finding": "no", "seen_on": DAY, "seen_by": "engineer"}
    rows["observations"] = [{"observation": "O1", "zone": rows["zones"][0]["zone"], **topic}]
    return build(rows)


def test_a_bed_is_matched_without_case_blanks_and_weathering() -> None:
    """A weathered face names the bed of its stone; an empty cell names none."""
    weathered = {"zone": "A2", "substrate": "granite_weathered", "bed_or_system": "GREY  bed a"}
    found = survey_of("granite: grey, bed A", {}, weathered)

    assert found.only(Structure).listed_beds == {"granite": ("grey, bed A",)}
    assert len(found.all(Zone)) == 2


def test_a_bed_that_is_not_listed_is_refused_with_what_is_allowed() -> None:
    """Also a bed of another stone: every zone at fault is named, with the beds of its stone."""
    with pytest.raises(SurveyError) as refused:
        survey_of(
            "granite: grey, bed A; granite: pale, bed B; brick: kiln 2",
            {"bed_or_system": "gray, upper"}, {"zone": "A2", "bed_or_system": "kiln 2"},
        )  # fmt: skip

    first, second = str(refused.value).splitlines()[1:3]
    assert "bed_or_system = gray, upper: zone A1: no such bed or coating system is listed" in first
    assert "Listed: grey, bed A; pale, bed B. Write one of these" in first
    assert "bed_or_system = kiln 2" in second


def test_zones_of_named_beds_ask_for_the_list_and_it_is_offered() -> None:
    """Without a list nobody can say that two names are two beds."""
    with pytest.raises(SurveyError, match=r"then write: granite: bed A; granite: bed B$"):
        survey_of(
            None, {"bed_or_system": "bed A"}, {"zone": "A2", "bed_or_system": "Bed a"},
            {"zone": "A3", "bed_or_system": "bed B"},
        )  # fmt: skip
    assert survey_of(None, {}).only(Structure).listed_beds == {}


@pytest.mark.parametrize(
    ("beds", "said"),
    [
        (
            "granit: bed A",
            "granit: bed A must be the code of a substrate, a colon and the name of a bed",
        ),
        ("grey granite", "grey granite must be the code of a substrate"),
        ("granite: ", "granite: must be the code of a substrate, a colon and the name of a bed"),
        ("granite: bed A; granite_weathered: Bed-A", "is listed twice; write it once"),
    ],
)
def test_a_list_that_says_no_stone_or_a_bed_twice_is_refused(beds: str, said: str) -> None:
    """Each part is the code of a stone or metal, a colon and a name."""
    with pytest.raises(SurveyError, match=said):
        survey_of(beds, {})


def test_a_list_holds_each_bed_that_zones_name_once() -> None:
    """As it was first written; a semicolon within a name would end it."""
    named = [("granite", "bed A"), ("granite_weathered", "BED a"), ("brick", None)]
    coated = [("riveted_steel", "red lead 1889; alkyd 1961")]

    found = list_of([*named, *coated])

    assert found == "granite: bed A; riveted_steel: red lead 1889, alkyd 1961"
    assert listed_beds(found)["riveted_steel"] == ("red lead 1889, alkyd 1961",)


def test_a_bed_is_not_taken_off_the_list_while_zones_name_it(tmp_path: Path) -> None:
    """Saving the structure alone is held against all zones."""
    survey = hc.import_survey(example_folder(), tmp_path / "kept.db", who="conservator")
    structure = survey.only(Structure)
    assert structure.beds is not None

    with pytest.raises(
        SurveyError, match=r"bed_or_system = dark granite, bed D: zone N15: no such bed"
    ):
        survey.save(structure.changed(beds=structure.beds.replace("bed D", "bed E")))
    survey.save(structure.changed(beds=f"{structure.beds}; brick: kiln 2"))

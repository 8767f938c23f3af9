"""What to look at again in a survey that reads well: hand-sized surveys, one thing amiss each."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

import heritagecheck as hc
from heritagecheck.survey.places import build
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import rows

Raw = dict[str, list[dict[str, Any]]]
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{}</svg>'
OUTLINE = '<path data-zone="{}" d="M0 0L1 0L1 1z"/>'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Give a folder with a drawing that outlines zone Z1."""
    draw(tmp_path, "Z1")
    return tmp_path


@pytest.fixture
def raw() -> Raw:
    """Give the rows of a survey of one granite zone in which nothing is amiss."""
    seen = {"seen_on": "2026-05-01", "seen_by": "conservator"}
    asked = [
        row
        for row in rows("topics")
        if row["kind"] != "metal" and row["gate"] != "8" and not row["asked_where"]
    ]
    return {
        "structure": [{"structure": "A wall", "asked": "Clean it?", "surveyed_by": "conservator",
                       "survey_date": "2026-06-01", "significance": "One of two"}],
        "elevations": [{"elevation": "north", "name": "North", "drawing": "north.svg",
                        "width_m": 9, "height_m": 9}],
        "zones": [{"zone": "Z1", "elevation": "north", "name": "A bay", "area_m2": 4,
                   "substrate": "granite", "finish": "tooled", "condition": "sound",
                   "exposure": "sheltered", "access": "ground", "significance": "medium",
                   "significance_reason": "Original", "soilings": "general_soiling",
                   "panels_laid": 0, "surveyed_on": "2026-05-01", "surveyed_by": "conservator"}],
        "layers": [{"layer": "L1", "zone": "Z1", "soiling": "general_soiling",
                    "value": "not_valued"}],
        "observations": [{"observation": f"O{number}", "zone": "Z1", "topic": row["topic"],
                          "finding": row["findings"].split("|")[0], **seen}
                         for number, row in enumerate(asked)],
        "readings": [reading("soiled"), reading("reference")],
        "panels": [],
        "site_tests": [],
        "policy": [{"alpha": 0.1, "agreed_share": 1, "fabric_cap_high": 2, "fabric_cap_medium": 4,
                    "fabric_cap_low": 5, "margin": 1.3, "margin_high": 2, "damage_limit": 0.25,
                    "horizon_years": 25, "power": 2, "agreed_on": "2026-04-01"}],
        "views": [{"member": "conservator", "criterion": criterion, "swing": 50}
                  for criterion in ("fabric", "historic evidence", "appearance", "people",
                                    "environment", "resources")],
    }  # fmt: skip


def reading(target: str) -> dict[str, Any]:
    """Give one reading of zone Z1."""
    return {
        "reading": f"R-{target}", "zone": "Z1", "set_name": target, "set_size": 1,
        "target": target, "L_star": 40, "a_star": 0, "b_star": 3, "state": "dry",
        "geometry": "SCI", "aperture_mm": 25, "illuminant": "D65/10", "instrument": "sphere",
        "read_on": "2026-05-02", "read_by": "conservator",
    }  # fmt: skip


def panel(done_on: str, read_on: str) -> dict[str, Any]:
    """Give one trial panel of nebulised water on zone Z1."""
    return {
        "panel": "P1", "zone": "Z1", "series": "S1", "panels_in_series": 1,
        "soiling": "general_soiling", "method": "nebulised_water",
        "setting": "for people", "done_on": done_on, "read_on": read_on,
    }  # fmt: skip


def dialled(*without: str) -> list[dict[str, Any]]:
    """Give what was dialled for it, but for some of it."""
    told: dict[str, dict[str, Any]] = {
        "pressure": {"value": 3, "unit": "bar"}, "water_flow": {"value": 2, "unit": "L/min"},
        "temperature": {"words": "unheated"}, "dwell": {"value": 4, "unit": "min"},
        "acid": {"words": "none"},
    }  # fmt: skip
    return [
        {"series": "S1", "zone": "Z1", "quantity": quantity, **row}
        for quantity, row in told.items()
        if quantity not in without
    ]


def draw(folder: Path, *zones: str) -> None:
    """Draw the north elevation with the outlines of some zones."""
    outlines = "".join(OUTLINE.format(zone) for zone in zones)
    (folder / "north.svg").write_text(SVG.format(outlines), encoding="utf-8")


def found(raw: Raw, folder: Path | None) -> list[tuple[str, str, str]]:
    """Zone, table and words of every finding."""
    table = build(raw, folder=folder).check()
    assert list(table.columns) == ["zone", "table", "what", "what_to_do", "kind", "detail"]
    assert table["what_to_do"].str.len().gt(10).all()
    return list(zip(table["zone"], table["table"], table["what"], strict=True))


def test_nothing_amiss_gives_an_empty_table(raw: Raw, folder: Path) -> None:
    """A complete survey of one zone leaves nothing to look at."""
    assert found(raw, folder) == []


@pytest.mark.parametrize(
    ("target", "words"), [("soiled", "soiled surface"), ("reference", "clean reference")]
)
def test_stone_without_a_colour_reading_is_found(
    raw: Raw, folder: Path, target: str, words: str
) -> None:
    """Both the soiled surface and the clean reference are asked for on masonry."""
    raw["readings"] = [row for row in raw["readings"] if row["target"] != target]

    assert found(raw, folder) == [("Z1", "readings", f"no colour reading: {words}")]


@pytest.mark.parametrize(("places", "told"), [(4, True), (5, False), (0, False)])
def test_readings_of_few_places_are_found_before_the_scaffold_is_gone(
    raw: Raw, folder: Path, places: int, told: bool
) -> None:
    """Ten dry readings from four places are not compared; without a place each counts alone."""
    soiled, reference = raw["readings"]
    raw["readings"] = [reference] + [
        soiled | {"reading": f"S{number}", "set_size": 10,
                  "place": f"stone {number % places}" if places else None}
        for number in range(10)
    ]  # fmt: skip

    said = [("Z1", "readings", "too few places: set soiled, 10 dry readings from 4 places")]
    assert found(raw, folder) == (said if told else [])


def pictured(cover: float | None) -> dict[str, Any]:
    """Give the cover that a photograph of zone Z1 shows."""
    return {
        "site_test": "P1-cover", "zone": "Z1", "quantity": "soiling_cover_pct", "value": cover,
        "not_measured_because": None if cover is not None else "glare", "set_name": "P1-cover",
        "set_size": 1, "method": "photograph P1", "tested_on": "2026-05-02",
        "tested_by": "conservator",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("by_eye", "by_photograph", "said"),
    [
        ((70,), 19.1, "70 % by eye, 19.1 % by photograph P1"),
        ((30,), 68.7, "30 % by eye, 68.7 % by photograph P1"),
        ((50,), 60.5, None),
        ((40, 30), 85, None),  # side by side they cover 70 %
        ((40, 30), 21, None),  # one on the other they cover 40 %
        ((40, 30), 19, "40 to 70 % by eye, 19 % by photograph P1"),
        ((None,), 19.1, None),
        ((70,), None, None),
    ],
)
def test_cover_by_eye_far_from_that_of_the_photograph_is_found(
    raw: Raw,
    folder: Path,
    by_eye: tuple[float | None, ...],
    by_photograph: float | None,
    said: str | None,
) -> None:
    """More than 20 % of the area apart (common practice); layers may lie on one another or not."""
    [layer] = raw["layers"]
    soilings = ("general_soiling", "film")[: len(by_eye)]
    raw["zones"][0]["soilings"] = "; ".join(soilings)
    raw["layers"] = [
        layer | {"layer": f"L-{soiling}", "soiling": soiling, "cover_pct": cover}
        for soiling, cover in zip(soilings, by_eye, strict=True)
    ]
    raw["site_tests"] = [pictured(by_photograph)]

    told = [("Z1", "layers", f"cover by eye and by photograph differ: {said}")] if said else []
    assert found(raw, folder) == told


def test_a_reason_for_no_reading_is_enough(raw: Raw, folder: Path) -> None:
    """Who says why there is no reading is not asked again."""
    gone = {"L_star": None, "a_star": None, "b_star": None, "not_measured_because": "out of reach"}
    raw["readings"] = [row | gone for row in raw["readings"]]

    assert found(raw, folder) == []


def test_metal_is_asked_for_no_colour(raw: Raw, folder: Path) -> None:
    """On cast iron the colour is no evidence; the questions of metal are asked in its place."""
    raw["zones"][0] |= {"substrate": "cast_iron", "finish": "cast"}
    raw["readings"] = []

    assert {what.partition(".")[0] for _, _, what in found(raw, folder)} == {
        "not answered: metal_identity",
        "not answered: engineer_limit",
    }


def test_a_soiling_without_its_layer_is_found(raw: Raw, folder: Path) -> None:
    """Each soiling seen needs a row that says whether it is of value."""
    raw["zones"][0]["soilings"] = "algae; general_soiling"

    assert found(raw, folder) == [("Z1", "layers", "no layer: algae")]


def test_a_question_without_answer_or_reason_is_found(raw: Raw, folder: Path) -> None:
    """The question is named, and what to do is what its own row says."""
    raw["observations"] = [row for row in raw["observations"] if row["topic"] != "decay"]

    [(zone, table, what)] = found(raw, folder)

    assert (zone, table) == ("Z1", "observations")
    assert what == "not answered: decay. Is the substrate losing material now?"


def test_a_reason_for_no_answer_is_enough(raw: Raw, folder: Path) -> None:
    """Who says why a question has no answer is not asked again."""
    raw["observations"][0] |= {"finding": None, "not_recorded_because": "no access"}

    assert found(raw, folder) == []


def test_a_lead_test_answers_the_question_of_lead(raw: Raw, folder: Path) -> None:
    """Where lead was tested, nobody need say so a second time."""
    raw["observations"] = [row for row in raw["observations"] if row["topic"] != "lead"]
    raw["site_tests"] = [
        {"site_test": "T1", "zone": "Z1", "quantity": "lead_xrf_mg_cm2", "value": 0.1,
         "set_name": "T", "set_size": 1, "method": "XRF", "tested_on": "2026-05-01",
         "tested_by": "conservator"}
    ]  # fmt: skip

    assert found(raw, folder) == []


@pytest.mark.parametrize(
    ("change", "topics"),
    [
        ({"exposure": "closed_section", "substrate": "riveted_steel", "finish": "rolled"},
         {"interior_seen", "closed_plan", "remote_access", "metal_identity", "engineer_limit"}),
        ({"access": "confined"}, {"closed_plan", "remote_access"}),
        ({"soilings": "previous_coating"}, {"coating_order", "lead_shedding"}),
    ],
)  # fmt: skip
def test_some_questions_are_asked_only_where_they_fit(
    raw: Raw, folder: Path, change: dict[str, str], topics: set[str]
) -> None:
    """Closed sections and coatings bring questions of their own."""
    raw["zones"][0] |= change
    raw["layers"][0]["soiling"] = raw["zones"][0]["soilings"]

    assert {
        what.removeprefix("not answered: ").partition(".")[0]
        for _, table, what in found(raw, folder)
        if table == "observations"
    } == topics


@pytest.mark.parametrize(
    ("laid", "table", "words"),
    [(None, "zones", "nobody wrote how many were laid"), (3, "panels", "3 laid, 0 recorded")],
)
def test_panels_not_accounted_for_are_found(
    raw: Raw, folder: Path, laid: int | None, table: str, words: str
) -> None:
    """A panel that failed must not get lost between the wall and the table."""
    raw["zones"][0]["panels_laid"] = laid

    assert found(raw, folder) == [("Z1", table, f"panels not accounted for: {words}")]


def test_a_panel_read_too_young_is_found_with_the_day_to_return(raw: Raw, folder: Path) -> None:
    """Water on masonry of medium significance is judged after 90 days; on the 90th it is old."""
    raw["zones"][0]["panels_laid"] = 1
    raw["panels"], raw["settings"] = [panel("2026-01-01", "2026-03-31")], dialled()
    young = build(raw, folder=folder).check()
    raw["panels"] = [panel("2026-01-01", "2026-01-23")]
    younger = build(raw, folder=folder).check()
    raw["panels"] = [panel("2026-01-01", "2026-04-01")]

    said = "panel read too early: P1 after {} days, 90 required"
    assert list(young["what"]) == [said.format(89) + " (23 on an urgent zone)"]
    assert list(younger["what"]) == [said.format(22)]
    assert list(young["what_to_do"]) == ["Read it again on 1 April 2026 or later"]
    assert found(raw, folder) == []


def test_what_a_setting_does_not_tell_is_asked_of_whoever_laid_the_panel(
    raw: Raw, folder: Path
) -> None:
    """All about trials stands in `test_check_trials.py`; here it arrives among the findings."""
    raw["zones"][0]["panels_laid"] = 1
    raw["panels"], raw["settings"] = [panel("2026-01-01", "2026-04-01")], dialled("water_flow")

    assert found(raw, folder) == [("Z1", "settings", "setting incomplete: S1 lacks flow [L/min]")]


@pytest.mark.parametrize(
    ("table", "field"), [("readings", "read_on"), ("observations", "seen_on"),
                         ("zones", "surveyed_on")]
)  # fmt: skip
def test_records_dated_after_the_survey_are_one_finding_a_zone(
    raw: Raw, folder: Path, table: str, field: str
) -> None:
    """The survey closed on 1 June; all later rows of a zone in one table are counted together."""
    for row in raw[table]:
        row[field] = "2026-06-02"

    [(zone, where, what)] = found(raw, folder)

    assert (zone, where) == ("Z1", table)
    assert what.startswith(f"dated after the survey closed: {len(raw[table])} of {table} (")


def test_every_day_on_which_something_was_done_is_held_against_the_survey(
    raw: Raw, folder: Path
) -> None:
    """Spots, white tiles and photographs too; what lies ahead of a survey is no slip."""
    late = "2026-06-02"
    tile = {"session": "s1", "tile_readings_in_session": 1, "minutes": 0, "instrument": "meter",
            "L_star": 90, "a_star": 0, "b_star": 0, "read_by": "conservator"}  # fmt: skip
    raw["tile_readings"] = [{"tile_reading": "W1", "read_on": late, **tile}]
    raw["zones"][0]["next_access"] = late
    raw["policy"][0]["agreed_on"] = late

    told = [(where, what) for _, where, what in found(raw, folder) if "after the survey" in what]

    assert [where for where, _ in told] == ["tile_readings"]
    assert "W1" in told[0][1]


def test_a_zone_without_outline_and_an_outline_without_zone_are_found(
    raw: Raw, folder: Path
) -> None:
    """A slip in a code of the drawing shows twice: one zone undrawn, one outline unknown."""
    draw(folder, "Z7")

    assert found(raw, folder) == [
        ("Z1", "elevations", "no outline: north.svg"),
        ("Z7", "zones", "outline of an unknown zone: north.svg"),
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "this is not plain SVG: no element found"),
        ("no drawing at all", "this is not plain SVG: syntax error"),
        (
            "<!DOCTYPE a [<!ENTITY b 'c'>]><a/>",
            "this is not plain SVG: it defines entities. Save it as plain SVG",
        ),
        ("<svg/>", 'this is not plain SVG: it begins with <svg>, not with <svg xmlns="http'),
        ('<?xml version="1.0" encoding="nonsense"?><svg/>', "this is not plain SVG: unknown"),
        ('<?xml version="1.0" encoding="utf-32"?><svg/>', "this is not plain SVG: "),
        (SVG.format(OUTLINE.format("Z1")).replace("viewBox", "box"), 'viewBox = "" must give'),
    ],
)
def test_a_drawing_that_cannot_be_read_is_found(
    raw: Raw, folder: Path, text: str, said: str
) -> None:
    """A drawing that is no SVG, more than a plain one, or without a frame: what ails it is said."""
    (folder / "north.svg").write_text(text, encoding="utf-8")
    [(_, table, what), *_] = found(raw, folder)

    assert table == "elevations"
    assert what.startswith(f"drawing not shown: north.svg, {said}")


def test_what_was_left_out_of_a_drawing_is_named(raw: Raw, folder: Path) -> None:
    """Whoever misses a photograph behind the outlines reads why."""
    inner = '<image href="wall.jpg"/><style>*{fill:red}</style>' + OUTLINE.format("Z1")
    (folder / "north.svg").write_text(SVG.format(inner), encoding="utf-8")

    assert found(raw, folder) == [
        ("", "elevations", "left out of the drawing: north.svg, <image>, <style>")
    ]


def test_without_a_folder_its_drawings_are_asked_for(raw: Raw) -> None:
    """A survey made from rows alone names drawings that nobody put there."""
    assert found(raw, None) == [("", "elevations", "no drawing: north.svg")]


# -- The meter: its white tile and its set-up ---------------------------------------------------


def tiles(*lightness: float, asked: int | None = None) -> list[dict[str, Any]]:
    """Give readings of the white tile in one session, half an hour apart."""
    return [
        {"tile_reading": f"T{number}", "session": "May 2",
         "tile_readings_in_session": asked or len(lightness), "minutes": 30 * number,
         "L_star": value, "a_star": -0.1, "b_star": 1.2, "instrument": "sphere",
         "read_on": "2026-05-02", "read_by": "conservator"}
        for number, value in enumerate(lightness)
    ]  # fmt: skip


def in_session(raw: Raw, read: list[dict[str, Any]]) -> None:
    """Let both sets of zone Z1 be read in the session of that tile."""
    raw["tile_readings"] = read
    raw["readings"] = [row | {"session": "May 2"} for row in raw["readings"]]


def test_a_white_tile_that_kept_still_is_no_finding(raw: Raw, folder: Path) -> None:
    """Drift of 0.3 is the most that is allowed: this one went by 0.25."""
    in_session(raw, tiles(96.5, 96.75, 96.5))

    assert found(raw, folder) == []


@pytest.mark.parametrize(
    ("read", "words"),
    [
        (tiles(96.5, 96.75, 97.0),
         "the white tile drifted by 0.50 ΔE*ab in session May 2; 0.3 is the limit"),
        (tiles(96.5, 96.0, 96.5),
         "the white tile drifted by 0.50 ΔE*ab in session May 2; 0.3 is the limit"),
        (tiles(96.5), "the white tile was read only once in session May 2"),
        (tiles(96.5, 96.5, asked=3), "2 of 3 tile readings of session May 2 recorded"),
    ],
    ids=["drifted", "drifted and came back", "read once", "not wholly on record"],
)  # fmt: skip
def test_every_set_of_a_session_that_cannot_be_relied_on_is_found(
    raw: Raw, folder: Path, read: list[dict[str, Any]], words: str
) -> None:
    """The zone, the set, and what was wrong with the white tile."""
    in_session(raw, read)

    assert found(raw, folder) == [
        ("Z1", "readings", f"white tile: set soiled, {words}"),
        ("Z1", "readings", f"white tile: set reference, {words}"),
    ]


def test_readings_of_no_session_are_not_asked_for_their_tile(raw: Raw, folder: Path) -> None:
    """Another session drifted; who noted none is not found at fault."""
    raw["tile_readings"] = tiles(96.5, 98.0)

    assert found(raw, folder) == []


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [("geometry", "SCE", "sphere, SCE, 25 mm, D65/10"),
     ("aperture_mm", 8, "sphere, SCI, 8 mm, D65/10"),
     ("illuminant", "D50/2", "sphere, SCI, 25 mm, D50/2"),
     ("instrument", "gonio", "gonio, SCI, 25 mm, D65/10")],
)  # fmt: skip
def test_a_set_up_that_changed_between_sets_is_found(
    raw: Raw, folder: Path, field: str, value: object, said: str
) -> None:
    """Both set-ups are written out, each with its sets."""
    raw["readings"][1][field] = value

    assert found(raw, folder) == [
        ("Z1", "readings",
         f"set-up changed: soiled with sphere, SCI, 25 mm, D65/10; reference with {said}")
    ]  # fmt: skip


def test_a_colour_matched_by_eye_is_no_change_of_set_up(raw: Raw, folder: Path) -> None:
    """The eye has no set-up to keep, and its colours are not compared with a meter's."""
    by_eye = {"L_star": None, "a_star": None, "b_star": None, "munsell": "N 5/",
              "geometry": "visual", "aperture_mm": None, "set_name": "chips",
              "reading": "R-chips", "instrument": "chips"}  # fmt: skip
    raw["readings"].append(raw["readings"][0] | by_eye)

    assert found(raw, folder) == []


# -- What is not there yet, or no more ----------------------------------------------------------


def test_an_incomplete_survey_says_what_it_waits_for(raw: Raw, tmp_path: Path) -> None:
    """Saved bit by bit, it opens and is checked; what is not there yet is named table by table."""
    whole = build(raw)
    survey = hc.open_survey(tmp_path / "begun.db")
    survey.save(*(one for name in ("structure", "elevations", "zones", "layers")
                  for one in whole.records[name]))  # fmt: skip
    lacking = survey.check().query("what.str.startswith('not ready to assess')")

    assert list(lacking["table"]) == ["policy"]
    assert set(lacking["what_to_do"]) == {"Write it down; until then no zone can be assessed"}
    assert set(survey.check()["kind"]) == {
        "not ready to assess", "no weights", "no colour reading", "not answered", "no drawing",
    }  # fmt: skip


def test_a_member_who_did_not_weigh_all_is_named(raw: Raw, tmp_path: Path) -> None:
    """Until every member weighed every criterion no zone can be assessed."""
    whole = build(raw)
    survey = hc.open_survey(tmp_path / "begun.db")
    survey.save(*(one for records in whole.records.values() for one in records))
    survey.delete(survey.record("views", "conservator", "people"), reason="to be asked again")

    assert list(survey.check()["what"]) == [
        "not ready to assess: member conservator gave no weight for people",
        "no drawing: north.svg",
    ]


@pytest.mark.parametrize(
    ("content", "what"), [(None, "no file"), (b"another picture", "file altered")]
)
def test_an_attachment_that_is_not_what_it_was_is_found(
    raw: Raw, folder: Path, content: bytes | None, what: str
) -> None:
    """Missing, or of other content: its zone, its name, and the hash of the right one."""
    picture = b"not really a picture"
    raw["attachments"] = [
        {"attachment": "A1", "kind": "photograph", "file": "photographs/bay.jpg",
         "sha256": sha256(picture).hexdigest(), "bytes": len(picture), "zone": "Z1"}
    ]  # fmt: skip
    (folder / "photographs").mkdir()
    (folder / "photographs" / "bay.jpg").write_bytes(picture)
    whole = found(raw, folder)
    (folder / "photographs" / "bay.jpg").unlink()
    if content is not None:
        (folder / "photographs" / "bay.jpg").write_bytes(content)

    assert whole == []
    assert found(raw, folder) == [("Z1", "attachments", f"{what}: photographs/bay.jpg (A1)")]
    advice = build(raw, folder=folder).check()["what_to_do"].iloc[0]
    assert (
        advice == "Import its folder or archive again, or attach the file whose SHA-256 begins "
        f"with {sha256(picture).hexdigest()[:12]} again"
    )


def test_the_example_shows_each_common_finding() -> None:
    """It has its gaps on purpose: unread colour, a tile that drifted, questions, young panels."""
    survey = hc.demo_survey()
    kinds = set(survey.check()["kind"])

    assert isinstance(survey, Survey)
    assert kinds == {
        "no colour reading", "white tile", "not answered", "panel read too early",
        "setting incomplete",
    }  # fmt: skip
    assert set(survey.check()["table"]) <= set(TABLES)

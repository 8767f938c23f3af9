"""What is recorded about a zone: layers, colour, panels of the same bed, plate loss."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from guidance_form import read_cases, rows_of_case, site_test_rows

from heritagecheck.evidence.trials.other_panels import transfers, what_hinders
from heritagecheck.evidence.zone_evidence import ZoneEvidence, gather, limit_passed
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Zone

GUIDANCE = Path(__file__).parent.parent / "guidance" / "guidance_cases.csv"
CASES = {case["case_id"]: case for case in read_cases(GUIDANCE)}
Rows = dict[str, list[dict[str, Any]]]


def rows(code: str, **columns: str) -> Rows:
    """Plain rows of a guidance case with some columns changed."""
    return rows_of_case(CASES[code] | columns)


def evidence_of(raw: Rows) -> ZoneEvidence:
    """Evidence of the first zone."""
    survey = build(raw)
    return gather(survey, survey.all(Zone)[0])


# -- Layers and weakest component ---------------------------------------------------------------


def test_only_what_lies_over_the_first_valued_layer_would_be_removed() -> None:
    """Outermost first, as the zone lists its soilings."""
    raw = rows("G17", layers="general_soiling=not_valued; lead_paint=significant; rust=not_valued")
    raw["layers"].reverse()

    found = evidence_of(raw)

    assert [layer.soiling for layer in found.layers] == ["general_soiling", "lead_paint", "rust"]
    assert [layer.soiling for layer in found.targets] == ["general_soiling"]


@pytest.mark.parametrize(
    ("substrate", "share", "component"),
    [("granite", "", "biotite"), ("granite", "5", "biotite"), ("granite", "4.9", None),
     ("granite_weathered", "20", "biotite"), ("limestone", "", None)],
)  # fmt: skip
def test_dark_mica_sets_the_limit_from_five_per_cent_or_where_nobody_counted(
    substrate: str, share: str, component: str | None
) -> None:
    """Its mere possibility counts until a point count shows otherwise."""
    raw = rows("G03", substrate=substrate, biotite_pct=share)

    assert evidence_of(raw).weakest_component == component


# -- Colour -------------------------------------------------------------------------------------


def test_wet_readings_are_left_out_and_counted() -> None:
    """Water darkens stone: what was read wet is no soiling."""
    raw = rows("G03")
    for row in [row for row in raw["readings"] if row["target"] == "soiled"][:3]:
        row["state"] = "wet"

    found = evidence_of(raw)

    assert found.colour.n_soiled == 9
    assert found.colour_note == "3 readings were wet, damp or not taken and are left out"


@pytest.mark.parametrize("target", ["soiled", "reference"])
def test_a_colour_set_with_a_gap_is_not_compared(target: str) -> None:
    """Eleven of twelve readings on record: nobody guesses the one that is missing."""
    raw = rows("G03")
    lost = next(row for row in raw["readings"] if row["target"] == target)
    raw["readings"].remove(lost)

    found = evidence_of(raw)

    assert found.colour is None
    assert "holds 11 of 12 readings" in found.colour_note


def test_readings_of_different_set_ups_are_not_compared() -> None:
    """Specular included or not is not the same measurement."""
    raw = rows("G03")
    for row in raw["readings"]:
        if row["target"] == "reference":
            row["geometry"] = "SCE"

    found = evidence_of(raw)

    assert (found.colour, found.colour_note) == (
        None, "soiled and reference stone were read with different set-ups",
    )  # fmt: skip


def test_colour_without_clean_stone_is_said_to_be_missing() -> None:
    """Nothing to compare with."""
    raw = rows("G03")
    raw["readings"] = [row for row in raw["readings"] if row["target"] == "soiled"]

    found = evidence_of(raw)

    assert (found.colour, found.colour_note) == (None, "no reference stone was read")


def in_session(raw: Rows, moved: tuple[float, ...], size: int) -> Rows:
    """Let all readings be of one session, whose white tile moved so far in L*."""
    for row in raw["readings"]:
        row["session"] = "Monday"
    shared = {"session": "Monday", "tile_readings_in_session": size, "a_star": -0.1, "b_star": 1.2,
              "instrument": raw["readings"][0]["instrument"], "read_on": "2026-05-01",
              "read_by": "conservator"}  # fmt: skip
    raw["tile_readings"] = [
        {**shared, "tile_reading": f"tile {number}", "minutes": 30 * number, "L_star": 96 - step}
        for number, step in enumerate(moved)
    ]
    return raw


def test_colour_of_a_steady_session_is_compared() -> None:
    """A drift of 0.3 is allowed: above it the set is repeated (common practice)."""
    assert evidence_of(in_session(rows("G03"), (0.0, 0.1, 0.29), 3)).colour is not None


@pytest.mark.parametrize(
    ("moved", "size", "why"),
    [
        ((0.0, 0.1, 0.31), 3, "the white tile drifted by 0.31 ΔE*ab in session Monday"),
        ((0.0,), 1, "the white tile was read only once in session Monday"),
        ((0.0, 0.1), 3, "2 of 3 tile readings of session Monday recorded"),
    ],
)
def test_colour_of_an_unsteady_session_is_not_compared(
    moved: tuple[float, ...], size: int, why: str
) -> None:
    """Nor where the tile was read once, or a reading of it is missing: none speaks for steady."""
    found = evidence_of(in_session(rows("G03"), moved, size))

    assert found.colour is None
    assert found.colour_note.startswith(why)
    assert found.colour_note.endswith("read the set again")


def test_two_meters_are_two_set_ups() -> None:
    """Geometry, aperture and light alike do not make two meters one."""
    raw = rows("G03")
    for row in raw["readings"]:
        if row["target"] == "reference":
            row["instrument"] = "another sphere"

    assert evidence_of(raw).colour_note == (
        "soiled and reference stone were read with different set-ups"
    )


def test_colour_matched_by_eye_is_never_compared() -> None:
    """Chips beside a meter's reference: the notations are kept, the difference is not reckoned."""
    raw = rows("G03")
    for row in raw["readings"]:
        if row["target"] == "soiled":
            row.update(dict.fromkeys(("L_star", "a_star", "b_star", "aperture_mm")))
            row.update({"munsell": "10YR 4/1", "geometry": "visual", "illuminant": "C/2"})

    found = evidence_of(raw)

    assert (found.colour, found.colour_note) == (
        None, "the soiled stone was matched to chips by eye only",
    )  # fmt: skip


# -- Panels of the same bed ---------------------------------------------------------------------


def zone(**changed: Any) -> Zone:
    """A zone of a known bed."""
    usual = {
        "zone": "A1", "elevation": "A", "name": "wall", "area_m2": 4, "substrate": "granite",
        "finish": "tooled", "condition": "slightly_weathered", "exposure": "exposed",
        "access": "ground", "significance": "medium", "significance_reason": "early",
        "soilings": "black_gypsum_crust;algae", "biotite_pct": 8, "bed_or_system": "north quarry",
        "surveyed_on": date(2026, 6, 1), "surveyed_by": "conservator",
    }  # fmt: skip
    return Zone.model_validate(usual | changed)


@pytest.mark.parametrize(
    ("changed", "tells"),
    [
        ({}, True),
        ({"condition": "sound"}, True),
        ({"significance": "low"}, True),
        ({"soilings": "algae"}, True),
        ({"biotite_pct": 3}, True),
        ({"condition": "cracked"}, False),
        ({"condition": "not_assessed"}, False),
        ({"significance": "high"}, False),
        ({"soilings": "algae;iron_stain"}, False),
        ({"biotite_pct": 9}, False),
        ({"biotite_pct": None}, False),
        ({"finish": "polished"}, False),
        ({"substrate": "granite_weathered"}, False),
        ({"bed_or_system": "south quarry"}, False),
        ({"bed_or_system": None}, False),
    ],
    ids=str,
)
def test_panels_tell_about_zones_of_the_same_bed_that_are_no_more_delicate(
    changed: dict[str, Any], tells: bool
) -> None:
    """Same bed, stone, finish and soilings; no weaker, no higher in value, no more dark mica."""
    assert transfers(zone(), zone(zone="A2", **changed)) is tells


def test_panels_on_a_bed_that_nobody_named_stay_on_their_zone() -> None:
    """Two unnamed beds are not the same bed; an uncounted tested zone shows nothing of mica."""
    unnamed = zone(bed_or_system=None)

    assert not transfers(unnamed, zone(zone="A2", bed_or_system=None))
    assert not transfers(zone(biotite_pct=None), zone(zone="A2"))


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"substrate": "granite_weathered"}, "another substrate"),
        ({"soilings": "algae;iron_stain"}, "soiled by something that was not tried"),
        ({"bed_or_system": None}, "bed or coating system not recorded"),
        ({"bed_or_system": "south quarry"}, "another bed or coating system"),
        ({"finish": "polished"}, "another finish"),
        ({"condition": "not_assessed"}, "condition not assessed"),
        ({"condition": "cracked"}, "in weaker condition"),
        ({"significance": "high"}, "of higher significance"),
        ({"biotite_pct": 9}, "richer in the weakest component, or not counted"),
        ({}, ""),
    ],
    ids=str,
)
def test_a_zone_is_told_why_panels_do_not_speak_for_it(changed: dict[str, Any], why: str) -> None:
    """The first reason, in words that a conservator can act on."""
    assert what_hinders(zone(), zone(zone="A2", **changed)) == why


# -- Plate loss ---------------------------------------------------------------------------------


def steel(tests: list[dict[str, Any]]) -> Rows:
    """A steel zone with some measured numbers, reachable again in five years."""
    raw = rows("G17")
    day = raw["structure"][0]["survey_date"]
    raw["zones"][0]["next_access"] = day + timedelta(days=round(5 * 365.25))
    raw["site_tests"] += tests
    return raw


def measured(quantity: str, value: float, spread: float | None) -> dict[str, Any]:
    """One measured number of its own set."""
    (row,) = site_test_rows("G17", quantity, [str(value)])
    return row | {"spread": spread}


LOSS = measured("plate_loss_pct", 8.0, 0.8)
RATE = measured("plate_loss_rate_pct_a", 0.3, 0.1)
LIMIT = measured("plate_loss_limit_pct", 10.0, None)


def test_plate_loss_is_held_against_the_engineers_limit() -> None:
    """Loss, rate, limit and the years to the next access give one probability."""
    found = evidence_of(steel([LOSS, RATE, LIMIT])).limit

    expected = limit_passed(
        loss_pct=8, loss_sd=0.8, rate_pct_a=0.3, rate_sd=0.1, limit_pct=10, years=5
    )
    assert found.probability == pytest.approx(expected.probability, abs=1e-3)


def test_the_spread_of_the_loss_is_that_of_the_loss() -> None:
    """Another quantity that happens to have the same value lends it nothing."""
    humidity = measured("humidity_pct", 8.0, 4.0)
    usual = evidence_of(steel([LOSS, RATE, LIMIT])).limit

    assert evidence_of(steel([humidity, LOSS, RATE, LIMIT])).limit == usual


@pytest.mark.parametrize("lost", range(3))
def test_without_loss_rate_or_limit_there_is_no_probability(lost: int) -> None:
    """Nothing stands in for what was not measured."""
    tests = [row for number, row in enumerate((LOSS, RATE, LIMIT)) if number != lost]

    assert evidence_of(steel(tests)).limit is None


def test_without_a_date_of_next_access_there_is_no_probability() -> None:
    """Nobody said before when the limit must not be passed."""
    raw = steel([LOSS, RATE, LIMIT])
    raw["zones"][0]["next_access"] = None

    assert evidence_of(raw).limit is None

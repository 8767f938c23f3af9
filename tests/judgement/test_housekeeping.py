"""Listed housekeeping works wherever its table says so, and strikes out nothing beside itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from heritagecheck.judgement.gates.gate import CLEAN, PASSED
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.tables import keyed, rows

Judged = Callable[..., Recommendation]
FINISHES = {"granite_polished": "polished", "brick": "fired", "cast_iron": "cast",
            "wrought_iron": "forged", "riveted_steel": "rolled"}  # fmt: skip
METAL_ANSWERS = {"metal_identity": "confirmed", "engineer_limit": "within"}


def listed_zone(row: dict[str, str], substrate: str, soiling: str, **more: str) -> dict[str, Any]:
    """Columns and findings of a zone that matches one row of the table."""
    metal = keyed("substrates", "substrate")[substrate]["kind"] == "metal"
    findings = {"coating_state": row["coating_states"].split("|")[0], "cause_birds": "none"}
    columns = {
        "substrate": substrate, "finish": FINISHES.get(substrate, "tooled"), "lead": "no",
        "substrate_condition": row["conditions"].split("|")[-1], "soiling": soiling,
        "layers": f"{soiling}=not_valued", "coverage_pct": row["max_cover_pct"],
        "area_m2": row["max_area_m2"], "biotite_pct": "8",
    }  # fmt: skip
    return {
        "findings": findings | (METAL_ANSWERS if metal else {}), "panels": {}, **columns, **more
    }  # fmt: skip


PAIRS = [
    (row, substrate, soiling, significance)
    for row in rows("housekeeping")
    for substrate in row["substrates"].split("|")
    for soiling in row["soilings"].split("|")
    for significance in ("high", "low")
]


@pytest.mark.parametrize(
    ("row", "substrate", "soiling", "significance"),
    PAIRS,
    ids=[f"{pair[0]['row']}-{pair[1]}-{pair[2]}-{pair[3]}" for pair in PAIRS],
)
def test_no_listed_work_fails_by_the_fabric_cap_or_by_an_empty_row(
    judged: Judged, row: dict[str, str], substrate: str, soiling: str, significance: str
) -> None:
    """Gates 6 and 7 pass on every substrate that a row lists, and its harm stays below the cap."""
    found = judged("G11", **listed_zone(row, substrate, soiling, significance=significance))

    assert [found.gates[number].result for number in (5, 6)] == [PASSED, PASSED]
    assert row["row"] in found.gates[6].reason
    assert "exceed the cap" not in found.gates[7].reason
    assert {key.method for key in found.against_leaving} <= set(row["methods"].split("|"))
    assert found.against_leaving


GUANO = [pair for pair in PAIRS if pair[2] == "guano"]


@pytest.mark.parametrize(
    ("row", "substrate", "soiling", "significance"),
    GUANO,
    ids=[f"{pair[0]['row']}-{pair[1]}-{pair[3]}" for pair in GUANO],
)
def test_fresh_guano_is_lifted_wherever_housekeeping_lists_it(
    judged: Judged, row: dict[str, str], substrate: str, soiling: str, significance: str
) -> None:
    """With everything in place the small quantity is cleaned, on metal as on stone."""
    found = judged("G11", **listed_zone(row, substrate, soiling, significance=significance))

    assert found.outcome == CLEAN, found.sentence
    assert found.method in row["methods"].split("|")


def test_a_salt_poultice_is_not_struck_out_by_dry_brushing(judged: Judged) -> None:
    """HK4 speaks of the brush alone; what draws salts out of the wall stays on the table."""
    row = next(row for row in rows("housekeeping") if row["row"] == "HK4")
    found = judged("G11", **listed_zone(row, "brick", "efflorescence"))

    assert "desalination_poultice" not in found.ruled_out
    assert all(stop.rule != "HK4" for stops in found.ruled_out.values() for stop in stops)


def test_a_poultice_whose_panels_pass_is_weighed_beside_the_brush(judged: Judged) -> None:
    """Dry brushing is listed, and the poultice that was tried is held against leaving too."""
    row = next(row for row in rows("housekeeping") if row["row"] == "HK4")
    columns = listed_zone(row, "brick", "efflorescence")
    columns["findings"] |= {"decay": "slow", "decay_cause": "soiling"}
    columns["panels"] = {
        "method": "desalination_poultice", "setting": "clay and cellulose 15 mm, 14 days, 2 cycles",
        "count": "4", "aged_days": "400", "winter": "yes", "control": "yes", "x50_fields": "10",
        "damaged": "0", "residual_pct": "8", "delta_b": "1", "late": "none", "unit": "days",
        "cleaning": "14-14", "damage": "120-", "ladder": "4-120", "each": "5",
    }  # fmt: skip
    columns["not_tried"] = ""
    found = judged("G11", **columns)

    assert ("dry_brush_vacuum", None) in found.against_leaving
    assert "desalination_poultice" in {key.method for key in found.trials}
    assert "desalination_poultice" not in found.ruled_out


def test_housekeeping_that_a_rule_stops_skips_no_trial(judged: Judged) -> None:
    """Where its own methods are ruled out, no other method slips through gate 7 in its place."""
    row = next(row for row in rows("housekeeping") if row["row"] == "HK1")
    found = judged("G11", **listed_zone(row, "granite", "guano") | {"access": "confined"})

    assert "dry_brush_vacuum" in found.ruled_out
    assert found.gates[6].result != PASSED
    assert found.outcome != CLEAN


@pytest.mark.parametrize(("made_of", "listed"), [("later_paint", True), ("limewash", False)])
def test_a_sound_coating_of_value_beneath_the_dirt_is_washed(
    judged: Judged, made_of: str, listed: bool
) -> None:
    """Recording that the paint protects costs no housekeeping; what water takes does."""
    row = next(row for row in rows("housekeeping") if row["row"] == "HK2")
    columns = listed_zone(row, "cast_iron", "general_soiling")
    columns["layers"] = f"general_soiling=not_valued; previous_coating=protective ({made_of})"
    columns["soiling"] = "general_soiling;previous_coating"
    found = judged("G11", **columns)

    assert ("HK2" in found.gates[6].reason) == listed
    assert (found.gates[6].result == PASSED) == listed

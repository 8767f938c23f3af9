"""What speaks against a method on a zone acts as a rule; no prose is left that nobody asks."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from guidance_form import read_cases, rows_of_case

from heritagecheck.evidence.zone_evidence import gather
from heritagecheck.judgement.gates.gate import CLEAN
from heritagecheck.judgement.options import options_for, speaks_of
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Zone
from heritagecheck.tables import codes, rows

Judged = Callable[..., Recommendation]
CASES = {
    case["case_id"]: case
    for case in read_cases(Path(__file__).parent.parent / "guidance" / "guidance_cases.csv")
}
GRANITE = {"substrate": "granite", "finish": "tooled", "biotite_pct": "8"}


def rules_of(
    method: str, base: str, findings: dict[str, str | None], columns: dict[str, str]
) -> set[str]:
    """Rules that stop a method on a guidance case so changed."""
    case = CASES[base] | columns | {"panels": ""}
    said = dict(part.strip().split("=") for part in case["findings"].split(";") if part.strip())
    said |= findings
    case["findings"] = "; ".join(f"{name}={value}" for name, value in said.items() if value)
    survey = build(rows_of_case(case))
    found = options_for(gather(survey, survey.all(Zone)[0]))
    return {
        stop.rule for option in found if option.method == method for stop in option.stops
    }  # fmt: skip


def soiled(soiling: str) -> dict[str, str]:
    """Columns of a zone with one soiling of no value."""
    return {"soiling": soiling, "layers": f"{soiling}=not_valued"}


Zones = dict[str, Any]
TRIED: list[tuple[str, str, str, Zones, Zones, Zones, Zones]] = [
    ("C1", "dry_brush_vacuum", "G11", {"controls": "no"}, {}, {"controls": "yes"}, {}),
    ("C2", "nebulised_water", "G03", {}, GRANITE | soiled("general_soiling"),
     {}, GRANITE | soiled("black_gypsum_crust")),
    ("C3", "desalination_poultice", "G10", {"cause_moisture": "active"}, {},
     {"cause_moisture": "cured"}, {}),
    ("C4", "superheated_steam", "G15", {}, {"substrate_condition": "slightly_weathered"},
     {}, {"substrate_condition": "sound"}),
    ("C5", "hand_tools", "G18", {}, {"substrate_condition": "cracked"},
     {}, {"substrate_condition": "sound"}),
    ("C6", "biocide", "G08", {"cause_moisture": "active"}, {}, {"cause_moisture": "cured"}, {}),
    ("C7", "micro_abrasive_dry", "G03", {},
     GRANITE | {"substrate": "granite_weathered", "substrate_condition": "slightly_weathered"},
     {}, GRANITE | {"substrate": "granite_weathered", "substrate_condition": "sound"}),
    ("C8", "dry_ice", "G03", {"cause_moisture": "active"}, {}, {"cause_moisture": "none"}, {}),
    ("C9", "alkaline", "G12", {}, {}, {}, {"substrate": "limestone"}),
    ("C10", "alkaline", "G10", {}, {"finish": "glazed"}, {}, {"finish": "fired"}),
    ("C11", "alkaline", "G17", {}, {"soiling": "lead_paint;pack_rust",
                                    "layers": "lead_paint=not_valued; pack_rust=not_valued"},
     {}, {}),
    ("C12", "sponge_media", "G03", {}, {"substrate_condition": "slightly_weathered"},
     {}, {"substrate_condition": "sound"}),
    ("C13", "laser_ns_1064", "G03", {"controls": "no"}, {}, {"controls": "yes"}, {}),
    ("C14", "laser_ns_1064", "G04", {}, {}, {}, soiled("black_gypsum_crust")),
    ("C15", "acidic", "G04", {}, GRANITE, {}, GRANITE | soiled("general_soiling")),
    ("C16", "uhp_water", "G22", {}, {}, {}, {"exposure": "exposed", "access": "scaffold"}),
    ("C17", "uhp_water", "G17", {"containment": "no"}, {}, {"containment": "yes"}, {}),
    ("C18", "dry_grit_blast", "G22", {"containment": "no"}, {}, {"containment": "yes"}, {}),
    ("C19", "fluoride_acid", "G06", {}, {"finish": "honed"}, {}, {"finish": "tooled"}),
    ("C20", "fluoride_acid", "G06", {"controls": "no"}, {}, {"controls": "yes"}, {}),
    ("C21", "flame", "G17", {}, {}, {}, {"substrate": "wrought_iron"}),
]  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "method", "base", "findings", "columns", "else_findings", "else_columns"),
    TRIED, ids=[one[0] for one in TRIED],
)  # fmt: skip
def test_a_contraindication_stops_its_method_where_it_holds_and_nowhere_else(
    rule: str,
    method: str,
    base: str,
    findings: dict[str, Any],
    columns: dict[str, str],
    else_findings: dict[str, Any],
    else_columns: dict[str, str],
) -> None:
    """The same zone with and without what speaks against the method."""
    assert rule in rules_of(method, base, findings, columns)
    assert rule not in rules_of(method, base, else_findings, else_columns)


def test_every_contraindication_is_tried() -> None:
    """No row of the table lacks a case above."""
    assert {one[0] for one in TRIED} == {row["rule"] for row in rows("contraindications")}


def test_no_contraindication_is_left_as_prose() -> None:
    """Methods carry no sentence that no rule reads."""
    assert "contraindications" not in rows("methods")[0]


def test_a_laser_is_not_cleared_before_its_controls_are_on_record(judged: Judged) -> None:
    """With passing panels and no controls the work is postponed, never clean."""
    found = judged("G21", findings={"controls": "no"})

    assert any(stop.rule == "C13" and stop.lifts for stop in found.ruled_out["laser_ns_1064"])
    assert found.outcome != CLEAN
    assert judged("G21").outcome == CLEAN


@pytest.mark.parametrize(
    ("method", "words"),
    [("biocide", "no phosphate"), ("solvent_gel_stripper", "bitumen"), ("induction", "cables"),
     ("low_pressure_water", "openings are sealed"), ("alkaline", "aluminium"),
     ("acidic", "metal, window glass"), ("fluoride_acid", "metal, window glass"),
     ("superheated_steam", "thin joints")],
)  # fmt: skip
def test_what_no_record_holds_is_a_hold_point(method: str, words: str) -> None:
    """What can only be seen on the day is asked of the contractor before the first shift."""
    assert method in codes("methods")
    found = [
        row["words"] for row in rows("site_rules")
        if row["kind"] == "hold point" and speaks_of(row["methods"], method)
    ]  # fmt: skip

    assert any(words in said for said in found)

"""A gentle name hides no harsh setting: pressure, medium, hardness, silica, temperature, acid."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from heritagecheck.judgement.gates.panel_requirements import method_limits
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.survey.records.quantities import has, terms_of, units_of
from heritagecheck.tables import keyed, rows

Judged = Callable[..., Recommendation]
WASH = "pressure: 20 bar, temperature: unheated, acid: none"
POWDER = "pressure: 2.5 bar, medium: calcite"


def method_checks(found: Recommendation) -> list[tuple[bool | None, str]]:
    """Answers of the check of the method on the only series."""
    [verdict] = found.trials.values()
    return [(check.holds, check.words) for check in verdict.checks if check.name == "method"]


def of(judged: Judged, method: str, dialled: str, **panels: str) -> Recommendation:
    """Give the mist of case G03 laid by another method, with what was dialled."""
    given = {"method": method, "dialled": dialled, "setting": "gently", **panels}
    return judged("G03", panels=given)


@pytest.mark.parametrize(
    ("method", "dialled"),
    [
        ("low_pressure_water", WASH),
        ("low_pressure_water", "pressure: 400 psi, temperature: 140 °F, acid: none"),
        ("low_pressure_water", "pressure: 2.8 MPa, temperature: 95 °C, acid: none"),
        ("micro_abrasive_dry", POWDER),
        ("micro_abrasive_dry", "pressure: 250 kPa, hardness: 3 Mohs, free_silica: 0 %"),
        ("superheated_steam", "pressure: 10 bar, temperature: 150 °C, acid: none"),
        ("dry_brush_vacuum", "tool: spatula"),
        ("hand_tools", "tool: scalpel"),
        ("poultice_chelating", "acid: citric, ph: 7.5 pH"),
        ("acidic", "acid: phosphoric"),
        ("fluoride_acid", "acid: hydrofluoric"),
        ("dry_ice", "pressure: 6 bar, medium: dry_ice"),
        ("laser_ns_1064", "pulse_duration: 8 ns"),
    ],
)
def test_what_is_dialled_as_the_name_says_is_asked_no_more(
    judged: Judged, method: str, dialled: str
) -> None:
    """Limits belong to the method; whatever the unit."""
    assert method_checks(of(judged, method, dialled)) == []


@pytest.mark.parametrize(
    ("method", "dialled", "said"),
    [
        ("low_pressure_water", WASH.replace("20 bar", "150 bar"),
         "pressure 150 bar is beyond this method (up to 28 bar)"),
        ("low_pressure_water", WASH.replace("20 bar", "1000 psi"),
         "pressure 68.9 bar is beyond this method (up to 28 bar)"),
        ("low_pressure_water", WASH.replace("20 bar", "3 MPa"), "pressure 30 bar is beyond"),
        ("nebulised_water", WASH, "pressure 20 bar is beyond this method (up to 5 bar)"),
        ("low_pressure_water", WASH.replace("unheated", "140 °C"),
         "temperature 140 °C is beyond this method (up to 95 °C or unheated)"),
        ("low_pressure_water", WASH.replace("none", "hydrofluoric"),
         "acid in the product hydrofluoric is beyond this method (none)"),
        ("superheated_steam", "pressure: 50 bar, temperature: 180 °C, acid: none",
         "pressure 50 bar is beyond this method (up to 35 bar)"),
        ("micro_abrasive_dry", POWDER.replace("2.5", "7"), "pressure 7 bar is beyond"),
        ("micro_abrasive_dry", POWDER.replace("calcite", "alumina"),
         "hardness of the medium of alumina 9 Mohs is beyond this method (up to 3 Mohs)"),
        ("micro_abrasive_dry", POWDER.replace("calcite", "sand"),
         "free silica of the medium of sand 95 % is beyond this method (up to 1 %)"),
        ("micro_abrasive_dry", POWDER + ", hardness: 8 Mohs", "8 Mohs is beyond"),
        ("wet_abrasive_lowp", POWDER + ", free_silica: 20 %", "20 % is beyond"),
        ("sponge_media", POWDER.replace("calcite", "garnet"), "garnet 7.5 Mohs is beyond"),
        ("dry_ice", "pressure: 6 bar, medium: steel_grit", "medium steel grit is beyond"),
        ("dry_brush_vacuum", "tool: rotary_wire_brush", "harshest tool that touched"),
        ("hand_tools", "tool: rotary_wire_brush", "rotary wire brush is beyond"),
        ("hand_tools", "tool: wire_brush", "wire brush is beyond"),
        ("acidic", "acid: hydrofluoric", "acid in the product hydrofluoric is beyond"),
        ("acidic", "acid: ammonium_bifluoride", "ammonium bifluoride is beyond"),
        ("alkaline", "acid: other_fluoride", "other fluoride is beyond"),
        ("solvent_gel_stripper", "acid: hydrofluoric", "hydrofluoric is beyond"),
        ("biocide", "acid: hydrofluoric", "hydrofluoric is beyond"),
        ("poultice_chelating", "acid: ammonium_bifluoride, ph: 7 pH", "ammonium bifluoride is"),
        ("poultice_chelating", "acid: none, ph: 2 pH", "pH 2 pH is beyond this method (from 6 pH"),
        ("desalination_poultice", "acid: hydrochloric", "hydrochloric is beyond"),
    ],
)  # fmt: skip
def test_a_harsh_setting_under_a_gentle_name_fails_gate_7(
    judged: Judged, method: str, dialled: str, said: str
) -> None:
    """It is to be recorded as the method it is; the trial of another method says nothing here."""
    found = of(judged, method, dialled)

    assert found.outcome != "clean"
    assert all(holds is False for holds, _ in method_checks(found))
    words = "; ".join(words for _, words in method_checks(found))
    assert said in words
    assert "record it as the method it is" in words


def test_on_iron_a_hand_may_hold_a_wire_brush_and_no_machine_a_wire_cup(judged: Judged) -> None:
    """Wire on metal is practice; a hard wire cup polishes rust and cuts plate."""

    def by(method: str, tool: str) -> list[bool | None]:
        panels = {"method": method, "dialled": f"tool: {tool}", "setting": "as trained"}
        return [holds for holds, _ in method_checks(judged("G21", panels=panels))]

    assert by("hand_tools", "wire_brush") == []
    assert by("hand_tools", "rotary_wire_brush") == [False]
    assert by("power_tools_shrouded", "needles") == []
    assert by("power_tools_shrouded", "wire_cup") == [False]


def test_the_quantity_varied_counts_as_well(judged: Judged) -> None:
    """Panels that ran from 900 to 1000 psi, whatever a row says of 20 bar."""
    found = of(
        judged, "low_pressure_water", WASH, quantity="pressure", unit="psi", cleaning="900-1000"
    )

    assert [words[:24] for _, words in method_checks(found)] == ["pressure 68.9 bar is bey"]


@pytest.mark.parametrize("quantity", ["pressure", "temperature", "acid"])
def test_what_decides_and_is_not_recorded_leaves_the_trial_not_known(
    judged: Judged, rows: Callable[..., Any], quantity: str
) -> None:
    """Its row gone, a clean zone is to be tried first; silence is no gentle setting."""
    raw = rows("G03")
    assert judged(raw).outcome == "clean"
    raw["settings"] = [row for row in raw["settings"] if row["quantity"] != quantity]
    found = judged(raw)

    assert found.outcome == "trial first"
    [(holds, words)] = method_checks(found)
    assert holds is None
    assert "not recorded" in words


def test_a_harsh_row_that_is_lost_never_becomes_a_gentle_one(
    judged: Judged, rows: Callable[..., Any]
) -> None:
    """Not passed becomes not known: losing a record opens nothing."""
    raw = rows("G03", panels={"dialled": "pressure: 3 bar, temperature: unheated, acid: nitric"})
    harsh = judged(raw)
    raw["settings"] = [row for row in raw["settings"] if row["quantity"] != "acid"]
    lost = judged(raw)

    assert [harsh.gates[6].result, lost.gates[6].result] == ["not passed", "not known"]


@pytest.mark.parametrize("case", ["G03", "G11", "G17", "G21", "G05"])
@pytest.mark.parametrize(
    "words",
    ["!", "150 bar, hydrofluoric acid, sand, rotary wire brush", "peak? mean? 3 J/cm2",
     "MIST; 3 BAR", "gentle, low pressure, 1 bar, cold"],
)  # fmt: skip
def test_the_spelling_of_the_sentence_never_changes_an_outcome(
    judged: Judged, rows: Callable[..., Any], case: str, words: str
) -> None:
    """The sentence is for people; only the fields decide."""
    raw = rows(case)
    before = judged(raw)
    for panel in raw["panels"]:
        panel["setting"] = words
    after = judged(raw)

    assert after.outcome == before.outcome
    assert [gate.reason for gate in after.gates] == [gate.reason for gate in before.gates]


def test_every_limit_is_of_a_quantity_that_its_methods_have() -> None:
    """In a unit and in words that the quantity takes, with a reason; on one side or both."""
    methods = keyed("methods", "method")
    for row in rows("setting_limits"):
        named = set(row["limit_of"].split("|"))
        known = {name for one in methods.values() for name in (one["method"], one["family"])}
        assert named <= known, row
        for method in methods.values():
            if named & {method["method"], method["family"]}:
                assert has(method["method"], row["quantity"]), row
        assert (row["unit"] in units_of(row["quantity"])) == bool(row["least"] or row["most"]), row
        assert set(filter(None, row["allowed"].split("|"))) <= set(terms_of(row["quantity"])), row
        assert row["why"], row


def test_a_rule_that_may_hold_is_held() -> None:
    """Of a stone that nobody named, powder must be softer than the softest."""
    unknown = {"kind": frozenset({"masonry"}), "acid_sensitive": None}
    found = method_limits("micro_abrasive_dry", unknown)

    assert {one.most for one in found if one.quantity == "hardness"} == {3, 6}

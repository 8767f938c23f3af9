"""What lies beneath decides which method may act: a valued layer says what it is made of."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from guidance_form import CaseError, read_cases, rows_of_case

import heritagecheck as hc
from heritagecheck import tables
from heritagecheck.evidence.zone_evidence import gather
from heritagecheck.judgement.gates.gate import CLEAN
from heritagecheck.judgement.options import Option, options_for, speaks_of
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Layer, Zone
from heritagecheck.survey.records.structure import WHOLLY_VALUED

Judged = Callable[..., Recommendation]
CASES = {
    case["case_id"]: case
    for case in read_cases(Path(__file__).parent.parent / "guidance" / "guidance_cases.csv")
}
# Nuisance dirt over writing on granite of high significance, with water panels that look good.
WRITING = {
    "substrate": "granite", "substrate_condition": "sound", "significance": "high",
    "finish": "tooled", "biotite_pct": "2", "soiling": "general_soiling;graffiti",
    "deltaE00_visible": "32",
}  # fmt: skip
PANELS = {"method": "low_pressure_water", "soiling": "general_soiling", "setting": "5 bar fan"}


def over(material: str | None) -> dict[str, str]:
    """Columns of dirt over something of value, made of this."""
    words = f" ({material})" if material else ""
    return WRITING | {"layers": f"general_soiling=not_valued; graffiti=significant{words}"}


def water(material: str | None, **columns: str) -> Option:
    """Low-pressure water on such a zone."""
    raw = rows_of_case(CASES["G03"] | over(material) | {"panels": ""} | columns)
    survey = build(raw)
    found = options_for(gather(survey, survey.all(Zone)[0]))
    return next(option for option in found if option.method == "low_pressure_water")


@pytest.mark.parametrize("material", ["pencil", "chalk", "ink", "limewash", "wax", "other"])
def test_water_never_goes_over_what_it_takes(judged: Judged, material: str) -> None:
    """That water leaves spray paint says nothing of pencil beneath the dirt."""
    found = judged("G03", panels=PANELS, **over(material))

    assert any(stop.rule == "R2" for stop in water(material).stops)
    assert found.outcome != CLEAN
    assert found.method != "low_pressure_water"


def test_what_nobody_named_clears_no_method(judged: Judged) -> None:
    """Silence on the material is no answer: not stopped, and not open either."""
    option = water(None)
    found = judged("G03", panels=PANELS, **over(None))

    assert not any(stop.rule == "R2" for stop in option.stops)
    assert any(question.rule == "R2" for question in option.questions)
    assert found.outcome != CLEAN
    assert any("made of" in gap.what for gap in found.gaps)


def test_marks_cut_into_sound_stone_stand_water() -> None:
    """What is cut into the surface is not washed off it."""
    assert not any(
        rule.rule == "R2" for rule in (*water("incised").stops, *water("incised").questions)
    )


@pytest.mark.parametrize("condition", ["slightly_weathered", "friable"])
def test_marks_cut_into_weak_stone_do_not(condition: str) -> None:
    """A surface that loses grains loses its lines with them."""
    assert any(stop.rule == "R2" for stop in water("incised", substrate_condition=condition).stops)


def test_sound_paint_of_value_is_washed_and_failing_paint_is_not() -> None:
    """Whether a film is sound has to be on record."""
    said = CASES["G03"]["findings"].replace("coating_state=none; ", "")
    found = {
        state: water("oil_paint", findings=said + (f"; coating_state={state}" if state else ""))
        for state in ("sound", "failing", "")
    }

    assert not any(stop.rule == "R2" for stop in found["sound"].stops)
    assert any(stop.rule == "R2" for stop in found["failing"].stops)
    assert any(question.rule == "R2" for question in found[""].questions)


def test_a_pair_that_nobody_rated_counts_as_harmed() -> None:
    """Steam over an oxalate patina stands in no row, so it may not act."""
    survey = build(rows_of_case(CASES["G03"] | over("oxalate_patina") | {"panels": ""}))
    found = options_for(gather(survey, survey.all(Zone)[0]))
    steam = next(option for option in found if option.method == "superheated_steam")
    spared = [
        row for row in tables.rows("material_harm")
        if row["material"] == "oxalate_patina" and speaks_of(row["methods"], "superheated_steam")
    ]  # fmt: skip

    assert spared == []
    assert any(stop.rule == "R2" for stop in steam.stops)


def test_a_method_that_takes_the_soiling_takes_the_layer_filed_under_it() -> None:
    """A named material opens nothing that the rated pair closes: biocide kills valued lichen."""
    layers = {"layers": "general_soiling=not_valued; lichen=rare (altered_stone)",
              "soiling": "general_soiling;lichen"}  # fmt: skip
    survey = build(rows_of_case(CASES["G07"] | layers | {"panels": ""}))
    found = options_for(gather(survey, survey.all(Zone)[0]))

    for method in ("biocide", "low_pressure_water"):
        option = next(one for one in found if one.method == method)
        assert any(stop.rule == "R2" for stop in option.stops), method


def test_every_material_that_stands_something_is_a_material() -> None:
    """Rows of what spares a material name a known one, each method at most once."""
    seen = set()
    for row in tables.rows("material_harm"):
        assert row["material"] in tables.codes("materials"), row["row_id"]
        for method in tables.codes("methods"):
            if speaks_of(row["methods"], method):
                assert (row["material"], method) not in seen, row["row_id"]
                seen.add((row["material"], method))


@pytest.mark.parametrize(
    "material",
    ["pencil", "chalk", "gilding", "limewash", "distemper", "soot_marks", "ink", "lichen",
     "render", "other"],
)  # fmt: skip
def test_what_any_touch_may_take_has_no_row(material: str) -> None:
    """No method is cleared over what is powdery, thin, alive or unnamed."""
    assert not [row for row in tables.rows("material_harm") if row["material"] == material]


def test_a_kept_layer_of_lead_paint_beside_no_lead_is_refused() -> None:
    """Both can't be right."""
    case = CASES["G03"] | over("lead_paint")

    survey = build(rows_of_case(case))

    with pytest.raises(hc.SurveyError, match="observation no, lead paint among the soilings"):
        gather(survey, survey.all(Zone)[0])


def test_an_unknown_material_is_refused() -> None:
    """The list is fixed; the form of the cases says so too."""
    row = {"layer": "L", "zone": "Z", "soiling": "graffiti", "value": "significant"}

    with pytest.raises(ValueError, match="not a code of materials"):
        Layer.model_validate(row | {"made_of": "spray"})
    with pytest.raises(CaseError, match="spray is no material"):
        rows_of_case(CASES["G03"] | over("spray"))


def test_the_example_says_what_its_valued_layers_are_made_of() -> None:
    """Every layer of value there carries a material, so check asks nothing of it."""
    survey = hc.demo_survey()

    assert all(layer.made_of for layer in survey.all(Layer) if layer.value in WHOLLY_VALUED)
    assert not any("made of" in what for what in survey.check()["what"])


def test_check_asks_what_a_valued_layer_is_made_of() -> None:
    """Left empty, it is told with what to do."""
    raw: dict[str, Any] = rows_of_case(CASES["G09"])
    found = build(raw).check()

    assert "material not recorded: G09-L2" in set(found["what"])

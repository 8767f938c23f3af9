"""How far panels reach: every layer, steps in their order, the area, the exposure, the years."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from guidance_form import as_named, listing_beds

import heritagecheck as hc
from heritagecheck.evidence.trials.other_panels import what_hinders
from heritagecheck.judgement.gates.panel_requirements import panels_for_area
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.survey.places import build

Judged = Callable[..., Recommendation]
Rows = dict[str, list[dict[str, Any]]]


def checks(found: Recommendation, series: str) -> dict[str, bool | None]:
    """What the checks of one series say."""
    [verdict] = [one for one in found.trials.values() if one.series == series]
    return {check.name: check.holds for check in verdict.checks}


# -- Layers and sequences -----------------------------------------------------------------------


def test_every_layer_to_be_removed_has_its_trial(judged: Judged, rows: Callable[..., Rows]) -> None:
    """Paint over rust: panels that took off the paint show nothing of the rust."""
    raw = rows("G17")
    for panel in raw["panels"]:
        panel["also_treated"] = None
    found = judged(raw)

    assert judged("G17").outcome == "clean"
    assert (found.outcome, found.gates[6].result) == ("trial first", "not known")
    assert "no panel shows the removal of rust" in found.gates[6].reason


def in_two_steps(raw: Rows) -> Rows:
    """Gel takes the paint off, then grit on the same places the rust."""
    done = min(panel["done_on"] for panel in raw["panels"])
    gel = [
        panel | {
            "panel": f"gel-{number}", "series": "gel", "method": "solvent_gel_stripper",
            "setting": "neutral gel, 2 h", "soiling": "lead_paint", "also_treated": None,
            "done_on": done, "read_on": done,
        }
        for number, panel in enumerate(raw["panels"], 1)
    ]  # fmt: skip
    grit = [
        panel | {"soiling": "rust", "also_treated": None, "after_series": "gel"}
        for panel in raw["panels"]
    ]
    zone = raw["zones"][0] | {"panels_laid": len(gel + grit)}
    dialled = as_named("gel", zone["zone"], "solvent_gel_stripper", zone["substrate"])
    return {
        **raw, "zones": [zone], "panels": [*gel, *grit], "settings": [*raw["settings"], *dialled],
    }  # fmt: skip


def test_a_sequence_passes_on_panels_of_that_sequence(
    judged: Judged, rows: Callable[..., Rows]
) -> None:
    """What both steps took off counts, and both stand in the instruction with their cautions."""
    found, frosty = (
        judged(in_two_steps(rows("G17", findings={"frost_possible": frost})))
        for frost in ("no", "yes")
    )

    assert "No water or liquid chemical where freezing is" in frosty.gates[7].reason
    assert found.outcome == "clean"
    assert found.gates[6].reason.startswith("Solvent gel / paint stripper, then Dry grit blasting")
    assert found.instruction is not None
    assert found.instruction.method == "Solvent gel / paint stripper, then Dry grit blasting"
    gel, grit = found.instruction.setting.steps
    assert gel.held.startswith("neutral gel, 2 h")
    assert grit.held.startswith("6 bar")
    assert any("solvent" in str(caution).lower() for caution in found.cautions)


@pytest.mark.parametrize(("words", "holds"), [("hydrofluoric", False), (None, None)])
def test_a_harsh_step_is_not_hidden_behind_a_later_one(
    judged: Judged, rows: Callable[..., Rows], words: str | None, holds: bool | None
) -> None:
    """What was dialled decides in every step: acid in the gel fails the grit that came after it."""
    raw = in_two_steps(rows("G17", findings={"frost_possible": "no"}))
    acid = next(row for row in raw["settings"] if row["series"] == "gel")
    raw["settings"] = [row for row in raw["settings"] if row is not acid]
    raw["settings"] += [] if words is None else [acid | {"words": words}]
    found = judged(raw)

    assert found.outcome == "trial first"
    assert checks(found, "G17-S")["method"] is holds


def test_a_step_without_the_one_before_it_does_not_pass(
    judged: Judged, rows: Callable[..., Rows]
) -> None:
    """Grit was tried on metal stripped by gel; fewer stripped places are another trial."""
    raw = in_two_steps(rows("G17"))
    raw["panels"] = [one for one in raw["panels"] if one["panel"] != "gel-1"]
    raw["zones"][0]["panels_laid"] = len(raw["panels"])
    for panel in raw["panels"]:
        panel["panels_in_series"] -= panel["series"] == "gel"

    found = judged(raw)

    assert found.outcome == "trial first"
    assert checks(found, "G17-S")["sequence"] is None


@pytest.mark.parametrize(
    ("gel", "fault"),
    [
        ({"series": "lime"}, "no panel of that series lies on zone G17"),
        ({"done_on": date(2026, 5, 31), "read_on": date(2026, 5, 31)},
         "its panels were done after this one; give the steps in their order"),
        ({"read_on": date(2026, 6, 1)}, "its panels were read after this step was laid over them"),
    ],
)  # fmt: skip
def test_steps_stand_in_the_order_in_which_they_were_done(
    rows: Callable[..., Rows], gel: dict[str, Any], fault: str
) -> None:
    """What names a missing series, or turns the order round, is refused."""
    raw = in_two_steps(rows("G17"))
    raw["panels"] = [panel | gel if panel["series"] == "gel" else panel for panel in raw["panels"]]

    with pytest.raises(hc.SurveyError, match=fault):
        build(raw)


@pytest.mark.parametrize(
    ("field", "value", "fault"),
    [
        (
            "also_treated",
            "rost",
            "not in the list of soilings: rost. Write any of: general_soiling",
        ),
        ("after_series", "G17-S", "a series can't come after itself"),
    ],
)
def test_layers_and_steps_are_named_by_their_codes(
    rows: Callable[..., Rows], field: str, value: str, fault: str
) -> None:
    """A slip is refused with what is allowed."""
    raw = rows("G17")
    for panel in raw["panels"]:
        panel[field] = value

    with pytest.raises(hc.SurveyError, match=fault):
        build(raw)


# -- Area and exposure --------------------------------------------------------------------------


@pytest.mark.parametrize(("area", "panels"), [(1, 1), (100, 1), (101, 2), (900, 3), (20_000, 15)])
def test_panels_grow_with_the_square_root_of_the_area(area: float, panels: int) -> None:
    """Common practice, one panel for 100 m²: two panels do not speak for 20,000 m²."""
    assert panels_for_area(area) == panels


def test_the_area_is_that_of_all_zones_for_which_the_panels_speak(
    judged: Judged, rows: Callable[..., Rows]
) -> None:
    """A wall cut into many zones is as large as before; a zone of another bed is not of it."""
    raw = rows("G03")
    first = raw["zones"][0] | {"bed_or_system": "top bed"}
    many = [first] + [
        first | {"zone": f"Z{number}", "panels_laid": 0, "area_m2": 1000} for number in range(4)
    ]
    apart = [many[0], *(zone | {"bed_or_system": "lower bed"} for zone in many[1:])]
    panels = len(raw["panels"])

    large, small = judged({**raw, "zones": many}), judged({**raw, "zones": apart})

    assert panels < 7
    assert checks(large, "G03-S")["area"] is False
    assert f"{panels} panels for 4,018 m² (7 required)" in large.gates[6].reason
    assert large.outcome == "trial first"
    assert small.outcome == "clean"


def test_panels_on_another_exposure_do_not_speak(rows: Callable[..., Rows]) -> None:
    """Soiling in the shelter is not that of the washed face: each has its own panels."""
    raw = rows("G03")
    sheltered = raw["zones"][0] | {"bed_or_system": "top bed"}
    washed = sheltered | {"zone": "Z2", "exposure": "rain_washed", "panels_laid": 0}
    tested, zone = build(listing_beds({**raw, "zones": [sheltered, washed]})).records["zones"]

    assert what_hinders(tested, zone) == "another exposure"


# -- Years --------------------------------------------------------------------------------------


def years_ago(day: date, years: int) -> date:
    """Same day some years before."""
    return day.replace(year=day.year - years)


def test_panels_read_too_long_ago_are_not_known(judged: Judged, rows: Callable[..., Rows]) -> None:
    """Five years: late effects are looked for at each inspection (common practice)."""
    raw = rows("G03")
    for panel in raw["panels"]:
        panel |= {"done_on": years_ago(panel["done_on"], 6), "read_on": date(2020, 6, 1)}
    found = judged(raw)

    assert found.outcome == "trial first"
    assert checks(found, "G03-S")["too old"] is None


@pytest.mark.parametrize(
    ("topic", "gate", "outcome"),
    [
        ("decay", 2, "leave and monitor"), ("cause_iron", 3, "trial first"),
        ("stone_jacking", 4, "trial first"), ("consent", 8, "leave and monitor"),
    ],
)  # fmt: skip
def test_a_gate_does_not_pass_on_an_old_answer(
    judged: Judged, rows: Callable[..., Rows], topic: str, gate: int, outcome: str
) -> None:
    """What was seen six years ago is asked again, and survey.check() says so."""
    raw = rows("G03")
    for answer in raw["observations"]:
        if answer["topic"] == topic:
            answer["seen_on"] = date(2020, 5, 31)
    found = judged(raw)

    assert (found.outcome, found.deciding_gate.number) == (outcome, gate)
    assert "too old to rest on, so look again" in found.deciding_gate.reason
    assert "too old: 1 of observations" in build(raw).check()["what"].to_string()


def test_what_an_old_record_holds_back_stays_held_back(
    judged: Judged, rows: Callable[..., Rows]
) -> None:
    """Rust does not go away by being forgotten; what a coating is made of does not change."""
    raw = rows("G03", findings={"stone_jacking": "yes"})
    lasting = rows("G03")
    for answer in raw["observations"]:
        answer["seen_on"] = date(2020, 5, 31)
    for answer in lasting["observations"]:
        if answer["topic"] in {"polychromy", "lead"}:
            answer["seen_on"] = date(2010, 5, 31)

    assert judged(raw).gates[3].result == "not passed"
    assert judged(raw).gates[3].outcome == "leave and monitor"
    assert judged(lasting).outcome == "clean"

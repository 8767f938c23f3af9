"""Worse evidence never reads milder: one record made worse or lost, and nothing opens by it.

Towards cleaning means: more of the fabric may be touched. Nothing is touched where a zone is left,
watched or looked into first; a trial touches a panel; a zone that waits at gate 8 has panels that
pass; then it is cleaned. Nor may one record made worse turn *leave and monitor* into *leave*, but
where the change that was watched is that of the very layer now found to be of value; nor may it
send somebody to investigate what is known to stop.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from guidance_form import rows_of_case
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st
from tiers import examples

import heritagecheck as hc
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.survey.records.structure import same_bed, stone_of
from heritagecheck.tables import keyed

from .mutated import CONDITIONS, SIGNIFICANCES, blind, guidance, judged, quillmere

Rows = dict[str, list[dict[str, Any]]]
# Answers, from any better one to the worst; a reason to act is no evidence and is not among them.
WORSE = {
    "cause_moisture": "active", "cause_iron": "active", "cause_salts": "active",
    "cause_birds": "active", "joints": "open", "frost_possible": "yes", "season": "unsuitable",
    "consent": "refused", "controls": "no", "containment": "no", "polychromy": "present",
    "metal_identity": "presumed", "engineer_limit": "beyond", "falling_material": "yes",
    "stone_jacking": "yes", "closed_plan": "no", "remote_access": "not_shown",
    "member_released": "no", "interior_seen": "no", "coating_order": "no",
}  # fmt: skip
OF_PANELS = {
    "winter_included": (None, "no"), "control_kept": (None, "no"), "x50_fields_weakest": (None,),
    "damaged_fields": (None, 10), "residual_pct": (None, 60), "delta_b": (None, 12),
    "late_effects": (None, "salts"), "grade_reached": (None, "no"), "spots_laid": (None,),
}  # fmt: skip
BELOW = {"depth_removed_um", "roughness_change_pct"}
VALUES = ("not_assessed", "partly", "significant", "protective", "rare", "original_surface")
STOPS = (2, 3, 4)
CASES = guidance() | blind()


def touched(found: Recommendation) -> float:
    """How much of the fabric an outcome lets anybody touch."""
    gate = found.deciding_gate
    if gate is None:
        return 3
    if gate.number == 8:
        return 2
    return 1 if found.outcome == "trial first" and gate.number == 7 else 0


def worsenings(raw: Rows) -> Iterator[tuple[str, Rows]]:
    """Every single record of the first zone made worse, or lost."""
    yield from answers_made_worse(raw)
    yield from zone_made_worse(raw)
    yield from panels_made_worse(raw)
    for number, test in enumerate(raw["site_tests"]):
        yield f"{test['quantity']} lost", without(raw, "site_tests", number)
        if test["quantity"] in BELOW:
            not_told = {"value": None, "spread": None, "not_measured_because": "too little of it"}
            for worse in ({"spread": None}, {"value": 60}, not_told):
                yield f"{test['quantity']} {worse}", but(raw, "site_tests", number, **worse)
    yield "closing day lost", but(raw, "structure", 0, survey_date=None)


def answers_made_worse(raw: Rows) -> Iterator[tuple[str, Rows]]:
    """Answers lost, or the worst there is."""
    for number, one in enumerate(raw["observations"]):
        yield f"{one['topic']} lost", without(raw, "observations", number)
        worse = WORSE.get(one["topic"])
        if worse is not None and worse != one["finding"]:
            yield f"{one['topic']} {worse}", but(raw, "observations", number, finding=worse)


def zone_made_worse(raw: Rows) -> Iterator[tuple[str, Rows]]:
    """A weaker or unknown substrate, more at stake, less known of stone, panels and layers."""
    zone = raw["zones"][0]
    order = (*CONDITIONS[keyed("substrates", "substrate")[zone["substrate"]]["kind"]],
             "not_assessed")  # fmt: skip
    if zone["condition"] in order:
        for condition in order[order.index(zone["condition"]) + 1 :]:
            yield condition, but(raw, "zones", 0, condition=condition)
    for grade in SIGNIFICANCES[SIGNIFICANCES.index(zone["significance"]) + 1 :]:
        yield grade, but(raw, "zones", 0, significance=grade)
    for field in ("biotite_pct", "panels_laid", "bed_or_system", "not_tried"):
        if zone.get(field) is not None:
            yield f"{field} lost", but(raw, "zones", 0, **{field: None})
    for number, layer in enumerate(raw["layers"]):
        if layer["zone"] == zone["zone"] and layer["value"] == "not_valued":
            for value in VALUES:
                yield f"layer {value}", but(raw, "layers", number, value=value)


def panels_made_worse(raw: Rows) -> Iterator[tuple[str, Rows]]:
    """One value of all panels of a series lost, or against its method."""
    for series in sorted({panel["series"] for panel in raw["panels"]}):
        laid = [panel for panel in raw["panels"] if panel["series"] == series]
        for field, values in OF_PANELS.items():
            for value in values:
                if all(panel.get(field) == value for panel in laid):
                    continue  # it was so before
                panels = [
                    panel | {field: value} if panel["series"] == series else panel
                    for panel in raw["panels"]
                ]
                yield f"{series} {field} {value}", {**raw, "panels": panels}


def but(raw: Rows, table: str, number: int, **changes: Any) -> Rows:
    """Rows with one of them changed."""
    kept = list(raw[table])
    kept[number] = kept[number] | changes
    return {**raw, table: kept}


def without(raw: Rows, table: str, number: int) -> Rows:
    """Rows without one of them."""
    return {**raw, table: [*raw[table][:number], *raw[table][number + 1 :]]}


def holds_for(before: Recommendation, after: Recommendation, what: str) -> None:
    """Hold what was said after a worsening against what was said before."""
    said = f"{what}: {before} | {after}"
    assert touched(after) <= touched(before), said
    own = after.deciding_gate is not None and after.deciding_gate.number == 1
    if before.outcome == "leave and monitor" and not own:
        assert after.outcome != "leave", said
    stop = before.deciding_gate
    if stop is not None and stop.number in STOPS and stop.result == "not passed":
        still = after.gates[stop.number - 1].result == "not passed"
        if still and after.evidence.layers_complete:
            assert after.outcome != "trial first", said


def zone_of_the_example(code: str) -> Rows:
    """One zone of the example survey, with the zones of its bed that hold panels."""
    raw = quillmere()
    zones = {zone["zone"]: zone for zone in raw["zones"]}
    tested = {panel["zone"] for panel in raw["panels"]}
    alike = [
        other
        for other in tested - {code}
        if stone_of(zones[other]["substrate"]) == stone_of(zones[code]["substrate"])
        and same_bed(zones[other]["bed_or_system"], zones[code]["bed_or_system"])
    ]
    kept = [code, *sorted(alike)]
    found = {
        table: [row for row in rows if row.get("zone") is None or row["zone"] in kept]
        for table, rows in raw.items()
    }
    sessions = {row["session"] for row in found["readings"]}
    return found | {
        "zones": [zones[one] for one in kept],
        "tile_readings": [row for row in raw["tile_readings"] if row["session"] in sessions],
    }


ZONES = tuple(zone["zone"] for zone in quillmere()["zones"])


@settings(max_examples=examples(12, long=80))
@given(st.data())
def test_one_record_of_the_example_made_worse_opens_nothing(data: st.DataObject) -> None:
    """Any of its zones, any one record of it or of the zones whose panels speak for it."""
    raw = zone_of_the_example(data.draw(st.sampled_from(ZONES)))
    what, worse = data.draw(st.sampled_from(list(worsenings(raw))))
    try:
        before, after = judged(raw), judged(worse)
    except hc.SurveyError:
        assume(False)
    event(f"{before.outcome} → {after.outcome}")

    holds_for(before, after, what)


@settings(max_examples=examples(60, long=10))  # the long test below tries them all
@given(st.data())
def test_one_record_made_worse_opens_nothing(data: st.DataObject) -> None:
    """Any guidance case, any one of its records."""
    case = CASES[data.draw(st.sampled_from(sorted(CASES)))]
    raw = rows_of_case(case)
    what, worse = data.draw(st.sampled_from(list(worsenings(raw))))
    before = judged(raw)
    try:
        after = judged(worse)
    except hc.SurveyError:
        assume(False)
    event(f"{before.outcome} → {after.outcome}")

    holds_for(before, after, what)


@pytest.mark.long
@pytest.mark.parametrize("code", sorted(CASES))
def test_no_single_worsening_of_a_case_opens_anything(code: str) -> None:
    """All of them, one after another."""
    raw = rows_of_case(CASES[code])
    before = judged(raw)
    tried = 0
    for what, worse in worsenings(raw):
        try:
            after = judged(worse)
        except hc.SurveyError:
            continue
        tried += 1
        holds_for(before, after, f"{code}, {what}")

    assert tried >= 10


def test_the_worsenings_reach_what_they_should() -> None:
    """From cases that are cleaned, most single worsenings lead away from it."""
    raw = rows_of_case(guidance()["G03"])
    lost = [judged(worse).outcome for what, worse in worsenings(raw) if what.endswith("lost")]

    assert lost.count("clean") < len(lost) / 2

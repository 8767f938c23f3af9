"""What feeds a zone and what stands beside it: sources named by hand, joints, stone below."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from heritagecheck.errors import SurveyError
from heritagecheck.judgement.recommendation import Recommendation

Judged = Callable[..., Recommendation]
Rows = Callable[..., dict[str, list[dict[str, Any]]]]
GRANITE = {"substrate": "granite", "layers": "iron_stain=not_valued", "biotite_pct": "2"}
ACID, CHELANT = "acidic", "poultice_chelating"


def rules_on(found: Recommendation, method: str) -> set[str]:
    """Rules that rule a method out."""
    return {stop.rule for stop in found.ruled_out.get(method, ())}


def hangs_on(found: Recommendation, method: str) -> set[str]:
    """Rules of a method that hang on something not recorded."""
    return {question.rule for question in found.undecided.get(method, ())}


def without(raw: dict[str, list[dict[str, Any]]], topic: str) -> dict[str, list[dict[str, Any]]]:
    """Plain rows without the answer to one question."""
    kept = [row for row in raw["observations"] if row["topic"] != topic]
    return {**raw, "observations": kept}


def test_other_sources_must_be_asked_about(rows: Rows, judged: Judged) -> None:
    """Without a look for copper, residues and the like gate 3 is not known."""
    gate = judged(without(rows("G03"), "cause_other")).gates[2]

    assert (gate.result, gate.outcome) == ("not known", "trial first")
    assert "copper run-off, residues of an earlier treatment" in gate.reason


def test_a_green_stain_is_cured_only_with_its_copper(rows: Rows, judged: Judged) -> None:
    """A source of iron that is cured does not cure the copper."""
    raw = rows(
        "G03", layers="copper_stain=not_valued", soiling="copper_stain",
        findings={"stain_disfigures": "yes", "decay": "none", "decay_cause": "none",
                  "detail_hidden": "no", "cause_iron": "cured", "cause_other": "cured"},
    )  # fmt: skip
    other = next(row for row in raw["observations"] if row["topic"] == "cause_other")
    other["note"] = "run-off of the copper roof"
    reason = "remove a disfiguring stain whose source is cured, as agreed"
    assert reason in judged(raw).gates[1].reason
    assert judged(raw).gates[1].result == "passed"

    other["finding"] = "none"

    assert judged(raw).gates[1].result == "not known"


def test_a_source_named_by_hand_stops_under_its_own_name(rows: Rows, judged: Judged) -> None:
    """It stands in the note, and gate 3 calls it that."""
    raw = rows("G03", findings={"cause_other": "active"})
    named = next(row for row in raw["observations"] if row["topic"] == "cause_other")
    named["note"] = "soot from the boiler flue"

    gate = judged(raw).gates[2]

    assert gate.result == "not passed"
    assert gate.reason == "still active: soot from the boiler flue; cure this first"


def test_a_source_by_hand_needs_its_name(rows: Rows, judged: Judged) -> None:
    """Without the note nobody knows what is to be cured."""
    raw = rows("G03", findings={"cause_other": "active"})
    next(row for row in raw["observations"] if row["topic"] == "cause_other")["note"] = None

    with pytest.raises(SurveyError, match=r"note.*name the other source here"):
        judged(raw)


@pytest.mark.parametrize("finding", ["active", "incurable"])
def test_no_water_for_a_wall_that_stays_damp(judged: Judged, finding: str) -> None:
    """Damp that nobody can cure bars water as active damp does."""
    assert "R15" in rules_on(judged("G03", findings={"cause_moisture": finding}), "nebulised_water")
    assert "R15" not in rules_on(judged("G03", findings={"cause_moisture": "cured"}),
                                 "nebulised_water")  # fmt: skip


@pytest.mark.parametrize(
    ("findings", "acid", "chelant"),
    [
        ({"pointing": "lime", "carbonate_near": "no"}, "ruled out", "hangs"),
        ({"pointing": "cement", "carbonate_near": "yes"}, "ruled out", "hangs"),
        ({"pointing": "cement", "carbonate_near": "no"}, "free", "free"),
        ({"pointing": None, "carbonate_near": "no"}, "hangs", "hangs"),
        ({"pointing": "cement", "carbonate_near": None}, "hangs", "hangs"),
    ],
)
def test_acid_and_chelants_ask_what_joints_and_neighbours_are_made_of(
    judged: Judged, findings: dict[str, str | None], acid: str, chelant: str
) -> None:
    """Lime that acid can reach rules it out; not knowing leaves it not known (NPS-PB38)."""
    for method, rule, said, layer in (
        (ACID, "HS1", acid, "general_soiling"), (CHELANT, "R16", chelant, "iron_stain"),
    ):  # fmt: skip
        layers = f"{layer}=not_valued"
        found = judged("G03", findings=findings, panels={}, substrate="brick", layers=layers)

        assert (rule in rules_on(found, method)) == (said == "ruled out")
        assert (rule in hangs_on(found, method)) == (said == "hangs")


@pytest.mark.parametrize(("damaged", "stopped"), [("0", False), ("4", True)])
def test_panels_that_take_in_the_joint_answer_it(
    rows: Rows, judged: Judged, damaged: str, stopped: bool
) -> None:
    """Unharmed they lift the question for the chelant; harmed they rule it out."""
    raw = rows(
        "G03", findings={"pointing": "lime", "carbonate_near": "no"},
        panels={"method": CHELANT, "damaged": damaged, "soiling": "iron_stain"}, **GRANITE,
    )  # fmt: skip
    for panel in raw["panels"]:
        panel["joint_included"] = "yes"

    found = judged(raw)

    assert ("R16" in rules_on(found, CHELANT)) == stopped
    assert "R16" not in hangs_on(found, CHELANT)


def test_fluoride_beside_glass_is_stopped(judged: Judged) -> None:
    """It etches glass and glaze in the splash."""
    findings = {"pointing": "cement", "carbonate_near": "no", "glass_near": "yes"}

    assert "HS3" in rules_on(judged("G03", findings=findings, panels={}, **GRANITE),
                             "fluoride_acid")  # fmt: skip


def test_wire_is_barred_by_name_and_hand_tools_are_not(judged: Judged) -> None:
    """The contractor reads it on every masonry zone (MO-913); scalpels on brick stay possible."""
    found = judged("G03")
    brick = judged("G03", substrate="brick", layers="general_soiling=not_valued", panels={})

    assert found.instruction is not None
    assert "Wire brush or wire wheel, by hand or by machine" in found.instruction.forbidden
    assert not any(stop.hard for stop in brick.ruled_out.get("hand_tools", ()))


def test_weathered_granite_is_not_sound_granite(judged: Judged) -> None:
    """A rating taken over from the sound stone is raised by the table's own figure."""
    changes = {"layers": "algae=not_valued", "panels": {}, "biotite_pct": "2"}
    sound = judged("G03", substrate="granite", **changes)
    weathered = judged("G03", substrate="granite_weathered", **changes)

    def fabric(found: Recommendation) -> float:
        return found.against_leaving["biocide", None].harm["fabric"][0]

    assert fabric(weathered) > fabric(sound) + 1


@pytest.mark.parametrize(("agreed", "harm"), [("as_reference", 7.0), ("as_today", 0.0)])
def test_the_colour_of_paint_does_not_decide_what_graffiti_harms(
    judged: Judged, agreed: str, harm: float
) -> None:
    """A pale tag is as much at odds with the agreed appearance as a black one (harm scale, 8)."""
    changes = {"layers": "graffiti=not_valued", "panels": {}, "biotite_pct": "2"}
    found = judged(
        "G03", substrate="granite", deltaE00_visible="3",
        findings={"agreed_appearance": agreed}, **changes,
    )  # fmt: skip
    low, _, _ = found.harm_of_leaving["appearance"]

    assert low >= harm if harm else low == 0

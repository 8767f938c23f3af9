"""A trace of lead is known, and is not lead-free: cautions, an assessment, what that finds."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

import heritagecheck as hc
from heritagecheck import tables
from heritagecheck.judgement.gates.gate import CLEAN, MONITOR, NOT_KNOWN, PASSED, TRIAL
from heritagecheck.judgement.recommendation import Recommendation

Judged = Callable[..., Recommendation]
CHIPS = {
    "lead_detection_limit_pct": "0.005", "lead_full_depth": "yes", "coatings": "1", "lead": "",
    "layers": "previous_coating=not_valued; rust=not_valued",
    "soiling": "previous_coating;rust",
}  # fmt: skip
WITH_TRACE = CHIPS | {"lead_lab_pct": "0.45,0.2"}
NONE = CHIPS | {"lead_lab_pct": "0,0"}


def of(judged: Judged, columns: dict[str, str], **findings: str | None) -> Recommendation:
    """The blast panel of the lower chord, on paint of which chips were taken."""
    return judged("G17", panels={"soiling": "previous_coating+rust"}, findings=findings, **columns)


def weighed(judged: Judged, rows: Any, **findings: str | None) -> Recommendation:
    """The same with a trace, judged by a team that is less cautious, so that gate 8 goes on."""
    raw = rows("G17", panels={"soiling": "previous_coating+rust"}, findings=findings, **WITH_TRACE)
    raw["policy"][0]["alpha"] = 0.45
    return judged(raw)


def test_a_trace_passes_gate_5_on_a_condition(judged: Judged) -> None:
    """It is known what is there; the task is assessed before anybody begins."""
    gate = of(judged, WITH_TRACE).gates[4]

    assert (gate.result, gate.outcome) == (PASSED, None)
    assert gate.reason.startswith("a trace of lead")
    assert any("exposure assessment" in words for words in gate.conditions)


def test_chips_that_held_none_pass_gate_5_without(judged: Judged) -> None:
    """Nothing more is asked of a coating that was shown to hold no lead."""
    gate = of(judged, NONE).gates[4]

    assert gate.reason.startswith("no lead")
    assert not gate.conditions


@pytest.mark.parametrize(
    ("findings", "outcome", "said"),
    [
        ({}, MONITOR, "not recorded: lead exposure"),
        ({"lead_exposure": "below_action_level", "containment": None}, CLEAN, ""),
        ({"lead_exposure": "above_action_level"}, CLEAN, ""),
        ({"lead_exposure": "above_action_level", "containment": "no"}, MONITOR, ""),
        ({"lead_exposure": "above_action_level", "containment": None}, TRIAL, ""),
    ],
    ids=str,
)
def test_the_exposure_assessment_decides_on_containment(
    judged: Judged, rows: Any, findings: dict[str, str | None], outcome: str, said: str
) -> None:
    """Unassessed work waits; above the action level it needs containment, below it does not."""
    found = weighed(judged, rows, **findings)

    assert found.outcome == outcome
    assert said in found.gates[7].reason


@pytest.mark.parametrize("lead", ["yes", "trace"])
def test_a_trace_brings_every_caution_that_lead_brings(judged: Judged, lead: str) -> None:
    """Cautions for workers do not end at 0.5 %; a trace brings one more."""
    columns = WITH_TRACE if lead == "trace" else CHIPS | {"lead": "yes"}
    hazards = {caution.hazard for caution in of(judged, columns).cautions}

    assert "Lead" in hazards
    assert ("A trace of lead" in hazards) == (lead == "trace")


def test_no_rule_speaks_of_lead_that_leaves_a_trace_out() -> None:
    """Wherever a caution, rule or rating asks whether lead is there, a trace has its own row."""
    for name in ("cautions", "site_rules"):
        asked = [row["when"] for row in tables.rows(name) if "lead=" in row["when"]]
        assert any("trace" in when for when in asked), name
    treating = [
        row for row in tables.rows("harm_ratings")
        if row["option"] == "treat" and "lead=" in row["when"]
    ]  # fmt: skip
    for criterion in {row["criterion"] for row in treating}:
        assert any("lead=trace" in row["when"] for row in treating if row["criterion"] == criterion)


def test_the_contractor_is_told_of_a_trace(judged: Judged, rows: Any) -> None:
    """The assessment is a hold point before the first shift."""
    found = weighed(judged, rows, lead_exposure="above_action_level")

    assert found.instruction is not None
    assert any("exposure assessment for lead" in rule for rule in found.instruction.hold_points)


@pytest.mark.parametrize(
    ("findings", "stopped"),
    [({"containment": "no"}, True), ({"containment": "yes"}, False),
     ({"containment": "no", "lead_exposure": "below_action_level"}, False)],
    ids=str,
)  # fmt: skip
def test_dust_with_a_trace_of_lead_is_contained_until_it_is_assessed(
    judged: Judged, findings: dict[str, str], stopped: bool
) -> None:
    """Without an assessment, or above the action level, dust needs containment."""
    stops = of(judged, WITH_TRACE, **findings).ruled_out.get("dry_grit_blast", ())

    assert any(stop.rule == "R8" for stop in stops) == stopped


def test_flame_is_never_put_to_a_trace_of_lead(judged: Judged) -> None:
    """Flame makes fume of whatever lead there is."""
    assert any(stop.rule == "HS9" for stop in of(judged, WITH_TRACE).ruled_out["flame"])


@pytest.mark.parametrize("pct", ["0.009", "0.06", "0.45", "0.499"])
def test_a_trace_is_no_housekeeping(judged: Judged, pct: str) -> None:
    """Painted iron is washed as housekeeping only where its paint was shown to hold no lead."""
    washed = {
        **CHIPS, "layers": "general_soiling=not_valued", "soiling": "general_soiling",
        "coverage_pct": "40", "substrate_condition": "sound",
    }  # fmt: skip
    findings = {"coating_state": "sound"}
    free = judged("G17", panels={}, findings=findings, **washed | {"lead_lab_pct": "0"})
    trace = judged("G17", panels={}, findings=findings, **washed | {"lead_lab_pct": pct})

    assert "housekeeping" in free.gates[6].reason
    assert trace.gates[6].result == NOT_KNOWN


def test_an_answer_alone_on_paint_is_asked_further(judged: Judged) -> None:
    """The gap says what would settle it."""
    columns = {**CHIPS, "coatings": "", "lead_detection_limit_pct": "", "lead_full_depth": ""}
    found = of(judged, columns, lead="no")

    assert "answered no, but not shown by full-depth chips" in found.gates[4].reason
    assert any(gap.what == "Lead in the coating" for gap in found.gaps)


def test_chips_of_which_too_little_is_known_say_what_is_missing(judged: Judged) -> None:
    """Today's result of 0.45 % without depth or count is no trace yet."""
    columns = {**WITH_TRACE, "coatings": "", "lead_full_depth": ""}
    reason = of(judged, columns).gates[4].reason

    assert "laboratory up to 0.45 %" in reason
    assert "goes down to the substrate" in reason
    assert "how many coatings" in reason


def test_the_example_has_a_trace() -> None:
    """Aluminium paint of 1998 with up to 0.06 % is known, and its cautions stand."""
    found = hc.assess(hc.demo_survey(), zones=["T09"]).zone("T09")

    assert found.evidence.lead == "trace"
    assert {"Lead", "A trace of lead"} <= {caution.hazard for caution in found.cautions}

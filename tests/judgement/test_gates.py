"""Each gate: passed, not passed, not known; its outcome, its reason, the records it rests on."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest

from heritagecheck.judgement.gates.gate import QUESTIONS
from heritagecheck.judgement.gates.sequence import outcome_of
from heritagecheck.judgement.recommendation import Recommendation

Judged = Callable[..., Recommendation]
Rows = dict[str, list[dict[str, Any]]]
PASSED, NOT_PASSED, NOT_KNOWN = "passed", "not passed", "not known"
LEAVE, MONITOR, TRIAL, CLEAN = "leave", "leave and monitor", "trial first", "clean"
NO_DECAY = {"decay": "none", "decay_cause": "none"}
TO_ACT = "it is not recorded whether there is a reason to act, such as to "
NO_REASON = NO_DECAY | {"detail_hidden": "no", "other_reason": "none"}
STAIN = {"layers": "iron_stain=not_valued", "soiling": "iron_stain"}
# Consent and agreed appearance stand in G03.
SPOILT = NO_REASON | {"stain_disfigures": "yes", "cause_iron": "cured"}
DUST = {"layers": "general_soiling=not_valued", "soiling": "general_soiling"}
# Two layers are soiling of no value over rust: only the upper one would be removed.
COATED = {"layers": "lead_paint=not_valued; rust=original_surface"}


def case(
    gate: int, result: str, outcome: str | None, reason: str, code: str = "G03", **changes: Any
) -> Any:
    """One line of the table below, named after the reason."""
    return pytest.param(gate, result, outcome, reason, code, changes, id=f"{gate}: {reason}")


TABLE = [
    # 1 What would be removed is not itself of value
    case(1, PASSED, None, "recorded as of no value in itself: black crust"),
    case(1, NOT_PASSED, LEAVE, "is itself recorded as significant",
         layers="black_gypsum_crust=significant", findings=NO_DECAY),
    case(1, NOT_PASSED, LEAVE, "is itself recorded as rare", layers="lichen=rare",
         soiling="lichen", findings=NO_DECAY),
    case(1, NOT_PASSED, LEAVE, "is itself recorded as original surface",
         layers="film=original_surface", soiling="film", findings=NO_DECAY),
    case(1, NOT_PASSED, LEAVE, "the encrustation is itself recorded as protective",
         layers="encrustation=protective", soiling="encrustation", findings=NO_DECAY),
    case(1, NOT_PASSED, MONITOR, "the lead paint is itself recorded as protective", code="G17",
         layers="lead_paint=protective", findings=NO_DECAY | {"coating_state": "sound"}),
    case(1, NOT_PASSED, MONITOR, "is itself recorded as significant",
         layers="black_gypsum_crust=significant", findings={"decay": "slow"}),
    case(1, NOT_PASSED, MONITOR, "recorded as significant",
         layers="black_gypsum_crust=significant", findings={"decay": None}),
    case(1, NOT_KNOWN, TRIAL, "not assessed whether it is of value: black crust",
         layers="black_gypsum_crust=not_assessed"),
    case(1, NOT_KNOWN, TRIAL, "not assessed whether it is of value: rust", code="G17",
         layers="lead_paint=not_valued; rust=not_assessed"),
    case(1, PASSED, None, "of no value in itself: lead paint", code="G17", **COATED),
    # 2 A reason to act
    case(2, PASSED, None, "halt the decay that the soiling drives"),
    case(2, PASSED, None, "remove heavy soiling that hides form", findings=NO_DECAY),
    case(2, PASSED, None, "remove nuisance graffiti", layers="graffiti=not_valued",
         soiling="graffiti", findings=NO_REASON),
    case(2, PASSED, None, "inspect, repair or protect health",
         findings=NO_REASON | {"other_reason": "inspection"}),
    case(2, PASSED, None, "renew a failing coating, with re-coating ordered", code="G17",
         findings=NO_DECAY),
    case(2, PASSED, None, "listed housekeeping", code="G11", findings={"other_reason": "none"}),
    case(2, PASSED, None, "remove a disfiguring stain whose source is cured", findings=SPOILT,
         **STAIN),
    case(2, NOT_PASSED, LEAVE, "no decay", findings=SPOILT | {"stain_disfigures": "no"}, **STAIN),
    case(2, NOT_PASSED, LEAVE, "no decay", findings=SPOILT | {"consent": "applied"}, **STAIN),
    case(2, NOT_PASSED, LEAVE, "no decay", findings=SPOILT | {"agreed_appearance": "as_today"},
         **STAIN),
    case(2, NOT_PASSED, MONITOR, "no decay", findings=SPOILT | {"cause_iron": "active"}, **STAIN),
    case(2, NOT_KNOWN, MONITOR, "remove a disfiguring stain", **STAIN,
         findings=SPOILT | {"cause_iron": "none"}),
    case(2, NOT_KNOWN, MONITOR, "remove a disfiguring stain", **STAIN,
         findings=SPOILT | {"consent": None}),
    case(2, NOT_PASSED, LEAVE, "the owner's wish is on record but is not a reason by itself",
         findings=NO_REASON | {"owner_wish": "yes"}, **DUST),
    case(2, NOT_PASSED, LEAVE, "colour difference 32 ΔE00 alone is not a reason",
         findings=NO_REASON, **DUST),
    case(2, NOT_PASSED, MONITOR, "no decay that removal would halt", findings=NO_REASON),
    case(2, NOT_PASSED, MONITOR, "no decay that removal would halt",
         findings=NO_REASON | {"decay": "slow", "decay_cause": "other"}, **DUST),
    case(2, NOT_PASSED, MONITOR, "no re-coating ordered", code="G17",
         findings=NO_DECAY | {"coating_order": "no"}),
    case(2, NOT_KNOWN, MONITOR, TO_ACT + "halt the decay",
         findings=NO_REASON | {"decay": None, "decay_cause": "soiling"}, **DUST),
    case(2, NOT_KNOWN, MONITOR, TO_ACT + "remove heavy soiling",
         findings=NO_REASON | {"detail_hidden": None}, **DUST),
    case(2, NOT_KNOWN, MONITOR, TO_ACT + "remove heavy soiling",
         findings=NO_REASON | {"detail_hidden": "yes"}, deltaE00_visible="", **DUST),
    case(2, NOT_KNOWN, MONITOR, TO_ACT + "inspect",
         findings=NO_REASON | {"other_reason": None}, **DUST),
    case(2, NOT_KNOWN, MONITOR, "the inside has not been seen: inspect remotely first", code="G17",
         exposure="closed_section", findings={"closed_plan": "yes"}),
    case(2, PASSED, None, "halt the decay", code="G17", exposure="closed_section",
         findings={"closed_plan": "yes", "interior_seen": "yes"}),
    # 3 The external cause
    case(3, PASSED, None, "no external cause is left active"),
    case(3, PASSED, None, "no external cause", findings={"cause_moisture": "cured"}),
    case(3, PASSED, None, r"on condition: end the cause first \(birds",
         findings={"cause_birds": "scheduled"}),
    case(3, PASSED, None, "must end the salts", findings={"cause_salts": "by_treatment"}),
    case(3, PASSED, None, "must end the corr", code="G17", findings={"cause_iron": "by_treatment"}),
    case(3, NOT_KNOWN, TRIAL, "not recorded: how treatment would end the moisture",
         findings={"cause_moisture": "by_treatment"}),
    case(3, PASSED, None, "birds can't be cured", findings={"cause_birds": "incurable"}),
    case(3, NOT_PASSED, MONITOR, "still active: moisture; cure this first",
         findings={"cause_moisture": "active"}),
    case(3, NOT_PASSED, MONITOR, "still active: corroding iron, salts",
         findings={"cause_iron": "active", "cause_salts": "active"}),
    case(3, NOT_KNOWN, TRIAL, "not recorded: moisture", findings={"cause_moisture": None}),
    case(3, NOT_PASSED, MONITOR, "still active: birds",
         findings={"cause_birds": "active", "cause_moisture": None}),
    # 4 The substrate is fit to touch
    case(4, PASSED, None, "the substrate is slightly weathered"),
    case(4, PASSED, None, "the substrate is fit to touch, though corroding", code="G17"),
    *(case(4, NOT_PASSED, MONITOR, f"the substrate is {word}: stabilise first",
           substrate_condition=word) for word in ("friable", "scaling", "cracked")),
    case(4, NOT_PASSED, MONITOR, "beyond the engineer's limit: repair first", code="G17",
         findings={"engineer_limit": "beyond"}),
    case(4, NOT_KNOWN, TRIAL, "the condition of the substrate is not assessed",
         substrate_condition="not_assessed"),
    case(4, NOT_KNOWN, TRIAL, "no engineer has said what the plate can take", code="G17",
         findings={"engineer_limit": None}),
    # 5 Lead, polychromy, metal and structure are known
    case(5, PASSED, None, "no lead; polychromy is known"),
    case(5, PASSED, None, "lead is present; polychromy, metal and structure are known", code="G17"),
    case(5, NOT_KNOWN, TRIAL, "an untested old coating counts as lead-bearing", code="G17",
         lead="unknown"),
    case(5, NOT_KNOWN, TRIAL, "polychromy", findings={"polychromy": None}),
    case(5, NOT_KNOWN, TRIAL, "polychromy", findings={"polychromy": "suspected"}),
    case(5, NOT_KNOWN, TRIAL, "the metal is not confirmed", code="G17",
         findings={"metal_identity": "presumed"}),
    case(5, NOT_KNOWN, TRIAL, "what the structure can take", code="G17",
         findings={"engineer_limit": None}),
    # 6 Some method is left
    case(6, PASSED, None, "not ruled out: .*mist"),
    case(6, PASSED, None, "not ruled out: .*mist.*Not known yet of: .*laser",
         findings={"controls": None}),
    case(6, NOT_PASSED, MONITOR, "every method is ruled out", substrate_condition="friable"),
    case(6, NOT_PASSED, MONITOR, "every method is ruled out", substrate_condition="friable",
         findings=NO_DECAY),
    case(6, NOT_PASSED, LEAVE, "every method is ruled out", soiling="general_soiling",
         layers="general_soiling=not_valued", panels={},
         findings=NO_DECAY | {"polychromy": "present", "cause_moisture": "none"}),
    case(6, NOT_KNOWN, TRIAL, "every method left depends on something not recorded",
         findings={"polychromy": None}),
    # 7 Trials
    case(7, PASSED, None, "panels G03-P1 to G03-P4: 4 replicate panels"),
    case(7, NOT_PASSED, TRIAL, r"2 replicate panels \(3 required\)", panels={"count": "2"}),
    case(7, NOT_PASSED, TRIAL, r"aged 300 days \(365 required\)", panels={"aged_days": "300"}),
    case(7, NOT_PASSED, TRIAL, "no winter included", panels={"winter": "no"}),
    case(7, NOT_PASSED, TRIAL, "no control was kept", panels={"control": "no"}),
    case(7, NOT_PASSED, TRIAL, r"8 fields at ×50 on each panel \(10 required\)",
         panels={"x50_fields": "8"}),
    case(7, NOT_PASSED, TRIAL, r"3 of 100 fields damaged at ×50 \(2 % allowed\)",
         panels={"damaged": "3", "damage_kind": "grains"}),
    case(7, NOT_PASSED, TRIAL,
         r"up to 12 % of fields could still be damaged \(more than 10 % must be ruled out\)",
         panels={"damaged": "1", "damage_kind": "grains"}),
    case(7, PASSED, None, r"1 of 150 fields damaged at ×50 \(2 % allowed\)",
         panels={"count": "6", "damaged": "1", "damage_kind": "grains"}),
    case(7, NOT_KNOWN, TRIAL, "what kind of damage was seen is not recorded",
         panels={"count": "6", "damaged": "1"}),
    case(7, NOT_PASSED, TRIAL, r"cracks \(none is allowed\).*More panels cannot help",
         panels={"count": "6", "damaged": "1", "damage_kind": "cracked"}),
    case(7, NOT_PASSED, TRIAL, r"21 % soiling left \(20 % allowed\)",
         panels={"residual_pct": "21"}),
    case(7, NOT_PASSED, TRIAL, r"b\* moved by \+5.1 against the control \(5 allowed\)",
         panels={"delta_b": "5.1"}),
    case(7, NOT_PASSED, TRIAL, r"b\* moved by -5.1", panels={"delta_b": "-5.1"}),
    case(7, NOT_PASSED, TRIAL, "late effect: salts", panels={"late": "salts"}),
    case(7, NOT_PASSED, TRIAL, r"1.7, from the settings recorded on the panels \(2 required",
         panels={"damage": "80-"}),
    case(7, NOT_KNOWN, TRIAL, "damage margin not known, because no spots show what the panels give",
         panels={"ladder": None, "each": None}),
    case(7, NOT_KNOWN, TRIAL, "panels are not accounted for: .*5 panels laid, 4",
         panels={"laid": "5"}),
    case(7, NOT_KNOWN, TRIAL, "the series is incomplete; .*not said", panels={"aged_days": None}),
    case(7, NOT_KNOWN, TRIAL, "damage at ×50 not recorded", panels={"damaged": None}),
    case(7, NOT_KNOWN, TRIAL, "residual soiling not recorded", panels={"residual_pct": None}),
    case(7, NOT_KNOWN, TRIAL, "late effects not recorded", panels={"late": None}),
    case(7, NOT_KNOWN, TRIAL, "Damage margin not known, so it counts as below 1",
         panels={"cleaning": None, "damage": None}),
    case(7, NOT_KNOWN, TRIAL, "no panel on this substrate and soiling", panels={}),
    case(7, NOT_PASSED, TRIAL, r"chloride up to .* \(10 allowed\)", code="G17",
         panels={"chloride_ug_cm2": "9,9,9"}),
    case(7, NOT_PASSED, TRIAL, "adhesion not reached", code="G17",
         panels={"adhesion_mpa": "5.2,3.9,5.5"}),
    case(7, NOT_PASSED, TRIAL, "profile not reached", code="G17",
         panels={"profile_um": "60,80,58"}),
    case(7, NOT_PASSED, TRIAL, "preparation grade not reached", code="G17",
         panels={"grade": "no"}),
    case(7, NOT_KNOWN, TRIAL, "chloride after cleaning not measured", code="G17",
         panels={"chloride_ug_cm2": None}),
    case(7, NOT_KNOWN, TRIAL, "adhesion not shown", code="G17",
         panels={"adhesion_required": None}),
    # 8 Least harm, and what must be in place
    case(8, PASSED, None, "passes for 1 of 1 member "),
    case(8, NOT_PASSED, MONITOR, "simulations it does less harm .* required",
         findings={"agreed_appearance": "as_today", "decay": "slow"}),
    case(8, NOT_PASSED, MONITOR, "postpone: controls are not in place",
         findings={"controls": "no"}),
    case(8, NOT_PASSED, MONITOR, "postpone: the season is unsuitable",
         findings={"season": "unsuitable"}),
    case(8, NOT_PASSED, MONITOR, "postpone: consent is not held", findings={"consent": "applied"}),
    case(8, NOT_PASSED, MONITOR, "postpone: consent is not held", findings={"consent": "refused"}),
    case(8, NOT_PASSED, MONITOR, "simulations exceed the cap of 4 on harm to fabric", code="G17",
         findings={"coating_order": "no", "other_reason": "repair"}),
    case(8, NOT_KNOWN, MONITOR, "not recorded: controls", findings={"controls": None}),
    case(8, NOT_KNOWN, MONITOR, "not recorded: .*season", findings={"season": None}),
    case(8, NOT_KNOWN, MONITOR, "not recorded: .*consent", findings={"consent": None}),
    case(8, NOT_KNOWN, MONITOR, "no method is left to compare", substrate_condition="friable"),
]  # fmt: skip


@pytest.mark.parametrize(("gate", "result", "outcome", "reason", "code", "changes"), TABLE)
def test_a_gate_answers_with_result_outcome_and_reason(
    judged: Judged,
    gate: int,
    result: str,
    outcome: str | None,
    reason: str,
    code: str,
    changes: dict[str, Any],
) -> None:
    """Row by row: a case, one thing changed, and what that gate says of it."""
    found = judged(code, **changes).gates[gate - 1]

    assert found.number == gate
    assert (found.result, found.outcome) == (result, outcome), str(found)
    assert re.search(reason, found.reason), str(found)


@pytest.mark.parametrize("gate", range(1, 9))
def test_the_table_above_tries_every_column_of_every_gate(gate: int) -> None:
    """Passed, not passed (but gate 5, which only knows or doesn't) and not known."""
    tried = {line.values[1] for line in TABLE if line.values[0] == gate}

    assert tried == {PASSED, NOT_KNOWN} | (set() if gate == 5 else {NOT_PASSED})


# -- All gates together -------------------------------------------------------------------------


@pytest.mark.parametrize("code", ["G03", "G05", "G10", "G17", "G20", "G23"])
def test_all_eight_gates_are_answered_and_the_first_not_passed_decides(
    judged: Judged, code: str
) -> None:
    """Also behind the first that does not pass; each with a question, a reason, an outcome."""
    found = judged(code)

    assert [gate.number for gate in found.gates] == list(range(1, 9))
    assert [gate.question for gate in found.gates] == list(QUESTIONS.values())
    assert all(gate.reason for gate in found.gates)
    assert all((gate.outcome is None) == (gate.result == PASSED) for gate in found.gates)
    deciding = next((gate for gate in found.gates if gate.result != PASSED), None)
    assert found.deciding_gate == deciding
    assert found.outcome == (deciding.outcome if deciding else CLEAN) == outcome_of(found.gates)
    assert list(found.gates_table().columns) == ["gate", "question", "result", "reason", "records"]


@pytest.mark.parametrize(
    ("gate", "changes", "records"),
    [
        (1, {}, {"G03-L1"}),
        (2, {}, {"G03-reference", "G03-soiled"}),
        (7, {}, {"G03-P1", "G03-P2", "G03-P3"}),
        (7, {"panels": {"damaged": "1"}}, {"G03-P1", "G03-P2", "G03-P3"}),
    ],
)
def test_a_gate_names_the_records_it_rests_on(
    judged: Judged, gate: int, changes: dict[str, Any], records: set[str]
) -> None:
    """Layer, colour sets and panels by their codes."""
    assert records <= set(judged("G03", **changes).gates[gate - 1].records)


@pytest.mark.parametrize(
    ("gate", "topic"),
    [(2, "decay"), (2, "detail_hidden"), (3, "cause_moisture"), (3, "cause_birds"),
     (5, "polychromy"), (8, "controls"), (8, "consent"), (8, "season")],
)  # fmt: skip
def test_a_gate_names_the_observation_it_rests_on(
    judged: Judged, rows: Callable[..., Any], gate: int, topic: str
) -> None:
    """Each answer that a gate read stands among its records."""
    raw = rows("G03")
    code = next(row["observation"] for row in raw["observations"] if row["topic"] == topic)

    assert code in judged(raw).gates[gate - 1].records


# -- Leaving is a positive finding --------------------------------------------------------------


LEFT: dict[str, tuple[str, dict[str, Any], tuple[str, ...]]] = {
    "no reason to act": (
        "G03", {"findings": NO_REASON, **DUST},
        ("decay", "detail_hidden", "other_reason", "cause_moisture", "cause_salts"),
    ),
    "significant crust": (
        "G03", {"findings": NO_DECAY, "layers": "black_gypsum_crust=significant"}, ("decay",),
    ),
    "rare lichen": (
        "G03", {"findings": NO_DECAY, "layers": "lichen=rare", "soiling": "lichen"}, ("decay",),
    ),
    "significant paint": (
        "G17",
        {"findings": NO_DECAY | {"coating_state": "sound"}, "substrate_condition": "sound",
         "layers": "lead_paint=significant"},
        ("decay", "coating_state"),
    ),
}  # fmt: skip


@pytest.mark.parametrize(
    ("what", "topic"), [(what, topic) for what, (_, _, found) in LEFT.items() for topic in found]
)
def test_leave_needs_positive_records(judged: Judged, what: str, topic: str) -> None:
    """What is left is left on records: where one is lost, somebody at least keeps watching."""
    code, changes, _ = LEFT[what]
    without = changes | {"findings": changes["findings"] | {topic: None}}

    assert judged(code, **changes).outcome == LEAVE
    assert judged(code, **without).outcome != LEAVE, f"{topic} is not recorded"


def test_a_layer_of_value_is_watched_where_a_harmful_change_is_credible(judged: Judged) -> None:
    """Rust beneath kept paint, or a cause still active: what is kept is not simply left."""
    code, changes, _ = LEFT["significant paint"]
    rusty = changes | {"layers": "lead_paint=significant; rust=not_valued"}
    damp = changes | {"findings": changes["findings"] | {"cause_moisture": "active"}}

    assert judged(code, **changes).outcome == LEAVE
    assert judged(code, **rusty).outcome == MONITOR
    assert judged(code, **damp).outcome == MONITOR


@pytest.mark.parametrize("what", LEFT)
def test_leave_needs_a_substrate_in_known_condition(judged: Judged, what: str) -> None:
    """Nobody looked at the stone or plate itself: it is never simply left."""
    code, changes, _ = LEFT[what]

    found = judged(code, **changes | {"substrate_condition": "not_assessed"})

    assert found.outcome != LEAVE


@pytest.mark.parametrize("cause", ["cause_moisture", "cause_iron", "cause_salts", "cause_birds"])
def test_an_active_cause_is_watched_also_where_there_is_no_reason_to_clean(
    judged: Judged, cause: str
) -> None:
    """A leaking gutter over harmless dust: leave the dust, watch the wall."""
    found = judged("G03", findings=NO_REASON | {cause: "active"}, **DUST)

    assert found.outcome == MONITOR


# -- Scheduled cures ----------------------------------------------------------------------------


def scheduled(rows: Callable[..., Any], days: int) -> dict[str, Any]:
    """The birds' cure is due so many days after the survey closed."""
    raw = rows("G03", findings={"cause_birds": "scheduled"})
    closed = raw["structure"][0]["survey_date"]
    birds = next(row for row in raw["observations"] if row["topic"] == "cause_birds")
    birds["due"] = closed + timedelta(days=days)
    return raw


def test_a_scheduled_cure_is_a_condition_and_no_stop(judged: Judged, rows: Callable) -> None:
    """Owner and date stand among the conditions of the recommendation."""
    found = judged(scheduled(rows, 30))

    assert found.outcome == CLEAN
    assert found.conditions[0] == "end the cause first (birds; owner, by 1 July 2026)"


def test_a_scheduled_cure_due_on_the_day_is_not_overdue(judged: Judged, rows: Callable) -> None:
    """The day itself still counts."""
    assert judged(scheduled(rows, 0)).gates[2].result == PASSED


def test_a_cure_that_comes_after_the_advice_expires_is_none(judged: Judged, rows: Callable) -> None:
    """A condition that nobody can meet while the advice holds would never be met."""
    raw = rows("G03", findings={"cause_moisture": "scheduled"})
    [cure] = [row for row in raw["observations"] if row["topic"] == "cause_moisture"]
    outcomes = []
    for due in (date(2027, 6, 1), date(2027, 6, 2)):
        cure["due"] = due
        outcomes.append(judged(raw).outcome)

    assert outcomes == [CLEAN, MONITOR]
    assert "moisture (not cured before 2 June 2027)" in judged(raw).gates[2].reason


def test_an_overdue_cure_is_an_active_cause(judged: Judged, rows: Callable) -> None:
    """A promise that was not kept cures nothing."""
    found = judged(scheduled(rows, -1)).gates[2]

    assert (found.result, found.outcome) == (NOT_PASSED, MONITOR)
    assert "cure overdue since 31 May 2026" in found.reason


@pytest.mark.parametrize(
    ("finding", "words"),
    [("by_treatment", "the treatment itself must end the salts"),
     ("incurable", "salts can't be cured, so re-soiling is accepted and watched")],
)  # fmt: skip
def test_causes_that_need_no_cure_before_work_are_conditions(
    judged: Judged, finding: str, words: str
) -> None:
    """What treatment itself ends, or nobody can cure, is said and stops nothing."""
    found = judged("G03", findings={"cause_salts": finding})

    assert found.gates[2].result == PASSED
    assert words in found.conditions


# -- Layers -------------------------------------------------------------------------------------


def test_a_layer_of_partial_value_narrows_the_zone_and_goes_on(judged: Judged) -> None:
    """If only part of a layer is of value the gate passes, on condition that the zone is split."""
    found = judged("G03", layers="black_gypsum_crust=partly")

    assert found.gates[0].result == PASSED
    assert any("split or narrow the zone" in condition for condition in found.conditions)


def test_what_lies_under_a_valued_layer_is_not_removed(judged: Judged) -> None:
    """Soiling over paint of value: only the soiling is asked about, and work stops above it."""
    found = judged("G17", **COATED)

    assert [layer.soiling for layer in found.evidence.targets] == ["lead_paint"]
    assert "the rust beneath stays: stop above it" in found.conditions


def test_a_soiling_seen_without_a_layer_record_is_not_assessed(
    judged: Judged, rows: Callable
) -> None:
    """The zone names a soiling that no layer record answers for."""
    raw = rows("G03")
    raw["zones"][0]["soilings"] += ";algae"

    found = judged(raw).gates[0]

    assert (found.result, found.outcome) == (NOT_KNOWN, TRIAL)
    assert "algae" in found.reason


# -- Closed sections ----------------------------------------------------------------------------


@pytest.mark.parametrize("seen", ["no", None])
def test_an_unseen_closed_section_is_looked_into_remotely_first(
    judged: Judged, seen: str | None
) -> None:
    """Before any reason to act is weighed; whatever else is known."""
    found = judged("G17", exposure="closed_section", findings={"interior_seen": seen})

    assert found.outcome == MONITOR
    assert found.deciding_gate.number == 2
    assert "inspect remotely first" in found.deciding_gate.reason


def test_an_open_zone_is_not_asked_whether_its_inside_was_seen(judged: Judged) -> None:
    """Only closed sections have an inside."""
    assert judged("G17", findings={"interior_seen": None}).gates[1].result == PASSED


@pytest.mark.parametrize("plan", ["no", None])
def test_nobody_works_in_a_closed_section_without_a_plan(judged: Judged, plan: str | None) -> None:
    """Without an air, rescue and access plan only remote methods are left."""
    found = judged(
        "G17", exposure="closed_section", findings={"interior_seen": "yes", "closed_plan": plan}
    )

    assert any(stop.rule == "HS11" for stop in found.ruled_out["hand_tools"])


# -- Housekeeping -------------------------------------------------------------------------------


def test_listed_housekeeping_skips_gate_7_and_says_by_which_row(judged: Judged) -> None:
    """The row and its source stand in the reason."""
    found = judged("G11", panels={}, significance="low")

    assert found.outcome == CLEAN
    assert found.gates[6].result == PASSED
    assert found.gates[6].reason.startswith("no panels required, because ")
    assert "(HK1, GSA-BIRD)" in found.gates[6].reason


@pytest.mark.parametrize(
    ("gate", "changes"),
    [
        (1, {"layers": "guano=not_assessed"}),
        (3, {"findings": {"cause_birds": "active"}}),
        (3, {"findings": {"cause_moisture": None}}),
        (5, {"findings": {"polychromy": "suspected"}}),
        (6, {"findings": {"joints": "open", "polychromy": "present"}}),
        (8, {"findings": {"controls": "no"}}),
        (8, {"findings": {"consent": "refused"}}),
        (8, {"findings": {"season": None}}),
    ],
)
def test_housekeeping_skips_nothing_but_gate_7(
    judged: Judged, gate: int, changes: dict[str, Any]
) -> None:
    """Every other gate is asked of housekeeping as of any other work."""
    found = judged("G11", **changes)

    assert found.gates[gate - 1].result != PASSED
    assert found.outcome != CLEAN


@pytest.mark.parametrize(
    "changes",
    [
        {"area_m2": "10.1"},
        {"coverage_pct": "11"},
        {"coverage_pct": ""},
        {"substrate_condition": "slightly_weathered"},
        {"findings": {"coating_state": None}},
        {"findings": {"coating_state": "sound"}},
        {"lead": "unknown"},
        {"layers": "guano=not_valued; general_soiling=not_valued"},
    ],
    ids=str,
)
def test_what_departs_from_the_listed_row_is_no_housekeeping(
    judged: Judged, changes: dict[str, Any]
) -> None:
    """More, thicker, on weaker stone, or simply not recorded: a trial is asked."""
    found = judged("G11", **changes)

    assert found.gates[6].result != PASSED
    assert found.outcome != CLEAN


def test_housekeeping_is_done_by_its_listed_methods_only(judged: Judged) -> None:
    """A small job opens no door to other methods, and closes none."""
    found = judged("G11")

    assert {test.method for test in found.against_leaving} <= {
        "dry_brush_vacuum", "low_pressure_water",
    }  # fmt: skip
    assert not any(stop.rule == "HK1" for stops in found.ruled_out.values() for stop in stops)
    assert "superheated_steam" not in found.ruled_out


# -- Urgency stands beside ----------------------------------------------------------------------


def test_urgency_shortens_the_ageing_of_panels_on_stone(judged: Judged) -> None:
    """A quarter of 90 days, rounded up, is 23: on the 22nd day the panels are too young."""
    urgent = {"falling_material": "yes"}

    def aged(days: str, findings: dict[str, str]) -> list[bool | None]:
        changed = {"panels": {"aged_days": days}, "findings": findings}
        found = judged("G03", significance="medium", **changed).trials
        return [check.holds for trial in found.values() for check in trial.checks
                if check.name == "ageing"]  # fmt: skip

    assert aged("23", {}) == [False]
    assert aged("23", urgent) == [True]
    assert aged("22", urgent) == [False]


def test_urgency_never_shortens_the_cure_of_a_coating_and_waives_nothing_else(
    judged: Judged,
) -> None:
    """Where lead paint falls, steel waits 28 days all the same, and gate 5 must be answered."""
    shedding = {"lead_shedding": "yes"}
    urgent = judged("G17", panels={"aged_days": "28"}, findings=shedding)
    too_soon = judged("G17", panels={"aged_days": "27"}, findings=shedding)
    unknown = judged("G17", panels={"aged_days": "28"}, findings=shedding | {"polychromy": None})

    assert (urgent.outcome, urgent.urgency) == (CLEAN, "make safe")
    [reason] = urgent.urgency_reasons
    assert "keep people out below; have trained people" in reason
    assert (too_soon.outcome, too_soon.gates[6].reason.count("aged 27 days (28 required)")) == (
        TRIAL, 1,
    )  # fmt: skip
    assert (unknown.outcome, unknown.urgency) == (TRIAL, "make safe")


@pytest.mark.parametrize(
    ("days", "value", "said"),
    [
        (28, 5.2, "adhesion as required"),
        (27, 5.2, "adhesion not shown: pulled off after 27 days (28 required)"),
        (27, 3.9, "adhesion not reached"),
    ],
)
def test_a_pull_off_before_the_coating_has_cured_shows_nothing(
    rows: Callable[..., Rows], judged: Judged, days: int, value: float, said: str
) -> None:
    """Panels read again after 40 days do not help one dolly pulled off sooner; a low one counts."""
    raw = rows("G17")
    pulled = next(one for one in raw["site_tests"] if one["quantity"] == "adhesion_mpa")
    pulled["tested_on"] = raw["panels"][0]["done_on"] + timedelta(days=days)
    pulled["value"] = value

    found = judged(raw)

    [check] = [one for trial in found.trials.values() for one in trial.checks
               if one.name == "adhesion"]  # fmt: skip
    assert check.words == said
    assert (found.outcome == CLEAN) is (check.holds is True)


@pytest.mark.parametrize("code", ["G03", "G11"])
@pytest.mark.parametrize(
    ("findings", "reason"),
    [
        ({"falling_material": "yes"}, "material is loose: secure it first"),
        ({"stone_jacking": "yes"}, "growing rust lifts the stone: end that first"),
        ({"decay": "active", "decay_cause": "other"},
         "the stone is losing material, and not by its soiling: end that first"),
        ({"decay": "active", "decay_cause": "none"},
         "the stone is losing material, and not by its soiling: end that first"),
    ],
)  # fmt: skip
def test_masonry_that_comes_apart_is_not_cleaned(
    judged: Judged, code: str, findings: dict[str, str], reason: str
) -> None:
    """Stabilise before anything touches it (EN 17488); listed housekeeping is no way past it."""
    found = judged(code, findings=findings)

    assert judged(code).outcome == CLEAN
    assert (found.outcome, found.gates[3].reason) == (MONITOR, reason)


@pytest.mark.parametrize(
    ("code", "topic", "reason"),
    [
        ("G03", "falling_material", "not recorded: whether material is loose"),
        ("G03", "stone_jacking", "not recorded: whether rust lifts it"),
        ("G03", "decay", "not recorded: whether the stone is losing material"),
        ("G17", "falling_material", "not recorded: whether material is loose"),
        ("G17", "stone_jacking", "not recorded: whether rust lifts it"),
    ],
)
def test_what_is_not_recorded_of_loose_material_is_not_taken_as_absent(
    judged: Judged, rows: Callable[..., Rows], code: str, topic: str, reason: str
) -> None:
    """Losing the record that holds a zone back never frees the way."""
    raw = rows(code)
    raw["observations"] = [row for row in raw["observations"] if row["topic"] != topic]
    found = judged(raw)

    assert (found.outcome, found.gates[3].reason) == (TRIAL, reason)


@pytest.mark.parametrize("condition", ["sound", "slightly_weathered", "corroding"])
def test_a_plate_beyond_the_engineers_limit_is_made_safe_not_cleaned(
    judged: Judged, condition: str
) -> None:
    """Rust that has stopped does not give back what it took (common practice: repair first)."""
    found = judged("G21", substrate_condition=condition, findings={"engineer_limit": "beyond"})

    assert judged("G21").outcome == CLEAN
    assert (found.outcome, found.urgency) == (MONITOR, "make safe")
    assert found.gates[3].reason == "plate loss is beyond the engineer's limit: repair first"
    assert "engineer says at once" in found.urgency_reasons[0]


def test_a_winter_is_never_waived_where_significance_is_high(judged: Judged) -> None:
    """Urgent or not: high significance asks for a winter over the panels."""
    short = {"aged_days": "95", "winter": "no"}

    found = judged("G03", panels=short, findings={"falling_material": "yes"})

    assert found.urgency == "make safe"
    assert "no winter included" in found.gates[6].reason


@pytest.mark.parametrize(
    ("days", "words"), [("89", "89 days are less than a whole winter"), ("90", "")]
)
def test_a_winter_takes_its_time(judged: Judged, days: str, words: str) -> None:
    """Common practice: a panel of a few weeks did not see the frost come and go."""
    found = judged("G03", panels={"aged_days": days, "winter": "yes"})
    [verdict] = found.trials.values()

    said = [check.words for check in verdict.checks if check.name == "winter"]
    assert said == [words or "a winter included"]


def test_lifted_plates_are_not_touched_and_give_a_date(judged: Judged) -> None:
    """Act by the next access, or within a year of the survey; the engineer comes first."""
    found = judged("G21", findings={"stone_jacking": "yes"})

    assert judged("G21").outcome == CLEAN
    assert found.urgency == "act by 1 June 2027"
    assert (found.outcome, found.gates[3].result) == (MONITOR, NOT_PASSED)
    assert "growing rust forces the metal apart: ask the engineer first" in found.gates[3].reason


@pytest.mark.parametrize(
    ("code", "released", "outcome"),
    [
        ("G17", None, MONITOR), ("G17", "no", MONITOR), ("G17", "yes", CLEAN),
        # Lead paint is all that comes off there, so the rust between the plates stays.
        ("G21", "yes", MONITOR),
    ],
)  # fmt: skip
def test_rust_that_the_preparation_takes_out_is_a_condition_once_the_member_is_released(
    judged: Judged, code: str, released: str | None, outcome: str
) -> None:
    """Silence of the engineer is no release; nor does a release take out what is left in place."""
    answers = {"stone_jacking": "yes", "member_released": released}

    found = judged(code, findings=answers)

    assert found.outcome == outcome
    assert any("engineer's written release" in one for one in found.conditions) == (
        outcome == CLEAN
    )


@pytest.mark.parametrize("released", [None, "yes"])
def test_loose_metal_is_secured_first(judged: Judged, released: str | None) -> None:
    """As loose stone is: no release of the engineer makes it safe to work beneath."""
    found = judged("G17", findings={"falling_material": "yes", "member_released": released})

    assert (found.outcome, found.gates[3].result) == (MONITOR, NOT_PASSED)
    assert "material is loose: secure it first" in found.gates[3].reason


# -- Trials are works ---------------------------------------------------------------------------


def test_nothing_is_tried_against_a_refusal(judged: Judged) -> None:
    """Panels are works and need consent as these do (EN 16853)."""
    found = judged("G03", panels={}, findings={"consent": "refused"})
    open_ = judged("G03", panels={}, findings={"consent": "applied", "controls": "no"})

    assert (found.outcome, found.method) == (MONITOR, None)
    assert found.gates[6].reason.endswith("; consent is refused, so nothing is tried")
    assert open_.outcome == TRIAL
    assert open_.conditions[0] == "before any further panel: controls are not in place"


def test_an_unrated_pair_is_not_read_as_harmless_to_a_valued_layer(judged: Judged) -> None:
    """Nobody rated what mist does to rare graffiti under the crust: a blank is no "safe"."""
    layers = "black_gypsum_crust=not_valued; graffiti=rare"
    found = judged("G03", layers=layers, soiling="black_gypsum_crust;graffiti")

    assert found.outcome != CLEAN
    assert any(question.rule == "R2" for question in found.undecided.get("nebulised_water", ()))


# -- Several series -----------------------------------------------------------------------------


def test_damage_at_the_same_setting_is_not_outvoted_by_another_series(
    judged: Judged, rows: Callable
) -> None:
    """Three panels without damage, a fourth in a series of its own damaged all over: not clean."""
    raw = rows("G03")
    worse = raw["panels"][0] | {
        "panel": "worse", "series": "worse", "panels_in_series": 1, "damaged_fields": 10,
        "damage_low": 20, "damage_high": 30,
    }  # fmt: skip
    raw["panels"].append(worse)
    raw["zones"][0] |= {"panels_laid": len(raw["panels"])}

    found = judged(raw)

    assert found.outcome != CLEAN
    assert "worse" in found.gates[6].records


HARSHER = {"cleaning_low": 150, "cleaning_high": 170, "damage_low": 140, "damage_high": 150}
GENTLER = {"cleaning_low": 15, "cleaning_high": 20}


@pytest.mark.parametrize(
    ("other", "reason"),
    [
        (HARSHER, ""),
        (GENTLER, "panels of B on G03 show damage from 15 min upwards"),
        (GENTLER | {"damaged_fields": 0, "late_effects": "salts"},
         "panels of B on G03 show damage from 15 min upwards"),
        (HARSHER | {"damaged_fields": 1, "damage_low": 30, "damage_high": 40},
         "panels of B on G03 show damage from 30 min upwards"),
        (HARSHER | {"setting_quantity": "pressure", "setting_unit": "bar"},
         "panels of B on G03 were harmed at a setting that cannot be compared with this one"),
        ({"cleaning_low": None, "cleaning_high": None, "damage_low": None, "damage_high": None},
         "panels of B on G03 were harmed at a setting that cannot be compared with this one"),
    ],
)  # fmt: skip
def test_harm_at_a_gentler_setting_is_not_outvoted_whatever_its_words(
    judged: Judged, rows: Callable, other: dict[str, Any], reason: str
) -> None:
    """
    That a harsher setting did damage is how the window was found; harm at a gentler one speaks.

    Harm before effect, EN 17488. What can't be compared by its number is not known.
    """
    raw = rows("G03")
    raw["panels"].append(
        raw["panels"][0] | {
            "panel": "B-1", "series": "B", "panels_in_series": 1, "damaged_fields": 10,
            "spots_laid": 0,
            "setting": "mist from other nozzles", **other,
        }
    )  # fmt: skip
    raw["zones"][0] |= {"panels_laid": len(raw["panels"])}

    found = judged(raw)

    assert found.outcome == (TRIAL if reason else CLEAN)
    [good] = [verdict for verdict in found.trials.values() if verdict.series != "B"]
    assert [one.words for one in good.checks if not one.holds] == ([reason] if reason else [])
    assert ("B-1" in good.records) == bool(reason)


def test_harm_on_a_sounder_face_of_the_same_bed_speaks_against_the_setting(
    judged: Judged, rows: Callable
) -> None:
    """Good panels tell about zones no weaker; bad ones tell about weaker zones all the more."""
    raw = rows("G03")
    zone = raw["zones"][0] | {"bed_or_system": "top bed"}
    sounder = zone | {
        "zone": "Z2", "condition": "sound", "significance": "low", "panels_laid": 1,
    }  # fmt: skip
    raw["zones"] = [zone, sounder]
    raw["panels"].append(
        raw["panels"][0] | {
            "panel": "Z2-1", "zone": "Z2", "series": "Z2-S", "panels_in_series": 1,
            "damaged_fields": 5, "damage_low": None, "damage_high": None,
        }
    )  # fmt: skip
    of_another_bed = copy.deepcopy(raw)
    of_another_bed["zones"][1]["bed_or_system"] = "lower bed"
    lost = copy.deepcopy(raw)
    del lost["panels"][-1]

    found = judged(raw)

    assert found.outcome == TRIAL
    assert "panels of Z2-S on Z2 show damage from 35 min upwards" in found.gates[6].reason
    assert judged(of_another_bed).outcome == CLEAN
    assert "Z2: 1 panels laid, 0 recorded" in judged(lost).gates[6].reason


# Harm at the very setting of G03's good panels, each time somewhere or in some way else.
WARNING = {
    "another spelling": ({"bed_or_system": "Top-bed"}, {}),
    "a slip of the pen": ({"bed_or_system": "top bedd"}, {}),
    "no bed": ({"bed_or_system": None}, {}),
    "another finish": ({"finish": "honed"}, {}),
    "a gentler sister": ({}, {"method": "low_pressure_water", "setting": "a brush and a hose"}),
    "the same dialled under another method": ({}, {"method": "superheated_steam"}),
}


@pytest.mark.parametrize("how", WARNING)
def test_harm_seen_elsewhere_on_the_stone_is_not_lost_by_how_it_is_written(
    judged: Judged, rows: Callable, how: str
) -> None:
    """Spelling, finish and the code of the method change nothing about the harm that was seen."""
    zone, panel = WARNING[how]
    raw = _warned(rows("G03"), zone, {"damaged_fields": 5, **panel})
    if "dialled" in how:
        raw["settings"] += [row | {"series": "Z2-S", "zone": "Z2"} for row in raw["settings"]]

    found = judged(raw)

    assert found.outcome == TRIAL
    assert "panels of Z2-S on Z2" in found.gates[6].reason


@pytest.mark.parametrize(
    ("zone", "panel"),
    [
        ({"bed_or_system": "lower bed"}, {}),
        ({}, {"method": "superheated_steam", "setting": "steam 130 °C"}),
        ({}, {"method": "micro_abrasive_dry", "setting": "2 bar, calcite"}),
        ({}, {"cleaning_low": 300, "cleaning_high": 300, "setting": "for far longer"}),
    ],
)
def test_harm_on_another_bed_or_by_something_harsher_says_nothing(
    judged: Judged, rows: Callable, zone: dict[str, Any], panel: dict[str, Any]
) -> None:
    """A harsher sister, another family, a harsher setting or another bed: the good panels stand."""
    assert judged(_warned(rows("G03"), zone, {"damaged_fields": 5, **panel})).outcome == CLEAN


@pytest.mark.parametrize(
    ("panel", "reason"),
    [
        ({"read_on": None, "not_read_because": "rain", "damaged_fields": None}, "not all read"),
        ({"x50_fields": None, "x50_fields_weakest": None, "damaged_fields": None}, "not all read"),
        ({"panels_in_series": 2}, "not all on record"),
    ],
)
def test_a_series_that_nobody_read_leaves_the_gate_not_known(
    judged: Judged, rows: Callable, panel: dict[str, Any], reason: str
) -> None:
    """What was laid and not read may have shown harm, so the good panels do not speak alone."""
    found = judged(_warned(rows("G03"), {}, {"damaged_fields": 0, **panel}))

    assert (found.outcome, found.gates[6].result) == (TRIAL, NOT_KNOWN)
    assert reason in found.gates[6].reason


def test_harm_on_a_weathered_face_of_the_stone_speaks_and_good_panels_there_do_not(
    judged: Judged, rows: Callable
) -> None:
    """Weathered granite of the same bed: its harm is told of the sound face, its luck is not."""
    raw = rows("G14", panels=None)
    mist = [panel | {"spots_laid": 0} for panel in rows("G03")["panels"]]
    zone = raw["zones"][0] | {"bed_or_system": "bed A", "panels_laid": len(mist)}
    raw |= {"zones": [zone], "panels": [one | {"zone": zone["zone"]} for one in mist]}
    weathered = {"substrate": "granite_weathered", "bed_or_system": "bed a"}

    [harmed] = judged(_warned(raw, weathered, {"damaged_fields": 5})).trials.values()
    [sound] = judged(_warned(raw, weathered, {"damaged_fields": 0})).trials.values()

    assert [check.holds for check in harmed.checks if check.name == "other panels"] == [False]
    assert [check.holds for check in sound.checks if check.name == "other panels"] == []


def _warned(raw: Rows, zone: dict[str, Any], panel: dict[str, Any]) -> Rows:
    """Rows with a second zone of the same bed and one more panel, which stands on it."""
    first = {"bed_or_system": "top bed"} | {
        name: value for name, value in raw["zones"][0].items() if value is not None
    }
    one = raw["panels"][0]
    second = first | {"zone": "Z2", "panels_laid": 1, "significance": "low", **zone}
    laid = one | {
        "panel": "Z2-1", "zone": "Z2", "series": "Z2-S", "panels_in_series": 1, "spots_laid": 0,
        **panel,
    }  # fmt: skip
    return {**raw, "zones": [first, second], "panels": [*raw["panels"], laid]}


def test_soiling_that_stays_on_one_panel_is_not_averaged_away(
    judged: Judged, rows: Callable
) -> None:
    """Four panels of 14 % on average: alike they pass; 45 % on one is a place of its own."""
    raw = rows("G03")
    alike, apart = [14] * len(raw["panels"]), [4] * len(raw["panels"])
    apart[-1] = 45
    for left, passes in ((alike, True), (apart, False)):
        for panel, stays in zip(raw["panels"], left, strict=True):
            panel["residual_pct"] = stays
        gate = judged(raw).gates[6]

        assert (gate.result == PASSED) is passes
        assert ("45 % left on one panel" in gate.reason) is not passes


def test_a_passed_gate_says_its_reason_briefly_and_whole(judged: Judged) -> None:
    """A line of a page holds it, and no thought is cut: no sign of an omission stands in it."""
    gates = judged("G03").gates

    assert all(gate.result == PASSED for gate in gates)
    assert gates[7].brief == "treatment passes for 1 of 1 member (1 required)"
    assert all(len(gate.brief or gate.reason) < 110 for gate in gates)
    assert not any("…" in gate.brief for gate in gates)

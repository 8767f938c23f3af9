"""A zone of which only its place and material are recorded: silence is never read as an answer."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from bare_survey import CLOSED, GRANITE, STEEL, Rows, bare_rows
from guidance_form import listing_beds

import heritagecheck as hc
from heritagecheck.judgement.gates.gate import CLEAN, LEAVE, MONITOR, NOT_KNOWN, TRIAL
from heritagecheck.judgement.policy import CRITERIA, EQUAL_WEIGHTS, policy_of
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.survey.entry.offers import offered_policy
from heritagecheck.survey.places import build
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import codes

EQUAL = "Equal weights, because no member gave any"


def judged(**zone: Any) -> Recommendation:
    """Judge a bare zone."""
    return hc.assess(build(bare_rows(zone))).zone("Z1")


def answered(*findings: tuple[str, str], **zone: Any) -> Recommendation:
    """Judge a zone of which some questions are answered, and no layer is described."""
    raw = bare_rows(zone)
    raw["observations"] = [
        {"observation": topic, "zone": "Z1", "topic": topic, "finding": finding,
         "seen_on": "2026-05-01", "seen_by": "conservator"}
        for topic, finding in findings
    ]  # fmt: skip
    return hc.assess(build(raw)).zone("Z1")


@pytest.mark.parametrize("zone", [GRANITE, STEEL, CLOSED])
def test_every_gate_of_what_must_be_known_is_not_known(zone: dict[str, Any]) -> None:
    """Nothing was looked at, so the first seven gates neither pass nor stop for good."""
    found = judged(**zone)

    assert {gate.result for gate in found.gates[:7]} == {NOT_KNOWN}
    assert (found.outcome, found.method, found.instruction) == (TRIAL, None, None)
    assert found.sentence.startswith("Trial first (investigate first). Not assessed whether it is")


def test_no_bare_zone_is_cleaned_or_left_for_good() -> None:
    """Whatever it is made of and whatever lies on it, silence gives neither *clean* nor *leave*."""
    kinds = [
        {"substrate": substrate, "soilings": soiling, "exposure": exposure}
        for soiling in codes("soilings")
        for substrate, exposure in (
            ("granite", "runoff"), ("marble", "sheltered"), ("brick", "exposed"),
            ("cast_iron", "closed_section"), ("riveted_steel", "marine"),
        )
    ]  # fmt: skip
    found = hc.assess(build(bare_rows(*kinds))).recommendations

    assert {one.outcome for one in found} <= {TRIAL, MONITOR}
    assert not any(one.method or one.instruction or one.urgency for one in found)
    assert {gate.result for one in found for gate in one.gates[:5]} == {NOT_KNOWN}
    assert all("Is material loose over people?" in one.urgency_not_looked_at for one in found)


def test_what_stops_a_bare_zone_is_in_its_list_of_what_is_not_known() -> None:
    """Condition, value of the soiling and every question that applies, each with what to do."""
    gaps = {gap.what: gap for gap in judged().gaps}

    assert gaps["Whether the black crust is itself of value"].why == "not recorded"
    assert gaps["Condition of the substrate"].why == "not assessed"
    assert {"Is the substrate losing material now", "Lead in the coating"} <= gaps.keys()
    assert all(gap.what_to_do for gap in gaps.values())


def test_methods_are_held_against_a_soiling_that_no_layer_describes() -> None:
    """The table rates crust on granite; that no layer says its value does not make it unrated."""
    found = judged()

    assert "R4" not in {stop.rule for stop in found.ruled_out.get("nebulised_water", ())}
    assert "depends on something not recorded" in found.gates[5].reason


NOTHING_ELSE = (
    ("decay", "none"), ("decay_cause", "none"), ("detail_hidden", "no"), ("other_reason", "none"),
    ("coating_state", "none"),
)  # fmt: skip


@pytest.mark.parametrize(
    ("zone", "words"),
    [
        ({"soilings": "graffiti"}, "remove nuisance graffiti"),
        ({"soilings": "iron_stain"}, "remove a disfiguring stain whose source is cured, as agreed"),
    ],
)
def test_what_was_seen_but_not_described_may_be_a_reason(zone: dict[str, Any], words: str) -> None:
    """Graffiti and stains are a reason only where they are of no value, which nobody said yet."""
    gate = answered(*NOTHING_ELSE, **zone).gates[1]

    assert (gate.result, gate.outcome) == (NOT_KNOWN, MONITOR)
    assert gate.reason == f"it is not recorded whether there is a reason to act, such as to {words}"


def test_a_stain_said_not_to_disfigure_is_no_reason() -> None:
    """An answer is an answer, whatever else nobody recorded."""
    gate = answered(*NOTHING_ELSE, ("stain_disfigures", "no"), soilings="iron_stain").gates[1]

    assert gate.reason.startswith("no decay that removal would halt")


@pytest.mark.parametrize(
    ("finding", "reason"),
    [
        ((), "not recorded whether there is an air, rescue and access plan"),
        ((("closed_plan", "no"),), "every method is ruled out"),
    ],
)
def test_a_plan_that_nobody_recorded_is_not_a_plan_refused(
    finding: tuple[tuple[str, str], ...], reason: str
) -> None:
    """Both keep everybody out; only the answer *no* may leave the zone for good."""
    gate = answered(*finding, **CLOSED).gates[5]

    assert gate.reason.startswith(reason)
    assert (gate.result == NOT_KNOWN) == (not finding)
    assert gate.outcome == MONITOR


# -- Weights that no member gave, values that no team agreed --------------------------------------


@pytest.fixture(scope="module")
def assessed() -> Assessment:
    """Judge a bare zone once."""
    return hc.assess(build(bare_rows()))


def test_without_weights_all_six_criteria_count_equally(assessed: Assessment) -> None:
    """The label says so wherever a member would be named."""
    assert dict(assessed.policy.weights) == {EQUAL_WEIGHTS: dict.fromkeys(CRITERIA, 100)}
    assert assessed.policy.group() == pytest.approx([1 / 6] * 6)
    assert str(assessed).endswith(f"leave 0. {EQUAL}")
    assert EQUAL_WEIGHTS in str(assessed.policy)
    assert "member" not in re.sub(EQUAL_WEIGHTS, "", str(assessed.policy))
    for test in assessed.recommendations[0].weighed:
        assert f"treatment does not pass with {EQUAL_WEIGHTS}" in test.reason


def test_weights_that_are_lost_never_clean_a_zone(rows: Callable[..., Rows]) -> None:
    """With them it is cleaned; without, nobody knows whether each member accepts it."""
    raw = listing_beds(rows("G03"))
    with_them = hc.assess(build(raw)).recommendations[0]
    without = hc.assess(build(raw | {"views": []})).recommendations[0]

    assert with_them.outcome == CLEAN
    assert (without.outcome, without.method, without.deciding_gate.number) == (MONITOR, None, 8)
    assert without.gates[7].result == NOT_KNOWN
    assert "Not known whether each member accepts it: treatment passes with equal weights" in (
        without.sentence
    )


def test_weights_that_are_lost_never_leave_a_zone_for_good() -> None:
    """The example's E15 passes with equal weights and fails with those of one member."""
    survey = hc.demo_survey()
    lost = Survey({**survey.records, "views": ()}, survey.folder)

    assert hc.assess(survey, zones=["E15"]).zone("E15").outcome == LEAVE
    assert hc.assess(lost, zones=["E15"]).zone("E15").outcome == MONITOR


def test_a_member_who_gave_only_some_is_refused() -> None:
    """Half an answer is no answer, and never stands for the others."""
    raw = bare_rows()
    raw["views"] = [{"member": "owner", "criterion": "fabric", "swing": 100}]

    with pytest.raises(hc.SurveyError, match=r"member = owner: gave no weight for historic eviden"):
        hc.assess(build(raw))


def test_the_label_of_equal_weights_names_no_member() -> None:
    """Nobody hides weights of their own behind it."""
    own = dict.fromkeys(CRITERIA, 100.0) | {"fabric": 10.0}

    with pytest.raises(ValueError, match=r"name each member by role"):
        hc.Policy(weights={EQUAL_WEIGHTS: own})


def unagreed() -> Survey:
    """Give a bare survey without a policy."""
    found = build(bare_rows())
    return Survey({**found.records, "policy": ()})


def test_without_an_agreed_policy_nothing_is_assessed() -> None:
    """The refusal says how to agree one."""
    with pytest.raises(
        hc.SurveyError, match=r"policy: no policy is agreed yet; go through the off"
    ):
        hc.assess(unagreed())


def test_offered_values_show_an_answer_and_say_that_nobody_agreed_them() -> None:
    """A screen may show how a zone stands; every text of it says what is not agreed."""
    found = hc.assess(unagreed(), policy_of(offered_policy(date(2026, 5, 1))))

    assert found.policy_notes == ("Policy not agreed yet by the team", EQUAL)
    assert str(found).endswith(f". Policy not agreed yet by the team. {EQUAL}")


def test_another_policy_than_the_agreed_one_says_so(assessed: Assessment) -> None:
    """What was only tried out is never shown as agreed."""
    tried = hc.assess(assessed.survey, hc.Policy(alpha=0.05))

    assert assessed.policy_agreed
    assert not tried.policy_agreed
    assert tried.policy_notes[0] == "Policy other than the one that the team agreed"

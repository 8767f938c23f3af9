"""What another policy would change: named value by value, found without assessing the others."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

import heritagecheck as hc
from heritagecheck.judgement.other_policy import (
    flips,
    policy_differences,
    tried,
    with_value_of,
    zones_by_policy,
)
from heritagecheck.judgement.policy import CRITERIA, Policy
from heritagecheck.judgement.recommendation import Assessment


@cache
def agreed() -> Assessment:
    """The example as its team agreed."""
    return hc.assess(hc.demo_survey())


def only(member: str, criterion: str) -> Policy:
    """The agreed policy with one member who cares for next to nothing but one criterion."""
    swings = dict.fromkeys(CRITERIA, 1.0) | {criterion: 100.0}
    policy = agreed().policy
    return replace(policy, weights={**policy.weights, member: swings})


def far() -> list[Policy]:
    """Policies far from the agreed one, each way."""
    policy = agreed().policy
    return [
        replace(policy, alpha=0.5, agreed_share=0.5),
        replace(policy, alpha=0.01, power=1),
        replace(policy, fabric_cap=dict.fromkeys(("high", "medium", "low"), 7.9)),
        replace(policy, fabric_cap=dict.fromkeys(("high", "medium", "low"), 0.0)),
        replace(policy, margin=dict.fromkeys(("high", "medium", "low"), 19.0)),
    ]


@pytest.mark.parametrize("number", range(5))
def test_only_zones_that_reach_the_seventh_gate_depend_on_the_policy(number: int) -> None:
    """All zones assessed by a far policy: of the others, outcome, gate and method stay."""
    policy, spared = far()[number], set(zones_by_policy(agreed()))
    others = [one.zone for one in agreed().recommendations if one.zone not in spared]
    whole = hc.assess(agreed().survey, policy, zones=others)

    assert others
    for one in whole.recommendations:
        then = agreed().zone(one.zone)
        assert (one.outcome, one.sentence, one.method) == (then.outcome, then.sentence, then.method)


def test_a_trial_gives_what_an_assessment_gives() -> None:
    """The same answers as `assess` of all zones; the agreed assessment stays as it was."""
    policy = replace(agreed().policy, alpha=0.02)
    before = agreed().table.copy()
    trial, whole = tried(agreed(), policy), hc.assess(agreed().survey, policy)

    expected = [one.zone for one in agreed().recommendations
                if one.outcome != whole.zone(one.zone).outcome]  # fmt: skip
    assert flips(agreed(), trial)["zone"].tolist() == expected
    assert expected
    assert agreed().table.equals(before)
    assert trial.policy_notes == ("Policy other than the one that the team agreed",)
    assert flips(agreed(), tried(agreed(), agreed().policy)).empty


def test_years_beyond_those_rated_change_nothing() -> None:
    """Nobody rated what leaving does after 25 years, so looking further never favours treating."""
    policy = replace(agreed().policy, horizon_years=200.0)
    other = hc.assess(agreed().survey, policy, zones=["N09", "E15"])

    for one in other.recommendations:
        assert one.harm_table().equals(agreed().zone(one.zone).harm_table())
        assert one.sentence == agreed().zone(one.zone).sentence


def test_fewer_years_ahead_never_turn_an_outcome_towards_cleaning() -> None:
    """Over one year little harm of leaving has grown: zones are no longer cleaned, and no more."""
    policy = replace(agreed().policy, horizon_years=1.0)
    other = tried(agreed(), policy)

    changed = flips(agreed(), other)
    assert set(changed["as agreed"]) == {"clean"}
    assert set(changed["in this trial"]) == {"leave and monitor"}


def test_a_flip_names_both_outcomes_and_why() -> None:
    """Both sides give the gate that decides; where all pass, what the eighth found."""
    trial = tried(agreed(), replace(agreed().policy, alpha=0.3))
    [row] = flips(agreed(), trial).to_dict("records")

    assert (row["zone"], row["as agreed"], row["in this trial"]) == ("E15", "leave", "clean")
    assert row["why as agreed"].startswith("gate 8 not passed: the members differ; ")
    assert row["why in this trial"].startswith("gate 8 passed: ")
    assert "(70 % required)" in row["why in this trial"]


def test_differences_are_named_value_by_value() -> None:
    """Each with the number before and now; none where nothing differs."""
    policy = only("owner", "appearance")
    found = policy_differences(agreed().policy, replace(policy, alpha=0.2, margin=dict.fromkeys(
        ("high", "medium", "low"), 2.0)))  # fmt: skip
    said = [str(one) for one in found]

    assert policy_differences(agreed().policy, agreed().policy) == ()
    assert "weight of appearance, owner: 70 before, 100 now" in said
    assert "share of simulations that may favour leaving: 0.1 before, 0.2 now" in said
    assert "damage margin required, low significance: 1.3 before, 2 now" in said
    assert len([one for one in found if one.field == "weights"]) == 6


def test_one_value_is_taken_back_and_the_others_stay() -> None:
    """Of a member all weights go, of a limit all grades; a member who came is gone again."""
    before = agreed().policy
    now = replace(only("new", "people"), alpha=0.2)
    by_what = {one.what: one for one in policy_differences(before, now)}
    without = with_value_of(now, before, by_what["weight of people, new"])

    assert without.weights == before.weights
    assert without.alpha == 0.2
    alpha = by_what["share of simulations that may favour leaving"]
    assert with_value_of(now, before, alpha) == replace(now, alpha=0.1)

    caps = replace(before, fabric_cap=dict.fromkeys(("high", "medium", "low"), 0.0))
    high = policy_differences(before, caps)[0]
    assert with_value_of(caps, before, high) == before

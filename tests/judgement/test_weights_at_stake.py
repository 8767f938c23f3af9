"""Which weights would change gate 8: held against assessments with just those weights."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

import heritagecheck as hc
from heritagecheck.judgement.harm.treat_or_leave import is_enough
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.judgement.weights_at_stake import ZoneAtStake, weights_at_stake
from heritagecheck.survey.survey import Survey

# Members differ on E15; gate 3 decides E01, gate 7 N03; gate 8 of E07 waits for controls.
ZONES = ("E15", "E01", "N03", "E07", "T06")


@pytest.fixture(scope="module")
def survey() -> Survey:
    """The invented pumping station."""
    return hc.demo_survey()


@pytest.fixture(scope="module")
def assessment(survey: Survey) -> Assessment:
    """Zones of it that different gates decide."""
    return hc.assess(survey, zones=ZONES)


@pytest.fixture(scope="module")
def at_stake(assessment: Assessment) -> dict[str, ZoneAtStake]:
    """What weights have to do with each."""
    return {one.zone: one for one in weights_at_stake(assessment)}


def with_weights(
    survey: Survey, assessment: Assessment, zone: str, member: str, swings: Mapping[str, float]
) -> Recommendation:
    """Assess one zone with other weights of one member."""
    weights = {**assessment.policy.weights, member: swings}
    return hc.assess(survey, replace(assessment.policy, weights=weights), zones=[zone]).zone(zone)


def test_shares_are_those_of_the_assessment(
    assessment: Assessment, at_stake: dict[str, ZoneAtStake]
) -> None:
    """No new sums: for each member the very share that gate 8 rests on."""
    for zone in ("E15", "T06"):
        test = assessment.zone(zone).weighed[0]

        assert {one.member: one.share for one in at_stake[zone].members} == test.shares


def test_each_change_turns_the_member_in_a_new_assessment(
    survey: Survey, assessment: Assessment, at_stake: dict[str, ZoneAtStake]
) -> None:
    """The weight named, and no other, is changed and the zone assessed again: the answer turns."""
    tried = 0
    for member in at_stake["E15"].members:
        assert member.change is not None
        changed = {
            **assessment.policy.weights[member.member], member.change.criterion: member.change.to
        }  # fmt: skip
        again = with_weights(survey, assessment, "E15", member.member, changed)
        test = again.weighed[0]
        both = (test.shares[member.member], test.shares_without_resources[member.member])
        tried += 1

        assert all(is_enough(share, assessment.policy) for share in both) != member.accepts
    assert tried == 5


def test_gate_8_passes_once_all_who_do_not_accept_have_changed(
    survey: Survey, assessment: Assessment, at_stake: dict[str, ZoneAtStake]
) -> None:
    """Engineer and ecologist change as named, and the members no longer differ on E15."""
    zone = at_stake["E15"]
    weights = dict(assessment.policy.weights)
    for member in zone.members:
        if not member.accepts and member.change is not None:
            points = assessment.policy.weights[member.member]
            weights[member.member] = {**points, member.change.criterion: member.change.to}
    again = hc.assess(survey, replace(assessment.policy, weights=weights), zones=["E15"])

    assert (zone.accepting, zone.required) == (3, 5)
    assert not assessment.zone("E15").weighed[0].passed
    assert again.zone("E15").weighed[0].passed


def test_no_smaller_step_of_that_weight_turns_the_answer(
    survey: Survey, assessment: Assessment, at_stake: dict[str, ZoneAtStake]
) -> None:
    """The engineer's change is the least: a step of five points less leaves the answer."""
    [engineer] = [one for one in at_stake["E15"].members if one.member == "engineer"]
    assert engineer.change is not None
    before = engineer.change.to - (5 if engineer.change.to > engineer.change.points else -5)
    changed = {**assessment.policy.weights["engineer"], engineer.change.criterion: before}
    test = with_weights(survey, assessment, "E15", "engineer", changed).weighed[0]

    assert is_enough(test.shares["engineer"], assessment.policy) == engineer.accepts


@pytest.mark.parametrize(
    ("zone", "why_not"),
    [
        ("E01", "gate 3 decides first: still active: moisture, salts"),
        ("N03", "gate 7 decides first: no panel"),
        ("E07", "gate 8 waits for something else: not recorded: controls, consent"),
    ],
)
def test_where_no_weights_matter_it_says_why(
    at_stake: dict[str, ZoneAtStake], zone: str, why_not: str
) -> None:
    """No weight buys a gate, so none is offered as a way round one."""
    found = at_stake[zone]

    assert found.why_not.startswith(why_not)
    assert found.members == ()
    assert str(found).startswith(f"{zone}: weights change nothing, because gate")


def test_weights_given_in_private_take_the_place_of_the_policys(assessment: Assessment) -> None:
    """One who cares for people alone, near enough, and one for how it looks."""
    even = dict.fromkeys(CRITERIA, 10.0)
    given = {"first": even | {"people": 100.0}, "second": even | {"appearance": 100.0}}
    [zone] = weights_at_stake(assessment, given, ["E15"])

    assert [one.member for one in zone.members] == ["first", "second"]
    assert zone.required == 2
    assert zone.members[0].share < zone.members[1].share


def test_some_weights_favour_cleaning_and_some_leaving(at_stake: dict[str, ZoneAtStake]) -> None:
    """On E15 neither answer holds for all weights there could be."""
    assert 0 < at_stake["E15"].share_of_weights < 1


def test_agreement_shows_them_beside_the_views(survey: Survey, assessment: Assessment) -> None:
    """With an assessment, the agreement has a row for each member of each such zone."""
    found = hc.agreement(survey.all(hc.records.View), assessment)
    table = found.at_stake_table

    assert sorted(set(table["zone"])) == ["E15", "T06"]
    assert len(table) == 10
    assert table[table["member"] == "engineer"]["turned by"].iloc[0] == (
        "appearance from 30 to 40 points"
    )
    assert "E15, T06" in found._repr_html_()


def test_where_no_member_gave_weights_the_equal_ones_are_told_as_such(survey: Survey) -> None:
    """Equal weights stand in nobody's name, and three of five may be enough where a team agreed."""
    bare = hc.assess(survey, hc.Policy(), zones=["E15"])
    [equal] = weights_at_stake(bare)
    agreed = hc.assess(survey, zones=["E15"])
    [loose] = weights_at_stake(
        replace(agreed, policy=replace(agreed.policy, agreed_share=0.6)), zones=["E15"]
    )

    assert [one.member for one in equal.members] == ["equal weights, because no member gave any"]
    assert (loose.accepting, loose.required) == (3, 3)


def test_points_are_told_as_they_were_given(assessment: Assessment) -> None:
    """70 of 80 stays 70, not 87.5; the same weights tenfold say the same in points out of 100."""
    given = {"owner": assessment.policy.weights["owner"]}
    tenfold = {"owner": {name: 10 * swing for name, swing in given["owner"].items()}}
    [one], [other] = (weights_at_stake(assessment, some, ["E15"]) for some in (given, tenfold))

    assert str(one.members[0].change) == "appearance from 70 to 35 points"
    assert str(other.members[0].change) == "appearance from 87.5 to 45 points"
    assert other.members[0].share == one.members[0].share

"""Agreement of a team: who differs, who would have to change what, and what is never counted."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

import heritagecheck as hc
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.recommendation import OUTCOMES
from heritagecheck.survey.records import View

MEMBERS = ("conservator", "ecologist", "engineer", "owner")
CLEAN, TRIAL, MONITOR, LEAVE = OUTCOMES


@dataclass(frozen=True)
class Said:
    """What one member said of a zone, with the fields that an opinion has."""

    member: str
    zone: str
    outcome: str | None
    veto: str | None = None


def said(zone: str, *outcomes: str | None, **vetoes: str) -> list[Said]:
    """What the members said of a zone, in the order of `MEMBERS`; vetoes by member."""
    return [
        Said(who, zone, outcome, vetoes.get(who))
        for who, outcome in zip(MEMBERS, outcomes, strict=False)
    ]


def weights(member: str, *points: float) -> list[View]:
    """Weights of one member, criterion by criterion."""
    return [
        View(member=member, criterion=name, swing=swing)
        for name, swing in zip(CRITERIA, points, strict=False)
    ]


opinions = st.lists(
    st.lists(st.sampled_from([None, *OUTCOMES]), min_size=4, max_size=4), min_size=1, max_size=5
).map(lambda zones: [one for at, row in enumerate(zones) for one in said(f"N{at:02}", *row)])


def test_the_spread_of_a_zone_by_hand() -> None:
    """Two, one and one of four: of six pairs five differ."""
    zone = hc.agreement(said("N01", LEAVE, CLEAN, LEAVE, TRIAL)).zone("N01")

    assert zone.counts == {CLEAN: 1, TRIAL: 1, MONITOR: 0, LEAVE: 2}
    assert zone.disagreement == pytest.approx(5 / 6)
    assert [str(one) for one in zone.changes] == ["leave: ecologist, owner would change"]
    assert str(zone) == "N01: clean: ecologist; trial first: owner; leave: conservator, engineer"


def test_where_two_outcomes_are_as_near_both_are_named() -> None:
    """Nobody is told to give way where two stand against two."""
    zone = hc.agreement(said("N01", LEAVE, CLEAN, LEAVE, CLEAN)).zone("N01")

    assert [(one.outcome, one.members) for one in zone.changes] == [
        (CLEAN, ("conservator", "engineer")),
        (LEAVE, ("ecologist", "owner")),
    ]


def test_silence_is_no_answer_and_no_agreement() -> None:
    """Three who chose alike and one who chose nothing: not agreed, and nobody else to change."""
    found = hc.agreement(said("N01", LEAVE, LEAVE, None, LEAVE), members=MEMBERS)
    zone = found.zone("N01")

    assert zone.silent == ("engineer",)
    assert not zone.agreed
    assert zone.disagreement == 0
    assert zone.changes == ()


def test_a_member_who_gave_nothing_is_silent_everywhere() -> None:
    """Who was to answer and did not is named, though no record is."""
    found = hc.agreement(said("N01", LEAVE, LEAVE), members=[*MEMBERS, "mason"])

    assert found.members == (*MEMBERS[:3], "mason", "owner")
    assert found.zone("N01").silent == ("engineer", "mason", "owner")


def test_a_veto_stays_a_veto() -> None:
    """Three for cleaning and a veto: the way to agreement is never that the veto gives way."""
    zone = hc.agreement(said("N01", CLEAN, CLEAN, LEAVE, CLEAN, engineer=CLEAN)).zone("N01")

    assert [(one.outcome, one.members) for one in zone.changes] == [
        (LEAVE, ("conservator", "ecologist", "owner"))
    ]
    assert "engineer vetoes clean" in str(zone)


def test_an_outcome_that_all_chose_against_a_veto_is_not_agreed() -> None:
    """Somebody who chose nothing but vetoes what the others chose keeps it open."""
    views = said("N01", CLEAN, CLEAN, None, CLEAN, engineer=CLEAN)
    zone = hc.agreement(views).zone("N01")

    assert not zone.agreed
    assert zone.changes == ()


def test_zones_to_be_discussed_come_first() -> None:
    """Vetoes, then the most divided, then agreement."""
    views = [
        *said("N01", LEAVE, LEAVE, LEAVE, LEAVE),
        *said("N02", LEAVE, CLEAN, LEAVE, LEAVE),
        *said("N03", LEAVE, CLEAN, TRIAL, MONITOR),
        *said("N04", LEAVE, LEAVE, LEAVE, TRIAL, owner=CLEAN),
    ]
    found = hc.agreement(views)

    assert [zone.zone for zone in found.zones] == ["N04", "N03", "N02", "N01"]
    assert list(found.table["agreed"]) == ["no", "no", "no", "yes"]
    assert found.table["clean"].tolist() == [0, 1, 1, 0]


def test_weights_that_lack_a_criterion_are_named_and_not_filled_in() -> None:
    """Two whole sets count; the third is named."""
    views = [
        *weights("conservator", 100, 80, 60, 40, 20, 10),
        *weights("engineer", 100, 80, 60, 40, 20, 10),
        *weights("owner", 10, 100),
    ]
    found = hc.agreement(views)

    assert list(found.weights) == ["conservator", "engineer"]
    assert found.incomplete == ("owner",)
    assert found.kendall_w == pytest.approx(1)
    assert found.weight_alpha == 1
    assert found.outcome_alpha is None
    assert found.weights_table["highest"].iloc[0] == pytest.approx(100 / 310)


def test_the_same_weights_on_another_scale_are_the_same() -> None:
    """Only ratios count: 33.3 throughout is 100 throughout, of which no agreement can be told."""
    points = (90, 70, 50, 30, 20, 10)
    scaled = [[times * point for point in points] for times in (1, 0.37, 0.11)]
    views = [view for at, row in enumerate(scaled) for view in weights(MEMBERS[at], *row)]
    even = [*weights("owner", *[100] * 6), *weights("mason", *[33.3] * 6)]
    uneven = [*even, *weights("engineer", *[7.7] * 6)]

    assert hc.agreement(views).weight_alpha == 1
    assert hc.agreement(uneven).weight_alpha is None
    assert hc.agreement(uneven).kendall_w is None
    assert "Nobody puts one criterion above another" in str(hc.agreement(uneven))


def test_an_outcome_further_off_lowers_the_alpha_by_order() -> None:
    """Leave against monitor is nearer than leave against clean; by name both only differ."""
    rows = [said(f"N{at}", outcome, outcome) for at, outcome in enumerate(OUTCOMES * 2)]
    near = hc.agreement([one for row in [*rows, said("Z", LEAVE, MONITOR)] for one in row])
    far = hc.agreement([one for row in [*rows, said("Z", LEAVE, CLEAN)] for one in row])

    assert near.order_alpha is not None
    assert far.order_alpha is not None
    assert near.order_alpha > far.order_alpha
    assert near.outcome_alpha == pytest.approx(far.outcome_alpha)


@given(views=opinions, seed=st.integers(0, 1000))
def test_members_and_views_in_another_order_change_nothing(views: list[Said], seed: int) -> None:
    """Who sits where, and who pressed first, is of no account."""
    shuffled = random.Random(seed).sample(views, len(views))
    one, other = hc.agreement(views), hc.agreement(shuffled)

    assert other.zones == one.zones
    assert other.outcome_alpha == one.outcome_alpha
    assert other.order_alpha == one.order_alpha
    assert str(other) == str(one)


@given(views=opinions)
def test_names_of_members_change_no_number(views: list[Said]) -> None:
    """The same answers under other names have the same spread."""
    names = dict(zip(MEMBERS, ("zoologist", "architect", "mason", "baker"), strict=True))
    renamed = [Said(names[one.member], one.zone, one.outcome) for one in views]
    one, other = hc.agreement(views), hc.agreement(renamed)

    assert [zone.disagreement for zone in other.zones] == [zone.disagreement for zone in one.zones]
    assert other.outcome_alpha == one.outcome_alpha


@given(views=opinions)
def test_the_changes_named_bring_agreement(views: list[Said]) -> None:
    """Whoever is named changes to that outcome, and those who answered agree."""
    for zone in hc.agreement(views).zones:
        for change in zone.changes:
            moved = {**zone.answers, **dict.fromkeys(change.members, change.outcome)}
            again = hc.agreement(Said(who, zone.zone, chosen) for who, chosen in moved.items())

            assert again.zones[0].agreed
            assert 0 < len(change.members) < len(zone.answers)


@given(outcomes=st.lists(st.sampled_from(OUTCOMES), min_size=2, max_size=5).filter(
    lambda chosen: len(set(chosen)) > 1))  # fmt: skip
def test_full_agreement_is_one(outcomes: list[str]) -> None:
    """All choose alike in each zone: both alphas are 1, and no zone is left to discuss."""
    views = [one for at, outcome in enumerate(outcomes) for one in said(f"N{at}", *[outcome] * 4)]
    found = hc.agreement(views)

    assert found.outcome_alpha == found.order_alpha == 1
    assert all(zone.agreed for zone in found.zones)


@pytest.mark.parametrize(
    ("views", "message"),
    [
        (said("N01", LEAVE) * 2, "conservator gave two views on zone N01: give those of one round"),
        (
            said("N01", "paint it"),
            "conservator, zone N01: paint it is not an outcome. Allowed: clean",
        ),
        (said("N01", LEAVE, conservator="stay"), "zone N01: stay is not an outcome"),
        (weights("owner", 5) * 2, "owner gave two weights for fabric: keep one"),
        (weights("owner", 0, 0, 0, 0, 0, 0), "owner gave no criterion a weight above 0"),
    ],
)
def test_views_that_contradict_one_another_are_refused(
    views: Iterable[Said | View], message: str
) -> None:
    """The words say who, where, and what to give."""
    with pytest.raises(ValueError, match=message):
        hc.agreement(views)


def test_a_zone_without_views_is_named_with_those_that_have_some() -> None:
    """A misspelt code gets an answer that helps."""
    with pytest.raises(ValueError, match=r"a view on zone N09\. Zones with views: N01\."):
        hc.agreement(said("N01", LEAVE)).zone("N09")


def test_it_shows_itself() -> None:
    """A sentence and a card: how many agree, how to read the numbers, that dissent is kept."""
    views = [*said("N01", LEAVE, LEAVE), *said("N02", CLEAN, LEAVE, ecologist=CLEAN)]
    found = hc.agreement(views)

    assert str(found) == (
        "2 members agree on 1 of 2 zones, with 1 veto. This counts answers and does not say who "
        "is right. Keep each dissent in its own words."
    )
    assert "(few zones: 2)" in found._repr_html_()
    assert "1: full agreement" in found._repr_html_()
    assert str(hc.agreement([])).startswith("Nobody gave an outcome yet.")

"""Weights from points and from comparisons: what they give, and what is refused in which words."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from heritagecheck.judgement.elicitation import compared_weights, priorities, swing_weights
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.survey.records import View

PAIRS = list(combinations(CRITERIA, 2))
POINTS = dict(zip(CRITERIA, (100, 80, 50, 100, 50, 20), strict=True))


def comparisons_of(weights: dict[str, float]) -> dict[tuple[str, str], float]:
    """Comparisons that fit some weights exactly."""
    return {(one, other): weights[one] / weights[other] for one, other in PAIRS}


def test_points_become_shares() -> None:
    """400 points in all: 100 of them are a quarter."""
    found = swing_weights(POINTS)

    assert found.shares == {
        "fabric": 0.25, "historic evidence": 0.2, "appearance": 0.125, "people": 0.25,
        "environment": 0.125, "resources": 0.05,
    }  # fmt: skip
    assert found.consistency_ratio is None
    assert found.consistent


@pytest.mark.parametrize(
    ("points", "message"),
    [
        ({"fabric": 100}, "Points are missing for historic evidence, appearance"),
        (POINTS | {"cost": 5}, "cost is not a criterion. Criteria: fabric"),
        (POINTS | {"people": 120}, "people has 120 points: give 0 to 100"),
        (POINTS | {"people": math.nan}, "people has nan points: give 0 to 100"),
        (dict.fromkeys(CRITERIA, 50), "No criterion has 100 points: give them to the one"),
    ],
)
def test_points_that_can_not_be_are_refused(points: dict[str, float], message: str) -> None:
    """The words say which criterion, what came and what is allowed."""
    with pytest.raises(ValueError, match=message):
        swing_weights(points)


@given(points=st.lists(st.sampled_from([20.0, 30.0, 45.0, 60.0, 100.0]), min_size=5, max_size=5))
def test_comparisons_that_fit_give_back_their_weights(points: list[float]) -> None:
    """Who compares without contradiction gets the points behind the comparisons; ratio 0."""
    weights = dict(zip(CRITERIA, [100.0, *points], strict=True))
    found = compared_weights(comparisons_of(weights))

    assert found.swings == pytest.approx(weights, abs=0.05)
    assert found.consistency_ratio == pytest.approx(0, abs=1e-9)
    assert found.consistent


def test_comparisons_either_way_round_are_the_same() -> None:
    """Fabric three times people is people a third of fabric."""
    given_ = comparisons_of({name: float(value) for name, value in POINTS.items()})
    turned = {(other, one): 1 / times for (one, other), times in given_.items()}

    assert compared_weights(turned).swings == pytest.approx(compared_weights(given_).swings)


def test_a_contradiction_is_named_to_be_looked_at_again() -> None:
    """Fabric over people by 9, against all the rest: the ratio is high, and that pair is named."""
    odd = dict.fromkeys(PAIRS, 1.0) | {
        ("fabric", "people"): 9.0, ("fabric", "resources"): 1 / 9, ("people", "resources"): 9.0,
    }  # fmt: skip
    found = compared_weights(odd)

    assert found.consistency_ratio is not None
    assert found.consistency_ratio > 0.1
    assert not found.consistent
    assert found.look_again[0].startswith("fabric against people: 9 times given, ")
    assert "consistency ratio 0." in str(found)


@given(times=st.lists(st.sampled_from([1 / 9, 1 / 3, 0.5, 1.0, 2.0, 5.0, 9.0]), min_size=15,
                      max_size=15))  # fmt: skip
def test_whatever_is_compared_can_be_saved(times: list[float]) -> None:
    """Points are from above 0 to 100 with one at 100, and the ratio is never below 0."""
    found = compared_weights(dict(zip(PAIRS, times, strict=True)))

    assert max(found.swings.values()) == 100
    assert all(
        View(member="engineer", criterion=name, swing=points).swing > 0
        for name, points in found.swings.items()
    )
    assert found.consistency_ratio is not None
    assert found.consistency_ratio >= 0


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({("fabric", "cost"): 2.0}, "fabric and cost is not a pair of criteria"),
        ({("fabric", "fabric"): 1.0}, "fabric and fabric is not a pair of criteria"),
        ({("people", "fabric"): 2.0}, "people and fabric are compared twice: keep one"),
        ({("fabric", "people"): 12.0}, "fabric against people is 12: give 1 for as much, up to 9"),
        ({("fabric", "people"): 0.0}, "fabric against people is 0: give 1"),
    ],
)
def test_comparisons_that_can_not_be_are_refused(
    changes: dict[tuple[str, str], float], message: str
) -> None:
    """The words say which pair, what came and what is allowed."""
    with pytest.raises(ValueError, match=message):
        compared_weights(dict.fromkeys(PAIRS, 1.0) | changes)


def test_pairs_not_compared_are_named() -> None:
    """A gap is never filled in."""
    some = dict.fromkeys(PAIRS[:-1], 1.0)

    with pytest.raises(ValueError, match="Not compared yet: environment and resources"):
        compared_weights(some)


def test_a_matrix_that_contradicts_itself_is_refused() -> None:
    """Twice as much one way must be half the other way, and three to six things are compared."""
    with pytest.raises(ValueError, match="1 divided by the one the other way round"):
        priorities([[1, 2, 1], [2, 1, 1], [1, 1, 1]])
    with pytest.raises(ValueError, match="as many rows as columns, of 3, 4, 5, 6"):
        priorities([[1, 2], [0.5, 1]])

"""How many fields a trial needs, and what further panels could show."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heritagecheck.evidence.trials.damaged_fields import (
    NO_PRIOR,
    DamageLimits,
    FieldsRead,
    SharePrior,
    chance_to_pass,
    meets,
    most_damaged,
    next_panels,
    plan_fields,
)
from heritagecheck.judgement.policy import Policy
from heritagecheck.tables import threshold

GRADES = ("low", "medium", "high")
POLICY = Policy()
RATED = threshold("panel_correlation")


def planned(grade: str) -> tuple[int, ...]:
    """Fields of the effort planned at a significance."""
    plan = plan_fields(POLICY.damage(grade), int(threshold(f"planned_fields_{grade}")))
    return (plan.fields,) * plan.likely


@pytest.mark.parametrize(
    ("grade", "least", "likely"), [("low", 2, 2), ("medium", 4, 5), ("high", 4, 6)]
)
def test_effort_by_significance(grade: str, least: int, likely: int) -> None:
    """Panels of 10, 10 and 25 fields: the fewest with none damaged, and those likely to pass."""
    plan = plan_fields(POLICY.damage(grade), int(threshold(f"planned_fields_{grade}")))

    assert (plan.least, plan.likely) == (least, likely)


@pytest.mark.parametrize("correlation", [0.0, RATED])
@pytest.mark.parametrize("grade", GRADES)
def test_the_effort_planned_passes_good_settings_and_fails_bad_ones(
    grade: str, correlation: float
) -> None:
    """1 % damaged passes with 80 % or more, the limit itself with 5 % or less, alike or not."""
    limits = POLICY.damage(grade)

    def chance(share: float) -> float:
        return chance_to_pass(planned(grade), share, limits, correlation=correlation)

    assert chance(0.01) >= 0.8
    assert chance(limits.bound) <= 0.05


@pytest.mark.parametrize("correlation", [0.0, RATED])
@pytest.mark.parametrize("grade", GRADES)
def test_more_panels_never_close_the_gate_for_a_good_setting(
    grade: str, correlation: float
) -> None:
    """At 1 % damaged the chance to pass goes on rising; at the limit it falls to nothing."""
    limits, fields = POLICY.damage(grade), planned(grade)
    good, bad = (
        [
            chance_to_pass(fields * times, share, limits, correlation=correlation)
            for times in (1, 2, 4, 8)
        ]
        for share in (0.003, limits.bound)
    )

    assert all(np.diff(good) > -0.01)
    assert good[-1] > 0.95
    assert all(np.diff(bad) < 1e-6)
    assert bad[-1] < 0.001


def test_the_chance_is_that_of_a_simulation() -> None:
    """Panels drawn one by one, with fields alike as rated: the same share of trials passes."""
    limits, fields, share = POLICY.damage("medium"), (10,) * 5, 0.03
    draws = np.random.default_rng(3)
    scale = (1 - RATED) / RATED
    places = draws.beta(share * scale, (1 - share) * scale, size=(20_000, len(fields)))
    damaged = draws.binomial(fields, places)
    passed = damaged.sum(axis=1) <= most_damaged(fields, limits, NO_PRIOR)

    assert chance_to_pass(fields, share, limits, correlation=RATED) == pytest.approx(
        passed.mean(), abs=4 * 0.5 / np.sqrt(20_000)
    )


@given(st.integers(1, 30), st.lists(st.integers(1, 40), min_size=1, max_size=5))
def test_what_may_be_damaged_is_the_most_that_still_meets_the_limits(
    percent: int, fields: list[int]
) -> None:
    """One more damaged field does not."""
    limits = DamageLimits(percent / 100, min(percent / 100, 0.05), 0.25)
    most = most_damaged(tuple(fields), limits, NO_PRIOR)
    rest = (0,) * (len(fields) - 1)

    def holds(damaged: int) -> bool:
        return meets(FieldsRead((damaged, *rest), tuple(fields)), limits, NO_PRIOR)

    assert most < 0 or holds(most)
    assert most == sum(fields) or not holds(most + 1)


def test_a_limit_that_no_effort_shows_is_told() -> None:
    """None damaged at all in 60 panels of one field leave 5 % open."""
    with pytest.raises(ValueError, match="60 panels with 1 fields each do not show a share of"):
        plan_fields(DamageLimits(0.01, 0.01, 0.25), 1)


# -- Further panels -----------------------------------------------------------------------------


def test_sound_panels_that_are_too_few_are_likely_to_pass_with_more() -> None:
    """Two sound panels of ten at medium significance: a few more do."""
    gentle = SharePrior(0.03, 10, "rated 2")
    found = next_panels(FieldsRead((0, 0), (10, 10)), POLICY.damage("medium"), gentle)

    assert found.chance >= 0.8
    assert 2 <= found.panels <= 8
    assert not found.hopeless
    assert "more panels with 10 fields each would meet the limits" in str(found)


def test_panels_damaged_all_over_cannot_be_helped() -> None:
    """Half of the fields damaged: four times as many more would not pass."""
    found = next_panels(FieldsRead((5, 5), (10, 10)), POLICY.damage("low"), NO_PRIOR)

    assert found.hopeless
    assert str(found).startswith("more panels cannot help")


@pytest.mark.parametrize("grade", GRADES)
def test_more_damage_never_raises_the_chance_of_further_panels(grade: str) -> None:
    """Nor does a worse rating."""
    limits = POLICY.damage(grade)
    by_damage = [
        next_panels(FieldsRead((hit, 0, 0), (10,) * 3), limits, NO_PRIOR) for hit in range(5)
    ]
    by_rating = [
        next_panels(FieldsRead((0, 0), (10, 10)), limits, SharePrior(mean, 10, ""))
        for mean in (0.02, 0.2, 0.5)
    ]

    for found in (by_damage, by_rating):
        # A fewer panels for the same chance is the better prospect.
        ranks = [(one.chance >= 0.8, -one.panels if one.chance >= 0.8 else one.chance)
                 for one in found]  # fmt: skip
        assert ranks == sorted(ranks, reverse=True)

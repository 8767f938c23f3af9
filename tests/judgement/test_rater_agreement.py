"""Krippendorff's alpha and Kendall's W: worked by hand, missing values, ties, and their limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from heritagecheck.judgement.rater_agreement import Level, kendalls_w, krippendorff_alpha

LEVELS: tuple[Level, ...] = ("nominal", "ordinal", "interval")
NOTHING = math.nan


def tables(*, missing: bool = True) -> st.SearchStrategy[list[list[float]]]:
    """Small tables of two to five people and one to six units."""
    values = st.sampled_from([0.0, 1.0, 2.0, 3.0, *([NOTHING] if missing else [])])
    return st.integers(1, 6).flatmap(
        lambda units: st.lists(
            st.lists(values, min_size=units, max_size=units), min_size=2, max_size=5
        )
    )


def test_alpha_of_two_people_worked_by_hand() -> None:
    """
    Ten values, one pair of five apart: six a, four b.

    Observed disagreement: 2 of 10 coincidences. Expected: 2 × 6 × 4 / (10 × 9). Alpha: 1 - 0.2 × 90
    / 48 = 0.625.
    """
    found = krippendorff_alpha([[0, 0, 0, 1, 0], [0, 0, 1, 1, 0]], "nominal")
    # Seven a and three b: 1 - 0.2 × 90 / 42.
    assert found == pytest.approx(1 - 0.2 * 90 / 42)

    assert krippendorff_alpha([[0, 0, 0, 1, 1], [0, 0, 1, 1, 0]], "nominal") == pytest.approx(
        1 - 0.4 * 90 / 48
    )


def test_alpha_counts_how_far_apart_values_lie() -> None:
    """One step apart hurts less than two: 0 to 2 against 0 to 1, on three levels of equal steps."""
    near = [[0, 1, 2, 0, 2], [0, 1, 2, 0, 1]]
    far = [[0, 1, 2, 0, 2], [0, 1, 2, 0, 0]]
    near_alpha, far_alpha = (krippendorff_alpha(one, "interval") for one in (near, far))

    assert near_alpha is not None
    assert far_alpha is not None
    assert far_alpha < near_alpha < 1


def test_people_who_contradict_each_other_are_below_chance() -> None:
    """Two who always choose the opposite agree less than chance would have it."""
    found = krippendorff_alpha([[0, 1, 0, 1], [1, 0, 1, 0]], "nominal")

    assert found is not None
    assert found < 0


@pytest.mark.parametrize("level", LEVELS)
def test_alpha_is_not_defined_where_nothing_differs_or_is_shared(level: Level) -> None:
    """One value throughout tells nothing of agreement, nor do units that one person answered."""
    assert krippendorff_alpha([[1, 1], [1, 1]], level) is None
    assert krippendorff_alpha([[1, NOTHING], [NOTHING, 2]], level) is None


@given(table=tables(), level=st.sampled_from(LEVELS), seed=st.randoms(use_true_random=False))
def test_alpha_is_the_same_in_whichever_order_people_sit(
    table: list[list[float]], level: Level, seed: object
) -> None:
    """Permuting members changes no digit."""
    shuffled = table.copy()
    seed.shuffle(shuffled)

    assert krippendorff_alpha(shuffled, level) == krippendorff_alpha(table, level)


@given(table=tables(), level=st.sampled_from(LEVELS))
def test_alpha_is_never_above_one(table: list[list[float]], level: Level) -> None:
    """Nothing is more than full agreement; somebody who answered nothing changes nothing."""
    found = krippendorff_alpha(table, level)
    silent = [*table, [NOTHING] * len(table[0])]

    assert found is None or found <= 1
    assert krippendorff_alpha(silent, level) == found


@given(
    row=st.lists(st.sampled_from([0.0, 1.0, 2.0]), min_size=2, max_size=6),
    people=st.integers(2, 5), level=st.sampled_from(LEVELS),
)  # fmt: skip
def test_full_agreement_is_exactly_one(row: list[float], people: int, level: Level) -> None:
    """All the same on units that differ gives 1, by alpha and by W."""
    if len(set(row)) < 2:
        row = [0.0, *row[1:], 1.0]

    assert krippendorff_alpha([row] * people, level) == 1
    assert kendalls_w([row] * people) == pytest.approx(1)


@given(table=tables(missing=False))
def test_w_is_friedmans_statistic_divided_by_its_most(table: list[list[float]]) -> None:
    """With ties, W m (n - 1) is what scipy gives as Friedman's chi-squared."""
    people, things = np.shape(table)
    found = kendalls_w(table)
    if found is None or things < 3:
        return
    chi2 = stats.friedmanchisquare(*np.transpose(table)).statistic

    assert found * people * (things - 1) == pytest.approx(chi2, abs=1e-9)


def test_w_of_opposite_orders_is_zero() -> None:
    """What one puts first the other puts last: no order in common."""
    assert kendalls_w([[1, 2, 3], [3, 2, 1]]) == 0


def test_w_is_not_defined_for_one_person_nor_without_an_order() -> None:
    """One order has nothing to be held against, and equal points give none."""
    assert kendalls_w([[1, 2, 3]]) is None
    assert kendalls_w([[5, 5, 5], [7, 7, 7]]) is None


def test_what_is_no_table_of_numbers_is_refused() -> None:
    """A flat list, an infinite number and a gap in an order say what is wrong."""
    with pytest.raises(ValueError, match="1 dimensions: give a row for each person"):
        krippendorff_alpha([1, 2, 3], "nominal")
    with pytest.raises(ValueError, match="infinite number: NaN means not given"):
        krippendorff_alpha([[1, math.inf], [1, 2]], "interval")
    with pytest.raises(ValueError, match="A value is missing"):
        kendalls_w([[1, NOTHING], [1, 2]])

"""Counted shares: bounds against scipy, coverage by exact sums, and what is refused."""

import math

import pytest
from scipy import stats

from heritagecheck.evidence.trials import damaged_fields

CASES = [(0, 1), (1, 1), (0, 30), (3, 40), (12, 50), (30, 30), (199, 4000)]


@pytest.mark.parametrize(("events", "count"), CASES)
@pytest.mark.parametrize("level", [0.8, 0.95, 0.999])
def test_one_sided_bounds_are_those_of_scipy(events: int, count: int, level: float) -> None:
    """scipy.stats.binomtest, with the one-sided alternative of each."""
    up = stats.binomtest(events, count, alternative="less").proportion_ci(level).high
    down = stats.binomtest(events, count, alternative="greater").proportion_ci(level).low

    assert damaged_fields.upper_bound(events, count, level) == pytest.approx(up, abs=1e-10)
    assert damaged_fields.lower_bound(events, count, level) == pytest.approx(down, abs=1e-10)


@pytest.mark.parametrize("share", [0.003, 0.01, 0.05, 0.3])
def test_the_upper_bound_covers_the_truth_at_least_as_often_as_it_says(share: float) -> None:
    """Exact sum over all outcomes of 60 spots."""
    held = sum(
        stats.binom.pmf(events, 60, share)
        for events in range(61)
        if damaged_fields.upper_bound(events, 60) >= share
    )

    assert held >= 0.95


@pytest.mark.parametrize("level", [0.8, 0.95, 0.975])
@pytest.mark.parametrize("share", [0.001, 0.01, 0.2, 0.9])
def test_the_count_needed_suffices_and_one_fewer_does_not(share: float, level: float) -> None:
    """Against the exact bound of scipy."""
    count = damaged_fields.count_needed(share, level)

    def bound(spots: int) -> float:
        if not spots:
            return 1.0
        exact = stats.binomtest(0, spots, alternative="less").proportion_ci(level)
        return float(exact.high)

    assert bound(count) <= share * (1 + 1e-9)
    assert bound(count - 1) > share


def test_the_well_known_counts_for_one_in_a_hundred() -> None:
    """59 and 299 spots: attribute sampling tables at 95 % for 5 % and 1 %."""
    assert damaged_fields.count_needed(0.05) == 59
    assert damaged_fields.count_needed(0.01) == 299


def test_no_damage_is_not_no_risk() -> None:
    """The rule of three: about 3/n, never 0 (Hanley and Lippman-Hand 1983)."""
    for count in (10, 20, 100, 1000):
        bound = damaged_fields.upper_bound(0, count)

        assert 2.5 / count < bound < 3 / count


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: damaged_fields.upper_bound(0, 0), "nothing was read"),
        (lambda: damaged_fields.upper_bound(5, 4), "can't be more than count = 4"),
        (lambda: damaged_fields.upper_bound(-1, 4), "events = -1: it must be a whole number"),
        (lambda: damaged_fields.upper_bound(0.5, 4), "events = 0.5: it must be a whole number"),
        (lambda: damaged_fields.upper_bound(1, math.nan), "count = nan: it must be a whole number"),
        (lambda: damaged_fields.lower_bound(1, 4, 95), "level = 95"),
        (lambda: damaged_fields.lower_bound(5, 4), "more than count|whole number"),
        (lambda: damaged_fields.count_needed(1), "1 % is 0.01"),
        (lambda: damaged_fields.count_needed(0), "1 % is 0.01"),
        (lambda: damaged_fields.count_needed(1e-9), "ten million"),
        (lambda: damaged_fields.count_needed(0.01, 1.0), "level = 1"),
    ],
)
def test_counts_that_can_not_be_are_refused(call, said: str) -> None:
    """More events than spots, none read, per cent for shares."""
    with pytest.raises(ValueError, match=said):
        call()

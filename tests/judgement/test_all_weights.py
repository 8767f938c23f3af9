"""Share of all weights that favour treating: by hand, by counting, and what can't move it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from heritagecheck.judgement.harm.normal_draws import DRAWS
from heritagecheck.judgement.harm.treat_or_leave import shares_favouring
from heritagecheck.judgement.weights_at_stake import share_favouring

gains = st.lists(
    st.sampled_from([-3.0, -1.0, -0.25, 0.0, 0.5, 1.0, 2.0]), min_size=2, max_size=6
)  # fmt: skip


def share_of(*gain: float) -> float:
    """Share of weights in one simulation."""
    return share_favouring(np.array(gain)[:, None])


def test_two_criteria_by_hand() -> None:
    """Sparing 1 against adding 3: the first weight must be above 3/4."""
    assert share_of(1, -3) == 0.25


def test_three_criteria_by_hand() -> None:
    """Corner 1 up by 2, the others down by 1 and 3: a similar triangle of 2/3 × 2/5 remains."""
    assert share_of(2, -1, -3) == pytest.approx(2 / 3 * 2 / 5)
    assert share_of(2, 0, 0) == 1
    assert share_of(0, 0, 0) == 0
    assert share_of(-1, -2, 0) == 0


def test_it_is_what_counting_many_weights_gives() -> None:
    """Two hundred thousand weights at random, six criteria, forty simulations."""
    generator = np.random.default_rng(3)
    gain = generator.normal(size=(6, 40))
    weights = generator.dirichlet(np.ones(6), 200_000)
    favour = np.einsum("wc,cd->wd", weights, gain) > 0

    assert share_favouring(gain) == pytest.approx(favour.mean(), abs=0.003)


def test_a_share_of_simulations_is_near_its_closed_form() -> None:
    """
    Two options with normal criteria and a fixed weight: Φ(0.33), to three standard errors.

    The closed form is row SN-1 of tests/published/decision_smaa.csv.
    """
    generator = np.random.default_rng(7)
    means, deviations = np.array([0.2, -0.2]), np.array([np.hypot(0.1, 0.05), 0.25])
    gain = means[:, None] + deviations[:, None] * generator.standard_normal((2, DRAWS))
    expected = stats.norm.cdf(0.04 / np.hypot(0.6 * deviations[0], 0.4 * deviations[1]))
    [found] = shares_favouring(gain, [[0.6, 0.4]])

    assert expected == pytest.approx(0.6301240522, abs=1e-9)
    assert found == pytest.approx(expected, abs=3 * np.sqrt(0.63 * 0.37 / DRAWS))


@given(gain=gains, times=st.sampled_from([0.25, 2.0, 8.0]))
def test_scale_and_sides_change_nothing(gain: list[float], times: float) -> None:
    """Gains times a number favour as before; turned round, what is left of 1."""
    share = share_of(*gain)

    assert share_of(*(times * one for one in gain)) == share
    if any(gain):
        assert share_of(*(-one for one in gain)) == pytest.approx(1 - share)


@given(gain=gains, place=st.integers(0, 5))
def test_more_harm_never_favours_treating(gain: list[float], place: int) -> None:
    """A worse treatment is never preferred by more weights."""
    worse = [one - (place % len(gain) == at) for at, one in enumerate(gain)]

    assert share_of(*worse) <= share_of(*gain) + 1e-12

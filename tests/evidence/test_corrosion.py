"""Probability of passing the engineer's limit, against the normal distribution of scipy."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import norm

from heritagecheck.evidence.zone_evidence import limit_passed

BEAM = {"loss_pct": 8.0, "loss_sd": 0.8, "rate_pct_a": 0.3, "rate_sd": 0.1, "limit_pct": 10.0}
losses, rates = st.floats(0, 30), st.floats(0, 2)
spreads = st.floats(0.05, 3)
limits, years = st.floats(1, 40), st.floats(0, 50)


@given(losses, spreads, rates, spreads, limits, years)
def test_the_probability_is_that_of_a_normal_loss(
    loss: float, loss_sd: float, rate: float, rate_sd: float, limit: float, time: float
) -> None:
    """Loss after t years: mean loss + rate t, spread from both, and the share beyond the limit."""
    expected = norm.sf(limit, loc=loss + rate * time, scale=math.hypot(loss_sd, rate_sd * time))

    found = limit_passed(
        loss_pct=loss,
        loss_sd=loss_sd,
        rate_pct_a=rate,
        rate_sd=rate_sd,
        limit_pct=limit,
        years=time,
    )

    assert found.probability == pytest.approx(expected, abs=1e-12)


@given(losses, spreads, rates, spreads, limits)
def test_after_the_years_to_5_per_cent_the_probability_is_5_per_cent(
    loss: float, loss_sd: float, rate: float, rate_sd: float, limit: float
) -> None:
    """Unless it is more today already, or never reaches it."""
    at = {
        "loss_pct": loss, "loss_sd": loss_sd, "rate_pct_a": rate, "rate_sd": rate_sd,
        "limit_pct": limit,
    }  # fmt: skip
    today = limit_passed(**at, years=0)
    time = today.years_to_5_pct
    assume(math.isfinite(time) and today.probability < 0.05)

    after, before = limit_passed(**at, years=time), limit_passed(**at, years=max(0, time - 2e-3))

    assert after.probability >= 0.05 - 1e-9
    assert before.probability <= 0.05 + 1e-9


@given(losses, spreads, rates, spreads, limits, st.floats(0, 10), st.floats(0.01, 10))
def test_more_loss_a_faster_rate_or_a_lower_limit_is_never_safer(
    loss: float, loss_sd: float, rate: float, rate_sd: float, limit: float, time: float, more: float
) -> None:
    """Each makes passing the limit likelier, or leaves it as it is."""
    at = {
        "loss_pct": loss, "loss_sd": loss_sd, "rate_pct_a": rate, "rate_sd": rate_sd,
        "limit_pct": limit, "years": time,
    }  # fmt: skip
    usual = limit_passed(**at)

    for worse in (
        {"loss_pct": loss + more},
        {"rate_pct_a": rate + more},
        {"limit_pct": max(limit - more, 0.0)},
    ):
        found = limit_passed(**at | worse)
        assert found.probability >= usual.probability
        assert found.years_to_5_pct <= usual.years_to_5_pct


def test_a_hand_worked_beam() -> None:
    """8 % lost, 0.3 % a year, limit 10 %: after 5 years 0.5 % short, spread 0.943 %: 30 %."""
    found = limit_passed(**BEAM, years=5)

    assert found.probability == pytest.approx(norm.sf(0.5 / math.hypot(0.8, 0.5)))
    assert str(found) == ("30 % probability of passing the engineer's limit before the next access")


def test_a_limit_passed_today_needs_no_years() -> None:
    """Already beyond: the probability is high now, and 5 % was reached before today."""
    found = limit_passed(**BEAM | {"loss_pct": 14.0}, years=0)

    assert found.probability > 0.99
    assert found.years_to_5_pct < 0.01


def test_a_standstill_never_reaches_the_limit() -> None:
    """No rate and a sure measurement: never within two centuries."""
    found = limit_passed(
        loss_pct=2, loss_sd=0.1, rate_pct_a=0, rate_sd=0.001, limit_pct=10, years=30
    )

    assert found.probability < 1e-9
    assert found.years_to_5_pct == math.inf


def test_one_spread_alone_is_enough() -> None:
    """A loss measured without error still grows at an uncertain rate, and the reverse."""
    sure_loss = limit_passed(**BEAM | {"loss_sd": 0.0}, years=5)
    sure_rate = limit_passed(**BEAM | {"rate_sd": 0.0}, years=5)

    assert sure_loss.probability == pytest.approx(norm.sf(0.5 / 0.5))
    assert sure_rate.probability == pytest.approx(norm.sf(0.5 / 0.8))
    assert limit_passed(**BEAM | {"loss_sd": 0.0}, years=0).probability == 0


def test_no_spread_at_all_is_refused() -> None:
    """Without any doubt there is no probability to give."""
    with pytest.raises(ValueError, match="Neither the loss nor its rate has a spread: give the"):
        limit_passed(**BEAM | {"loss_sd": 0.0, "rate_sd": 0.0}, years=5)


@pytest.mark.parametrize("name", ["loss_sd", "rate_sd", "years", "loss_pct", "limit_pct"])
def test_negative_input_is_refused(name: str) -> None:
    """As the docstring says: spreads, years, loss and limit run from 0."""
    with pytest.raises(ValueError, match="can't be negative"):
        limit_passed(**{**BEAM, "years": 5.0, name: -1.0})

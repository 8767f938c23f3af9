"""Whether steel passes the engineer's limit before anyone can reach it again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from heritagecheck.survey.records import SiteTest, Zone
from heritagecheck.survey.records.readings import complete_values


@dataclass(frozen=True, slots=True)
class LimitPassed:
    """Probability of passing the engineer's limit, and when that probability reaches 5 %."""

    probability: float
    years_to_5_pct: float

    def __str__(self) -> str:
        """Say it in a sentence."""
        return (
            f"{100 * self.probability:.0f} % probability of passing the engineer's limit "
            "before the next access"
        )


def limit_of_zone(tests: tuple[SiteTest, ...], zone: Zone, day: date) -> LimitPassed | None:
    """Probability that plate loss passes the engineer's limit before the next access."""
    loss = complete_values(tests, "plate_loss_pct")
    limit = complete_values(tests, "plate_loss_limit_pct")
    rate = [test for test in tests if test.quantity == "plate_loss_rate_pct_a"]
    if not loss or not limit or not rate or rate[0].value is None:
        return None
    if zone.next_access is None or zone.next_access < day:
        return None
    spread = next(
        test.spread or 0.0
        for test in tests
        if test.quantity == "plate_loss_pct" and test.value == max(loss)
    )
    if not spread and not rate[0].spread:
        return None
    return limit_passed(
        loss_pct=max(loss),
        loss_sd=spread,
        rate_pct_a=rate[0].value,
        rate_sd=rate[0].spread or 0.0,
        limit_pct=min(limit),
        years=(zone.next_access - day).days / 365.25,
    )


def limit_passed(
    *,
    loss_pct: float,
    loss_sd: float,
    rate_pct_a: float,
    rate_sd: float,
    limit_pct: float,
    years: float,
) -> LimitPassed:
    """
    Probability that plate loss passes the engineer's limit within some years.

    Loss grows by a constant, normally distributed rate: P = Phi((loss + rate t - limit) / s),
    s^2 = s_loss^2 + (t s_rate)^2 (propagation of independent normal errors: JCGM 100:2008,
    clause 5). Pits, cracks and rivets are not in it, and a rate from two surveys says little about
    the next leak.
    """
    if min(loss_pct, loss_sd, rate_sd, limit_pct, years) < 0:
        raise ValueError("Losses, limits, spreads and years can't be negative.")
    if loss_sd == 0 and rate_sd == 0:
        raise ValueError(
            "Neither the loss nor its rate has a spread: give the standard deviation of one."
        )

    def probability(time: float) -> float:
        spread = math.hypot(loss_sd, rate_sd * time)
        short = limit_pct - loss_pct - rate_pct_a * time
        if spread == 0:
            return float(short < 0)
        return 0.5 * math.erfc(short / spread / math.sqrt(2))

    low, high = 0.0, 200.0
    if probability(high) < 0.05:
        return LimitPassed(probability(years), math.inf)
    while high - low > 1e-3:
        middle = (low + high) / 2
        low, high = (low, middle) if probability(middle) >= 0.05 else (middle, high)
    return LimitPassed(probability(years), high)

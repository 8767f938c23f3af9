"""Whether treatment is probably less harmful than leaving, for every member of the team."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heritagecheck.evidence.gather import ZoneEvidence
from heritagecheck.judgement.harm import DRAWS, Array, Draws, HarmDraws, harm_draws, total
from heritagecheck.judgement.options import Option
from heritagecheck.judgement.policy import CRITERIA, Policy

CORRELATIONS = (0.0, 0.5, 0.9)
CAP_PROBABILITY = 0.05
TIE = 1e-12


@dataclass(frozen=True, eq=False)
class AgainstLeaving:
    """One option held against leaving."""

    option: str
    passed: bool
    reason: str
    expected: float
    expected_leave: float
    shares: dict[str, float]
    shares_without_resources: dict[str, float]
    beyond_cap: float
    cap: float
    harm: dict[str, tuple[float, float, float]]
    contributions: dict[str, float]

    @property
    def least_share(self) -> float:
        """Least share of draws that favour treatment, over the members."""
        return min(self.shares.values())


def members_tested(policy: Policy) -> int:
    """
    How many members must pass.

    Parameters
    ----------
    policy : Policy
        The policy.

    Returns
    -------
    int
    """
    return math.ceil(policy.agreed_share * len(policy.weights) - TIE)


def precaution(
    evidence: ZoneEvidence, options: Sequence[Option], policy: Policy, draws: Draws
) -> tuple[dict[str, AgainstLeaving], dict[str, tuple[float, float, float]]]:
    """
    Hold every option against leaving.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    options : sequence of Option
        Options to be tested.
    policy : Policy
        Weights and limits.
    draws : Draws
        Source of draws.

    Returns
    -------
    dict
        Option to its test.
    dict
        Harm of leaving: criterion to mean, 5th and 95th percentile.
    """
    sets = [
        harm_draws(evidence, options, draws, correlation=correlation)
        for correlation in CORRELATIONS
    ]
    cap = policy.fabric_cap[evidence.zone.significance]
    tests = {option.key: _test(option.key, sets, policy, cap) for option in options}
    return tests, harm_summary(sets[0].leave)


def _test(key: str, sets: Sequence[HarmDraws], policy: Policy, cap: float) -> AgainstLeaving:
    """Test one option; over the assumed correlations the least favourable figure counts."""
    group = policy.group()
    members, bare = policy.shares(), policy.shares(resources=False)
    shares = _least_shares(key, sets, members, policy.power)
    without = _least_shares(key, sets, bare, policy.power)
    beyond = max(float(np.mean(item.fabric_by_treatment[key] > cap)) for item in sets)
    passed, reason = _verdict(shares, without, beyond, cap, policy)
    first = sets[0]
    return AgainstLeaving(
        option=key,
        passed=passed,
        reason=reason,
        expected=float(np.mean(total(first.options[key], group, policy.power))),
        expected_leave=float(np.mean(total(first.leave, group, policy.power))),
        shares=shares,
        shares_without_resources=without,
        beyond_cap=beyond,
        cap=cap,
        harm=harm_summary(first.options[key]),
        contributions=_contributions(first.options[key], group, policy.power),
    )


def _least_shares(
    key: str,
    sets: Sequence[HarmDraws],
    members: dict[str, tuple[float, ...]],
    power: int,
) -> dict[str, float]:
    """Least share of draws that favour treatment, member by member."""
    return {
        member: min(share_favouring(item.options[key], item.leave, weights, power) for item in sets)
        for member, weights in members.items()
    }


def share_favouring(treat: Array, leave: Array, weights: Sequence[float], power: int) -> float:
    """
    Share of draws in which treating does less harm than leaving.

    Parameters
    ----------
    treat, leave : ndarray, shape (criteria, draws)
        Harm. [0 to 10]
    weights : sequence of float
        Weights that sum to one.
    power : int
        1 or 2.

    Returns
    -------
    float
        Share of draws. [0 to 1]
    """
    gain = total(leave, weights, power) - total(treat, weights, power)
    return float(np.mean(gain > TIE))


def _verdict(
    shares: dict[str, float],
    without: dict[str, float],
    beyond: float,
    cap: float,
    policy: Policy,
) -> tuple[bool, str]:
    """Say whether the precaution is passed; within two standard errors of a limit it is not."""
    asked = members_tested(policy)
    limit = 1 - policy.alpha
    error = 2 * math.sqrt(limit * policy.alpha / DRAWS)
    passing = sum(share - error >= limit for share in shares.values())
    bare = sum(share - error >= limit for share in without.values())
    least = min(shares.values())
    words = (
        f"{passing} of {len(shares)} members pass ({asked} asked); at the least {least:.0%} of "
        f"draws favour treatment ({limit:.0%} asked), given these ratings, weights and records"
    )
    cap_error = 2 * math.sqrt(CAP_PROBABILITY * (1 - CAP_PROBABILITY) / DRAWS)
    if beyond + cap_error > CAP_PROBABILITY:
        return False, (
            f"{beyond:.0%} of draws lose more fabric than the cap of {cap:g} allows "
            f"(5 % at most); {words}"
        )
    if passing < asked:
        return False, words
    if bare < asked:
        return False, f"only the weight of resources carries it; {words}"
    return True, words


def harm_summary(harm: Array) -> dict[str, tuple[float, float, float]]:
    """
    Mean and 90 % range of harm, criterion by criterion.

    Parameters
    ----------
    harm : ndarray, shape (criteria, draws)
        Harm. [0 to 10]

    Returns
    -------
    dict
        Criterion to mean, 5th and 95th percentile.
    """
    low, high = np.percentile(harm, [5, 95], axis=1)
    means = harm.mean(axis=1)
    return {
        criterion: (float(means[row]), float(low[row]), float(high[row]))
        for row, criterion in enumerate(CRITERIA)
    }


def _contributions(harm: Array, weights: Sequence[float], power: int) -> dict[str, float]:
    """Mean contribution of each criterion to L."""
    return {
        criterion: float(np.mean(total(harm[row : row + 1], weights[row : row + 1], power)))
        for row, criterion in enumerate(CRITERIA)
    }


def trial_worth(
    evidence: ZoneEvidence, options: Sequence[Option], policy: Policy, draws: Draws
) -> bool:
    """
    Whether a further trial is worth its own harm.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    options : sequence of Option
        Options that could be tried.
    policy : Policy
        Weights and limits.
    draws : Draws
        Source of draws.

    Returns
    -------
    bool
        True where, with wide priors, at least `alpha` of the draws favour some option over leaving
        at the mean weights: fewer, and even a good trial would hardly change the answer.
    """
    if not options:
        return False
    harm = harm_draws(evidence, options, draws, cautious=False)
    group = policy.group()
    return any(
        share_favouring(harm.options[option.key], harm.leave, group, policy.power) >= policy.alpha
        for option in options
    )

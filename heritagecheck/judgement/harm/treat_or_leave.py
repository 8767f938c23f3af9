"""Whether treatment is probably less harmful than leaving, for every member of the team."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.harm.normal_draws import DRAWS, Array, Draws
from heritagecheck.judgement.harm.simulations import HarmDraws, harm_draws, total, weighed
from heritagecheck.judgement.options import Option, OptionKey
from heritagecheck.judgement.policy import CRITERIA, EQUAL_WEIGHTS, Policy
from heritagecheck.sentences import count_of

CORRELATIONS = (0.0, 0.5, 0.9)
CAP_PROBABILITY = 0.05
TIE = 1e-12


@dataclass(frozen=True, eq=False)
class AgainstLeaving:
    """One option compared with leaving; `brief` gives the result in a few words."""

    option: OptionKey
    passed: bool
    reason: str
    brief: str
    expected: float
    expected_leave: float
    shares: dict[str, float]
    shares_without_resources: dict[str, float]
    members_passing: int
    beyond_cap: float
    cap: float
    harm: dict[str, tuple[float, float, float]]
    contributions: dict[str, float]
    contributions_of_leaving: dict[str, float]
    power: int

    @property
    def total(self) -> float:
        """Total harm of treating on the scale from 0 to 10: S = 10 L^(1/p)."""
        return float(10 * self.expected ** (1 / self.power))

    @property
    def total_of_leaving(self) -> float:
        """Total harm of leaving on the same scale."""
        return float(10 * self.expected_leave ** (1 / self.power))

    @property
    def less_harm(self) -> bool:
        """Whether less harm is expected of it than of leaving."""
        return self.expected < self.expected_leave

    @property
    def weights_given(self) -> bool:
        """Whether some member gave weights; else all criteria count equally."""
        return EQUAL_WEIGHTS not in self.shares

    @property
    def divides(self) -> bool:
        """Whether it passes for some members only."""
        return 0 < self.members_passing < len(self.shares)

    @property
    def least_share(self) -> float:
        """Least share of draws that favour treatment, over the members."""
        return min(self.shares.values())


def members_tested(policy: Policy) -> int:
    """How many members must pass."""
    return math.ceil(policy.agreed_share * len(policy.weights) - TIE)


def precaution(
    evidence: ZoneEvidence, options: Sequence[Option], policy: Policy, draws: Draws
) -> tuple[dict[OptionKey, AgainstLeaving], dict[str, tuple[float, float, float]]]:
    """
    Hold every option against leaving.

    Option to its test. Harm of leaving: criterion to mean, 5th and 95th percentile.
    """
    sets = _simulated(evidence, options, policy, draws)
    left = [weighed(item.leave, policy.power) for item in sets]
    cap = policy.fabric_cap[evidence.zone.significance]
    members = _Members.of(policy)
    leaving = _Leaving(
        left, _contributions(left[0], members.mean), _expected(left[0], members.mean)
    )
    tests = {
        option.key: _test(option.key, sets, leaving, policy, members, cap) for option in options
    }
    return tests, harm_summary(sets[0].leave)


def _simulated(
    evidence: ZoneEvidence, options: Sequence[Option], policy: Policy, draws: Draws
) -> list[HarmDraws]:
    """Harm of leaving and of each option, once for each assumed correlation."""
    years = policy.years_counted
    return [
        harm_draws(evidence, options, draws, years_counted=years, correlation=correlation)
        for correlation in CORRELATIONS
    ]


def gains_over_leaving(
    evidence: ZoneEvidence, option: Option, policy: Policy, draws: Draws
) -> list[Array]:
    """
    What one option spares against leaving, in the simulations that the precaution rests on.

    Arrays of shape (criteria, draws), one for each assumed correlation, before any weights.
    """
    return [
        weighed(item.leave, policy.power) - weighed(item.options[option.key], policy.power)
        for item in _simulated(evidence, [option], policy, draws)
    ]


@dataclass(frozen=True, slots=True)
class _Members:
    """Weights of the members that sum to one, with those of resources and then without."""

    names: tuple[str, ...]
    weights: Array
    mean: tuple[float, ...]

    @classmethod
    def of(cls, policy: Policy) -> _Members:
        """Take them from a policy."""
        shares, bare = policy.shares(), policy.shares(resources=False)
        weights = np.array([*shares.values(), *bare.values()])
        return cls(tuple(shares), weights, policy.group())


@dataclass(frozen=True, slots=True)
class _Leaving:
    """Harm of leaving as `weighed` gives it, once for each correlation; the same for all tests."""

    parts: Sequence[Array]
    contributions: dict[str, float]
    expected: float


def _expected(parts: Array, weights: Sequence[float]) -> float:
    """Mean total harm at the mean weights of the members."""
    return float(np.mean(total(parts, weights)))


def _test(
    key: OptionKey,
    sets: Sequence[HarmDraws],
    leaving: _Leaving,
    policy: Policy,
    members: _Members,
    cap: float,
) -> AgainstLeaving:
    """Test one option; over the assumed correlations the least favourable figure counts."""
    names = members.names
    treated = [weighed(item.options[key], policy.power) for item in sets]
    gains = [of_leaving - of_it for of_leaving, of_it in zip(leaving.parts, treated, strict=True)]
    least = least_shares(gains, members.weights)
    shares = dict(zip(names, least[: len(names)], strict=True))
    without = dict(zip(names, least[len(names) :], strict=True))
    beyond = max(_share(item.fabric_by_treatment[key] > cap) for item in sets)
    passed, brief, reason = _verdict(shares, without, beyond, cap, policy)
    return AgainstLeaving(
        option=key,
        passed=passed,
        reason=reason,
        brief=brief,
        expected=_expected(treated[0], members.mean),
        expected_leave=leaving.expected,
        shares=shares,
        shares_without_resources=without,
        members_passing=_passing(shares, policy),
        beyond_cap=beyond,
        cap=cap,
        harm=harm_summary(sets[0].options[key]),
        contributions=_contributions(treated[0], members.mean),
        contributions_of_leaving=leaving.contributions,
        power=policy.power,
    )


def shares_favouring(gain: Array, weights: ArrayLike) -> list[float]:
    """Shares of draws in which treating does less harm than leaving."""
    # Not by BLAS, whose digits may depend on the number of threads. Weights that lie criterion by
    # criterion in memory are added by the draw: half as long again the other way round.
    sums = np.einsum("cm,cd->md", np.ascontiguousarray(np.transpose(weights)), gain)
    found: list[float] = ((sums > TIE).sum(axis=1) / sums.shape[1]).tolist()
    return found


def least_shares(gains: Iterable[Array], weights: ArrayLike) -> list[float]:
    """Least of those shares over the assumed correlations, for each row of weights."""
    found = [shares_favouring(gain, weights) for gain in gains]
    return [min(of_one) for of_one in zip(*found, strict=True)]


def _share(held: NDArray[np.bool_]) -> float:
    """Share of draws in which something holds."""
    return int(np.count_nonzero(held)) / held.size


def _verdict(
    shares: dict[str, float],
    without: dict[str, float],
    beyond: float,
    cap: float,
    policy: Policy,
) -> tuple[bool, str, str]:
    """Whether the precaution is passed, in brief and why; not within two errors of a limit."""
    asked, limit = members_tested(policy), 1 - policy.alpha
    passing, bare = _passing(shares, policy), _passing(without, policy)
    required = f"{100 * limit:.0f} % required"
    least = min(shares.values())
    if round(100 * least) >= round(100 * limit) and not is_enough(least, policy):
        required += " beyond the error of simulations"
    less_harm = f"{_less_harm(shares.values())} ({required})"
    if policy.weights_given:
        members = count_of(len(shares), "member")
        count = f"treatment passes for {passing} of {members} ({asked} required)"
        few = f"the weights of {passing} of {members} favour it ({asked} required)"
    else:
        count = f"treatment {'passes' if passing else 'does not pass'} with {EQUAL_WEIGHTS}"
        few = less_harm
    words = f"{count}; {less_harm}, given these ratings, weights and records"
    if is_beyond_cap(beyond):
        beyond_cap = (
            f"{per_cent(beyond)} of simulations exceed the cap of {cap:g} on harm to fabric (5 % "
            "allowed)"
        )
        return False, beyond_cap, f"{beyond_cap}; {words}"
    if passing < asked:
        reason = f"the members differ; {words}" if passing else words
        return False, few, reason
    if bare < asked:
        by_resources = "it passes only by the weight of resources"
        return False, by_resources, f"{by_resources}; {words}"
    return True, count, words


def is_beyond_cap(share: float) -> bool:
    """Whether too many simulations exceed the cap; within two standard errors they do."""
    error = 2 * math.sqrt(CAP_PROBABILITY * (1 - CAP_PROBABILITY) / DRAWS)
    return share + error > CAP_PROBABILITY


def per_cent(share: float) -> str:
    """A share of draws in words, never rounded to certainty."""
    if share > 0.99:
        return "more than 99 %"
    return "less than 1 %" if share < 0.01 else f"{100 * share:.0f} %"


def _less_harm(shares: Iterable[float]) -> str:
    """In how many simulations treatment does less harm, by the weights least in its favour."""
    ordered = sorted(shares)
    least = ordered[0]
    if least < 0.01 <= ordered[-1]:
        return "by one member's weights it does less harm in less than 1 % of simulations"
    share = per_cent(least) if least > 0.99 or least < 0.01 else f"at least {per_cent(least)}"
    return f"in {share} of simulations it does less harm"


def _passing(shares: dict[str, float], policy: Policy) -> int:
    """How many members pass."""
    return sum(is_enough(share, policy) for share in shares.values())


def is_enough(share: float, policy: Policy) -> bool:
    """Whether so many simulations pass a policy; within two standard errors they do not."""
    limit = 1 - policy.alpha
    return share - 2 * math.sqrt(limit * policy.alpha / DRAWS) >= limit


def harm_summary(harm: Array) -> dict[str, tuple[float, float, float]]:
    """Mean, 5th and 95th percentile of harm, criterion by criterion, over the simulations."""
    means = harm.mean(axis=1)
    # Sorted once, as that is several times as fast here as what numpy's quantiles do.
    ordered = np.sort(harm, axis=1)
    place = np.array([0.05, 0.95]) * (harm.shape[1] - 1)
    at = place.astype(int)
    below = ordered[:, at]
    low, high = (below + (place - at) * (ordered[:, at + 1] - below)).T
    return {
        criterion: (float(means[row]), float(low[row]), float(high[row]))
        for row, criterion in enumerate(CRITERIA)
    }


def _contributions(parts: Array, weights: Sequence[float]) -> dict[str, float]:
    """Mean contribution of each criterion to L."""
    means = parts.mean(axis=1)
    return {
        criterion: float(weight * mean)
        for criterion, weight, mean in zip(CRITERIA, weights, means, strict=True)
    }


def trial_worth(
    evidence: ZoneEvidence, options: Sequence[Option], policy: Policy, draws: Draws
) -> bool:
    """
    Whether a further trial is worth its own harm.

    True where, with wide priors, at least `alpha` of the draws favour some option over leaving at
    the mean weights: fewer, and even a good trial would hardly change the answer.
    """
    if not options:
        return False
    years = policy.years_counted
    harm = harm_draws(evidence, options, draws, years_counted=years, cautious=False)
    group, left = policy.group(), weighed(harm.leave, policy.power)
    gains = (left - weighed(treated, policy.power) for treated in harm.options.values())
    return any(shares_favouring(gain, [group])[0] >= policy.alpha for gain in gains)

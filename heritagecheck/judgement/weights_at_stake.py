"""Which weights would change gate 8 of a zone, member by member, by its own simulations."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.judgement.gates.gate import PASSED
from heritagecheck.judgement.gates.method_gates import as_listed, housekeeping_row
from heritagecheck.judgement.harm.normal_draws import Array, Draws
from heritagecheck.judgement.harm.treat_or_leave import (
    AgainstLeaving,
    gains_over_leaving,
    is_beyond_cap,
    is_enough,
    least_shares,
    members_tested,
    per_cent,
)
from heritagecheck.judgement.options import Option, option_name, options_for
from heritagecheck.judgement.policy import CRITERIA, Policy, PolicyFault
from heritagecheck.judgement.recommendation import Assessment, Recommendation

STEP = 5  # points: finer than anybody means a weight
MOST_POINTS = 100
LAST = 8
Weights = Mapping[str, Mapping[str, float]]


@dataclass(frozen=True, slots=True)
class SwingChange:
    """The least change of one weight, in points out of 100, that turns a member's answer."""

    criterion: str
    points: float
    to: float

    def __str__(self) -> str:
        """Give criterion and points."""
        return f"{self.criterion} from {self.points:g} to {self.to:g} points"


@dataclass(frozen=True, slots=True)
class MemberAtStake:
    """
    Whether gate 8 passes by one member's weights, and what single weight would turn that.

    `share` is the share of simulations in which treating does less harm, given these ratings,
    weights and records; to pass, the share with the weight of resources set to zero must do so too.
    `change` is None where no single weight turns the answer.
    """

    member: str
    share: float
    accepts: bool
    change: SwingChange | None

    def __str__(self) -> str:
        """Say it in a sentence."""
        now = "passes" if self.accepts else "does not pass"
        other = "would not pass" if self.accepts else "would pass"
        turn = f"it {other} with {self.change}" if self.change else "no single weight changes that"
        return (
            f"{self.member}: treatment {now} (less harm in {per_cent(self.share)} of simulations); "
            f"{turn}"
        )


@dataclass(frozen=True, slots=True)
class ZoneAtStake:
    """
    What weights have to do with the outcome of one zone.

    `why_not` says why no weights change the outcome, and is empty where they do. `share_of_weights`
    is the share of all weights there could be, and of simulations, for which treating does less
    harm than leaving.
    """

    zone: str
    option: str
    why_not: str
    required: int
    members: tuple[MemberAtStake, ...]
    share_of_weights: float

    @property
    def accepting(self) -> int:
        """By how many members' weights treatment passes."""
        return sum(one.accepts for one in self.members)

    def __str__(self) -> str:
        """Say it in a sentence."""
        if self.why_not:
            return f"{self.zone}: weights change nothing, because {self.why_not}"
        return (
            f"{self.zone}, {self.option}: passes by the weights of {self.accepting} of "
            f"{len(self.members)} members ({self.required} required)"
        )


def weights_at_stake(
    assessment: Assessment, weights: Weights | None = None, zones: Sequence[str] | None = None
) -> tuple[ZoneAtStake, ...]:
    """
    Find which weights would make gate 8 of a zone pass or not pass, member by member.

    Parameters
    ----------
    assessment : Assessment
        Whose simulations, ratings and limits are used.
    weights : mapping of str to mapping of str to float, optional
        Member to swing for each criterion; those of the assessment's policy where none is given.
    zones : sequence of str, optional
        Codes of the zones; all where none is given.

    Raises
    ------
    ValueError
        The weights can't be those of a policy.
    SurveyError
        The assessment holds no such zone.

    Notes
    -----
    One weight is changed at a time, in steps of 5 points from 0 to 100, and the others stay. A
    weight is a value of its member: this shows on what a difference rests, never what to answer.
    """
    policy = assessment.policy if weights is None else replace(assessment.policy, weights=weights)
    found = (
        assessment.recommendations
        if zones is None
        else tuple(assessment.zone(code) for code in zones)
    )
    draws = Draws(assessment.seed)
    return tuple(_zone(one, policy, draws) for one in found)


def _zone(recommendation: Recommendation, policy: Policy, draws: Draws) -> ZoneAtStake:
    """Look at one zone."""
    required = members_tested(policy)
    test = _at_gate_8(recommendation)
    why_not = _why_not(recommendation, test)
    if why_not or test is None:
        return ZoneAtStake(recommendation.zone, "", why_not, required, (), 0.0)
    evidence = recommendation.evidence
    option = _option(recommendation, test)
    gains = gains_over_leaving(evidence, option, policy, draws)
    return ZoneAtStake(
        zone=recommendation.zone,
        option=option_name(test.option, evidence.zone.soiling_codes),
        why_not="",
        required=required,
        members=tuple(
            _member(member, swings, gains, policy) for member, swings in policy.weights.items()
        ),
        share_of_weights=share_favouring(gains[0]),
    )


def _at_gate_8(recommendation: Recommendation) -> AgainstLeaving | None:
    """Option of gate 8: the one recommended, otherwise the least harmful."""
    tests = recommendation.weighed
    named = [test for test in tests if test.passed and test.option.method == recommendation.method]
    return next(iter(named or [test for test in tests if test.passed] or tests), None)


def _why_not(recommendation: Recommendation, test: AgainstLeaving | None) -> str:
    """Why no weights change the outcome; empty where they do."""
    gate = recommendation.deciding_gate
    if gate is not None and gate.number < LAST:
        return f"gate {gate.number} decides first: {gate.reason}"
    if test is None:
        return "no method is left to compare with leaving"
    if is_beyond_cap(test.beyond_cap):
        return f"the harm to fabric exceeds its cap of {test.cap:g}, whatever the weights"
    if gate is not None and test.passed and gate.result != PASSED and test.weights_given:
        return f"gate 8 waits for something else: {gate.reason}"
    return ""


def _option(recommendation: Recommendation, test: AgainstLeaving) -> Option:
    """The option of a test, as the assessment had it."""
    evidence = recommendation.evidence
    options = as_listed(options_for(evidence), housekeeping_row(evidence))
    return next(option for option in options if option.key == test.option)


def _member(
    member: str, swings: Mapping[str, float], gains: Sequence[Array], policy: Policy
) -> MemberAtStake:
    """One member, and the least change of one weight that turns the answer."""
    # Only ratios count: points stay as they were given, unless they run beyond 100.
    most = max(MOST_POINTS, *swings.values())
    points = {name: MOST_POINTS * swings[name] / most for name in CRITERIA}
    changes = sorted(_changes(points, policy), key=lambda change: abs(change.to - change.points))
    tried = [points, *({**points, change.criterion: change.to} for change in changes)]
    shares = _shares(tried, gains, policy)
    passes = [all(is_enough(share, policy) for share in both) for both in shares]
    turned = (
        change for change, other in zip(changes, passes[1:], strict=True) if other != passes[0]
    )
    return MemberAtStake(member, shares[0][0], passes[0], next(turned, None))


def _changes(points: Mapping[str, float], policy: Policy) -> Iterator[SwingChange]:
    """Every change of one weight that leaves weights as a policy may hold them."""
    for criterion in CRITERIA:
        for to in range(0, MOST_POINTS + STEP, STEP):
            changed = {**points, criterion: float(to)}
            if to != points[criterion] and _can_be(changed, policy):
                yield SwingChange(criterion, points[criterion], float(to))


def _can_be(swings: Mapping[str, float], policy: Policy) -> bool:
    """Whether a policy takes the weights of a member."""
    try:
        replace(policy, weights={"member": swings})
    except PolicyFault:
        return False
    return True


def _shares(
    tried: Sequence[Mapping[str, float]], gains: Sequence[Array], policy: Policy
) -> list[tuple[float, float]]:
    """Share of simulations that favour treating, with and without resources, for each."""
    given = replace(policy, weights={str(place): one for place, one in enumerate(tried)})
    rows = [*given.shares().values(), *given.shares(resources=False).values()]
    least = least_shares(gains, np.array(rows))
    return list(zip(least[: len(tried)], least[len(tried) :], strict=True))


# -- Over all weights that there could be ----------------------------------------------------------


def share_favouring(gain: ArrayLike) -> float:
    """
    Share of all weights that favour treating.

    Parameters
    ----------
    gain : array_like, shape (criteria, simulations)
        What treating spares on each criterion; negative where it does more harm than leaving.

    Returns
    -------
    float
        Share of all pairs of weights and simulation in which treating does less harm. [0 to 1]

    Notes
    -----
    The weights that sum to one are all taken as equally likely. In one simulation those that favour
    treating are a simplex cut by a plane, whose content is exact by recursion over its corners
    [1]_. The rank acceptability of two options is such a share [2]_. A share of all weights is not
    the share of people who would hold them.

    References
    ----------
    .. [1] G. Varsi, "The multidimensional content of the frustum of the simplex," Pacific J. Math.
       46, 303-314 (1973). Not read: the recursion is derived from divided differences.
    .. [2] R. Lahdelma, P. Salminen, "SMAA-2: stochastic multicriteria acceptability analysis for
       group decision making," Operations Research 49, 444-454 (2001). Not read.

    Examples
    --------
    Treating spares 4 of one harm and adds 3 of another.

    >>> round(share_favouring([[4.0], [-3.0]]), 3)
    0.571
    """
    return float(_content(np.asarray(gain, float)).mean())


def _content(gain: Array) -> Array:
    """
    Share of the simplex in which the sum of weight times gain is above zero, simulation by one.

    With a gain a above zero and a gain b below, the share of a simplex is the mean of the shares
    without b and without a, weighted by a and -b. All terms are positive, so that nothing cancels.
    """
    above, below = np.maximum(gain, 0.0), np.maximum(-gain, 0.0)
    # Gains not above zero become zeros after the others, where they change nothing.
    above, below = -np.sort(-above, axis=0), -np.sort(-below, axis=0)
    row: list[Array] = [(above[0] > 0).astype(float)] + [np.zeros(gain.shape[1])] * len(below)
    for up in above:
        for place, down in enumerate(below, start=1):
            both = up + down
            row[place] = np.divide(
                up * row[place - 1] + down * row[place], both,
                out=row[place].copy(), where=both > 0,
            )  # fmt: skip
    return row[-1]

"""What another policy would change: value by value, and zone by zone. It agrees nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from heritagecheck.cards import table
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.policy import CRITERIA, GRADES, Policy
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.progress import Told
from heritagecheck.sentences import ended

if TYPE_CHECKING:
    import pandas as pd

# Gates before this one read records and tables only.
FIRST_GATE_BY_POLICY = 7
COLUMNS = ("zone", "name", "as agreed", "in this trial", "why as agreed", "why in this trial")
SINGLE = {
    "alpha": "share of simulations that may favour leaving",
    "agreed_share": "share of members for whose weights it must",
    "horizon_years": "years ahead considered",
    "power": "power in the sum of harm",
}
BY_GRADE = {
    "fabric_cap": "cap on harm to fabric",
    "margin": "damage margin required",
    "damage_limit": "share that may be damaged, upper bound",
    "damage_seen": "share that may be seen damaged",
}


@dataclass(frozen=True, slots=True)
class PolicyValue:
    """One value in which two policies differ; empty where a policy has no such member."""

    what: str
    field: str
    key: tuple[str, ...]
    before: str
    now: str

    def __str__(self) -> str:
        """Give both values."""
        return f"{self.what}: {self.before or 'none'} before, {self.now or 'none'} now"


def policy_differences(before: Policy, now: Policy) -> tuple[PolicyValue, ...]:
    """
    Values in which two policies differ.

    Returns
    -------
    tuple of PolicyValue
        Weights by member and criterion, then precaution and limits; empty where they are the same.
    """
    return tuple(one for one in _values(before, now) if one.before != one.now)


def _values(before: Policy, now: Policy) -> Iterator[PolicyValue]:
    """Every value of two policies."""
    for member in dict.fromkeys((*before.weights, *now.weights)):
        for criterion in CRITERIA:
            said = (_written(one.weights.get(member, {}).get(criterion)) for one in (before, now))
            what = f"weight of {criterion}, {member}"
            yield PolicyValue(what, "weights", (member, criterion), *said)
    for field, what in SINGLE.items():
        said = (_written(getattr(one, field)) for one in (before, now))
        yield PolicyValue(what, field, (), *said)
    for field, what in BY_GRADE.items():
        for grade in GRADES:
            said = (_written(getattr(one, field)[grade]) for one in (before, now))
            yield PolicyValue(f"{what}, {grade} significance", field, (grade,), *said)


def _written(value: float | None) -> str:
    """A number with all its digits, or nothing."""
    return "" if value is None else f"{value:.15g}"


def with_value_of(policy: Policy, other: Policy, value: PolicyValue) -> Policy:
    """A policy with one value as another has it; so go all weights of a member, all grades."""
    given: Any = getattr(other, value.field)
    if value.field == "weights":
        member = value.key[0]
        given = {who: swings for who, swings in policy.weights.items() if who != member}
        given |= {who: swings for who, swings in other.weights.items() if who == member}
    changed: dict[str, Any] = {value.field: given}
    return replace(policy, **changed)


def zones_by_policy(assessment: Assessment) -> tuple[str, ...]:
    """
    Zones whose answer a policy can change.

    Returns
    -------
    tuple of str
        Codes of the zones that no gate before the seventh decides.
    """
    return tuple(
        one.zone
        for one in assessment.recommendations
        if one.deciding_gate is None or one.deciding_gate.number >= FIRST_GATE_BY_POLICY
    )


def tried(assessment: Assessment, policy: Policy, *, progress: Told | None = None) -> Assessment:
    """
    Assess by another policy those zones whose answer it can change; nothing is saved.

    Returns
    -------
    Assessment
        Of these zones only. Its `policy_notes` say that its policy is not the agreed one.
    """
    return assess(
        assessment.survey, policy, assessment.seed, zones_by_policy(assessment), progress=progress
    )


def flips(agreed: Assessment, trial: Assessment) -> pd.DataFrame:
    """
    Zones whose outcome another policy would change.

    Returns
    -------
    pandas.DataFrame
        Columns zone, name, as agreed, in this trial, why as agreed, why in this trial.
    """
    pairs = ((agreed.zone(one.zone), one) for one in trial.recommendations)
    return table(
        [
            (then.zone, then.name, then.outcome, other.outcome, _why(then), _why(other))
            for then, other in pairs
            if then.outcome != other.outcome
        ],
        COLUMNS,
    )


def _why(one: Recommendation) -> str:
    """Which gate decides, and why; what gate 8 found where all pass."""
    gate = one.deciding_gate or one.gates[-1]
    return ended(f"gate {gate.number} {gate.result}: {gate.reason}")

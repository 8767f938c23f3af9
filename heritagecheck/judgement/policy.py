"""What the team agreed before it saw an answer."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any

from heritagecheck.cards import summary
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.trials.damaged_fields import DamageLimits, agreed_damage
from heritagecheck.sentences import count_of
from heritagecheck.survey.records import AgreedPolicy, View
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import threshold

CRITERIA = (
    "fabric",
    "historic evidence",
    "appearance",
    "people",
    "environment",
    "resources",
)
GRADES = ("high", "medium", "low")
# Edges of what a team can agree: beyond them a precaution is none.
LEAST_AGREED = 0.5
MOST_CAP = 8.0  # on the harm scale: tooling lost, or a section near the engineer's limit
MOST_WEIGHT = 0.99  # of one criterion for one member
# Stands in a member's place until one gave weights, on every page that names the members.
EQUAL_WEIGHTS = "equal weights, because no member gave any"


class PolicyFault(ValueError):
    """What in a policy can't be agreed, and why."""

    def __init__(self, what: str, why: str, *, table: str = "policy") -> None:
        super().__init__(f"{what}: {why}")
        self.what, self.why, self.table = what, why, table


@dataclass(frozen=True, slots=True)
class Policy:
    """
    Weights and precaution of a team.

    Parameters
    ----------
    weights : mapping of str to mapping of str to float
        Member (by role) to swing for each criterion: how much the worst of the harm scale matters
        there, 0 to 100. Only ratios count. Where none is given, all criteria count equally, and no
        zone is cleaned until a member gave some.
    alpha : float
        A treatment must beat leaving in at least 1 - `alpha` of the draws. [0 to 0.5]
    agreed_share : float
        Share of members for whose weights it must. [0.5 to 1]
    fabric_cap : mapping of str to float
        Significance to the harm to fabric that may be passed with at most 5 % probability, below 8.
        [0-10]
    margin : mapping of str to float
        Significance to the damage margin whose lower bound a trial must reach, above 1. [1]
    horizon_years : float
        Years ahead for which harm of leaving counts that grows: decay, corrosion, later cost.
        It is rated for 25 years; fewer count in proportion, more count as 25. [years]
    power : int
        2, so that one severe harm is not averaged away; or 1.
    damage_limit : mapping of str to float
        Significance to the upper bound of the share of ×50 fields or spots damaged that a trial may
        leave open. [0 to 1]
    damage_seen : mapping of str to float
        Significance to the share that may be seen damaged. [0 to 1]

    Raises
    ------
    ValueError
        A weight is missing or negative, a member weighs nothing but resources or next to nothing
        but one criterion, a limit is outside its range, or is looser for higher significance.
    """

    weights: Mapping[str, Mapping[str, float]] = field(
        default_factory=lambda: MappingProxyType(
            {EQUAL_WEIGHTS: MappingProxyType(dict.fromkeys(CRITERIA, 100.0))}
        )
    )
    alpha: float = 0.10
    agreed_share: float = 1.0
    fabric_cap: Mapping[str, float] = field(
        default_factory=lambda: MappingProxyType({"high": 2.0, "medium": 4.0, "low": 5.0})
    )
    margin: Mapping[str, float] = field(
        default_factory=lambda: MappingProxyType({"high": 2.0, "medium": 1.3, "low": 1.3})
    )
    horizon_years: float = 25.0
    power: int = 2
    damage_limit: Mapping[str, float] = field(
        default_factory=lambda: MappingProxyType({"high": 0.10, "medium": 0.15, "low": 0.25})
    )
    damage_seen: Mapping[str, float] = field(
        default_factory=lambda: MappingProxyType({"high": 0.02, "medium": 0.05, "low": 0.05})
    )

    def __post_init__(self) -> None:
        """Refuse what can't be a policy."""
        if not self.weights:
            raise PolicyFault(
                "weights", "a policy needs the weights of at least one member.", table="views"
            )
        for member, swings in self.weights.items():
            _check_swings(f"weights of {member}", swings)
        if not self.weights_given and (
            len(self.weights) > 1 or len(set(self.weights[EQUAL_WEIGHTS].values())) > 1
        ):
            raise PolicyFault(
                f"weights of {EQUAL_WEIGHTS}", "name each member by role.", table="views"
            )
        if not 0 < self.alpha <= 0.5:
            raise PolicyFault(f"alpha = {self.alpha}", "it must be above 0 and at most 0.5.")
        if not LEAST_AGREED <= self.agreed_share <= 1:
            raise PolicyFault(
                f"agreed_share = {self.agreed_share}",
                f"it must be from {LEAST_AGREED:g} to 1. What fewer than half of the members "
                "accept is not agreed.",
            )
        if self.power not in {1, 2}:
            raise PolicyFault(f"power = {self.power}", "it must be 2 or 1.")
        if self.horizon_years <= 0:
            raise PolicyFault(f"horizon_years = {self.horizon_years}", "it must be above 0.")
        for name in ("fabric_cap", "margin", "damage_limit", "damage_seen"):
            values = getattr(self, name)
            if not isinstance(values, Mapping) or set(values) != set(GRADES):
                raise PolicyFault(name, "give one number each for high, medium and low.")
        _check_caps(self.fabric_cap)
        _check_margins(self.margin)
        _check_damage(self.damage_limit, self.damage_seen)

    def __str__(self) -> str:
        """Say in a sentence when it lets a treatment be recommended."""
        less_harm = (
            "treating must do less harm than leaving in at least "
            f"{100 * (1 - self.alpha):.0f} % of simulations"
        )
        if not self.weights_given:
            return f"Policy with {EQUAL_WEIGHTS}: {less_harm}"
        part = f"{100 * self.agreed_share:.0f} %" if self.agreed_share < 1 else "each"
        return f"Policy of {count_of(len(self.weights), 'member')}: {less_harm}, for {part} of them"

    def _repr_html_(self) -> str:
        """Show it in a notebook as a short card."""

        def by_grade(limits: Mapping[str, float], *, share: bool = False) -> str:
            written = (f"{100 * one:g} %" if share else f"{one:g}" for one in limits.values())
            return ", ".join(
                f"{words} ({grade})" for words, grade in zip(written, limits, strict=True)
            )

        lines = [
            ("Members", ", ".join(self.weights)),
            ("Harm to fabric at most", by_grade(self.fabric_cap)),
            ("Damage margin at least", by_grade(self.margin)),
            ("Damage accepted as not ruled out, up to", by_grade(self.damage_limit, share=True)),
            ("Damage that may be seen", by_grade(self.damage_seen, share=True)),
            ("Years ahead considered", f"{self.horizon_years:g}"),
        ]
        return summary("Policy", f"{self}.", lines)

    @property
    def weights_given(self) -> bool:
        """Whether some member gave weights; else all criteria count equally."""
        return EQUAL_WEIGHTS not in self.weights

    @property
    def years_counted(self) -> float:
        """Years ahead for which growing harm counts: nobody rated what comes after these."""
        return min(self.horizon_years, threshold("rated_years"))

    @property
    def one_limit(self) -> bool:
        """Whether it allows no visible damage at all, as policies before limits by grade did."""
        return not any(self.damage_seen.values())

    @property
    def values(self) -> dict[str, Any]:
        """Every value by its name, ready to save; `Policy(**values)` restores the policy."""
        held = {one.name: getattr(self, one.name) for one in fields(self)}
        weights = {member: dict(swings) for member, swings in self.weights.items()}
        return {
            name: dict(value) if isinstance(value, Mapping) else value
            for name, value in held.items()
        } | {"weights": weights}

    def damage(self, significance: str) -> DamageLimits:
        """
        What a trial must show of damage.

        Parameters
        ----------
        significance : str
            Significance of the zone.

        Returns
        -------
        DamageLimits
        """
        return DamageLimits(
            bound=self.damage_limit[significance],
            seen=self.damage_seen[significance],
            begins=self.damage_limit["low"],
        )

    def shares(self, *, resources: bool = True) -> dict[str, tuple[float, ...]]:
        """
        Weights that sum to one, member by member.

        Parameters
        ----------
        resources : bool
            False sets the weight of resources to zero.

        Returns
        -------
        dict
            Member to one weight for each of `CRITERIA`.
        """
        found = {}
        for member, swings in self.weights.items():
            raw = [
                swings[criterion] if resources or criterion != "resources" else 0.0
                for criterion in CRITERIA
            ]
            total = sum(raw)
            found[member] = tuple(swing / total for swing in raw)
        return found

    def group(self) -> tuple[float, ...]:
        """
        Mean of the members' weights.

        Returns
        -------
        tuple of float
            One weight for each of `CRITERIA`, summing to one.
        """
        shares = list(self.shares().values())
        return tuple(sum(column) / len(shares) for column in zip(*shares, strict=True))


def _check_caps(caps: Mapping[str, float]) -> None:
    """Check the harm to fabric that may be passed."""
    if not all(0 <= cap < MOST_CAP for cap in caps.values()):
        raise PolicyFault(
            "fabric_cap",
            f"{_listed(caps)} came; each must be from 0 to below {MOST_CAP:g}, where tooling is "
            "lost.",
        )
    if not caps["high"] <= caps["medium"] <= caps["low"]:
        raise PolicyFault(
            "fabric_cap",
            f"{_listed(caps)} came; it can't be looser where significance is higher.",
        )


def _check_margins(margins: Mapping[str, float]) -> None:
    """Check the damage margin that a trial must show."""
    if not all(margin > 1 for margin in margins.values()):
        raise PolicyFault(
            "margin",
            f"{_listed(margins)} came; each must be above 1, since at 1 what cleans already "
            "damages.",
        )
    if not margins["high"] >= margins["medium"] >= margins["low"]:
        raise PolicyFault(
            "margin",
            f"{_listed(margins)} came; it can't be smaller where significance is higher.",
        )


def _check_damage(limit: Mapping[str, float], seen: Mapping[str, float]) -> None:
    """Check the limits of damage: for the bound and for the share seen."""
    if not 0 < limit["high"] <= limit["medium"] <= limit["low"] < 1:
        raise PolicyFault(
            "damage_limit",
            "it must be above 0 and below 1, and can't be looser where significance is higher.",
        )
    if not 0 <= seen["high"] <= seen["medium"] <= seen["low"] or any(
        seen[grade] > limit[grade] for grade in GRADES
    ):
        raise PolicyFault(
            "damage_seen",
            "it must be from 0 up to damage_limit, and can't be looser where significance is "
            "higher.",
        )


def _check_swings(whose: str, swings: Mapping[str, float]) -> None:
    """Check the weights of one member."""
    if set(swings) != set(CRITERIA):
        why = f"give one weight each for {', '.join(CRITERIA)}; came: {', '.join(swings)}."
        raise PolicyFault(whose, why, table="views")
    if any(not 0 <= swing < float("inf") for swing in swings.values()):
        raise PolicyFault(whose, "a weight is a number from 0 upwards.", table="views")
    if not any(swing for criterion, swing in swings.items() if criterion != "resources"):
        why = "give a weight above 0 to a criterion other than resources."
        raise PolicyFault(whose, why, table="views")
    heaviest = max(swings, key=swings.__getitem__)
    if swings[heaviest] > MOST_WEIGHT * sum(swings.values()):
        raise PolicyFault(
            whose,
            f"{heaviest} holds more than {100 * MOST_WEIGHT:g} % of the weight, so that nothing "
            f"else counts. One criterion holds {100 * MOST_WEIGHT:g} % at most: give the others a "
            "weight as well.",
            table="views",
        )


def agreed_policy(survey: Survey) -> Policy:
    """
    Policy that the team saved with its survey.

    Parameters
    ----------
    survey : Survey
        The survey.

    Returns
    -------
    Policy
        A survey that agreed one limit of damage keeps it for every significance, with no damage
        seen, until its team agrees again. Where no member gave weights, all criteria count equally.

    Raises
    ------
    SurveyError
        The agreed values are outside the range of a policy.
    """
    return policy_of(survey.only(AgreedPolicy), survey.all(View))


def policy_of(agreed: AgreedPolicy, views: Iterable[View] = ()) -> Policy:
    """
    Policy that the values of a survey's table give, agreed or only offered so far.

    Parameters
    ----------
    agreed : AgreedPolicy
        The values.
    views : iterable of View
        Weights of the members; where there are none, all criteria count equally.

    Returns
    -------
    Policy

    Raises
    ------
    SurveyError
        The values lie beyond what can be a policy.
    """
    weights: dict[str, dict[str, float]] = {}
    for view in views:
        weights.setdefault(view.member, {})[view.criterion] = view.swing
    damage = agreed_damage(agreed)
    try:
        return Policy(
            weights=weights or {EQUAL_WEIGHTS: dict.fromkeys(CRITERIA, 100.0)},
            alpha=agreed.alpha,
            agreed_share=agreed.agreed_share,
            fabric_cap={grade: getattr(agreed, f"fabric_cap_{grade}") for grade in GRADES},
            margin={"high": agreed.margin_high, "medium": agreed.margin, "low": agreed.margin},
            horizon_years=agreed.horizon_years,
            power=agreed.power,
            damage_limit={grade: damage[grade].bound for grade in GRADES},
            damage_seen={grade: damage[grade].seen for grade in GRADES},
        )
    except PolicyFault as error:
        again = f"{error.why} Agree on it again, and save the {error.table}"
        fault = Fault(error.table, None, error.what, "", again)
        raise SurveyError([fault], nothing="assessed") from None


def policy_notes(policy: Policy, survey: Survey) -> tuple[str, ...]:
    """
    What whoever reads an answer must know of its policy.

    Parameters
    ----------
    policy : Policy
        By which a survey was assessed.
    survey : Survey
        The survey.

    Returns
    -------
    tuple of str
        That it is not what the team agreed, or that no member gave weights; nothing where it is the
        team's own.
    """
    found = []
    if not is_agreed(policy, survey):
        some = survey.all(AgreedPolicy)
        found.append(
            "Policy other than the one that the team agreed"
            if some
            else "Policy not agreed yet by the team"
        )
    if not policy.weights_given:
        found.append(EQUAL_WEIGHTS.capitalize())
    return tuple(found)


def is_agreed(policy: Policy, survey: Survey) -> bool:
    """Whether a policy is the one that the team of a survey agreed."""
    agreed = survey.all(AgreedPolicy)
    try:
        return bool(agreed) and policy_of(agreed[0], survey.all(View)) == policy
    except SurveyError:
        # Values that can't be a policy were not assessed by.
        return False


def _listed(values: Mapping[str, float]) -> str:
    """Numbers by significance, in words."""
    return ", ".join(f"{grade} {values[grade]:g}" for grade in GRADES)

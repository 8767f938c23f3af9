"""What the team agreed before it saw an answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from heritagecheck.evidence.spot_trial import DAMAGE_LIMIT
from heritagecheck.survey.records import AgreedPolicy, View
from heritagecheck.survey.store import Survey

CRITERIA = (
    "fabric",
    "historic evidence",
    "appearance",
    "people",
    "environment",
    "resources",
)
GRADES = ("high", "medium", "low")


@dataclass(frozen=True, slots=True)
class Policy:
    """
    Weights and precaution of a team.

    Parameters
    ----------
    weights : mapping of str to mapping of str to float
        Member (by role) to swing for each criterion: how much the worst of the harm scale matters
        there, 0 to 100. Only ratios count.
    alpha : float
        A treatment must beat leaving in at least 1 - `alpha` of the draws. [0 to 0.5]
    agreed_share : float
        Share of members for whose weights it must. [0 to 1]
    fabric_cap : mapping of str to float
        Significance to the harm to fabric that may be passed with at most 5 % probability. [0-10]
    margin : mapping of str to float
        Significance to the damage margin whose lower bound a trial must reach. [1]
    horizon_years : float
        Years looked ahead. [years]
    power : int
        2, so that one severe harm is not averaged away; or 1.
    damage_limit : float
        Upper bound of the share of ×50 fields damaged that a trial may leave open. [0 to 1]

    Raises
    ------
    ValueError
        A weight is missing or negative, a member weighs nothing but resources, a limit lies
        outside its range, or a cap or margin is looser for higher significance.
    """

    weights: Mapping[str, Mapping[str, float]] = field(
        default_factory=lambda: MappingProxyType(
            {"even weights": MappingProxyType(dict.fromkeys(CRITERIA, 100.0))}
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
    damage_limit: float = DAMAGE_LIMIT

    def __post_init__(self) -> None:
        """Refuse what can't be a policy."""
        if not self.weights:
            raise ValueError("weights: a policy needs the weights of at least one member.")
        for member, swings in self.weights.items():
            _check_swings(member, swings)
        for name, value, low, high in (
            ("alpha", self.alpha, 0.0, 0.5),
            ("agreed_share", self.agreed_share, 0.0, 1.0),
        ):
            if not low < value <= high:
                raise ValueError(f"{name} = {value}: it lies above {low:g} and up to {high:g}.")
        if not 0 < self.damage_limit < 1:
            raise ValueError(f"damage_limit = {self.damage_limit}: it lies above 0 and below 1.")
        if self.power not in {1, 2}:
            raise ValueError(f"power = {self.power}: the sum of harm takes 2, or 1 on request.")
        if self.horizon_years <= 0:
            raise ValueError(f"horizon_years = {self.horizon_years}: it lies above 0.")
        for name, values in (("fabric_cap", self.fabric_cap), ("margin", self.margin)):
            if set(values) != set(GRADES):
                raise ValueError(f"{name}: give one number each for high, medium and low.")
        caps, margins = self.fabric_cap, self.margin
        if not 0 <= caps["high"] <= caps["medium"] <= caps["low"] <= 10:
            raise ValueError("fabric_cap: it can't be looser where significance is higher.")
        if not margins["high"] >= margins["medium"] >= margins["low"] >= 1:
            raise ValueError(
                "margin: it can't be smaller where significance is higher, nor below 1."
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


def _check_swings(member: str, swings: Mapping[str, float]) -> None:
    """Check the weights of one member."""
    if set(swings) != set(CRITERIA):
        raise ValueError(
            f"weights of {member}: give one swing each for {', '.join(CRITERIA)}; "
            f"came: {', '.join(swings)}."
        )
    if any(not 0 <= swing < float("inf") for swing in swings.values()):
        raise ValueError(f"weights of {member}: a swing is a number from 0 upwards.")
    if not any(swing for criterion, swing in swings.items() if criterion != "resources"):
        raise ValueError(
            f"weights of {member}: some criterion but resources needs a swing above 0."
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
    """
    agreed = survey.only(AgreedPolicy)
    weights: dict[str, dict[str, float]] = {}
    for view in survey.all(View):
        weights.setdefault(view.member, {})[view.criterion] = view.swing
    return Policy(
        weights=weights,
        alpha=agreed.alpha,
        agreed_share=agreed.agreed_share,
        fabric_cap={grade: getattr(agreed, f"fabric_cap_{grade}") for grade in GRADES},
        margin={"high": agreed.margin_high, "medium": agreed.margin, "low": agreed.margin},
        horizon_years=agreed.horizon_years,
        power=agreed.power,
        damage_limit=agreed.damage_limit,
    )

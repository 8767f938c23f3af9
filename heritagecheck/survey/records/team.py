"""What the team agreed: its policy, and each member's weights."""

from __future__ import annotations

from datetime import date
from typing import Any, Literal

from pydantic import model_validator

from heritagecheck.errors import Must
from heritagecheck.survey.records.record import OptionalNumber, Record, Words, Wrong, column, rule


class AgreedPolicy(Record):
    """What the team agreed before any answer was shown."""

    alpha: float = column(
        "Share of simulations that may favour leaving",
        title="Share that may favour leaving",
        unit="1",
        gt=0,
        lt=0.5,
    )
    agreed_share: float = column(
        "Share of members who must pass", title="Members who must pass", unit="1", gt=0, le=1
    )
    fabric_cap_high: float = column(
        "Harm to fabric exceeded in at most 5 % of simulations, high significance",
        title="Cap, high significance",
        ge=0,
        le=10,
    )
    fabric_cap_medium: float = column(
        "Harm to fabric exceeded in at most 5 % of simulations, medium significance",
        title="Cap, medium significance",
        ge=0,
        le=10,
    )
    fabric_cap_low: float = column(
        "Harm to fabric exceeded in at most 5 % of simulations, low significance",
        title="Cap, low significance",
        ge=0,
        le=10,
    )
    margin: float = column("Damage margin required", ge=1, le=20)
    margin_high: float = column(
        "Damage margin required where significance is high",
        title="Margin, high significance",
        ge=1,
        le=20,
    )
    damage_limit: float = column(
        "Share of ×50 fields or trial spots that may be damaged, upper bound, low significance; "
        "at every significance where the four below are empty",
        title="Damage limit, low significance", unit="1", gt=0, lt=1,
    )  # fmt: skip
    horizon_years: float = column(
        "Years ahead for which harm of leaving counts that grows; more than 25 count as 25",
        title="Years ahead considered", unit="years", gt=0, le=200,
    )  # fmt: skip
    power: Literal[1, 2] = column(
        "Power in the sum of harm: usually 2; 1 where the team chooses it", title="Power in the sum"
    )
    agreed_on: date = column("Agreed on")
    damage_limit_medium: OptionalNumber = column(
        "Share that may be damaged, upper bound, medium significance",
        title="Damage limit, medium significance",
        unit="1",
        default=None,
        gt=0,
        lt=1,
    )
    damage_limit_high: OptionalNumber = column(
        "Share that may be damaged, upper bound, high significance",
        title="Damage limit, high significance",
        unit="1",
        default=None,
        gt=0,
        lt=1,
    )
    damage_seen: OptionalNumber = column(
        "Share of ×50 fields or trial spots that may be seen damaged",
        title="Damage seen", unit="1", default=None, ge=0, lt=1,
    )  # fmt: skip
    damage_seen_high: OptionalNumber = column(
        "Share that may be seen damaged, high significance",
        title="Damage seen, high significance",
        unit="1",
        default=None,
        ge=0,
        lt=1,
    )

    @model_validator(mode="before")
    @classmethod
    def _whole_power(cls, values: Any) -> Any:
        if isinstance(values, dict) and str(values.get("power", "")).strip() in {"1", "2"}:
            return {**values, "power": int(values["power"])}
        return values

    @rule
    def _stricter_where_more_is_at_stake(self) -> Wrong:
        if not self.fabric_cap_high <= self.fabric_cap_medium <= self.fabric_cap_low:
            yield (
                "fabric_cap_high",
                Must("must not be above fabric_cap_medium, nor that above fabric_cap_low"),
            )
        if self.margin_high < self.margin:
            yield (
                "margin_high",
                Must(f"must be {self.margin:g} or more, as margin is {self.margin:g}"),
            )

    @rule
    def _damage_by_significance(self) -> Wrong:
        medium, high = self.damage_limit_medium, self.damage_limit_high
        seen, seen_high = self.damage_seen, self.damage_seen_high
        if medium is None or high is None or seen is None or seen_high is None:
            if {medium, high, seen, seen_high} != {None}:
                yield (
                    "damage_limit_medium",
                    "give damage_limit_medium, damage_limit_high, damage_seen "
                    "and damage_seen_high together, or none of them",
                )
            return
        if not high <= medium <= self.damage_limit:
            yield (
                "damage_limit_high",
                Must("must not be above damage_limit_medium, nor that above damage_limit"),
            )
        if not (seen_high <= seen <= medium and seen_high <= high):
            yield (
                "damage_seen",
                Must(
                    "must not be above damage_limit_medium; damage_seen_high must not be "
                    "above damage_seen or damage_limit_high"
                ),
            )


class View(Record):
    """One member's weight for one criterion, elicited as a swing on the harm scale."""

    member: Words = column("Member, by role")
    criterion: Literal[
        "fabric", "historic evidence", "appearance", "people", "environment", "resources"
    ] = column("Criterion")
    swing: float = column(
        "How much its worst matters, 0 to 100", title="Weight", unit="1", ge=0, le=100
    )

"""What the next trial of a series would have to be, and whether more panels could settle it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from heritagecheck.evidence.trials.curves.plan import TrialPlan
from heritagecheck.evidence.trials.damaged_fields import (
    NO_PRIOR,
    FieldPlan,
    SharePrior,
    plan_fields,
)
from heritagecheck.evidence.trials.series import SeriesTrial
from heritagecheck.evidence.trials.spot_fits import first_spots, panels_for_margin, plan_after
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.panel_damage import damage_prior
from heritagecheck.judgement.gates.panel_requirements import panels_for_area
from heritagecheck.judgement.options import Option
from heritagecheck.judgement.policy import Policy
from heritagecheck.sentences import rounded_down
from heritagecheck.tables import threshold
from heritagecheck.tables.row_types import Substrate


@dataclass(frozen=True, slots=True)
class NextTrial:
    """
    A plan for the next trial, or why there is none.

    `panels_in_all` is how many panels would show the required margin if new ones behave as the
    present ones did; None where no reasonable number would, or where `several` conditions of the
    spots make it too slow to compute. `tried` is the largest margin that the settings tried can
    show. `margin_asked` is None on metal. `fields` is the number of panels and ×50 fields for a
    trial of a new setting.
    """

    plan: TrialPlan | None
    why_none: str
    margin_asked: float | None
    panels_in_all: int | None
    several: bool = False
    tried: float | None = None
    fields: FieldPlan | None = None

    def __str__(self) -> str:
        """Say in a sentence what is planned."""
        if self.plan is None:
            return f"No next trial of this series is planned: {self.why_none}"
        if self.margin_asked is None:
            return str(self.plan)
        return f"{self.plan} {self.margin_hope}"

    @property
    def margin_hope(self) -> str:
        """Whether more panels like these would show the required margin; empty on metal."""
        if self.margin_asked is None:
            return ""
        if self.several:
            return (
                f"How many panels would show the margin of {self.margin_asked:g} is not worked out "
                "for spots of several numbers of pulses or passes."
            )
        if self.tried is not None and self.tried < self.margin_asked:
            return (
                f"The settings tried can show a margin of {rounded_down(self.tried):.2g} at most, "
                f"however many panels: a margin of {self.margin_asked:g} takes gentler or harsher "
                "spots."
            )
        if self.panels_in_all is None:
            return (
                "More panels that behave as these did would not show a margin of "
                f"{self.margin_asked:g}."
            )
        return (
            f"If new panels behave as these did, {self.panels_in_all} panels in all would show a "
            f"margin of {self.margin_asked:g}. About half of real trials would show less."
        )


def next_trial(trial: SeriesTrial, policy: Policy) -> NextTrial:
    """
    Plan the next trial of a series.

    The ladder runs from where few spots come clean to where damage of every tenth is likely; the
    confirmation shows that no more than the damage limit agreed is damaged.
    """
    fields = None if policy.one_limit else _fields(trial.zone.significance, policy)
    return replace(_planned(trial, policy), fields=fields)


def fields_of_trial(evidence: ZoneEvidence, option: Option, policy: Policy) -> FieldPlan | str:
    """
    How many panels and ×50 fields are needed to try a new setting, by the agreed limits.

    For a method not tried here, the expected damage and the area that its panels represent count
    too. A text says why no number is enough; it is empty under a policy of an earlier release,
    which has one limit of damage.
    """
    if policy.one_limit:
        return ""
    grade = evidence.zone.significance
    try:
        if option.series is not None:
            return _fields(grade, policy)
        for_area = panels_for_area(evidence.spoken_m2[evidence.zone.zone])
        return _fields(grade, policy, for_area, damage_prior(evidence, option))
    except ValueError as error:
        return str(error).rstrip(".")


def _fields(
    grade: str, policy: Policy, for_area: int = 0, prior: SharePrior = NO_PRIOR
) -> FieldPlan:
    """Panels and fields that meet the damage limits for a significance."""
    replicates = int(threshold(f"replicates_{grade}"))
    return plan_fields(
        policy.damage(grade),
        int(threshold(f"planned_fields_{grade}")),
        least_panels=max(replicates, for_area),
        prior=prior,
    )


def first_trial(evidence: ZoneEvidence, plan: FieldPlan | str, policy: Policy) -> str:
    """Panels, ×50 fields and spots needed for a method not tried here, in a sentence."""
    if isinstance(plan, str):
        return plan
    grade = evidence.zone.significance
    replicates = int(threshold(f"replicates_{grade}"))
    margin = policy.margin[grade]
    beyond = None if evidence.metal or margin <= 1 else margin
    least = (
        f" Gate 7 requires at least {replicates}; to meet every limit here, plan for "
        f"{plan.least} or more."
        if plan.least > replicates
        else ""
    )
    return f"{plan}.{least} {first_spots(policy.damage(grade).bound, beyond)}"


def _planned(trial: SeriesTrial, policy: Policy) -> NextTrial:
    """Ladder and confirmation of the next trial, or why there is none."""
    metal = Substrate.named(trial.zone.substrate).kind == "metal"
    asked = None if metal else policy.margin[trial.zone.significance]
    spots = trial.panels.spots
    if spots is None:
        return NextTrial(None, "no spots were laid", asked, None)
    if spots.window is None:
        return NextTrial(None, spots.why_not, asked, None)
    if spots.window.margin_high < 1:
        return NextTrial(None, spots.window.reason, asked, None)
    if asked is not None and spots.window.margin < asked:
        why = (
            f"by estimate the margin is {spots.window.margin:.2g}, and {asked:g} is required. More "
            "panels would not show it. Try another method, or use this one differently"
        )
        return NextTrial(None, why, asked, None)
    try:
        plan = plan_after(
            spots,
            policy.damage_limit[trial.zone.significance],
            margin=asked if asked is not None and asked > 1 else None,
        )
    except ValueError as error:
        return NextTrial(None, str(error), asked, None)
    # With several conditions, refitting the curves for each number of panels would be too slow.
    alike = len({(row.pulses, row.wet) for row in spots.rows}) == 1
    in_all = panels_for_margin(spots, asked) if asked is not None and alike else None
    return NextTrial(plan, "", asked, in_all, not alike, spots.window.margin_tried)

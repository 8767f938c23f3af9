"""Steps of the notebook that compares: two zones, two assessments, another policy that is tried."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any, ClassVar

from heritagecheck import figures
from heritagecheck.cards import LEAST_SHOWN, Picture, summary
from heritagecheck.documents.zone_comparison import zones_compared
from heritagecheck.figures.zone_answer import draw_gates
from heritagecheck.judgement.other_policy import (
    COLUMNS,
    flips,
    policy_differences,
    tried,
    zones_by_policy,
)
from heritagecheck.judgement.policy import CRITERIA, LEAST_AGREED, Policy, PolicyFault
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.screens.notebook.earlier_assessment import (
    earlier_assessment,
    saving,
)
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import Pair, Rows
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.sentences import count_of, upper_first
from heritagecheck.tables import threshold

# So many zones are judged again within a second on one core; more wait for a press.
AT_ONCE = 40
ALL = "all members"
MARK = "A trial: not agreed, and not saved"
NOT_AGREED = (
    "These answers are not recommendations. Only what the team agrees, before it sees an answer, "
    "gives those."
)
AS_AGREED = (
    "Every value is as it was agreed. Move a slider to try another. For all members, a slider "
    "begins at their mean; while nobody moves it, each keeps the weight agreed."
)
Weights = Mapping[str, Mapping[str, float]]
MOST_SHOWN = 15  # lines of a comparison, before somebody asks for all


class CompareWalk(Walk):
    """Two zones, two assessments, and what another policy would give."""

    chooses: ClassVar[tuple[str, ...]] = ("zone", "beside")
    zone_of_example: ClassVar[str] = "N13"

    def __init__(self) -> None:
        super().__init__()
        self._tried_on: Assessment | None = None
        self._trials: dict[str, Assessment] = {}

    # -- Two zones ---------------------------------------------------------------------------------

    def _two(self) -> tuple[Recommendation, Recommendation]:
        """The chosen zone and the one compared with it."""
        one = self.zone
        if self.beside_code == self.zone_code or not self.beside_code:
            raise NotYetError(
                "Choose two different zones at the top."
                if len(self.zones()) > 1
                else "This survey has one zone, and nothing to hold beside it. Record another one."
            )
        return one, self.assessment.zone(self.beside_code)

    @step
    def two_zones(self, ask: Ask) -> Iterator[Any]:
        """Both answers with their cautions and gates, then what differs between them."""
        one, other = both = self._two()
        yield Pair(both)
        gates = draw_gates(one), draw_gates(other)
        yield Pair(gates, (one.zone, other.zone))
        found = zones_compared(one, other)
        unlike = int(found["differs"].sum())
        yield (
            f"{count_of(unlike, 'line')} of {len(found)} differ; they come first. "
            "Show all to see what is the same."
        )
        heads = {"what": "What", "one": one.zone, "other": other.zone, "about": "About"}
        yield Rows(found, heads, "line", few=min(unlike, MOST_SHOWN) or MOST_SHOWN)

    @step
    def harm(self, ask: Ask) -> Iterator[Any]:
        """Harm of leaving and of treating, criterion by criterion, on one scale."""
        one, other = both = self._two()
        yield Pair((_harm(one), _harm(other)), _names(both))

    @step
    def colours(self, ask: Ask) -> Iterator[Any]:
        """Readings of soiled and clean stone; both pictures have the same axes."""
        one, other = both = self._two()
        drawn = figures.draw_colour(one, beside=other), figures.draw_colour(other, beside=one)
        known = [picture for picture in drawn if picture is not None]
        if not known:
            raise NotYetError(
                "Neither zone has colours that could be compared. 03_colour says what to read."
            )
        halves = drawn[0] or _no_colour(one), drawn[1] or _no_colour(other)
        yield Pair(halves, _names(both), narrowest=int(LEAST_SHOWN * known[0].size[0]))

    # -- Two assessments ---------------------------------------------------------------------------

    @step
    def two_assessments(self, ask: Ask) -> Iterator[Any]:
        """Save the present assessment, choose an earlier one, and show what made answers change."""
        yield from saving(ask, self.assessment)
        yield from earlier_assessment(
            ask, self.survey, self.assessment, self.zone_code, is_example=self.is_example
        )

    # -- Another policy ----------------------------------------------------------------------------

    @step
    def other_policy(self, ask: Ask) -> Iterator[Any]:
        """What other weights and precaution would give: a trial that is never saved."""
        if self._tried_on is not self.assessment:
            self._tried_on, self._trials = self.assessment, {}
        yield from policy_trial(ask, self.assessment, self.zone_code, self._trials)


def _harm(zone: Recommendation) -> Picture | str:
    """Harm of a zone, or why none is shown."""
    if zone.weighed:
        return figures.draw_harm(zone)
    return "No harm is shown: no method is left to weigh against leaving."


def _no_colour(zone: Recommendation) -> str:
    """Why no colour of a zone is shown."""
    return f"No colours are shown: {zone.evidence.colour_note or 'they were not measured'}."


def _names(both: tuple[Recommendation, Recommendation]) -> tuple[str, str]:
    """What two zones are called."""
    return f"{both[0].zone} {both[0].name}", f"{both[1].zone} {both[1].name}"


# -- Another policy, as it is tried ---------------------------------------------------------------


class TrialMark:
    """What marks a trial, above all that it shows."""

    def __str__(self) -> str:
        """Say that it is a trial."""
        return f"{MARK}. {NOT_AGREED}"

    def _repr_html_(self) -> str:
        return summary(MARK, NOT_AGREED)


def policy_asked(ask: Ask, agreed: Policy) -> Policy:
    """
    The policy that the sliders give; each begins where the team agreed.

    Raises
    ------
    PolicyFault
        They give none.
    """
    weights: Weights = agreed.weights
    if agreed.weights_given:
        member = ask.choice("Whose weights", {one: one for one in (ALL, *agreed.weights)}, ALL)
        weights = _weights(ask, agreed.weights, member)
    alpha = _share(ask, "Simulations that may favour leaving, %", agreed.alpha, 1, 50, 1)
    share = agreed.agreed_share
    if len(agreed.weights) > 1:
        least = 100 * LEAST_AGREED
        share = _share(ask, "Members whose weights must favour treating, %", share, least, 100, 5)
    years = _years(ask, agreed)
    return replace(agreed, weights=weights, alpha=alpha, agreed_share=share, horizon_years=years)


def _share(ask: Ask, label: str, agreed: float, low: float, high: float, by: float) -> float:
    """A share that a slider in per cent gives; as it was agreed while nobody moves it."""
    first = round(100 * agreed, 6)
    value = ask.slider(label, first, low, high, by)
    return agreed if value == first else value / 100


def _years(ask: Ask, agreed: Policy) -> float:
    """Years ahead that a slider gives; as they were agreed while nobody moves it."""
    first = float(f"{agreed.years_counted:g}")
    most = threshold("rated_years")
    value = ask.slider("Years ahead considered", first, min(1, first), most, 1)
    return agreed.horizon_years if value == first else value


def _weights(ask: Ask, agreed: Weights, member: str) -> Weights:
    """Weights of all members, or of one; those that nobody moved stay as they were agreed."""
    chosen = agreed if member == ALL else {member: agreed[member]}
    found = {who: dict(swings) for who, swings in agreed.items()}
    for criterion in CRITERIA:
        first = round(sum(swings[criterion] for swings in chosen.values()) / len(chosen))
        value = ask.slider(f"{upper_first(criterion)}, {member}", first, 0, 100, 1)
        if value != first:
            for who in chosen:
                found[who][criterion] = value
    return found


def policy_trial(
    ask: Ask, assessment: Assessment, zone: str, known: dict[str, Assessment]
) -> Iterator[Any]:
    """What another policy would give; `known` keeps the last trial, and nothing else does."""
    agreed = assessment.policy
    yield TrialMark()
    try:
        policy = policy_asked(ask, agreed)
    except PolicyFault as error:
        yield f"This can’t be a policy. {upper_first(error.what)}: {error.why}"
        return
    for one in policy_differences(agreed, policy):
        yield f"{upper_first(one.what)}: {one.now} in this trial, {one.before} as agreed."
    codes = zones_by_policy(assessment)
    yield (
        f"A policy can change {count_of(len(codes), 'answer')} of "
        f"{len(assessment.recommendations)}. The others are decided at a gate before the seventh."
    )
    if policy == agreed:
        yield AS_AGREED
        return
    if codes:
        trial = _trial(ask, assessment, policy, len(codes), known)
        if trial is not None:
            yield from _shown(assessment, trial, zone)


def _trial(
    ask: Ask, assessment: Assessment, policy: Policy, zones: int, known: dict[str, Assessment]
) -> Assessment | None:
    """Answers by another policy: at once where that is quick, else when a button was pressed."""
    about = repr(policy)
    if zones > AT_ONCE:
        return ask.work(
            "Try these values",
            (assessment, about),
            lambda told: tried(assessment, policy, progress=told),
            "Trying other values",
        )
    if about not in known:
        known.clear()
        known[about] = tried(assessment, policy, progress=lambda _, __: None)
    return known[about]


def _shown(assessment: Assessment, trial: Assessment, zone: str) -> Iterator[Any]:
    """Zones whose outcome is another, and both answers of one of them with their cautions."""
    found = flips(assessment, trial)
    if found.empty:
        yield "In this trial no zone gets another outcome."
        return
    yield (
        f"In this trial {count_of(len(found), 'zone')} of {len(trial.recommendations)} would get "
        "another outcome. Nothing of it is agreed or saved."
    )
    heads = {name: upper_first(name) for name in COLUMNS if name != "name"}
    heads["in this trial"] = "In this trial, not agreed"
    yield Rows(found, heads, "zone", picks="zone")
    codes = found["zone"].tolist()
    shown = zone if zone in codes else codes[0]
    yield Pair(
        (assessment.zone(shown), trial.zone(shown)),
        (f"{shown} as agreed", f"{shown} in this trial: not agreed, not saved"),
    )

"""Steps of the notebook that compares: two zones, two assessments, another policy."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, ClassVar

from heritagecheck import figures
from heritagecheck.cards import LEAST_SHOWN, Picture
from heritagecheck.documents.zone_comparison import zones_compared
from heritagecheck.figures.zone_answer import draw_gates
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.screens.notebook.earlier_assessment import (
    earlier_assessment,
    saving,
)
from heritagecheck.screens.notebook.policy_trial import policy_trial
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import Pair, Rows
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.sentences import count_of

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
        """The zone that was chosen and the one beside it."""
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
        """The present assessment kept, an earlier one chosen, and what made answers change."""
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

"""A member's weights, by points or by comparing two criteria at a time; private until shown."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from typing import Any, ClassVar

from heritagecheck import tables
from heritagecheck.judgement.elicitation import (
    TIMES,
    ElicitedWeights,
    compared_weights,
    ratio,
    swing_weights,
)
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.seat import RoomScreen
from heritagecheck.survey.entry.typed_values import read_number
from heritagecheck.survey.meeting.room import CRITERIA
from heritagecheck.survey.records import View
from heritagecheck.tables.row_types import HarmAnchor

WORST = 10
POINTS, PAIRS = "points", "pairs"
WAYS = {POINTS: "Points out of 100", PAIRS: "Two criteria at a time"}
PAIRS_OF_CRITERIA = tuple(combinations(CRITERIA, 2))


class WeightsScreen(RoomScreen):
    """How much the worst of each criterion matters."""

    template = "meeting_weights.html"
    title = "Your weights"
    nav: ClassVar[str] = "Your weights"

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        given = self.room.state.weights.get(self.role, {})
        swings = {(one.member, str(one.criterion)): one.swing for one in self.desk.survey.all(View)}
        by_pairs = self._way == PAIRS
        return {
            "shown": self.room.state.weights_shown,
            "given": given,
            "ways": WAYS,
            "way": self._way,
            "rows": [
                (one, _worst(one), self.text(f"weight.{one}") or _number(given.get(one)))
                for one in CRITERIA
            ],
            "pairs": [
                (one, other, _field(one, other), self.text(_field(one, other)))
                for one, other in PAIRS_OF_CRITERIA
            ],
            "times": TIMES,
            "compared": self._compared() if by_pairs and not self._missing() else None,
            "limit": tables.threshold("consistency_ratio_max"),
            "criteria": CRITERIA,
            "all": [
                (member, [_number(swings.get((member, one))) for one in CRITERIA])
                for member in dict.fromkeys(member for member, _ in swings)
            ]
            if self.room.state.weights_shown
            else [],
        }

    @property
    def _way(self) -> str:
        """How this member gives weights."""
        return PAIRS if self.text("weights.way") == PAIRS else POINTS

    def _missing(self) -> list[str]:
        """Pairs that this member has not compared yet."""
        return [
            f"{one} and {other}"
            for one, other in PAIRS_OF_CRITERIA
            if self.text(_field(one, other)) not in TIMES
        ]

    def _compared(self) -> ElicitedWeights:
        """Weights by the comparisons, all of which were made."""
        if missing := self._missing():
            raise ValueError(f"Not compared yet: {'; '.join(missing)}.")
        return compared_weights(
            {pair: ratio(self.text(_field(*pair))) for pair in PAIRS_OF_CRITERIA}
        )

    def do_way(self, event: Event) -> None:
        """Switch between the two ways to give weights; both keep what was typed."""
        if event.arg in WAYS:
            self.room.type(self.role, "weights.way", event.arg)

    def do_give(self, event: Event) -> None:
        """Give the weights in private."""
        weights = self._compared() if self._way == PAIRS else self._by_points()
        self.room.weigh(self.role, weights.swings)
        self.desk.say("Kept in private: your weights. You may change them until they are shown.")

    def _by_points(self) -> ElicitedWeights:
        """Weights by points; refused are those that can't be compared, such as none of 100."""
        given = self.room.state.weights.get(self.role, {})
        swings = {}
        for criterion in CRITERIA:
            text = self.text(f"weight.{criterion}") or _number(given.get(criterion))
            if not text:
                raise ValueError(f"{criterion.capitalize()}: write a number from 0 to 100.")
            swings[criterion] = float(read_number(View, "swing", text, {}))
        return swing_weights(swings)


def _field(one: str, other: str) -> str:
    """Name of the field in which two criteria are compared."""
    return f"pair.{one}.{other}"


def _number(value: float | None) -> str:
    """A weight as it is typed."""
    return "" if value is None else f"{value:g}"


def _worst(criterion: str) -> str:
    """What the worst of a criterion means."""
    return next(
        row.meaning for row in HarmAnchor.rows() if row.criterion == criterion and row.harm == WORST
    )

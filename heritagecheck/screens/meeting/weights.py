"""A member's weights: swings on the harm scale, private until all weights are shown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from heritagecheck.judgement.elicitation import swing_weights
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.seat import RoomScreen
from heritagecheck.survey.entry.typed_values import read_number
from heritagecheck.survey.meeting.room import CRITERIA
from heritagecheck.survey.records import View

WORST = 10


class WeightsScreen(RoomScreen):
    """How much the worst of each criterion matters, out of 100."""

    template = "meeting_weights.html"
    title = "Your weights"
    nav: ClassVar[str] = "Your weights"

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        given = self.room.state.weights.get(self.role, {})
        swings = {(one.member, str(one.criterion)): one.swing for one in self.desk.survey.all(View)}
        return {
            "shown": self.room.state.weights_shown,
            "given": given,
            "rows": [
                (one, _worst(one), self.text(f"weight.{one}") or _number(given.get(one)))
                for one in CRITERIA
            ],
            "criteria": CRITERIA,
            "all": [
                (member, [_number(swings.get((member, one))) for one in CRITERIA])
                for member in dict.fromkeys(member for member, _ in swings)
            ]
            if self.room.state.weights_shown
            else [],
        }

    def do_give(self, event: Event) -> None:
        """Give the weights in private."""
        given = self.room.state.weights.get(self.role, {})
        swings = {}
        for criterion in CRITERIA:
            text = self.text(f"weight.{criterion}") or _number(given.get(criterion))
            if not text:
                raise ValueError(f"{criterion.capitalize()}: write a number from 0 to 100.")
            swings[criterion] = float(read_number(View, "swing", text, {}))
        # Refused here are weights that can't be compared, such as none of 100.
        self.room.weigh(self.role, swing_weights(swings).swings)
        self.desk.say("Kept in private: your weights. You may change them until they are shown.")


def _number(value: float | None) -> str:
    """A weight as it is typed."""
    return "" if value is None else f"{value:g}"


def _worst(criterion: str) -> str:
    """What the worst of a criterion means."""
    from heritagecheck import tables

    return next(
        row["meaning"]
        for row in tables.rows("harm_scale")
        if row["criterion"] == criterion and float(row["harm"]) == WORST
    )

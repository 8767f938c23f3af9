"""What is pointed out in a photograph, so that it can be measured: points, clean stone, chart."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Self

from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.records import Attachment, Photo

LEAST_POINTS, CORNERS_OF_CHART, LEAST_CORNERS = 4, 4, 3
POINTED = ("picture", "wall", "clean", "chart")

Points = list[tuple[float, float]]


@dataclass(slots=True)
class PhotoInHand:
    """
    One photograph that is being prepared.

    `picture` holds points in the picture, `wall` the same points on the drawing [m], `clean` and
    `chart` the outlines of clean stone and of the chart. Picture points are x, y [pixel] of the
    upright file. `state` and `board` are empty until given.
    """

    picture: Points = field(default_factory=list)
    wall: Points = field(default_factory=list)
    clean: Points = field(default_factory=list)
    chart: Points = field(default_factory=list)
    state: str = ""
    board: str = ""

    @classmethod
    def of(cls, typed: Mapping[str, str], kept: Photo | None) -> Self:
        """A photograph as its draft holds it; without a draft, as its record does."""
        if typed:
            picture, wall, clean, chart = (_points(json.loads(typed[one])) for one in POINTED)
            return cls(picture, wall, clean, chart, typed["state"], typed["board"])
        if kept is None:
            return cls()
        return cls(
            _points([one[:2] for one in kept.tie_points]),
            _points([one[2:] for one in kept.tie_points]),
            _points(kept.clean_outline), _points(kept.chart_outline),
            kept.state, kept.board or "",
        )  # fmt: skip

    @property
    def typed(self) -> dict[str, str]:
        """The photograph as a draft holds it."""
        found = {name: json.dumps(getattr(self, name)) for name in POINTED}
        return found | {"state": self.state, "board": self.board}

    def missing(self) -> list[str]:
        """What is still to be pointed out or given, a sentence each."""
        found = []
        more = len(self.picture) - len(self.wall)
        if min(len(self.picture), len(self.wall)) < LEAST_POINTS or more:
            found.append(
                f"Points on the wall: {len(self.picture)} in the picture, {len(self.wall)} on the "
                f"drawing. Give the same {LEAST_POINTS} or more in both, in the same order."
            )
        if 0 < len(self.clean) < LEAST_CORNERS:
            found.append("Clean stone: its outline needs three corners or more.")
        if len(self.chart) not in {0, CORNERS_OF_CHART}:
            found.append("Chart: give its four corners, or none if it is found by itself.")
        if not self.state:
            found.append("Say whether the stone was dry, damp or wet.")
        return found

    def record(
        self, code: str, attachment: Attachment, zone: str, taken_on: date, taken_by: str
    ) -> Photo:
        """The record of the photograph; a SurveyError if it is not valid."""
        ties = [(*one, *other) for one, other in zip(self.picture, self.wall, strict=True)]
        values = {
            "photo": code, "attachment": attachment.attachment, "zone": zone, "state": self.state,
            "points": _text(ties), "clean_stone": _text(self.clean) or None,
            "chart_corners": _text(self.chart) or None, "board": self.board or None,
            "taken_on": taken_on, "taken_by": taken_by,
        }  # fmt: skip
        return RecordForm(Photo, {}, values).record()


def _points(rows: Sequence[Sequence[float]]) -> Points:
    """Pairs of numbers."""
    return [(float(x), float(y)) for x, y in rows]


def _text(rows: Sequence[Sequence[float]]) -> str:
    """Numbers as a record holds them, to a thousandth of a pixel or metre."""
    return "; ".join(" ".join(f"{round(one, 3):g}" for one in row) for row in rows)

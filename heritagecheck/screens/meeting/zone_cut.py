"""The facilitator splits a zone, or joins it with its neighbour, while the team looks at it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from heritagecheck.figures.elevation import UNITS_A_METRE, steps_of
from heritagecheck.screens.app import Desk
from heritagecheck.screens.elevation_plate import elevation_or_none
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.seat import RoomScreen, Seat
from heritagecheck.screens.zone_cutting import Corner, ZoneCutting
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.entry.zone_edits import Recut
from heritagecheck.survey.records import Elevation, Zone

SPLIT, JOIN = "split", "join"
MODES = {SPLIT: "Split it", JOIN: "Join it with a neighbour"}


class CutScreen(ZoneCutting, RoomScreen):
    """One zone, to be split or joined."""

    template = "meeting_cut.html"
    title = "Split or join a zone"

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts, seat=seat)
        self.zone = parts[0] if parts else ""
        self.mode = SPLIT
        self.line: list[Corner] = []

    @property
    def item(self) -> Elevation | None:
        """Its elevation."""
        return elevation_or_none(self.desk.survey, self.record.elevation) if self.record else None

    @property
    def drawn(self) -> list[FloatArray]:
        """The outline that is cut."""
        return self.outline_kept()

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        record, plate = self.record, self.plate
        if record is None or plate is None or not self.drawn:
            return {"record": record, "plate": None}
        others = {zone: one for zone, one in plate.rings.items() if zone != self.zone}
        return {
            "record": record, "plate": plate, "modes": MODES,
            "decision": self.room.decision(self.zone),
            "answered": len(self.room.answered(self.zone)),
            "parts": [steps_of([ring]) for ring in self.drawn],
            "others": [shape for zone, shape in plate.shapes.items() if zone != self.zone],
            "points": [(round(x * UNITS_A_METRE, 2), round(y * UNITS_A_METRE, 2))
                       for x, y in self.line],
            **self.cutting_values(others, sound=True),
        }  # fmt: skip

    def do_points(self, event: Event) -> None:
        """A point of the line was put, moved or taken away."""
        self.line = self.points_put(event)

    def do_remove(self, event: Event) -> None:
        """Take the last point of the line away."""
        self.line = self.line[:-1]

    def keep_split(self, first: Zone, second: Zone, what: str) -> bool:
        """Save both parts."""
        self.room.recut(Recut(first, new=second))
        return True

    def keep_joined(self, whole: Zone, gone: Zone, what: str) -> bool:
        """Save one zone in place of two."""
        self.room.recut(Recut(whole, gone=gone))
        return True

    def show_zone(self, zone: Zone) -> None:
        """Go back to the zone in hand."""
        self.finished()

    def finished(self) -> None:
        """Go back to the zone in hand."""
        self.line = []
        self.desk.go("zone")

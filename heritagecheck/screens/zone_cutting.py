"""A zone is split along a line, or joined with its neighbour, on a page of its own."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from heritagecheck.figures.elevation import UNITS_A_METRE
from heritagecheck.screens.app import still_kept
from heritagecheck.screens.elevation_plate import OnElevation
from heritagecheck.screens.live_page import Event
from heritagecheck.survey.drawings.elevations import size_m
from heritagecheck.survey.drawings.outline_edits import rings_of
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.entry.codes import next_code
from heritagecheck.survey.entry.zone_edits import (
    SIDE_BY_SIDE_M,
    begun_zones,
    corners_to_edit,
    gap_m,
    joined_zone,
    records_of,
    split_zone,
    why_not_joined,
)
from heritagecheck.survey.records import Zone

Corner = tuple[float, float]


class ZoneCutting(OnElevation):
    """What a screen does to whole zones."""

    zone: str
    mode: str
    line: list[Corner]

    @property
    def record(self) -> Zone | None:
        """The saved zone; None if it is not saved yet."""
        return next((one for one in self.desk.survey.all(Zone) if one.zone == self.zone), None)

    @property
    def drawn(self) -> list[FloatArray]:
        """Its outline as it is drawn."""
        raise NotImplementedError

    def finished(self) -> None:
        """Start again from the saved outline."""
        raise NotImplementedError

    def show_zone(self, zone: Zone) -> None:
        """Show another zone."""
        raise NotImplementedError

    def keep_split(self, first: Zone, second: Zone, what: str) -> bool:
        """Save both parts; whether that was done."""
        raise NotImplementedError

    def keep_joined(self, whole: Zone, gone: Zone, what: str) -> bool:
        """Save one zone in place of two; whether that was done."""
        raise NotImplementedError

    def outline_kept(self) -> list[FloatArray]:
        """The outline in the zone's record, else in the drawing; none where neither has one."""
        if self.record and self.record.outline:
            return rings_of(self.record.outline)
        drawn = self.plate.rings.get(self.zone, []) if self.plate else []
        return corners_to_edit(drawn) if drawn else []

    def points_put(self, event: Event) -> list[Corner]:
        """Points on the picture in metres, none of them beyond its edges."""
        assert self.plate is not None
        width_m, height_m = size_m(self.plate.item)
        return [
            (min(max(x / UNITS_A_METRE, 0.0), width_m), min(max(y / UNITS_A_METRE, 0.0), height_m))
            for x, y in json.loads(event.value)
        ]

    def cutting_values(
        self, others: Mapping[str, list[FloatArray]], *, sound: bool
    ) -> dict[str, Any]:
        """What the screen shows of this."""
        return {
            "line_d": " ".join(
                f"{x * UNITS_A_METRE:g},{y * UNITS_A_METRE:g}" for x, y in self.line
            ),
            "beside": self._beside(others) if self.mode == "join" and sound else [],
        }

    def _beside(self, others: Mapping[str, list[FloatArray]]) -> list[tuple[Zone, str, str]]:
        """Neighbours, each with why it cannot be joined, or which zone would remain."""
        assert self.record is not None
        found = []
        for zone in self.desk.survey.all(Zone):
            if zone.zone in others and gap_m(self.drawn, others[zone.zone]) <= SIDE_BY_SIDE_M:
                why = why_not_joined(self.desk.survey, self.record, zone)
                kept, gone = self._kept_and_gone(zone)
                found.append(
                    (zone, why, f"{kept.zone} keeps its code and records; {gone.zone} goes.")
                )
        return found

    def _kept_and_gone(self, other: Zone) -> tuple[Zone, Zone]:
        """Which of two zones remains: the one that has records."""
        assert self.record is not None
        if records_of(self.desk.survey, other.zone):
            return other, self.record
        return self.record, other

    def do_mode(self, event: Event) -> None:
        """Choose what is done with the zone."""
        self.mode, self.line = event.arg, []

    def do_split(self, event: Event) -> None:
        """Make two zones of one."""
        assert self.record is not None
        item = self.record.elevation
        taken = [one.zone for one in begun_zones(self.desk.survey, self.desk.drafts)]
        code = next_code(self.desk.survey, "zones", taken=taken, elevation=item)
        try:
            first, second = split_zone(
                self.record, self.drawn, np.array(self.line).reshape(-1, 2), code=code
            )
        except ValueError as why:
            self.desk.refuse("The zone was not split.", str(why))
            return
        if self.keep_split(first, second, f"{self.zone} split into {self.zone} and {code}"):
            self.finished()
            self.desk.say(
                f"{self.zone} is split. The smaller part is {code}: write it on your drawing. "
                f"All records stay with {self.zone}."
            )

    def do_join(self, event: Event) -> None:
        """Make one zone of two that lie side by side."""
        assert self.record is not None
        assert self.plate is not None
        every = self.desk.survey.all(Zone)
        other = still_kept((one for one in every if one.zone == event.arg), f"Zone {event.arg}")
        if why := why_not_joined(self.desk.survey, self.record, other):
            self.desk.refuse("The zones were not joined.", why)
            return
        kept, gone = self._kept_and_gone(other)
        other_rings = rings_of(other.outline) or self.plate.rings[other.zone]
        whole = joined_zone(kept, self.drawn, other_rings)
        if not self.keep_joined(whole, gone, f"{kept.zone} and {gone.zone} joined"):
            return
        self.desk.drafts.drop(self.desk.who, f"outline/{gone.elevation}/{gone.zone}")
        self.desk.say(
            f"Joined: {kept.zone} now holds {gone.zone} too. Cross out {gone.zone} on your drawing."
        )
        if kept is self.record:
            self.finished()
        else:
            self.show_zone(kept)

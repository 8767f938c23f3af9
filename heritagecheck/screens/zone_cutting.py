"""A zone is split, joined with its neighbour, given another name; the last of it is taken back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from heritagecheck.figures.elevation import UNITS_A_METRE
from heritagecheck.screens.app import Desk, still_kept
from heritagecheck.screens.elevation_plate import Plate
from heritagecheck.screens.live_page import Event
from heritagecheck.survey.drawings.outline_edits import rings_of
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.entry.codes import next_code
from heritagecheck.survey.entry.zone_edits import (
    SIDE_BY_SIDE_M,
    begun_zones,
    gap_m,
    joined_zone,
    records_of,
    split_zone,
    why_not_joined,
)
from heritagecheck.survey.records import Zone


class ZoneCutting:
    """What the outline screen does to whole zones."""

    desk: Desk
    zone: str
    mode: str
    name: str
    line: list[tuple[float, float]]
    saved_here = False

    @property
    def plate(self) -> Plate | None:
        """The picture of the elevation."""
        raise NotImplementedError

    @property
    def record(self) -> Zone | None:
        """The zone as it is kept."""
        raise NotImplementedError

    @property
    def drawn(self) -> list[FloatArray]:
        """Its outline as it is drawn."""
        raise NotImplementedError

    def finished(self) -> None:
        """Begin again with what is kept."""
        raise NotImplementedError

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
        """Neighbours, with why they can't be joined, or what is kept where they can."""
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
        """Which of two zones is kept: the one that has records."""
        assert self.record is not None
        if records_of(self.desk.survey, other.zone):
            return other, self.record
        return self.record, other

    def do_mode(self, event: Event) -> None:
        """Draw, split, join or rename."""
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
        if self.desk.save(first, second, what=f"{self.zone} split into {self.zone} and {code}"):
            self.saved_here = True
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
        whole, what = (
            joined_zone(kept, self.drawn, other_rings),
            f"{kept.zone} and {gone.zone} joined",
        )
        if not self.desk.save(whole, what=what, in_place_of=[gone]):
            return
        self.saved_here = True
        self.desk.drafts.drop(self.desk.who, f"outline/{gone.elevation}/{gone.zone}")
        self.desk.say(
            f"Joined: {kept.zone} now holds {gone.zone} too. Cross out {gone.zone} on your drawing."
        )
        if kept is self.record:
            self.finished()
        else:
            self.desk.go("outline", kept.elevation, kept.zone)

    def do_rename(self, event: Event) -> None:
        """Give the zone another name; its code stays, as drawings and tags carry it."""
        assert self.record is not None
        if not self.name.strip():
            self.desk.refuse("The name was not saved.", "Write the name in a few words.")
            return
        if self.desk.save(
            self.record.changed(name=self.name.strip()), what=f"the name of {self.zone}"
        ):
            self.saved_here, self.mode = True, "draw"

    def do_take_back(self, event: Event) -> None:
        """Take back what was saved here last."""
        if not self.desk.undo():
            return
        self.saved_here = False
        self.finished()

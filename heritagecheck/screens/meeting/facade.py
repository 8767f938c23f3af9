"""An elevation with what this meeting decided for each zone, so that neighbours fit together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from markupsafe import Markup

from heritagecheck.figures.elevation import FILLS, HATCHES
from heritagecheck.screens.app import Desk
from heritagecheck.screens.elevation_plate import Plate, Plates
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.seat import RoomScreen, Seat
from heritagecheck.survey.meeting.privacy import FACILITATOR
from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.records.team import NOT_DECIDED, TREAT

OPEN, ANSWERED, SHOWN = "not taken up", "answers in private", "answers shown"
DOTS = '<circle cx="12" cy="12" r="2" fill="#5c1a1a"/>'
# Sign, colour and hatch: glare, grey print and colour-blind eyes lose the colour.
KEY: Mapping[str, tuple[str, str, str]] = {
    OPEN: ("–", "#fffdf8", ""),
    ANSWERED: ("…", "#e4e1d8", ""),
    SHOWN: ("?", "#c8d8d4", ""),
    **{one: (one[0].upper(), FILLS[one], HATCHES[one]) for one in FILLS},
    "leave and monitor": ("M", FILLS["leave and monitor"], HATCHES["leave and monitor"]),
    TREAT: ("O", "#e9b4a6", DOTS),
    NOT_DECIDED: ("N", "#ffffff", HATCHES["leave and monitor"]),
}


@dataclass(frozen=True, slots=True)
class ZoneThen:
    """One zone as map and list show it."""

    zone: str
    name: str
    state: str
    words: str

    @property
    def sign(self) -> str:
        """The letter or sign of its state."""
        return KEY[self.state][0]

    @property
    def spoken(self) -> str:
        """What is read aloud."""
        return f"{self.zone} {self.name}: {self.words}"


class FacadeScreen(RoomScreen):
    """The zones of one elevation; nothing that is private or hidden is on it."""

    template = "meeting_facade.html"
    title = "By elevation"
    nav: ClassVar[str] = "By elevation"

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts, seat=seat)
        self.elevation = ""
        self._plates = Plates(desk)

    @property
    def item(self) -> Elevation | None:
        """The elevation that was chosen, else that of the zone in hand, else the first."""
        every = {one.elevation: one for one in self.desk.survey.all(Elevation)}
        in_hand = [
            one.elevation for one in self.desk.survey.all(Zone) if one.zone == self.room.state.zone
        ]
        chosen = (every.get(code) for code in (self.elevation, *in_hand))
        return next(filter(None, chosen), next(iter(every.values()), None))

    @property
    def plate(self) -> Plate | None:
        """Its picture with the zones, where it has one."""
        return self._plates.of(self.item)

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        item, plate = self.item, self.plate
        rows = [
            self._row(one) for one in self.desk.survey.all(Zone)
            if item and one.elevation == item.elevation
        ]  # fmt: skip
        shapes = {} if plate is None else plate.shapes
        states = {row.state for row in rows}
        return {
            "item": item, "plate": plate, "rows": rows,
            "leads": self.person.kind == FACILITATOR,
            "elevations": [(one.elevation, one.name) for one in self.desk.survey.all(Elevation)],
            "mapped": [(row, shapes[row.zone]) for row in rows if row.zone in shapes],
            "faded": [shapes[zone] for zone in shapes.keys() - {row.zone for row in rows}],
            "key": {state: (sign, colour, Markup(hatch))
                    for state, (sign, colour, hatch) in KEY.items() if state in states},
            "without": [row.zone for row in rows if plate and row.zone not in shapes],
        }  # fmt: skip

    def _row(self, zone: Zone) -> ZoneThen:
        """How far the meeting came with one zone."""
        decision = self.room.decision(zone.zone)
        if decision is not None:
            return ZoneThen(zone.zone, zone.name, decision.outcome, decision.in_words)
        if self.room.is_shown(zone.zone):
            return ZoneThen(zone.zone, zone.name, SHOWN, SHOWN)
        if given := self.room.answered(zone.zone):
            of = f"{ANSWERED}: {len(given)} of {len(self.room.members)}"
            return ZoneThen(zone.zone, zone.name, ANSWERED, of)
        return ZoneThen(zone.zone, zone.name, OPEN, OPEN)

    def picture(self, name: str) -> tuple[bytes, str]:
        """The picture of the elevation."""
        if self.plate is None:
            raise LookupError(name)
        return self.plate.picture(name)

    def do_elevation(self, event: Event) -> None:
        """Show another elevation."""
        self.elevation = event.arg

    def do_take_up(self, event: Event) -> None:
        """Take up a zone, if one leads the meeting; everybody then sees it."""
        if self.person.kind == FACILITATOR:
            self.room.take_up(event.arg)
            self.desk.go("zone")

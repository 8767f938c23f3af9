"""The elevations of a structure: each needs a name; a picture may follow."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from heritagecheck.screens.app import Screen
from heritagecheck.screens.live_page import Event
from heritagecheck.survey.entry.codes import elevation_code
from heritagecheck.survey.records import Elevation, Zone


class ElevationsScreen(Screen):
    """The list of elevations, and a new one."""

    template = "elevations.html"
    title = "Elevations"
    name = ""
    fault = ""

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        zones = [zone.elevation for zone in self.desk.survey.all(Zone)]
        return {
            "elevations": [
                (one, zones.count(one.elevation)) for one in self.desk.survey.all(Elevation)
            ]
        }

    def typed(self, name: str, value: str) -> None:
        """Keep the name of a new elevation."""
        self.name, self.fault = value, ""

    def do_new(self, event: Event) -> None:
        """Keep a new elevation, and go on to its picture."""
        name = self.name.strip()
        if not name or name in {one.name for one in self.desk.survey.all(Elevation)}:
            self.fault = (
                "There is an elevation of this name. Write another."
                if name
                else "Write which side it is, such as north front."
            )
            self.desk.focus = "new.name"
            return
        new = Elevation(elevation=elevation_code(self.desk.survey, name), name=name)
        if self.desk.save(new, what=f"the elevation {name}"):
            self.name = ""
            self.desk.go("elevation", new.elevation)

"""Steps of the notebook that goes from zone to zone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from heritagecheck import figures
from heritagecheck.documents.zone_sheet import zone_sheet
from heritagecheck.screens.notebook.rows import Rows
from heritagecheck.screens.notebook.step import PICK, Ask, Wall, step
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.survey.records import Elevation

ANY = ""
COLUMNS = {
    "zone": "Zone",
    "outcome": "Outcome",
    "urgency": "Urgency",
    "gate": "Deciding gate",
    "name": "What it is",
}


class ZonesWalk(Walk):
    """From all zones to the reasons of one."""

    @step
    def outcomes(self, ask: Ask) -> Iterator[Any]:
        """How many zones have which outcome."""
        yield str(self.assessment)

    @step
    def list(self, ask: Ask) -> Iterator[Any]:
        """Every zone with its outcome; a press on a code chooses it."""
        table = self.assessment.table
        for column, label in (("outcome", "Outcome"), ("elevation", "Elevation"),
                              ("gate", "Deciding gate"), ("urgency", "Urgency")):  # fmt: skip
            known = [str(one) for one in table[column].dropna().unique() if str(one)]
            wanted = ask.choice(label, {ANY: "any"} | {one: one for one in sorted(known)})
            if wanted:
                table = table[table[column].astype(str) == wanted]
        yield Rows(table, COLUMNS, "zone", picks="zone")
        yield self.zone

    @step
    def wall(self, ask: Ask) -> Iterator[Any]:
        """An elevation by outcome; a press on a zone chooses it."""
        known = {one.elevation: one.name for one in self.survey.all(Elevation)}
        here = ask.choice("Elevation", known, self.zone.evidence.zone.elevation)
        yield Wall(figures.draw_elevation(self.assessment, here, link=PICK))

    @step
    def card(self, ask: Ask) -> Iterator[Any]:
        """All of the zone on one card."""
        yield zone_sheet(self.assessment, self.zone_code)

"""All zones of a survey, on the elevation and as a list: how far each is, and the way to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from heritagecheck.figures.elevation import HATCHES
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.screens.app import Desk, Screen, still_kept
from heritagecheck.screens.elevation_plate import KEY_OF_OUTCOMES, OnElevation, map_values
from heritagecheck.screens.live_page import Event
from heritagecheck.sentences import FOR_APPROVAL, count_of, upper_first
from heritagecheck.survey.entry.zone_edits import begin_zone, begun_zones
from heritagecheck.survey.entry.zone_progress import (
    ZoneProgress,
    progress_sentence,
    zone_progress,
)
from heritagecheck.survey.records import Elevation, Structure, Zone

BEGUN, PART, RECORDED = "not started", "part recorded", "recorded"
KEY: Mapping[str, tuple[str, str, str]] = {
    BEGUN: ("–", "#fffdf8", ""),
    PART: ("½", "#f0b93a", HATCHES["trial first"]),
    RECORDED: ("✓", "#7fb3a6", ""),
    **KEY_OF_OUTCOMES,
}
FILTERS = {"all": "All", "open": "Not fully recorded", "lead": "Need a lead test"}


@dataclass(frozen=True, slots=True)
class Row:
    """One zone as map and list show it."""

    zone: str
    name: str
    elevation: str
    state: str
    more: str
    needs_lead_test: bool

    @property
    def sign(self) -> str:
        """The letter or sign of its state."""
        return KEY[self.state][0]

    @property
    def spoken(self) -> str:
        """What is read aloud."""
        return f"{self.zone} {self.name}: {self.state}{', ' + self.more if self.more else ''}"


class ZonesScreen(OnElevation, Screen):
    """The elevation map, and below it the list of zones."""

    template = "zones.html"
    title = "The zones"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.elevation = parts[0] if parts else ""
        self.filter = "all"
        self.name = ""
        self.name_fault = ""
        self.outcomes: dict[str, str] = {}
        self.assessed_at = ""
        self._far_at: tuple[str, tuple[ZoneProgress, ...]] = ("", ())

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        rows = self._rows()
        item = self.item
        here = [row for row in rows if item is None or row.elevation == item.elevation]
        shown = [row for row in here if self._wanted(row)]
        return {
            "elevations": self._elevations(), "item": item,
            "rows": shown, "of": len(here), "progress": self._progress(),
            "filters": FILTERS, "for_approval": FOR_APPROVAL,
            "stale": bool(self.outcomes) and self.assessed_at != self.desk.survey.journal_head,
            **map_values(shown, here, self.plate, KEY),
        }  # fmt: skip

    def _elevations(self) -> list[tuple[str, str]]:
        """Code and name of each elevation, without the name of the structure before it."""
        named = next((one.structure for one in self.desk.survey.all(Structure)), "")
        return [
            (one.elevation, one.name.removeprefix(f"{named}, "))
            for one in self.desk.survey.all(Elevation)
        ]

    @property
    def item(self) -> Elevation | None:
        """The elevation that is shown; the first where none was chosen."""
        every = self.desk.survey.all(Elevation)
        chosen = [one for one in every if one.elevation == self.elevation]
        return next(iter(chosen or every), None)

    def _rows(self) -> list[Row]:
        """Every zone, saved or only started."""
        survey = self.desk.survey
        rows = []
        for zone, far in zip(survey.all(Zone), self._far(), strict=True):
            state = self.outcomes.get(zone.zone, far.state)
            more = f"open: {', '.join(far.open)}" if far.open and state == PART else ""
            rows.append(Row(zone.zone, zone.name, zone.elevation, state, more, far.lead_to_test))
        for one in begun_zones(survey, self.desk.drafts):
            more = "no record yet" if one.who == self.desk.who else f"started by {one.who}"
            rows.append(Row(one.zone, one.name, one.elevation, BEGUN, more, False))
        return sorted(rows, key=lambda row: row.zone)

    def _far(self) -> tuple[ZoneProgress, ...]:
        """Progress of each zone; updated after each save."""
        head = self.desk.survey.journal_head
        if self._far_at[0] != head:
            self._far_at = head, zone_progress(self.desk.survey)
        return self._far_at[1]

    def _wanted(self, row: Row) -> bool:
        """Whether the filter lets a zone through."""
        if self.filter == "open":
            return row.state in {BEGUN, PART}
        return self.filter == "all" or row.needs_lead_test

    def _progress(self) -> str:
        """How far the survey is, in a sentence."""
        said = progress_sentence(self._far())
        begun = len(begun_zones(self.desk.survey, self.desk.drafts))
        more = f"; {count_of(begun, 'more zone')} without a record" if begun else ""
        return f"{upper_first(said)}{more}."

    def typed(self, name: str, value: str) -> None:
        """Keep the name of a new zone."""
        self.name, self.name_fault = value, ""

    def do_elevation(self, event: Event) -> None:
        """Show another elevation."""
        self.elevation = event.arg

    def do_filter(self, event: Event) -> None:
        """Show only some of the zones."""
        self.filter = event.arg

    def do_visit(self, event: Event) -> None:
        """Go to a zone."""
        known = {zone.zone for zone in self.desk.survey.all(Zone)}
        self.desk.go("zone", event.arg, *([] if event.arg in known else ["what"]))

    def do_outline(self, event: Event) -> None:
        """Go to the outline of a zone."""
        row = still_kept(
            (one for one in self._rows() if one.zone == event.arg), f"Zone {event.arg}"
        )
        self.desk.go("outline", row.elevation, row.zone)

    def do_new(self, event: Event) -> None:
        """Begin a zone: its name is enough; then its outline or its form."""
        item = self.item
        if item is None or not self.name.strip():
            self.name_fault = "Write what the zone is in a few words, such as left door jamb."
            self.desk.focus = "new.name"
            return
        code = begin_zone(
            self.desk.survey, self.desk.drafts, self.desk.who,
            elevation=item.elevation, name=self.name.strip(),
        )  # fmt: skip
        self.desk.say(
            f"Begun, not saved yet: {code}, {self.name.strip()}. Write {code} on your drawing."
        )
        self.name = ""
        if event.arg == "outline":
            self.desk.go("outline", item.elevation, code)
        else:
            self.desk.go("zone", code, "what")

    def do_assess(self, event: Event) -> None:
        """Colour the zones by what is recommended."""
        survey = self.desk.survey.still()
        self.desk.later(
            "Working out the answers", lambda told: assess(survey, progress=told), self._has
        )

    def _has(self, found: Assessment) -> None:
        self.outcomes = {one.zone: one.outcome for one in found.recommendations}
        self.assessed_at = self.desk.survey.journal_head
        self.desk.say("The map shows the outcomes of the records as they are saved now.")

    def do_progress(self, event: Event) -> None:
        """Colour the zones by how far they are."""
        self.outcomes = {}

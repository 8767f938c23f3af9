"""The trial panels of a zone: its series, and what each shows so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from heritagecheck.documents.trial_sheet import trial_sheet
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.screens.app import Desk
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.trials.trial_screen import TrialScreen
from heritagecheck.sentences import count_of, day_in_words
from heritagecheck.survey.entry.series_entry import (
    LAID_NOT_READ,
    laid_like,
    laid_panels,
    with_panels,
)
from heritagecheck.survey.records import Panel
from heritagecheck.tables.methods import brief_method


@dataclass(frozen=True, slots=True)
class PanelLine:
    """One panel in a list: its code, and how far it has come."""

    code: str
    words: str
    read: bool


class PanelsScreen(TrialScreen):
    """All series of trial panels of a zone."""

    template = "panels.html"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.heading = f"Trial panels of {self.code}"

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        lines = []
        for series in self.series():
            panels = self.panels_of(series)
            read = sum(panel.read_on is not None for panel in panels)
            first = panels[0]
            words = f"{read} of {count_of(first.panels_in_series, 'panel')} read"
            lines.append((series, brief_method(first.method, [first.soiling]), words))
        recorded = len(self.of_zone(Panel))
        return {
            **super().values(), "series": lines, "laid": self.zone.panels_laid,
            "recorded": recorded, "cautions": self.cautions(()),
        }  # fmt: skip

    def do_new(self, event: Event) -> None:
        """Write down a new series."""
        self.desk.go("zone", self.code, "panels", "new")

    def do_all_laid(self, event: Event) -> None:
        """Record that no panels were laid on the zone other than those on record."""
        recorded = len(self.of_zone(Panel))
        zone = self.zone.changed(panels_laid=recorded)
        self.desk.save(zone, what=f"{count_of(recorded, 'panel')} laid on zone {self.code} in all")


class SeriesScreen(TrialScreen):
    """One series: its panels, what they show, what gate 7 still requires, and the next trial."""

    template = "series.html"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.name = parts[2]
        self.heading = f"{self.name} on {self.code}"
        self._card: tuple[Assessment | None, str] = None, ""

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        panels = self.panels_of(self.name)
        around = super().values()  # looks at the zone first: the card is of what it finds
        card, missing = self._judged_card()
        unread = next((one.panel for one in panels if one.read_on is None), "")
        return {
            **around, "name": self.name, "card": card, "missing": missing,
            "panels": [PanelLine(one.panel, self._words(one), one.read_on is not None)
                       for one in panels],
            "unread": unread, "first": panels[0] if panels else None,
            "cautions": self.cautions_of_series(self.name),
        }  # fmt: skip

    def _words(self, panel: Panel) -> str:
        """How far a panel has come."""
        if panel.read_on is None:
            why = "" if panel.not_read_because == LAID_NOT_READ else f": {panel.not_read_because}"
            state = f"not read{why}" if why else LAID_NOT_READ
            return f"laid on {day_in_words(panel.done_on)}, {state}"
        parts = [f"read on {day_in_words(panel.read_on)}"]
        if panel.x50_fields is not None:
            damaged = "unknown" if panel.damaged_fields is None else panel.damaged_fields
            parts.append(f"{count_of(panel.x50_fields, 'field')} at ×50, {damaged} damaged")
        if spots := self.spots_of(panel.panel):
            parts.append(count_of(len(spots), "spot"))
        elif panel.spots_laid == 0:
            parts.append("no spots laid")
        return "; ".join(parts)

    def _judged_card(self) -> tuple[str, tuple[str, ...]]:
        """The card of the series by what is saved, or why there is none yet."""
        standing = self.hand.standing
        if standing is None or standing.assessment is None:
            return "", standing.missing if standing else ()
        if self._card[0] is not standing.assessment:
            card = trial_sheet(standing.assessment, self.name).html
            self._card = standing.assessment, card
        return self._card[1], ()

    def do_panel(self, event: Event) -> None:
        """To one panel."""
        self.desk.go("zone", self.code, "series", self.name, "panel", event.arg)

    def do_spots(self, event: Event) -> None:
        """To the spots of one panel."""
        self.desk.go("zone", self.code, "series", self.name, "spots", event.arg)

    def do_setting(self, event: Event) -> None:
        """To the setting."""
        self.desk.go("zone", self.code, "series", self.name, "setting")

    def do_one_more(self, event: Event) -> None:
        """One more panel was laid today."""
        like = laid_like(self.panels_of(self.name)[0], date.today())
        survey = self.desk.survey
        panels = laid_panels(survey, like, 1)
        zone = with_panels(self.zone, len(self.of_zone(Panel)) + 1)
        self.desk.save(*zone, *panels, what=f"one more panel of {self.name}, laid today")

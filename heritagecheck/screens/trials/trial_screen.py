"""What all screens of the trials of a zone have in common: the zone, its cautions, its methods."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

from heritagecheck.errors import SurveyError
from heritagecheck.evidence.trials.panels import worked_with
from heritagecheck.evidence.trials.series import trial_cautions
from heritagecheck.evidence.zone_evidence import ZoneEvidence, gather
from heritagecheck.judgement.options import Stop, options_for
from heritagecheck.screens.app import Desk, still_kept
from heritagecheck.screens.form import Form
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone.zone_screen import ZoneScreen
from heritagecheck.survey.records import Panel, Setting, Spot, Zone
from heritagecheck.survey.records.record import AnyRecord, Record
from heritagecheck.tables.cautions import Caution
from heritagecheck.tables.row_types import Method, Substrate


class Judged(NamedTuple):
    """A method, and the rules that rule it out on this zone; none where it is open."""

    method: Method
    stops: tuple[Stop, ...]


class TrialScreen(ZoneScreen):
    """A screen about the trials of one zone; its cautions are those of the trial."""

    task = "panels"
    heading = "Trial panels"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.code = parts[0]
        self.place = "/".join(("zone", *parts))
        self.forms: dict[str, Form] = {}  # not those of the zone's other tasks
        self._read_at = desk.head
        self._read: dict[type[Record], Any] = {}
        self._looked: tuple[str | None, ZoneEvidence | None] | None = None

    def values(self) -> Mapping[str, Any]:
        """What the frame of a zone shows; each screen shows its cautions itself."""
        around = {"heading": self.heading, "code": self.code, "other_cautions": ()}
        return {**super().values(), **around}

    @property
    def mark(self) -> str:
        """Key that distinguishes a picture from those of other records."""
        return (self.desk.head or "")[:12]

    def changed_forms(self) -> Sequence[Form]:
        """Forms with something typed that is not saved."""
        return [form for form in self.forms.values() if form.changed]

    @property
    def zone(self) -> Zone:
        """The zone as it is saved."""
        every = self.desk.survey.all(Zone)
        return still_kept((one for one in every if one.zone == self.code), f"Zone {self.code}")

    @property
    def kind(self) -> str:
        """Whether it is masonry or metal."""
        return Substrate.named(self.zone.substrate).kind

    @property
    def weakest(self) -> str:
        """The component that is damaged first on its substrate, where one is known."""
        return Substrate.named(self.zone.substrate).weakest_components or ""

    def of_zone(self, model: type[AnyRecord]) -> tuple[AnyRecord, ...]:
        """Records of the zone of one kind, read once between two saves."""
        if self._read_at != self.desk.head:
            self._read_at, self._read = self.desk.head, {}
        if model not in self._read:
            self._read[model] = self.desk.survey.of_zone(self.code, model)
        found: tuple[AnyRecord, ...] = self._read[model]
        return found

    def panels_of(self, series: str) -> list[Panel]:
        """Panels of one series as they are saved."""
        panels = self.of_zone(Panel)
        return [panel for panel in panels if panel.series == series]

    def panel_of(self, series: str, code: str) -> Panel:
        """One panel of a series as it is saved."""
        panels = self.panels_of(series)
        return still_kept((one for one in panels if one.panel == code), f"Panel {code}")

    def settings_of(self, series: str) -> list[Setting]:
        """What was dialled for one series, as it is saved."""
        every = self.of_zone(Setting)
        return [setting for setting in every if setting.series == series]

    def spots_of(self, panel: str) -> list[Spot]:
        """Spots of one panel as they are saved."""
        spots = self.of_zone(Spot)
        return [spot for spot in spots if spot.panel == panel]

    def series(self) -> list[str]:
        """Series laid on the zone, in the order of their first panel."""
        panels = self.of_zone(Panel)
        return list(dict.fromkeys(panel.series for panel in panels))

    @property
    def evidence(self) -> ZoneEvidence | None:
        """All that is saved of the zone; None where its records contradict one another."""
        head = self.desk.head
        if self._looked is None or self._looked[0] != head:
            try:
                found = gather(self.desk.survey.still(), self.zone)
            except SurveyError:
                found = None
            self._looked = head, found
        return self._looked[1]

    def cautions(
        self, methods: Sequence[str], settings: Iterable[Setting] = ()
    ) -> tuple[Caution, ...]:
        """Cautions of a trial here by some methods; what is not known counts as if it were so."""
        facts = {} if self.evidence is None else self.evidence.facts
        return trial_cautions(facts, worked_with(methods, settings))

    def cautions_of_series(self, series: str) -> tuple[Caution, ...]:
        """Cautions of a series that is saved, and of those laid before it on the same place."""
        methods, settings, step = [], [], series
        seen: set[str] = set()
        while step and step not in seen:
            seen.add(step)
            panels = self.panels_of(step)
            methods += [panel.method for panel in panels[:1]]
            settings += self.settings_of(step)
            step = next((panel.after_series for panel in panels), None) or ""
        return self.cautions(methods[::-1], settings)

    @property
    def judged(self) -> list[Judged]:
        """Every method, gentlest first, with what rules it out on this zone."""
        return _judged(self.evidence)

    def do_trials(self, event: Event) -> None:
        """Back to the trials of the zone."""
        self.desk.go("zone", self.code, "panels")

    def do_below(self, event: Event) -> None:
        """Back to all that is measured below ×50."""
        self.desk.go("zone", self.code, "below")

    def do_series(self, event: Event) -> None:
        """To one series."""
        self.desk.go("zone", self.code, "series", event.arg)


@lru_cache(maxsize=8)
def _judged(evidence: ZoneEvidence | None) -> list[Judged]:
    """Every method, gentlest first; none is ruled out where nothing can be read of the zone."""
    stops: dict[str, list[tuple[Stop, ...]]] = {}
    for option in options_for(evidence) if evidence else ():
        stops.setdefault(option.method, []).append(() if option.unrated else option.stops)
    return [
        Judged(method, min(stops.get(method.method, [()]), key=len))
        for method in sorted(Method.rows(), key=lambda one: one.ladder)
    ]

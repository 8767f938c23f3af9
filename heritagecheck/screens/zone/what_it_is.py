"""What the zone is: its stone or metal, surface, place and significance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, ClassVar

from heritagecheck.errors import SurveyError
from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Form
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone.at_hand import ASKED
from heritagecheck.screens.zone.zone_screen import ZoneScreen
from heritagecheck.survey.drawings.elevations import outlines
from heritagecheck.survey.drawings.outline_edits import rings_of
from heritagecheck.survey.entry.offers import as_zone
from heritagecheck.survey.entry.record_form import title_of
from heritagecheck.survey.entry.typed_values import shown, understood
from heritagecheck.survey.entry.zone_edits import rounded_area
from heritagecheck.survey.records import Elevation, Structure, Zone
from heritagecheck.survey.records.structure import stone_of
from heritagecheck.tables import codes


class WhatItIsScreen(ZoneScreen):
    """The record of the zone."""

    template = "zone_what.html"
    task: ClassVar[str] = "what"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.like = ""

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        found = super().values()
        form, survey = self.hand.zone, self.desk.survey
        kept = self.hand.record()
        return {
            **found, "form": form, "kept": kept, "like": self.like, "offered": self._offered(),
            "fields_shown": [one for one in form.view() if one.name.partition(".")[2] in ASKED],
            "others": [one for one in survey.all(Zone) if one.zone != self.hand.code],
            "elevations": survey.all(Elevation), "area": self._area(), "beds": self._beds(),
        }  # fmt: skip

    def changed_forms(self) -> Sequence[Form]:
        """The form of the zone."""
        return [self.hand.zone] if self.hand.zone.changed else []

    def known(self) -> bool:
        """The zone itself is saved here."""
        return True

    def ready(self, *forms: Form) -> bool:
        """Whether the zone can be saved; a new one is saved with its soilings."""
        self.hand.date_new_zone()
        wrong = self.hand.zone.written.faults()
        if list(wrong) == ["soilings"]:
            self.desk.say("Kept as your draft. Name what lies on it; then the zone can be saved.")
            self.desk.go("zone", self.hand.code, "soiling")
            return False
        return super().ready(*forms)

    def do_elevation(self, event: Event) -> None:
        """Choose the elevation of the zone."""
        self.hand.zone.type("elevation", event.arg)

    def do_like(self, event: Event) -> None:
        """Offer what another zone may share with this one."""
        self.like = "" if self.like == event.arg else event.arg

    def do_take_over(self, event: Event) -> None:
        """Take over what was offered, into fields that are still empty."""
        for name, text, _, _ in self._offered():
            self.hand.zone.type(name, text)
        self.like = ""

    def do_take(self, event: Event) -> None:
        """Take one value that is offered: `field=text`."""
        name, _, text = event.arg.partition("=")
        self.hand.zone.type(name, text)

    def do_seen_today(self, event: Event) -> None:
        """The zone was looked at again, today."""
        if self.desk.knows_who():
            self.hand.zone.type("surveyed_on", date.today().isoformat())
            self.hand.zone.type("surveyed_by", self.desk.who)

    def _offered(self) -> list[tuple[str, str, str, str]]:
        """What another zone may share: field, text, title, value in words."""
        if self.like not in {one.zone for one in self.desk.survey.all(Zone)}:
            return []
        form = self.hand.zone
        offers = as_zone(self.desk.survey, self.like)
        texts = {name: shown(offer.value) for name, offer in offers.items()}
        return [
            (name, text, title_of(Zone, name), understood(Zone, name, text))
            for name, text in texts.items()
            if name in form.text and not form.text[name]
        ]

    def _area(self) -> str:
        """Area of the outline, as it would be typed; empty where none is drawn."""
        form = self.hand.zone
        try:
            rings = rings_of(form.text["outline"])
            if rings:
                return f"{rounded_area(rings):g}"
            drawn = outlines(self.desk.survey, form.text["elevation"])
        except (SurveyError, ValueError):
            return ""  # the screen of the outline says what is wrong with it
        here = drawn.get(self.hand.code)
        return f"{rounded_area(here.rings):g}" if here else ""

    def _beds(self) -> Sequence[str]:
        """Beds or coating systems that the structure lists for this stone or metal."""
        substrate = self.hand.zone.written.value("substrate")
        structure = next(iter(self.desk.survey.all(Structure)), None)
        if structure is None or substrate not in codes("substrates"):
            return ()
        return structure.listed_beds.get(stone_of(str(substrate)), ())

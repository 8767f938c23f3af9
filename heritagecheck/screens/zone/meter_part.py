"""The day with the colour meter on a screen: which meter, confirmed once, and its white tile."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Field, Form
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone.zone_screen import ZoneScreen
from heritagecheck.survey.checks.gaps import drift
from heritagecheck.survey.entry.colour_entry import MeterDay, read_row
from heritagecheck.survey.entry.offers import BY_METER, day_defaults
from heritagecheck.survey.entry.typed_values import NotTakenError, shown
from heritagecheck.survey.records import Reading
from heritagecheck.tables import threshold

FIELDS = ("instrument", "geometry", "aperture_mm", "illuminant", "read_on", "read_by")
# What a reading holds besides; here only the meter is asked.
REST: Mapping[str, object] = {
    "reading": "-", "zone": "-", "set_name": "-", "set_size": 1, "target": "soiled",
    "L_star": 50.0, "a_star": 0.0, "b_star": 0.0, "state": "dry",
}  # fmt: skip


class MeterPart(ZoneScreen):
    """What a screen needs that reads with a colour meter."""

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.changing = False
        self.tile_typed = self.tile_fault = ""
        self._form()

    @property
    def day(self) -> MeterDay | None:
        """The meter as this person confirmed it today."""
        return MeterDay.of(self.desk.drafts, self.desk.who, date.today())

    def meter_values(self) -> Mapping[str, Any]:
        """What the part of the meter shows."""
        day = self.day
        offers = day_defaults(self.desk.survey, self.desk.who)
        tiles = day.tiles(self.desk.survey) if day else ()
        went = drift([(one.L_star, one.a_star, one.b_star) for one in tiles]) if tiles else 0.0
        limit = threshold("tile_drift_max")
        asked = day is None and "instrument" not in offers
        return {
            "day": day, "offers": offers, "tiles": tiles, "drift": went, "drift_limit": limit,
            "unsteady": went > limit, "tile_typed": self.tile_typed, "tile_fault": self.tile_fault,
            "meter_fields": self._fields() if self.changing or asked else [],
        }  # fmt: skip

    def _form(self) -> Form:
        """The form of the meter: it begins with today's, or with what is offered."""
        if "meter" not in self.forms:
            offers = day_defaults(self.desk.survey, self.desk.who)
            begun = {name: shown(one.value) for name, one in offers.items() if name in FIELDS}
            if day := self.day:
                begun = {name: getattr(day, name) for name in FIELDS}
            self.forms["meter"] = Form(
                self.desk, "meter", "meter", Reading, FIELDS, fixed=REST, begun=begun,
                kept=lambda: None,
            )  # fmt: skip
        return self.forms["meter"]

    def _fields(self) -> list[Field]:
        """Its fields; of the geometries only those of a meter."""
        return [
            replace(one, buttons=tuple(b for b in one.buttons if b.code in BY_METER))
            if one.name == "meter.geometry" else replace(one, needed=True)
            for one in self._form().view()
        ]  # fmt: skip

    def do_use_offer(self, event: Event) -> None:
        """Confirm the meter of the last readings for today."""
        if not self.desk.knows_who():
            return
        offers = day_defaults(self.desk.survey, self.desk.who)
        values = {name: shown(offers[name].value) for name in FIELDS}
        session = shown(offers["session"].value) if "session" in offers else ""
        self._confirm(values, session)

    def do_change_meter(self, event: Event) -> None:
        """Show the form of the meter."""
        self.changing = True
        self.forms.pop("meter")
        self._form()
        self.desk.focus = "meter.instrument"

    def do_use_meter(self, event: Event) -> None:
        """Confirm the meter as it is written in the form."""
        form = self._form()
        if self.desk.knows_who() and self.ready(form):
            written = form.written
            self._confirm({name: shown(written.value(name)) for name in FIELDS}, "")
            form.saved()

    def _confirm(self, values: Mapping[str, str], session: str) -> None:
        desk, old = self.desk, self.day
        if old and all(getattr(old, name) == values[name] for name in FIELDS):
            session = old.session
        day = MeterDay.confirmed(desk.survey, values, desk.who, date.today(), session)
        day.keep(desk.drafts, desk.who)
        self.changing = False
        desk.say(f"For today: {day.instrument}, {day.geometry}. Read its white tile now.")
        desk.focus = "tile.lab"

    def do_tile(self, event: Event) -> None:
        """Save one reading of the white tile."""
        day, desk = self.day, self.desk
        self.tile_fault = ""
        if day is None or (event.once and event.once == day.last_told):
            return
        try:
            lab = read_row(event.value).lab
        except NotTakenError as why:
            self.tile_typed, self.tile_fault = event.value, str(why)
            return
        assert lab is not None
        later, records = day.with_tile(desk.survey, lab, datetime.now(), event.once)
        self.tile_typed = ""
        if desk.save(*records, what=f"white tile, reading {len(records)}"):
            later.keep(desk.drafts, desk.who)
        else:
            self.tile_typed = event.value

"""The colour meter on a screen: which meter today, its white tile, and readings from its file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any, TypeVar

from heritagecheck.errors import SurveyError
from heritagecheck.evidence.colour.meter_readings import readings_from
from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Field, Form
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.screens.zone.zone_screen import ZoneScreen
from heritagecheck.sentences import count_of
from heritagecheck.survey.checks.gaps import drift
from heritagecheck.survey.entry.codes import next_codes, next_name
from heritagecheck.survey.entry.colour_entry import SIDES, MeterDay, read_row
from heritagecheck.survey.entry.offers import BY_METER, day_defaults
from heritagecheck.survey.entry.typed_values import NotTakenError, shown
from heritagecheck.survey.instruments import read_meter_file
from heritagecheck.survey.instruments.meter_file import MeterFile
from heritagecheck.survey.records import Reading
from heritagecheck.tables import threshold

FIELDS = ("instrument", "geometry", "aperture_mm", "illuminant", "read_on", "read_by")
# What a reading holds besides; here only the meter is asked.
REST: Mapping[str, object] = {
    "reading": "-", "zone": "-", "set_name": "-", "set_size": 1, "target": "soiled",
    "L_star": 50.0, "a_star": 0.0, "b_star": 0.0, "state": "dry",
}  # fmt: skip
NAMED_AT_ONCE = 12
Value = TypeVar("Value")


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


class MeterFilePart(MeterPart):
    """What a screen needs that takes readings from a meter's own file."""

    chosen: str

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.file: MeterFile | None = None
        self.kept_as = self.begins = self.file_fault = ""

    def file_values(self) -> Mapping[str, Any]:
        """What the part of the file shows."""
        file = self.file
        found = [one for one in file.measured if one.name.startswith(self.begins)] if file else []
        lights = {
            f"{one.illuminant or '?'}/{one.observer_deg or '?'}"
            for measured in found for one in measured.colours
        }  # fmt: skip
        return {
            "file": file, "begins": self.begins, "file_fault": self.file_fault,
            "file_names": [one.name for one in found][:NAMED_AT_ONCE], "file_count": len(found),
            "file_says": _says(
                geometry={one.geometry for one in found},
                aperture={one.aperture_mm for one in found},
                day={one.measured_on for one in found},
            ),
            "lights": ", ".join(sorted(lights)), "spectra": any(one.reflectance for one in found),
        }  # fmt: skip

    def take(self, file: GivenFile) -> None:
        """Keep a meter's file with the survey, once it is known to be one."""
        if file.use != "meter":
            super().take(file)
            return
        self.file, self.file_fault, self.begins = None, "", ""
        try:
            found = read_meter_file(file.path)
        except SurveyError as error:
            self.file_fault = _why_not(error, file.name)
            return
        if not self.may_keep_file():
            return
        # Given again for another zone, it stays recorded as it was.
        kept = self.same_file(file) or self.keep_file(
            file, "instrument_file", "meter", "meter file"
        )
        self.desk.say(f"The file {file.name} is kept with the survey.")
        self.file, self.kept_as = found, kept.attachment

    def do_drop_file(self, event: Event) -> None:
        """Take no readings from it."""
        self.file = None

    def do_take_file(self, event: Event) -> None:
        """Save the measurements of the file as one set."""
        day, file = self.day, self.file
        if file is None or not self.desk.knows_who() or not self.known():
            return
        state = self.set_state(event.arg)
        if day is None or not state:
            self.desk.refuse(
                "Not saved yet.",
                "Confirm the meter, and say whether the stone was dry, damp or wet.",
            )
            return
        survey, code = self.desk.survey, self.hand.code
        shared = day.shared(survey)
        picked = file.picked(name_begins=self.begins)
        panel = None if event.arg in SIDES else event.arg
        target = "panel" if panel else event.arg
        name = next_name(survey, "readings", "set_name", f"{panel or code}-{target}")
        measured = picked.measured
        found = readings_from(
            picked, zone=code, set_name=name, target=target, state=state, panel=panel,
            read_by=self.desk.who, instrument=str(shared["instrument"]), session=shared["session"],
            file=self.kept_as, illuminant=str(shared["illuminant"]),
            geometry=_if_open([one.geometry for one in measured], shared["geometry"]),
            aperture_mm=_if_open([one.aperture_mm for one in measured], shared["aperture_mm"]),
            read_on=_if_open([one.measured_on for one in measured], shared["read_on"]),
        )  # fmt: skip
        beside = {"zone": code, "target": target} | ({"panel": panel} if panel else {})
        codes = next_codes(survey, "readings", len(found), **beside)
        self.save_readings(
            [one.changed(reading=key) for one, key in zip(found, codes, strict=True)], event.arg
        )
        self.file = None

    def set_state(self, key: str) -> str:
        """State of the stone, as it was said for a set."""
        raise NotImplementedError

    def save_readings(self, made: Sequence[Reading], key: str) -> None:
        """Save a set."""
        raise NotImplementedError


def _if_open(said: Sequence[object], ours: Value) -> Value | None:
    """What is to be added where the file leaves it open."""
    return ours if any(one is None for one in said) else None


def _says(**found: set[Any]) -> list[str]:
    """What a file says of its measurements, and what it leaves open."""
    names = {"geometry": "Geometry", "aperture": "Aperture [mm]", "day": "Day"}
    lines = []
    for key, values in found.items():
        said = ", ".join(sorted(_words(one) for one in values if one is not None))
        lines.append(
            f"{names[key]}: {said or 'not said in the file; that of today’s meter is taken'}"
        )
    return lines


def _words(value: object) -> str:
    return value.isoformat() if isinstance(value, date) else f"{value}"


def _why_not(error: SurveyError, name: str) -> str:
    """Why a file is not read, for somebody who can't write a mapping."""
    if "mapping" in set(error.faults["field"]):
        return (
            f"{name} is a table whose headings the program does not know. Open it, copy its "
            "columns L*, a*, b*, and paste them where you type readings."
        )
    more = len(error.sentences) - 1
    rest = f" {count_of(more, 'more fault')} follow." if more else ""
    return f"{name} was not taken. {error.sentences[0]}{rest}"

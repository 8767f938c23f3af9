"""The file of a colour meter on a screen: what it holds, which set it is, what it does not say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from heritagecheck.errors import SurveyError
from heritagecheck.evidence.colour.meter_readings import readings_from
from heritagecheck.screens.app import Desk
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.screens.zone.meter_part import MeterPart
from heritagecheck.sentences import count_of
from heritagecheck.survey.entry.codes import next_codes, next_name
from heritagecheck.survey.entry.colour_entry import SIDES
from heritagecheck.survey.instruments import read_meter_file
from heritagecheck.survey.instruments.meter_file import MeterFile
from heritagecheck.survey.records import Reading
from heritagecheck.survey.store.attachments import sha256_of

NAMED_AT_ONCE = 12
Value = TypeVar("Value")


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
        if not self.known():
            return
        if not self.desk.knows_who():
            self.desk.refuse("Not taken yet: say first who you are.", "Then choose the file again.")
            return
        # Meters give every export the same name.
        own, mark = Path(file.name), sha256_of(file.path)[:6]
        kept = self.desk.survey.attach(
            file.path, kind="instrument_file", file=f"meter/{own.stem}-{mark}{own.suffix}",
            zone=self.hand.code,
            taken_by=self.desk.who, who=self.desk.who, reason=f"zone {self.hand.code}: meter file",
        )  # fmt: skip
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

"""Photographs of a zone and of its panels: taken in, dated, shown, and measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, ClassVar

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Form
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.screens.zone.photo_measuring import (
    LARGE,
    THUMB,
    PhotoMeasuring,
    shown_photograph,
)
from heritagecheck.survey.entry.codes import next_code
from heritagecheck.survey.entry.typed_values import NotTakenError, read_typed
from heritagecheck.survey.instruments.photo_file import camera_day
from heritagecheck.survey.records import Attachment, Panel, Photo

MARK = 16  # digits of a checksum by which the browser knows a picture


class PhotographsScreen(PhotoMeasuring):
    """The photographs of one zone."""

    template = "zone_photographs.html"
    task: ClassVar[str] = "photographs"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.faults: list[str] = []
        self._last = True
        self.dates: dict[str, str] = {}
        self.date_faults: dict[str, str] = {}
        self._camera: dict[str, date | None] = {}
        self._sizes: dict[str, tuple[int, int]] = {}

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        survey, code = self.desk.survey, self.hand.code
        panels = survey.of_zone(code, Panel) if self.hand.record() else ()
        measured = {one.attachment: one for one in survey.all(Photo) if one.zone == code}
        return {
            **super().values(), **self.measuring_values(), "panels": [one.panel for one in panels],
            "photographs": [
                (one, measured.get(one.attachment), self._noted(one)) for one in self.photographs()
            ],
            "photo_faults": self.faults, "dates": self.dates, "date_faults": self.date_faults,
        }  # fmt: skip

    def changed_forms(self) -> Sequence[Form]:
        """No form here: a photograph is saved as it is taken in."""
        return ()

    def photographs(self) -> Sequence[Attachment]:
        """Photographs of the zone and of its panels."""
        if self.hand.record() is None:
            return ()
        survey, code = self.desk.survey, self.hand.code
        panels = {one.panel for one in survey.of_zone(code, Panel)}
        return [
            one for one in survey.all(Attachment)
            if one.kind == "photograph" and (one.zone == code or one.panel in panels)
        ]  # fmt: skip

    def take(self, file: GivenFile) -> None:
        """Keep a photograph with the survey."""
        if file.use != "photo":
            super().take(file)
            return
        survey, desk, code = self.desk.survey, self.desk, self.hand.code
        # What was said of the files that were chosen before is over.
        self.faults, self._last = ([] if self._last else self.faults), file.last
        try:
            shown_photograph(file.path, THUMB)
        except ValueError as why:
            self.faults = [*self.faults, f"{file.name} was not taken. {why}"]
            return
        if not self.may_keep_file():
            return
        if same := self.same_file(file):
            self.faults = [*self.faults, f"{file.name} is here already, as {same.attachment}."]
            return
        name = next_code(survey, "photos")
        kept = survey.attach(
            file.path, kind="photograph", attachment=name,
            file=f"photographs/{name}{Path(file.name).suffix.lower()}", zone=code,
            panel=file.arg or None, taken_by=desk.who, who=desk.who,
            reason=f"zone {code}: photograph",
        )  # fmt: skip
        desk.say(f"Saved: photograph {kept.attachment}.")

    def typed(self, name: str, value: str) -> None:
        """Keep a date that is typed."""
        if name.startswith("date."):
            self.dates[name.removeprefix("date.")] = value
        else:
            super().typed(name, value)

    def do_date(self, event: Event) -> None:
        """Say when a photograph was taken: `code`, or `code=day` to confirm the camera's."""
        code, _, given = event.arg.partition("=")
        item = self.attachment(code)
        if item is None or not self.desk.knows_who():
            return
        try:
            day = read_typed(Attachment, "taken_on", given or self.dates.get(code, ""))
        except NotTakenError as why:
            self.date_faults[code] = str(why)
            return
        if day is None:
            self.date_faults[code] = "Nothing is given here; write a date, such as 2026-11-30."
            return
        self.date_faults.pop(code, None)
        self.desk.save(item.changed(taken_on=day), what=f"the date of photograph {code}")

    def picture(self, name: str) -> tuple[bytes, str]:
        """A photograph, the drawing, or what was measured."""
        kind, _, mark = name.partition("-")
        if kind == "found":
            return self.found_picture(), "image/svg+xml"
        if kind == "ground":
            plate = self._plate()
            if plate is None:
                raise LookupError(name)
            return plate.picture(name)
        found = [one.file for one in self.photographs() if one.sha256.startswith(mark)]
        path = self.desk.survey.file(found[0]) if found else None
        if path is None:
            raise LookupError(name)
        return shown_photograph(path, LARGE if kind == "large" else THUMB)[0], "image/jpeg"

    def size_of(self, item: Attachment) -> tuple[int, int]:
        """Width and height of a photograph, in pixels."""
        if item.sha256 not in self._sizes:
            path = self.desk.survey.file(item.file)
            if path is None:
                raise ValueError(f"The file of {item.attachment} is missing; take it in again.")
            self._sizes[item.sha256] = shown_photograph(path, THUMB)[1]
        return self._sizes[item.sha256]

    def _noted(self, item: Attachment) -> date | None:
        """Day that the camera noted, offered where none is recorded."""
        if item.taken_on is not None:
            return None
        if item.sha256 not in self._camera:
            path = self.desk.survey.file(item.file)
            self._camera[item.sha256] = camera_day(path) if path else None
        return self._camera[item.sha256]

"""One profile of a section: what its readings share, and each on a line, typed or from a file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from heritagecheck.errors import SurveyError
from heritagecheck.evidence.section.stress_readings import ACROSS, ALONG, stresses_in
from heritagecheck.figures.section import draw_section
from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Form
from heritagecheck.screens.links import link_to
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.screens.trials.trial_screen import TrialScreen
from heritagecheck.screens.zone.at_hand import NOT_GIVEN_YET
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.entry.result_sets import (
    COLUMNS,
    SHARED,
    columns_typed,
    faults_of_rows,
    profile_name,
    readings_of,
    rows_of,
    with_rows,
)
from heritagecheck.survey.entry.typed_values import NotTakenError, unit_for
from heritagecheck.survey.records import Attachment, Panel, SectionReading, Spot
from heritagecheck.survey.records.readings import STRESSES
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import shown
from heritagecheck.survey.store.database_survey import DatabaseSurvey

OF_STRESS = "stress_"
NEW = "new"
READ_ALIKE = ("method", "measured_on", "measured_by", "file")


def typed_of(survey: DatabaseSurvey, name: str, quantity: str) -> dict[str, str]:
    """
    Columns of a profile, quantity and constants of a stress file stored with the survey.

    Where no stress is chosen yet, the first direction of the file is taken. SurveyError says why a
    file is not taken.
    """
    chosen = quantity.removeprefix(OF_STRESS) if quantity.startswith(OF_STRESS) else ""
    file = survey.stress_file(name, also={"direction": chosen} if chosen else None)
    found = stresses_in(file)
    direction = chosen or next(
        (way for way in (ALONG, ACROSS) if any(one.direction == way for one in found)), ALONG
    )
    mine = [one for one in found if one.direction == direction]
    columns = {column: "\n".join(shown(one.columns[column]) for one in mine) for column in COLUMNS}
    notes = dict.fromkeys(one.note for one in mine if one.note)
    return columns | {
        "quantity": f"{OF_STRESS}{direction}", "elastic_constants": file.constants,
        "note": " ".join(notes),
    }  # fmt: skip


class SectionForm(Form):
    """All readings of one profile: columns of lines, and what they share."""

    def __init__(self, desk: Desk, task: str, zone: str, profile: str) -> None:
        self.desk, self.zone, self.profile = desk, zone, profile
        fixed = {
            "section_reading": NOT_GIVEN_YET, "zone": zone, "profile": NOT_GIVEN_YET,
            "profile_size": 1,
        }  # fmt: skip
        begun = self.saved_text()
        super().__init__(
            desk, "section", task, SectionReading, (*COLUMNS, *SHARED), fixed=fixed, begun=begun
        )

    @property
    def readings(self) -> tuple[SectionReading, ...]:
        """The readings as they are saved."""
        every = self.desk.survey.of_zone(self.zone, SectionReading)
        return tuple(one for one in every if one.profile == self.profile)

    def saved_text(self) -> dict[str, str] | None:
        """The readings as columns, and what they share."""
        return columns_typed(self.readings) if self.readings else None

    @property
    def written(self) -> RecordForm[SectionReading]:
        """What is shared, with the first reading, on the way to a record."""
        first = next(iter(rows_of(self.text)), dict.fromkeys(COLUMNS, ""))
        shared = {name: self.text[name] for name in SHARED}
        return RecordForm(SectionReading, shared | first, self.fixed)

    def wrong(self) -> dict[str, str]:
        """What is wrong with a line, or with what all share."""
        made = self.written
        lines = faults_of_rows(self.text, {"quantity": made.value("quantity")})
        return lines | made.faults(SHARED)


class SectionScreen(TrialScreen):
    """One profile, typed line by line or pasted from a spreadsheet."""

    template = "section.html"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        profile = parts[3]
        self.heading = "New profile of a section" if profile == NEW else f"Profile {profile}"
        self.form = SectionForm(desk, self.place, self.code, profile)
        self.forms["section"] = self.form
        self.line = dict.fromkeys(COLUMNS, "")
        self.line_fault = ""
        self._told: set[str] = set()

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        form = self.form
        views = {view.name.partition(".")[2]: view for view in form.view()}
        made, text = form.written, form.text
        quantity = made.value("quantity")
        stress = quantity in STRESSES
        asked = ["moment", "quantity", *["element"] * (quantity == "element"), "method"]
        asked += [*["elastic_constants"] * stress, "measured_on", "measured_by"]
        spots = [one.spot for one in self.of_zone(Spot) if one.panel == text["panel"]]
        return {
            **super().values(), "form": form, "views": views, "asked": asked,
            "panels": [one.panel for one in self.of_zone(Panel)], "spots": spots,
            "rows": rows_of(text), "unit": unit_for(
                SectionReading, "value", {"quantity": quantity} if quantity else {}
            ),
            "columns": COLUMNS, "reports": self._reports(), "line": self.line,
            "line_fault": self.line_fault, "cautions": self.cautions(()),
            "picture": f"section-{self.mark}" if form.readings else "",
        }  # fmt: skip

    def _reports(self) -> list[Any]:
        """Files of the zone that may hold the laboratory's report."""
        return [
            link_to(self.desk.survey, one) for one in self.desk.survey.all(Attachment)
            if one.zone == self.code and one.kind in {"document", "instrument_file", "other"}
        ]  # fmt: skip

    def typed(self, name: str, value: str) -> None:
        """Keep what is typed, also into the line that is not finished."""
        if name.startswith("line."):
            self.line[name.removeprefix("line.")] = value
        else:
            super().typed(name, value)

    def do_line(self, event: Event) -> None:
        """Take one more reading: depth, value, and its standard error where one is given."""
        if self._again(event):
            return
        self.line = dict.fromkeys(COLUMNS, "")
        self._add(event.value, COLUMNS[0])
        self.desk.focus = "line.depth_um"

    def do_paste(self, event: Event) -> None:
        """Take rows of a spreadsheet into the columns from where they were pasted."""
        if not self._again(event):
            self._add(event.value, event.name.partition(".")[2])

    def _again(self, event: Event) -> bool:
        """Whether a page that lost the answer repeats an event."""
        told = bool(event.once) and event.once in self._told
        self._told.add(event.once)
        return told

    def _add(self, text: str, column: str) -> None:
        self.line_fault = ""
        try:
            for name, lines in with_rows(self.form.text, text, column).items():
                self.form.type(name, lines)
        except NotTakenError as why:
            self.line_fault = str(why)

    def take(self, file: GivenFile) -> None:
        """Keep the laboratory's report with the survey, and name it."""
        if file.use != "report":
            super().take(file)
            return
        if not self.may_keep_file():
            return
        if not file.path.stat().st_size:
            self.desk.refuse(f"{file.name} was not taken. The file is empty: copy it again.")
            return
        kept = self.same_file(file) or self.keep_file(
            file, "document", "laboratory", "laboratory's report"
        )
        self.form.type("file", kept.attachment)
        self._fill(kept.file, file.name)

    def _fill(self, kept_as: str, name: str) -> None:
        """Fill the columns from a stress file; any other report is only stored."""
        quantity, said = self.form.text["quantity"], f"The file {name} is kept with the survey."
        try:
            typed = typed_of(self.desk.survey, kept_as, quantity)
        except SurveyError as why:
            if quantity in STRESSES:
                said += " Its numbers were not taken."
                self.desk.refuse(said, *why.sentences)
            else:
                self.desk.say(said)
            return
        for field, text in typed.items():
            self.form.type(field, text)
        self.desk.say(f"{said} Its stresses are written below; look at them, then save.")

    def do_save(self, event: Event) -> None:
        """Keep all readings of the profile, and name on the panel what was measured."""
        form = self.form
        if not self.desk.knows_who() or not self.known() or not self.ready(form):
            return
        survey, old = self.desk.survey, form.readings
        profile = form.profile if old else profile_name(survey, self.code, form.text)
        made = form.written
        shared = {name: made.value(name) for name in SHARED}
        readings, gone = readings_of(survey, self.code, profile, shared, form.text, old)
        if self.desk.save(
            *readings, *self._named(readings[0]), what=f"profile {profile}", in_place_of=gone
        ):
            # The next profile of the same section was read alike, but says something else.
            form.saved(**({} if old else {name: form.text[name] for name in READ_ALIKE}))
            self.desk.go("zone", self.code, "below")

    def _named(self, one: SectionReading) -> list[Record]:
        """The panel that names what was measured on it; a control or harsher spot needs no name."""
        if one.moment == "control":
            return []
        measure = "stress_change" if one.quantity in STRESSES else "altered_layer"
        spot = next((spot for spot in self.of_zone(Spot) if spot.spot == one.spot), None)
        panels = [panel for panel in self.of_zone(Panel) if panel.panel == one.panel]
        return [
            panel.also_measured(measure) for panel in panels
            if measure not in panel.measures and not (spot and spot.harsher_than(panel))
        ]  # fmt: skip

    def picture(self, name: str) -> tuple[bytes, str]:
        """The profile with all others of its quantity."""
        readings = self.form.readings
        if not readings:
            raise LookupError(name)
        kind = readings[0].quantity, readings[0].element
        alike = [one for one in self.of_zone(SectionReading) if (one.quantity, one.element) == kind]
        return draw_section(alike).svg.encode(), "image/svg+xml"

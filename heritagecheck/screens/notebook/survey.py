"""Steps of the notebook on records: how they are saved, tried out on a practice copy."""

from __future__ import annotations

import shutil
import tempfile
import weakref
from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any, get_args

from heritagecheck.errors import SurveyError
from heritagecheck.evidence.colour.meter_readings import LIGHTS, readings_from
from heritagecheck.progress import Told
from heritagecheck.screens.notebook.begin import FINDINGS
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import Rows
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.sentences import count_of, day_in_words, ended, upper_first
from heritagecheck.survey.entry.codes import next_codes, next_name
from heritagecheck.survey.entry.offers import BY_METER, day_defaults
from heritagecheck.survey.entry.record_form import refusals
from heritagecheck.survey.entry.typed_values import read_typed
from heritagecheck.survey.instruments.meter_file import MeterFile
from heritagecheck.survey.records import Attachment, Reading, TileReading, Zone
from heritagecheck.survey.records.record import State
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.journal import kind_of, what_changed
from heritagecheck.survey.survey import Survey

WHO, COLLEAGUE = "conservator in practice", "colleague in practice"
LATEST = 200  # entries of a journal that are shown
NOT_SAID = {"": "not said yet"}
TARGETS = {"soiled": "soiled stone", "reference": "clean stone beside it"}
ENTRIES = {
    "when": "When (UTC)",
    "who": "Who",
    "record": "Record",
    "changed": "What",
    "reason": "Why",
}
NO_JOURNAL = (
    "This survey is a folder of tables, without a journal. Import it into a database first: "
    "heritagecheck import."
)


class Practice:
    """A copy of a survey to practise on; its folder goes with it."""

    def __init__(self, of: DatabaseSurvey) -> None:
        folder = Path(tempfile.mkdtemp(prefix="practice-"))
        weakref.finalize(self, shutil.rmtree, folder, ignore_errors=True)
        self.of = of
        self.survey = DatabaseSurvey(of.backup(folder / "practice.db"))


class SurveyWalk(Walk):
    """From the place of a survey to a meter's own file; only the practice copy is changed."""

    zone_of_example = "N12"

    def __init__(self) -> None:
        self._practice: Practice | None = None
        super().__init__()

    @step
    def kept(self, ask: Ask) -> Iterator[Any]:
        """Where the survey is stored, and who saved last."""
        survey = self._with_journal()
        if self.is_example:
            yield (
                "The example is kept in a temporary folder, and is deleted when the notebook is "
                "closed."
            )
        else:
            yield f"Kept in {survey.name}."
        who, when = survey.last_saved
        yield (
            f"Last saved by {who} on {day_in_words(date.fromisoformat(when[:10]))}."
            if who
            else "Nothing is saved in it yet."
        )

    @step
    def practise(self, ask: Ask) -> Iterator[Any]:
        """Make the copy to practise on; each further one begins again."""
        survey = self._with_journal()
        made = ask.work(
            "Make a practice copy", survey, lambda _: Practice(survey), "Copying the survey"
        )
        if made is not None and made is not self._practice:
            self._practice = made
            self.show_others("practise")
        if made is None:
            yield "There is no practice copy yet."
        else:
            yield "The practice copy is ready. It is deleted when this notebook is closed."

    @step
    def correct(self, ask: Ask) -> Iterator[Any]:
        """Change a record of the zone, and say why."""
        zone = self._zone()
        area = ask.number(f"Area of {zone.zone} [m²]", zone.area_m2)
        reason = ask.text("Why it is changed", "measured again")
        if ask.press("Save in the practice copy"):
            self._save(ask, "correct", [zone.changed(area_m2=area)], reason)
        yield f"In the practice copy, zone {zone.zone} has {self._zone().area_m2:g} m²."

    @step
    def journal(self, ask: Ask) -> Iterator[Any]:
        """Every change, the newest first."""
        survey = self._at_hand()
        every = survey.journal
        frame = every.tail(LATEST).iloc[::-1]
        yield f"{self._which()}: {count_of(len(every), 'entry', 'entries')}."
        if len(frame):
            frame["when"] = frame["when"].str.slice(0, 16).str.replace("T", " ")
            frame["record"] = frame["table"].map(kind_of) + " " + frame["key"]
            frame["changed"] = [
                what_changed(table, *(one if isinstance(one, str) else None for one in values))
                for table, *values in frame[["table", "old", "new"]].values.tolist()
            ]
            yield Rows(frame[[*ENTRIES, "entry"]], ENTRIES, "change", few=5)

    @step
    def intact(self, ask: Ask) -> Iterator[Any]:
        """Whether the journal is whole, and the records are what it says."""
        survey = self._at_hand()

        def look(_: Told) -> str:
            return ended(str(survey.verify()))

        about = survey.name, survey.journal_head
        said = ask.work("Check that it is intact", about, look, "Looking through every record")
        yield f"{self._which()}: {said or 'not checked yet.'}"

    @step
    def undo(self, ask: Ask) -> Iterator[Any]:
        """Take back what was saved last, or do it again."""
        copy = self._copy()
        acts = {"Undo your last save": copy.undo, "Do it again": copy.redo}
        for label, act in acts.items():
            if ask.press(label):
                try:
                    ask.say(ended(act(who=WHO)))
                except SurveyError as error:
                    ask.refuse("Nothing was changed.", *refusals(error))
                self.show_others("undo")
        yield f"In the practice copy, zone {self._zone().zone} has {self._zone().area_m2:g} m²."

    @step
    def together(self, ask: Ask) -> Iterator[Any]:
        """Two people save the same record: the second is shown both values."""
        copy, mine = self._copy(), self._zone()
        yield "A colleague saves a note on this zone. Then you save another, not knowing of it."
        if ask.press("Let both save"):
            with DatabaseSurvey(copy.name) as other:
                entries = len(other.journal)
                theirs = mine.changed(note=f"Damp below the joint (note {entries})")
                other.save(theirs, who=COLLEAGUE, reason="seen from the lift")
                self._save(ask, "together", [mine.changed(note="Dry everywhere")], "second visit")
                copy.refresh()

    @step
    def white_tile(self, ask: Ask) -> Iterator[Any]:
        """Which sessions of the meter can't be relied on, and what to read again."""
        survey = self.survey
        sessions = {one.session for one in survey.all(TileReading)}
        if not sessions:
            yield (
                "No white tile was read. Read it at the start of each session, during it and at "
                "its end."
            )
        else:
            unsteady = survey.unsteady_sessions
            yield (
                f"{count_of(len(sessions), 'session')} with a white tile; "
                f"{len(unsteady)} of them can’t be relied on."
            )
            for why in unsteady.values():
                yield ended(upper_first(why))
        found = self.findings[self.findings["table"] == "readings"]
        if len(found):
            yield Rows(found, FINDINGS, "finding", picks="zone")
        elif not survey.all(Reading):
            yield "There are no colour readings yet, so there is nothing to check."
        else:
            yield "Nothing is missing or odd in the colour readings."

    @step
    def meter(self, ask: Ask) -> Iterator[Any]:
        """Readings of the zone from the meter's own file."""
        files = {
            one.file: one.file
            for one in self.survey.all(Attachment)
            if one.kind == "instrument_file"
        }
        if not files:
            raise NotYetError(
                "No file of a colour meter is kept with this survey. "
                "Give one on the page of a zone, under Colour."
            )
        survey = self._with_journal()
        name = ask.choice("File", files)
        file = survey.meter_file(name)
        yield f"{file}."
        yield from _says(file)
        copy, zone = self._copy(), self._zone()
        told = _told(ask, file, copy)
        if "" in told.values():
            raise NotYetError("Say what the file does not say. Nothing is assumed.")
        if ask.press("Save in the practice copy"):
            attachment = next(one.attachment for one in copy.all(Attachment) if one.file == name)
            self._save(ask, "meter", _readings(copy, zone, file, told, attachment), "meter file")
        number = len(copy.of_zone(zone.zone, Reading))
        yield f"In the practice copy, zone {zone.zone} has {count_of(number, 'reading')}."

    def _with_journal(self) -> DatabaseSurvey:
        """The survey, where it is a database."""
        if not isinstance(self.survey, DatabaseSurvey):
            raise NotYetError(NO_JOURNAL)
        return self.survey

    def _practised(self) -> DatabaseSurvey | None:
        """The practice copy of this very survey."""
        made = self._practice
        return made.survey if made is not None and made.of is self.survey else None

    def _copy(self) -> DatabaseSurvey:
        """The practice copy; nothing is saved anywhere else."""
        copy = self._practised()
        if copy is None:
            raise NotYetError("Make a practice copy first, at the top of this notebook.")
        return copy

    def _at_hand(self) -> DatabaseSurvey:
        """The practice copy once there is one; the survey itself is only read."""
        return self._practised() or self._with_journal()

    def _which(self) -> str:
        """What is looked at, to begin a sentence with."""
        return "Practice copy" if self._practised() else "This survey"

    def _zone(self) -> Zone:
        """The zone as the practice copy has it."""
        code = self.zone_record.zone
        return next(one for one in self._copy().all(Zone) if one.zone == code)

    def _save(self, ask: Ask, name: str, records: Any, reason: str) -> None:
        """Save in the practice copy, and say what came of it."""
        try:
            self._copy().save(*records, who=WHO, reason=reason)
            ask.say("Saved in the practice copy.")
        except SurveyError as error:
            ask.refuse("Nothing was saved.", *refusals(error))
        self.show_others(name)


def _says(file: MeterFile) -> Iterator[str]:
    """What a meter's file says of its measurements, and what it leaves open."""
    lights = {
        f"{one.illuminant or '?'}/{one.observer_deg or '?'}"
        for measured in file.measured for one in measured.colours
    }  # fmt: skip
    spectra = any(one.reflectance for one in file.measured)
    said = {
        "colour": "as spectra, from which L*, a*, b* follow for any light" if spectra else "",
        "light": ", ".join(sorted(lights)),
        "geometry": _words({one.geometry for one in file.measured}),
        "aperture": _words({one.aperture_mm for one in file.measured}),
        "day": _words({one.measured_on for one in file.measured}),
    }
    yield "It says: " + "; ".join(f"{name} {words}" for name, words in said.items() if words) + "."
    if silent := [name for name in ("geometry", "aperture", "day") if not said[name]]:
        yield f"It does not say: {', '.join(silent)}."


def _words(values: set[Any]) -> str:
    """What all measurements say; nothing where one of them does not."""
    return "" if None in values else ", ".join(sorted(map(str, values)))


def _told(ask: Ask, file: MeterFile, survey: Survey) -> dict[str, str]:
    """What a person says of a file's readings; of the meter what the last readings had."""
    offers = {name: str(one.value) for name, one in day_defaults(survey, WHO).items()}
    offers |= {"read_on": ""}
    measured = file.measured
    told = {
        "target": ask.choice("Stone that was read", NOT_SAID | TARGETS),
        "state": ask.choice("Wet or dry", NOT_SAID | {one: one for one in get_args(State)}),
        "instrument": ask.text("Meter", offers.get("instrument", "")),
        "illuminant": ask.choice(
            "Light", NOT_SAID | {one: one for one in LIGHTS}, offers.get("illuminant", "")
        ),
    }
    if any(one.geometry is None for one in measured):
        known = {one: one for one in sorted(BY_METER)}
        told["geometry"] = ask.choice("Geometry", NOT_SAID | known, offers.get("geometry", ""))
    if any(one.aperture_mm is None for one in measured):
        told["aperture_mm"] = ask.text("Aperture [mm]", offers.get("aperture_mm", ""))
    if any(one.measured_on is None for one in measured):
        told["read_on"] = ask.text("Day, such as 2026-09-11")
    return told


def _readings(
    survey: Survey, zone: Zone, file: MeterFile, told: Mapping[str, str], attachment: str
) -> list[Reading]:
    """Records of the file's measurements, with what a person said of them."""
    given: dict[str, Any] = {
        name: read_typed(Reading, name, words) if name in {"aperture_mm", "read_on"} else words
        for name, words in told.items()
    }
    target = told["target"]
    name = next_name(survey, "readings", "set_name", f"{zone.zone}-{target}")
    found = readings_from(
        file, zone=zone.zone, set_name=name, read_by=WHO, file=attachment, **given
    )
    codes = next_codes(survey, "readings", len(found), zone=zone.zone, target=target)
    return [one.changed(reading=code) for one, code in zip(found, codes, strict=True)]

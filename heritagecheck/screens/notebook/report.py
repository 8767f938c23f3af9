"""Steps of the notebook of the report: what goes in, what each reader gets, and the files."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from heritagecheck import __version__
from heritagecheck.documents.contents import short_name
from heritagecheck.documents.report import write_report
from heritagecheck.documents.zone_sheet import contractor_sheet
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.decisions import no_work
from heritagecheck.judgement.recommendation import OUTCOMES
from heritagecheck.progress import Told
from heritagecheck.screens.links import address_of
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import Rows
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.sentences import FOR_APPROVAL, count_of, day_in_words, ended, joined, upper_first
from heritagecheck.survey.records import Elevation

FOLDER = "report"
FEW, ALL = "few", "all"
WHAT = {
    "report.html": "the report for the screen, which opens in any browser",
    "report.pdf": "the same for paper",
    "report-records.pdf": "trials, records, words and sources, also attached to report.pdf",
}


@dataclass(frozen=True, slots=True)
class Files:
    """Files of a report, each a link that opens it where a server gives it."""

    paths: tuple[Path, ...]

    def __str__(self) -> str:
        """Name them."""
        return f"In the folder {FOLDER}: {joined((path.name for path in self.paths), ', ')}."

    def _repr_html_(self) -> str:
        lines = "".join(f"<li>{_link(path)}</li>" for path in self.paths)
        return f'<div class="hc-screen part"><ul class="files">{lines}</ul></div>'


def _link(path: Path) -> str:
    """Link to a file, and what it is."""
    name, address = escape(path.name), address_of(path)
    about = f": {WHAT[path.name]}" if path.name in WHAT else ""
    if not address:
        return f"{name}{about}"
    return f'<a href="{escape(address)}" target="_blank">Open {name}</a>{about}'


class ReportWalk(Walk):
    """From what is written down to the files that are handed over."""

    zone_of_example = "N09"

    @step
    def outcomes(self, ask: Ask) -> Iterator[Any]:
        """How many zones have which outcome, and what to look at before it is written down."""
        yield ended(str(self.assessment))
        yield FOR_APPROVAL
        points = self.survey.check()
        if points.empty:
            raise NotYetError(
                "Nothing is missing or odd. This does not say that the records are right."
            )
        yield f"{count_of(len(points), 'point')} to look at again before the report is written:"
        columns = {"zone": "Zone", "what": "What", "what_to_do": "What to do"}
        yield Rows(points, columns, "point", picks="zone", few=6)

    @step
    def conditions(self, ask: Ask) -> Iterator[Any]:
        """The conditions that an approver copies, and the zone with its cautions."""
        if decided := no_work(self.assessment, self.zone_code):
            yield f"There are no conditions to copy. {ended(decided)}"
            yield self.zone
            return
        if not self.zone.conditions:
            yield f"The gates of {self.zone_code} set no condition: {self.zone.outcome}."
        for one in self.zone.conditions:
            yield ended(upper_first(one))
        yield self.zone

    @step
    def contractor(self, ask: Ask) -> Iterator[Any]:
        """What whoever does the work gets."""
        box = contractor_sheet(self.assessment, self.zone_code)
        if decided := no_work(self.assessment, self.zone_code):
            raise NotYetError(f"There is no box for a contractor. {ended(decided)}")
        if box is None:
            raise NotYetError(
                f"There is no box for a contractor: no work is planned on {self.zone_code} "
                f"({self.zone.outcome})."
            )
        yield box

    @step
    def write(self, ask: Ask) -> Iterator[Any]:
        """The files, with a link to each."""
        found = self.assessment.recommendations
        few = dict.fromkeys(
            next((one.zone for one in found if one.outcome == outcome), "") for outcome in OUTCOMES
        )
        zones = {FEW: [code for code in few if code], ALL: [one.zone for one in found]}
        names = {
            FEW: f"one zone of each outcome ({joined(zones[FEW], ', ')})",
            ALL: f"all {count_of(len(found), 'zone')}" if len(found) > 1 else "the zone",
        }
        for elevation in self.survey.all(Elevation):
            code = f"of {elevation.elevation}"
            zones[code] = [
                one.zone for one in found if one.evidence.zone.elevation == elevation.elevation
            ]
            if zones[code]:
                names[code] = short_name(elevation, self.name)
        chosen = ask.choice("What goes in", names, FEW)
        survey = self.survey.still()

        def work(told: Told) -> tuple[Path, ...]:
            part = self.assessment if chosen == ALL else assess(survey, zones=zones[chosen])
            return write_report(part, FOLDER, progress=told)

        files = ask.work("Write the report", (self.survey, chosen), work, "Writing the report")
        if files is None:
            raise NotYetError("Nothing is written before the button is pressed.")
        yield f"Written into the folder {FOLDER} beside this notebook."
        yield Files(files)

    @step
    def made_from(self, ask: Ask) -> Iterator[Any]:
        """What two people compare who hold the same report."""
        closed = self.survey.closed_on
        state = f"survey closed on {day_in_words(closed)}" if closed else "survey still open"
        yield f"heritagecheck {__version__}, seed {self.assessment.seed}, {state}."

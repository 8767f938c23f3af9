"""Steps of the first notebook: what the survey holds, what is missing, and how it is answered."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from heritagecheck.cards import table
from heritagecheck.documents.page_templates import drawing_fault
from heritagecheck.figures.zone_location import draw_detail, draw_locator
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import Beside, Rows
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.sentences import count_of, day_in_words, ended, upper_first
from heritagecheck.survey.records import Observation, SiteTest, Structure
from heritagecheck.survey.records.zone_facts import open_questions
from heritagecheck.tables.row_types import Substrate, Topic

ALL, HERE = "all", "here"
COUNTS = {"table": "Table", "count": "How many"}
ZONES = {
    "zone": "Zone",
    "name": "What it is",
    "substrate": "Substrate",
    "significance": "Significance",
    "significance_reason": "Why it matters",
}
TERMS = ("finish", "condition", "exposure", "access", "significance", "soilings")
ANSWERS = {
    "question": "Question",
    "finding": "Answer",
    "not_recorded_because": "Why there is none",
    "seen_on": "Seen on",
    "seen_by": "Seen by",
}
FINDINGS = {"zone": "Zone", "what": "What is missing or odd", "what_to_do": "What to do"}
REASONS = {"zone": "Zone", "what": "Not measured", "why": "Why"}


class BeginWalk(Walk):
    """From what a survey holds to its first answers."""

    @step
    def holds(self, ask: Ask) -> Iterator[Any]:
        """What the survey holds, and its purpose."""
        for one in self.survey.all(Structure):
            yield f"Question: {ended(one.asked or 'not recorded yet')}"
            closed = "It is still open"
            if one.survey_date:
                closed = f"Closed on {day_in_words(one.survey_date)}"
            yield f"Surveyed by: {one.surveyed_by or 'not recorded yet'}. {closed}."
        if not self.survey.all(Structure):
            yield "The structure has no name yet. Give it one on the start page of the survey."
        counts = [(name, len(records)) for name, records in self.survey.records.items()]
        frame = table(counts, ("table", "count"))
        yield Rows(frame, COUNTS, "table", few=len(frame), terms=("table",))

    @step
    def list(self, ask: Ask) -> Iterator[Any]:
        """Every zone as it was recorded; a press on a code chooses it."""
        chosen = self.zone_record
        yield f"Chosen: {chosen.zone}, {chosen.name}."
        frame = self.survey.zones
        frame["substrate"] = [Substrate.named(one).name for one in frame["substrate"]]
        yield Rows(frame, ZONES, "zone", picks="zone", few=8, terms=TERMS)

    @step
    def where(self, ask: Ask) -> Iterator[Any]:
        """The zone on its elevation, and the drawing around it."""
        zone = self.zone_record
        if fault := drawing_fault(self.survey, zone.elevation):
            raise NotYetError(
                f"{ended(upper_first(fault))} Choose or draw it on the page of its elevation."
            )
        whole = draw_locator(self.survey, zone.zone)
        part = draw_detail(self.survey, zone.zone)
        if whole is None or part is None:
            raise NotYetError(
                f"Zone {zone.zone} is not drawn on its elevation yet. "
                "Draw its outline on the page of the elevation."
            )
        yield Beside((whole, part))

    @step
    def answers(self, ask: Ask) -> Iterator[Any]:
        """Answers given at the wall, and how many are still missing."""
        zone = self.zone_record
        given = self.survey.of_zone(zone.zone, Observation)
        tests = self.survey.of_zone(zone.zone, SiteTest)
        missing = open_questions(zone, given, tests)
        yield f"{count_of(len(given), 'answer')} on zone {zone.zone}."
        if missing:
            yield (
                f"{count_of(len(missing), 'question')} without an answer or a reason for none. "
                "The list of what is missing names each, and what to look at."
            )
        if given:
            frame = table(
                [(Topic.named(one.topic).question, *one.model_dump().values()) for one in given],
                ("question", *Observation.model_fields),
            )
            yield Rows(frame, ANSWERS, "answer", few=8, terms=("topic", "finding"))

    @step
    def missing(self, ask: Ask) -> Iterator[Any]:
        """What is incomplete or odd, and what to do about it."""
        found = self.findings
        if self.zone_code:
            shown = {ALL: "the whole survey", HERE: f"zone {self.zone_code} only"}
            if ask.choice("Show", shown) == HERE:
                found = found[found["zone"] == self.zone_code]
        if found.empty:
            yield "Nothing is missing or odd. This does not say that the records are right."
        else:
            yield Rows(found, FINDINGS, "finding", picks="zone", few=8)

    @step
    def not_measured(self, ask: Ask) -> Iterator[Any]:
        """What nobody could measure, and why."""
        found = self.survey.not_measured()
        if found.empty:
            yield (
                "No reason is recorded why something was not measured. This does not say that all "
                "was measured: the list of what is missing says what was not."
            )
        else:
            yield Rows(found, REASONS, "reason", picks="zone", few=8, terms=("what",))

    @step
    def outcomes(self, ask: Ask) -> Iterator[Any]:
        """How many zones have which outcome, and which they are."""
        yield self.assessment

    @step
    def first_answer(self, ask: Ask) -> Iterator[Any]:
        """The answer for the zone, with its cautions."""
        yield self.zone

"""The current answers of all zones, what to look at again, and the report."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from heritagecheck.documents.report import write_report
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment
from heritagecheck.progress import Told
from heritagecheck.screens.app import Desk, Screen
from heritagecheck.screens.links import notebook_links
from heritagecheck.screens.live_page import Event
from heritagecheck.sentences import FOR_APPROVAL
from heritagecheck.survey.records import AgreedPolicy, Zone
from heritagecheck.tables.cautions import WITH_CAUTIONS

FOLDER = "report"


class AnswersScreen(Screen):
    """Outcome by outcome, with the zones of each; then the report for those who approve."""

    template = "answers.html"
    title = "Answers and report"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.assessment: Assessment | None = None
        self.of = ""
        self.written: tuple[str, ...] = ()

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        survey = self.desk.survey
        found = self.assessment
        return {
            "zones": survey.all(Zone),
            "notebooks": notebook_links(survey.name),
            "agreed": bool(survey.all(AgreedPolicy)),
            "outcomes": [
                (outcome, [one for one in found.recommendations if one.outcome == outcome])
                for outcome in OUTCOMES
            ]
            if found
            else [],
            "stale": bool(found) and self.of != survey.journal_head,
            "findings": survey.check().head(12).to_dict("records") if found else [],
            "for_approval": FOR_APPROVAL,
            "with_cautions": WITH_CAUTIONS,
            "written": self.written,
        }

    def do_assess(self, event: Event) -> None:
        """Ask for the answers of all zones."""
        survey, self.of = self.desk.survey.still(), self.desk.survey.journal_head
        self.desk.later(
            "Working out the answers", lambda told: assess(survey, progress=told), self._has
        )

    def _has(self, found: Assessment) -> None:
        self.assessment = found
        self.desk.say("The answers below are those of the records as they are saved now.")

    def do_report(self, event: Event) -> None:
        """Write the report next to the survey."""
        place = Path(self.desk.survey.name).parent
        if "://" in self.desk.survey.name:
            self.desk.refuse(
                "The survey is on a server. Write the report with heritagecheck report."
            )
            return
        survey = self.desk.survey.still()

        def work(told: Told) -> tuple[Path, ...]:
            return write_report(assess(survey), place / FOLDER, progress=told)

        self.desk.later("Writing the report", work, self._wrote)

    def _wrote(self, files: tuple[Path, ...]) -> None:
        self.written = tuple(f"{FOLDER}/{path.name}" for path in files)
        self.desk.say(f"The report is in the folder {FOLDER} beside the survey.")

"""The start page: who is at work, the steps of a survey, and its first screen, the structure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from heritagecheck.screens.app import Desk, Screen
from heritagecheck.screens.form import Form, FormScreen
from heritagecheck.screens.links import notebook_links
from heritagecheck.screens.live_page import Event
from heritagecheck.sentences import FOR_APPROVAL, count_of, day_in_words
from heritagecheck.survey.entry.zone_progress import progress_sentence, zone_progress
from heritagecheck.survey.records import AgreedPolicy, Elevation, Structure, View, Zone
from heritagecheck.survey.records.record import Record
from heritagecheck.tables.row_types import CautionRow

# Said before anybody goes to the wall, whatever the method: air, height, loose pieces, stop.
ON_SITE = ("CA09", "CA13", "CA42", "CA20")
FIELDS = ("structure", "asked", "significance", "surveyed_by", "survey_date", "call_first")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a survey: where it leads, whether it is done, and how far it has come."""

    route: str
    name: str
    done: bool
    words: str


class StartScreen(Screen):
    """The start page."""

    template = "start.html"
    title = "Your survey"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.role = desk.who

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        steps = _steps(self.desk)
        return {
            "role": self.role,
            "steps": steps,
            "notebooks": notebook_links(self.desk.survey.name),
            "next": next((step for step in steps if not step.done), steps[-1]),
            "for_approval": FOR_APPROVAL,
            "cautions": [CautionRow.named(code) for code in ON_SITE],
            "saves": bool(self.desk.survey.journal_head.strip("0")),
        }

    def typed(self, name: str, value: str) -> None:
        """Keep the role that is typed."""
        self.role = value

    def do_begin(self, event: Event) -> None:
        """Take the role under which everything is saved."""
        self.desk.begin(self.role)

    def do_change_role(self, event: Event) -> None:
        """Let somebody else take over."""
        self.role, self.desk.who = self.desk.who, ""

    def do_undo_save(self, event: Event) -> None:
        """Undo one's own last save."""
        self.desk.undo()

    def do_redo_save(self, event: Event) -> None:
        """Redo it."""
        self.desk.redo()


def _steps(desk: Desk) -> list[Step]:
    """The steps in the order of work."""
    survey = desk.survey
    named = next(iter(survey.all(Structure)), None)
    elevations, zones = survey.all(Elevation), survey.all(Zone)
    agreed = next(iter(survey.all(AgreedPolicy)), None)
    members = len({view.member for view in survey.all(View)})
    weights = f"weights of {count_of(members, 'member')}" if members else "equal weights"
    progress = zone_progress(survey)
    return [
        Step(
            "structure", "The structure", bool(named),
            named.structure if named else "not yet named",
        ),
        Step(
            "elevations", "Elevations", bool(elevations),
            "; ".join(one.name for one in elevations) or "none yet: each needs only a name",
        ),
        Step(
            "policy", "What the team agrees", bool(agreed),
            f"agreed on {day_in_words(agreed.agreed_on)}, {weights}" if agreed
            else "values are offered; agree before the first answer is seen",
        ),
        Step(
            "zones", "Zones", bool(zones) and all(one.state == "recorded" for one in progress),
            progress_sentence(progress) if zones else "none yet",
        ),
        Step(
            "answers", "Answers and report", False,
            "clean, trial first, leave and monitor, or leave",
        ),
    ]  # fmt: skip


class StructureScreen(FormScreen):
    """The structure surveyed."""

    template = "structure.html"
    title = "The structure"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.kept: Record | None = next(iter(desk.survey.all(Structure)), None)
        self.forms["structure"] = Form(
            desk, "structure", "structure", Structure, FIELDS,
            begun=self.kept or {"surveyed_by": desk.who},
        )  # fmt: skip

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        return {"form": self.forms["structure"]}

    def do_save(self, event: Event) -> None:
        """Keep the structure."""
        form = self.forms["structure"]
        gone = [self.kept] if self.kept else []
        if not self.ready(form):
            return
        record = form.written.record()
        if self.desk.save(record, what="the structure", in_place_of=gone):
            self.kept = record
            form.saved()
            self.desk.go("")

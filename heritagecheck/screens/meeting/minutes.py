"""The minutes: written in one step, as PDF and CSV; and forms for paper, if the power fails."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

from heritagecheck.documents.minutes import write_forms, write_minutes
from heritagecheck.screens.app import Desk
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.seat import RoomScreen, Seat
from heritagecheck.survey.records import Decision, OpenQuestion

FOLDER = "minutes"


class MinutesScreen(RoomScreen):
    """What the meeting decided so far; the minutes; the end of the meeting."""

    template = "meeting_minutes.html"
    title = "Minutes"
    nav: ClassVar[str] = "Minutes"

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts, seat=seat)
        self.written: tuple[str, ...] = ()
        self.over = False

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        code = self.room.state.meeting
        survey = self.desk.survey
        return {
            "decisions": [one for one in survey.all(Decision) if one.meeting == code],
            "questions": [one for one in survey.all(OpenQuestion) if one.meeting == code],
            "written": self.written, "over": self.over, "plan": self.room.state.agenda,
        }  # fmt: skip

    def do_minutes(self, event: Event) -> None:
        """Write the minutes beside the survey."""
        survey, code = self.desk.survey.still(), self.room.state.meeting
        folder = self._folder()
        self.desk.later(
            "Writing the minutes", lambda _: write_minutes(survey, code, folder), self._wrote
        )

    def do_forms(self, event: Event) -> None:
        """Write forms for paper: the zones of the plan, or the zone in hand."""
        zones = self.room.state.agenda or tuple(filter(None, (self.room.state.zone,)))
        if not zones:
            raise ValueError("Plan some zones first, or take one up.")
        survey, code = self.desk.survey.still(), self.room.state.meeting
        path = self._folder() / f"{code}-forms.pdf"
        members = self.room.members
        self.desk.later(
            "Writing the forms",
            lambda _: (write_forms(survey, zones, path, members=members),), self._wrote,
        )  # fmt: skip

    def do_end(self, event: Event) -> None:
        """End the meeting."""
        self.room.end()
        self.over = True
        self.desk.say("The meeting is over. Stop the program with Ctrl-C.")

    def _folder(self) -> Path:
        """Folder beside the survey."""
        if "://" in self.desk.survey.name:
            return Path.cwd() / FOLDER
        return Path(self.desk.survey.name).parent / FOLDER

    def _wrote(self, files: tuple[Path, ...]) -> None:
        self.written = tuple(f"{FOLDER}/{path.name}" for path in files)
        self.desk.say(f"Written into the folder {FOLDER} beside the survey.")

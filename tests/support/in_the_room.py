"""A meeting of some devices, held by one program without any server or browser."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.room_app import RoomApp
from heritagecheck.screens.meeting.seat import AnswersInHand
from heritagecheck.survey.meeting.room import Room
from heritagecheck.survey.store.database_survey import DatabaseSurvey

ADDRESSES = {"plain": "http://127.0.0.1:8899/", "name": "code", "code": "<svg/>"}


class InTheRoom:
    """A meeting of some devices, as one program holds it."""

    def __init__(self, place: Path | str) -> None:
        self.room = Room(DatabaseSurvey(place), date(2026, 5, 4))
        self.answers = AnswersInHand(self.room.survey)
        self.leads = RoomApp(self.room, self.answers, self.room.facilitator_key(), "", ADDRESSES)

    def device(self, role: str = "", kind: str = "member") -> RoomApp:
        """A device on which somebody joined, or nobody yet."""
        app = RoomApp(self.room, self.answers, "", "", ADDRESSES)
        if role:
            app.hear(Event("type", name="role", value=role, route=app.route))
            app.hear(Event("type", name="word", value=self.room.state.join, route=app.route))
            app.hear(Event("join", arg=kind, route=app.route))
        return app


def press(app: RoomApp, do: str, arg: str = "") -> str:
    """Press something; give what was said."""
    app.hear(Event(do, arg=arg, route=app.route))
    return " ".join((app.desk.said, *app.desk.faults))


def fill(app: RoomApp, name: str, value: str) -> None:
    """Type into a field."""
    app.hear(Event("type", name=name, value=value, route=app.route))


def answer(app: RoomApp, outcome: str, why: str = "", veto: str = "", zone: str = "Z1") -> str:
    """Give a private answer for a zone."""
    press(app, "choose", f"answer.{zone}.outcome={outcome}")
    fill(app, f"answer.{zone}.why", why)
    if veto:
        press(app, "choose", f"answer.{zone}.veto={veto}")
    return press(app, "answer", zone)

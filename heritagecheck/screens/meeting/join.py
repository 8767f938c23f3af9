"""Joining a meeting: what it is and is not, the join word, the role."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from heritagecheck.documents.minutes import WHAT_IT_IS_NOT
from heritagecheck.screens.app import Desk
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.seat import RoomScreen, Seat
from heritagecheck.sentences import FOR_APPROVAL
from heritagecheck.survey.meeting.privacy import MEMBER, READER, Kind
from heritagecheck.survey.records import Structure
from heritagecheck.tables.cautions import ALWAYS, of_outcome

# What is said before every meeting.
BEFORE_THE_MEETING = (*WHAT_IT_IS_NOT, of_outcome(ALWAYS).words, FOR_APPROVAL)
PRIVACY = (
    "Your answers stay private until the facilitator shows all of them.",
    "Whoever runs this computer can read them before that.",
    "What goes over the local network is not encrypted.",
    "Write roles, not names, in what you record.",
)


class JoinScreen(RoomScreen):
    """The first screen of a device: nothing of the survey is on it but the structure's name."""

    template = "meeting_join.html"
    title = "Join the meeting"

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts, seat=seat)
        self.fields = {"word": "", "role": ""}
        self.let_in = False

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        named = self.desk.survey.all(Structure) if self.let_in else ()
        return {
            "fields": self.fields,
            "let_in": self.let_in,
            "structure": named[0].structure if named else "",
            "cautions": BEFORE_THE_MEETING,
            "privacy": PRIVACY,
        }

    def typed(self, name: str, value: str) -> None:
        """Keep what is typed, until somebody has joined."""
        if name in self.fields:
            self.fields[name] = value

    def do_knock(self, event: Event) -> None:
        """Try the join word."""
        self.let_in = self.room.right_word(event.value or self.fields["word"])
        if not self.let_in:
            self.desk.refuse("This is not the join word. Look at the wall, or ask for it.")

    def do_join(self, event: Event) -> None:
        """Take part as a member, or as a reader."""
        if not self.let_in:
            self.do_knock(event)
        if self.let_in:
            kind: Kind = MEMBER if event.arg == MEMBER else READER
            _, key = self.room.join(self.fields["role"], kind)
            self.seat.take_key(key)

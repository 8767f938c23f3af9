"""What one device in the room shows: joining, then the screens of its person and no other's."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from heritagecheck.screens.app import App, Desk, ScreenOf, templates
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.leading import CutScreen, LeadScreen, TableScreen
from heritagecheck.screens.meeting.results import AgreementScreen, FacadeScreen, MinutesScreen
from heritagecheck.screens.meeting.seat import (
    BEFORE_THE_MEETING,
    PRIVACY,
    AnswersInHand,
    RoomScreen,
    Seat,
)
from heritagecheck.screens.meeting.weights import WeightsScreen
from heritagecheck.screens.meeting.zone_in_hand import MemberZone, WallScreen, ZoneInHandScreen
from heritagecheck.survey.meeting.privacy import FACILITATOR, MEMBER, READER, Kind, Person
from heritagecheck.survey.meeting.room import Room
from heritagecheck.survey.records import Structure

NOBODY = Person(role="", kind=READER)
# Fields a page could send about its user; in the room only the key identifies a person.
NOT_HERE = frozenset({"who", "i_am", "open", "file"})


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


def screens_of(person: Person) -> Mapping[str, type[RoomScreen]]:
    """First word of a route to its screen, for one person."""
    if not person.role:
        return {"": JoinScreen}
    if person.kind == FACILITATOR:
        return {
            "": TableScreen, "zone": LeadScreen, "facade": FacadeScreen,
            "agreement": AgreementScreen, "minutes": MinutesScreen, "wall": WallScreen,
            "cut": CutScreen,
        }  # fmt: skip
    if person.kind == MEMBER:
        return {
            "": MemberZone, "weights": WeightsScreen, "facade": FacadeScreen,
            "agreement": AgreementScreen, "wall": WallScreen,
        }  # fmt: skip
    return {
        "": ZoneInHandScreen, "facade": FacadeScreen, "agreement": AgreementScreen,
        "wall": WallScreen,
    }  # fmt: skip


class RoomApp(App):
    """
    The page of one device: its key says who holds it, whatever the page itself sends.

    Parameters
    ----------
    room : Room
        The meeting.
    answers : AnswersInHand
        The answers, shared by all devices.
    key : str
        Key stored by the browser; empty if nobody joined on it yet.
    route : str
        Screen on which it was.
    addresses : mapping of str to str
        How others join, for the wall.
    """

    def __init__(
        self, room: Room, answers: AnswersInHand, key: str, route: str,
        addresses: Mapping[str, str],
    ) -> None:  # fmt: skip
        super().__init__(room.survey, {}, route)
        self.room, self._answers, self.key = room, answers, key
        self._addresses = addresses
        self.tell_key: Callable[[str], None] = lambda _: None
        self._person = NOBODY
        self._look_who()

    def _look_who(self) -> None:
        """Show the screens of whoever has the key now."""
        person = self.room.person_of(self.key) or NOBODY
        if person != self._person or not self._screens:
            seat = Seat(self.room, self._answers, person, self.take_key, self._addresses)
            self._person, self._kept = person, {}
            self._screens: Mapping[str, ScreenOf] = {
                word: partial(screen, seat=seat) for word, screen in screens_of(person).items()
            }
            self.desk.who = person.role

    def take_key(self, key: str) -> None:
        """Let the browser keep a key, or forget it."""
        self.key = key
        self.tell_key(key)
        self._look_who()

    @property
    def who(self) -> str:
        """Role of the person."""
        return self._person.role

    def hear(self, event: Event) -> None:
        """Handle an event, if the holder of the key may do so."""
        self._look_who()
        if event.do not in NOT_HERE:
            super().hear(event)

    def html(self) -> str:
        """The whole page of this person."""
        self._look_who()
        shown: dict[str, Any] = {"title": "This page can’t be shown", "inner": "", "nav": ()}
        self.desk.guarded(lambda: shown.update(self._shown()))
        return (
            templates()
            .get_template("room_frame.html")
            .render(
                shown, desk=self.desk, room=self.room, person=self._person,
                leads=self._person.kind == FACILITATOR, route=self.route,
            )
        )  # fmt: skip

    def _shown(self) -> dict[str, Any]:
        """Heading and work of the screen of the route."""
        self.desk.survey.refresh()
        screen = self.screen
        inner = (
            templates()
            .get_template(screen.template)
            .render(desk=self.desk, room=self.room, screen=screen, **screen.values())
        )
        nav = [
            (word, made.func.nav)  # type: ignore[attr-defined]
            for word, made in self._screens.items() if made.func.nav  # type: ignore[attr-defined]
        ]  # fmt: skip
        return {"title": screen.title, "inner": inner, "nav": nav}

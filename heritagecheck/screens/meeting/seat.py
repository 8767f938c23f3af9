"""What the screens of a meeting share: the room, the answers, the person, and what is typed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import ClassVar

from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.judgement.weights_at_stake import ZoneAtStake, weights_at_stake
from heritagecheck.screens.app import Desk, Screen
from heritagecheck.screens.meeting.facts_in_hand import FactsInHand
from heritagecheck.survey.meeting.privacy import Person
from heritagecheck.survey.meeting.room import Room
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.team import OF_MEETINGS
from heritagecheck.survey.survey import Survey


class AnswersInHand:
    """
    The answers of all zones, worked out once for the whole room, and anew where evidence changed.

    Parameters
    ----------
    survey : Survey
        The survey of the room.
    """

    def __init__(self, survey: Survey) -> None:
        self.facts = FactsInHand()
        self._survey = survey
        self._of: tuple[object, ...] = ()
        self._whole: Assessment | None = None
        self._single: dict[str, Assessment] = {}
        self._stake: tuple[Recommendation, ZoneAtStake] | None = None

    def _evidence(self) -> tuple[object, ...]:
        """All tables on which an answer rests; those that did not change are the same objects."""
        records = self._survey.still().records
        return tuple(records[name] for name, kind in TABLES.items() if kind not in OF_MEETINGS)

    def _fresh(self) -> bool:
        now = self._evidence()
        same = len(now) == len(self._of) and all(
            one is other for one, other in zip(now, self._of, strict=True)
        )
        if not same:
            self._of, self._single = now, {}
        return same

    def evidence_now(self) -> Survey:
        """The survey as it is at this moment, of which all answers are to be worked out."""
        self._fresh()
        return self._survey.still()

    def keep(self, whole: Assessment) -> None:
        """Take the answers of all zones, worked out of what `evidence_now` gave."""
        self._whole, self._single = whole, {}

    @property
    def whole(self) -> Assessment | None:
        """The answers of all zones, where nothing changed since they were worked out."""
        if not self._fresh():
            self._whole = None
        return self._whole

    def assessment_of(self, zone: str) -> Assessment:
        """An assessment that holds one zone, as the records are now."""
        whole = self.whole
        if whole is not None:
            return whole
        if zone not in self._single:
            self._single[zone] = assess(self._survey.still(), zones=[zone])
        return self._single[zone]

    def of_zone(self, zone: str) -> Recommendation:
        """What is recommended for one zone, as the records are now."""
        return self.assessment_of(zone).zone(zone)

    def at_stake(self, zone: str) -> ZoneAtStake:
        """Which weights would change the answer of one zone; kept until that answer is another."""
        answer = self.of_zone(zone)
        if self._stake is None or self._stake[0] is not answer:
            [found] = weights_at_stake(self.assessment_of(zone), zones=[zone])
            self._stake = answer, found
        return self._stake[1]


@dataclass(frozen=True, slots=True)
class Seat:
    """What every screen of a device has at hand."""

    room: Room
    answers: AnswersInHand
    person: Person
    take_key: Callable[[str], None]
    addresses: Mapping[str, str]


class RoomScreen(Screen):
    """A screen of the room; what is typed on it is kept for its person alone."""

    nav: ClassVar[str] = ""

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts)
        self.seat = seat
        self.room, self.person = seat.room, seat.person
        self.role = seat.person.role

    def typed(self, name: str, value: str) -> None:
        """Keep what is typed, on the disk, for this person."""
        self.room.type(self.role, name, value)

    def text(self, name: str) -> str:
        """What this person typed into a field."""
        return self.room.typed(self.role).get(name, "")

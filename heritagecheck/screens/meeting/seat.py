"""What the screens of a meeting share: the room, facts and answers, the person, what is typed."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from heritagecheck.documents.contents import short_name
from heritagecheck.documents.minutes import WHAT_IT_IS_NOT
from heritagecheck.documents.page_templates import why_not_drawn
from heritagecheck.documents.zone_rows import layer_names, measured, photographs, undescribed_names
from heritagecheck.evidence.measured_values import measured_values
from heritagecheck.figures.zone_location import draw_detail, draw_locator
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.judgement.weights_at_stake import ZoneAtStake, weights_at_stake
from heritagecheck.screens.app import Desk, Screen
from heritagecheck.sentences import FOR_APPROVAL, count_of
from heritagecheck.survey.meeting.privacy import Person
from heritagecheck.survey.meeting.room import Room
from heritagecheck.survey.records import TABLES, Decision, Elevation, Structure, Zone
from heritagecheck.survey.records.team import OF_MEETINGS
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.cautions import ALWAYS, of_outcome
from heritagecheck.tables.row_types import Topic

SVG = "image/svg+xml"
# What is said before every meeting.
BEFORE_THE_MEETING = (*WHAT_IT_IS_NOT, of_outcome(ALWAYS).words, FOR_APPROVAL)
PRIVACY = (
    "Your answers stay private until the facilitator shows all of them.",
    "Whoever runs this computer can read them before that.",
    "What goes over the local network is not encrypted.",
    "Write roles, not names, in what you record.",
)


class FactsInHand:
    """Facts of one zone, cached until another is chosen or the evidence changes."""

    def __init__(self) -> None:
        self._of: Recommendation | None = None
        self._facts: Mapping[str, Any] = {}
        self._drawn: dict[str, bytes] = {}

    def of(self, answer: Recommendation, survey: Survey) -> Mapping[str, Any]:
        """Facts of the zone of an answer, which was worked out of a survey."""
        if self._of is not answer:
            drawn, hidden = _pictures(survey, answer.evidence.zone)
            named = [(_name(answer.zone, svg), svg, words) for svg, words in drawn]
            self._drawn = {name: svg.encode() for name, svg, _ in named}
            self._facts = _gathered(answer, survey) | {
                "pictures": [(name, words) for name, _, words in named], "no_picture": hidden,
            }  # fmt: skip
            self._of = answer
        return self._facts

    def picture(self, name: str) -> tuple[bytes, str]:
        """A picture of the zone."""
        return self._drawn[name], SVG


def _gathered(answer: Recommendation, survey: Survey) -> dict[str, Any]:
    """What the records say of the zone, in words."""
    evidence, zone = answer.evidence, answer.evidence.zone
    named = survey.all(Structure)
    elevations = {
        one.elevation: short_name(one, named[0].structure if named else "")
        for one in survey.all(Elevation)
    }
    return {
        "zone": zone,
        "elevation": elevations[zone.elevation],
        "substrate": evidence.substrate.name,
        "layers": layer_names(evidence),
        "undescribed": undescribed_names(evidence),
        "measured": measured(measured_values(evidence)),
        "found": [
            (Topic.named(topic).question, one.finding)
            for topic, one in evidence.observations.items()
            if one is not None and one.finding
        ],
        "not_found": [
            (Topic.named(topic).question, one.not_recorded_because)
            for topic, one in evidence.observations.items()
            if one is not None and not one.finding
        ],
        "not_measured": [
            (one.what, one.why)
            for one in survey.reasons_not_measured() if one.zone == zone.zone
        ],
        "notes": answer.notes,
    }  # fmt: skip


def _pictures(survey: Survey, zone: Zone) -> tuple[list[tuple[str, str]], list[str]]:
    """What is drawn and photographed of the zone, with its words; and what can't be shown, why."""
    drawn = []
    if not why_not_drawn(survey, zone.elevation):
        both = draw_detail(survey, zone.zone), draw_locator(survey, zone.zone)
        drawn = [(one.svg, one.alt) for one in both if one]
    shown, left_out = photographs(survey, zone.zone)
    drawn += [(str(one.picture), one.words) for one in shown if one.picture]
    hidden = [one.words for one in shown if not one.picture]
    if left_out:
        hidden.append(f"{count_of(left_out, 'more photograph')} in the survey.")
    return drawn, hidden


def _name(zone: str, svg: str) -> str:
    """Name under which the browser asks for a picture: another picture has another name."""
    return f"{zone} {hashlib.sha256(svg.encode()).hexdigest()[:16]}"


class AnswersInHand:
    """
    The answers of all zones, calculated once for the whole room and again if evidence changes.

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
        """Weights that would change the answer of one zone, cached until that answer changes."""
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
    """A screen of the room; what is typed on it is private to its person."""

    nav: ClassVar[str] = ""

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts)
        self.seat = seat
        self.room, self.person = seat.room, seat.person
        self.role = seat.person.role

    @property
    def decided(self) -> dict[str, Decision]:
        """What this meeting decided, by zone."""
        every = self.desk.survey.all(Decision)
        return {one.zone: one for one in every if one.meeting == self.room.state.meeting}

    def typed(self, name: str, value: str) -> None:
        """Keep what is typed, on the disk, for this person."""
        self.room.type(self.role, name, value)

    def text(self, name: str) -> str:
        """What this person typed into a field."""
        return self.room.typed(self.role).get(name, "")

"""The zone in hand as everybody sees it: facts first; answers and spread once they are shown."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any, ClassVar

from heritagecheck import tables
from heritagecheck.documents.contents import short_name
from heritagecheck.documents.page_templates import why_not_drawn
from heritagecheck.documents.photographs import photographs
from heritagecheck.documents.zone_rows import layer_names, measured, undescribed_names
from heritagecheck.evidence.zone_evidence import evidence_rows
from heritagecheck.figures import draw_detail, draw_locator
from heritagecheck.judgement.agreement import ZoneSpread, agreement
from heritagecheck.judgement.decisions import decision_state
from heritagecheck.judgement.recommendation import OUTCOMES, Recommendation
from heritagecheck.screens.app import Desk
from heritagecheck.screens.meeting.seat import RoomScreen, Seat
from heritagecheck.screens.meeting.words import BEFORE_THE_MEETING, PRIVACY
from heritagecheck.sentences import FOR_APPROVAL
from heritagecheck.survey.records import Elevation, Structure
from heritagecheck.survey.records.meetings import AFTER, BEFORE
from heritagecheck.survey.survey import Survey

SVG = "image/svg+xml"


class ZoneInHandScreen(RoomScreen):
    """What a reader sees of the zone in hand; members and the facilitator see the same and more."""

    template = "meeting_zone.html"
    nav: ClassVar[str] = "The zone in hand"

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts, seat=seat)
        self._drawn: dict[str, bytes] = {}
        self._facts: tuple[object, dict[str, Any]] = (None, {})

    @property
    def title(self) -> str:  # type: ignore[override]
        """Code and name of the zone."""
        if not self.room.state.zone:
            return "The meeting"
        return f"{self.room.state.zone} {self.answer.name}"

    @property
    def answer(self) -> Recommendation:
        """What is recommended for the zone; templates show it only once the answers are shown."""
        return self.seat.answers.of_zone(self.room.state.zone)

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        zone = self.room.state.zone
        common = {
            "zone": zone, "leads": False, "decides": False, "cautions": BEFORE_THE_MEETING,
            "privacy": PRIVACY, "for_approval": FOR_APPROVAL, "outcomes": OUTCOMES,
            "members": self.room.members,
        }  # fmt: skip
        if not zone:
            return common
        shown = self.room.is_shown(zone)
        return common | {
            "facts": self.facts(),
            "answered": self.room.answered(zone),
            "shown": shown,
            "advice": self.answer if shown else None,
            "spread": self.spread(BEFORE) if shown else None,
            "said": self.room.opinions(zone, BEFORE) if shown else (),
            "after": self.room.opinions(zone, AFTER),
            "state": self.state(),
            "decision": self.room.decision(zone),
        }

    def spread(self, given: str) -> ZoneSpread | None:
        """How far the answers of the zone lie apart; None where nobody gave one."""
        opinions = [one for one in self.room.opinions(self.room.state.zone, given) if one.outcome]
        if not opinions:
            return None
        found = agreement(opinions, members=self.room.members)
        return found.zone(self.room.state.zone)

    def state(self) -> Any:
        """The decision of this meeting for the zone, and what holds of it now."""
        if self.room.decision(self.room.state.zone) is None:
            return None
        return decision_state(self.desk.survey, self.answer)

    def facts(self) -> dict[str, Any]:
        """Facts of the zone; kept until the evidence changes, because drawing takes long."""
        answer = self.answer
        if self._facts[0] is not answer:
            self._drawn = {}
            self._facts = answer, self._gathered(answer)
        return self._facts[1]

    def _gathered(self, answer: Recommendation) -> dict[str, Any]:
        survey = self.seat.answers.assessment_of(answer.zone).survey
        evidence, zone = answer.evidence, answer.evidence.zone
        topics = tables.keyed("topics", "topic")
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
            "measured": measured(evidence, evidence_rows(evidence)),
            "found": [
                (topics[topic]["question"], one.finding)
                for topic, one in evidence.observations.items()
                if one is not None and one.finding
            ],
            "not_found": [
                (topics[topic]["question"], one.not_recorded_because)
                for topic, one in evidence.observations.items()
                if one is not None and not one.finding
            ],
            "not_measured": [
                (one["what"], one["why"])
                for one in survey.reasons_not_measured() if one["zone"] == zone.zone
            ],
            "notes": answer.notes,
            "pictures": self._pictures(survey, zone.zone, zone.elevation),
        }  # fmt: skip

    def _pictures(self, survey: Survey, zone: str, elevation: str) -> list[tuple[str, str]]:
        """Names and words of what is drawn and photographed of the zone."""
        drawn = []
        if not why_not_drawn(survey, elevation):
            both = draw_detail(survey, zone), draw_locator(survey, zone)
            drawn = [(one.svg, one.alt) for one in both if one]
        shown, _ = photographs(survey, zone)
        drawn += [(str(one.picture), one.words) for one in shown if one.picture]
        return [(self._named(svg), words) for svg, words in drawn]

    def _named(self, svg: str) -> str:
        """Name under which the browser asks for a picture: another picture has another name."""
        data = svg.encode()
        name = f"{self.room.state.zone} {hashlib.sha256(data).hexdigest()[:16]}"
        self._drawn[name] = data
        return name

    def picture(self, name: str) -> tuple[bytes, str]:
        """A picture of the zone."""
        return self._drawn[name], SVG

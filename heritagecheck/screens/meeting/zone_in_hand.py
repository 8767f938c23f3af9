"""The zone in hand as all see it, on a device or the wall: facts first, answers once shown."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from heritagecheck.judgement.agreement import ZoneSpread, agreement
from heritagecheck.judgement.decisions import decision_state
from heritagecheck.judgement.rater_agreement import ScoreSpread, score_spreads
from heritagecheck.judgement.recommendation import OUTCOMES, Recommendation
from heritagecheck.screens.meeting.join import BEFORE_THE_MEETING, PRIVACY
from heritagecheck.screens.meeting.seat import RoomScreen
from heritagecheck.sentences import FOR_APPROVAL
from heritagecheck.survey.checks.contradictions import last_opinions
from heritagecheck.survey.records import Opinion
from heritagecheck.survey.records.team import AFTER, BEFORE, SCORES

SCORE_STEPS = ("0", "2", "5", "8", "10")  # those that the harm scale describes


class ZoneInHandScreen(RoomScreen):
    """What a reader sees of the zone in hand; members and the facilitator see the same and more."""

    template = "meeting_zone.html"
    nav: ClassVar[str] = "The zone in hand"

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
            "members": self.room.members, "scores": SCORES, "score_steps": SCORE_STEPS,
        }  # fmt: skip
        if not zone:
            return common
        shown = self.room.is_shown(zone)
        return common | {
            "facts": self.facts(),
            "recut": self.room.state.recut.get(zone, ""),
            "answered": self.room.answered(zone),
            "shown": shown,
            "advice": self.answer if shown else None,
            "spread": self._spread(self.room.opinions(zone, BEFORE)) if shown else None,
            "said": self.room.opinions(zone, BEFORE) if shown else (),
            "after": self.room.opinions(zone, AFTER),
            "spread_after": self._spread_after(zone) if shown else None,
            "score_spreads": self._scores(zone) if shown else (),
            "at_stake": self.seat.answers.at_stake(zone) if shown else None,
            "state": self.state(),
            "decision": self.room.decision(zone),
        }

    def _scores(self, zone: str) -> tuple[ScoreSpread, ...]:
        """How far the scores of the zone lie apart, by what each member said last."""
        return score_spreads((*self.room.opinions(zone, BEFORE), *self.room.opinions(zone, AFTER)))

    def _spread(self, opinions: Iterable[Opinion]) -> ZoneSpread | None:
        """How far the answers of the zone lie apart; None where nobody gave one."""
        given = [one for one in opinions if one.outcome]
        if not given:
            return None
        return agreement(given, members=self.room.members).zone(self.room.state.zone)

    def _spread_after(self, zone: str) -> ZoneSpread | None:
        """The same by what each member said last; None where nobody answered after talk."""
        after = [one for one in self.room.opinions(zone, AFTER) if one.outcome]
        if not after:
            return None
        return self._spread(last_opinions((*self.room.opinions(zone, BEFORE), *after)).values())

    def state(self) -> Any:
        """The decision of this meeting for the zone, and what holds of it now."""
        return decision_state(self.desk.survey, self.answer, meeting=self.room.state.meeting)

    def facts(self) -> Mapping[str, Any]:
        """Facts of the zone, which are the same for everybody in the room."""
        answer = self.answer
        survey = self.seat.answers.assessment_of(answer.zone).survey
        return self.seat.answers.facts.of(answer, survey)

    def picture(self, name: str) -> tuple[bytes, str]:
        """A picture of the zone."""
        return self.seat.answers.facts.picture(name)


class WallScreen(ZoneInHandScreen):
    """What everybody may see of the zone in hand; while answers are private, how to join."""

    template = "meeting_wall.html"
    nav: ClassVar[str] = "On the wall"

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        return {**super().values(), "addresses": self.seat.addresses, "word": self.room.state.join}

    def picture(self, name: str) -> tuple[bytes, str]:
        """The code of the address, or a picture of the zone."""
        if name == self.seat.addresses.get("name"):
            return self.seat.addresses["code"].encode(), "image/svg+xml"
        return super().picture(name)

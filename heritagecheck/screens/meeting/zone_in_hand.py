"""The zone in hand: as all see it, on a device or the wall, and what a member does with it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any, ClassVar

from heritagecheck.judgement.agreement import ZoneSpread, agreement
from heritagecheck.judgement.decisions import (
    DecisionState,
    changes_of_evidence,
    decision_state,
    signature_of,
)
from heritagecheck.judgement.rater_agreement import ScoreSpread, score_spreads
from heritagecheck.judgement.recommendation import OUTCOMES, Recommendation
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.seat import BEFORE_THE_MEETING, PRIVACY, RoomScreen
from heritagecheck.sentences import FOR_APPROVAL
from heritagecheck.survey.checks.contradictions import last_opinions
from heritagecheck.survey.meeting.room import PrivateAnswer
from heritagecheck.survey.records import Opinion
from heritagecheck.survey.records.record import LONGEST
from heritagecheck.survey.records.team import AFTER, BEFORE, SCORES

SCORE_STEPS = ("0", "2", "5", "8", "10")  # those that the harm scale describes
PARTS = ("outcome", "why", "veto", *SCORES)


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


class TakingPartScreen(ZoneInHandScreen):
    """The zone in hand for those who answer or decide; drafts are stored until given."""

    def kept(self, form: str) -> object:
        """What this person gave in a form of the zone in hand; None where nothing is given yet."""
        raise NotImplementedError

    def shown(self, form: str, part: str) -> str:
        """What a field holds: what is typed and not given yet, else what was given."""
        name = f"{form}.{self.room.state.zone}.{part}"
        typed = self.room.typed(self.role)
        if name in typed:
            return typed[name]
        value = getattr(self.kept(form), part, None)
        return "" if value is None else str(value)

    def do_choose(self, event: Event) -> None:
        """Choose one of several, or take it back: `answer.N06.outcome=leave`."""
        name, _, chosen = event.arg.partition("=")
        form, _, part = name.split(".")
        # A withdrawn answer is stored as a blank, so that the earlier answer does not return.
        now = self.shown(form, part)
        self.room.type(self.role, name, " " if chosen == now else chosen)

    def still(self, event: Event) -> str:
        """The zone in hand, if it is still the one before the person who pressed."""
        zone = self.room.state.zone
        if event.arg != zone:
            raise ValueError(f"Meanwhile {zone or 'no zone'} was taken up. Nothing was saved.")
        return zone

    def has_signed(self, state: DecisionState | None) -> bool:
        """Whether this person signed the decision."""
        return state is not None and any(one.signer == self.role for one in state.signatures)

    def sign(self, event: Event, *, name: str | None = None, then: str = "") -> None:
        """Sign the decision that is shown; `then` says what to do where its evidence changed."""
        zone = self.still(event)
        decision = self.room.decision(zone)
        if decision is None:
            raise ValueError(f"Nothing was decided for {zone} yet.")
        if changed := changes_of_evidence(decision, self.desk.survey):
            raise ValueError(f"Evidence changed since the decision: {'; '.join(changed)}.{then}")
        now = datetime.now(UTC).isoformat(timespec="seconds")
        self.room.sign(signature_of(decision, signer=self.role, signed_at=now, name=name))
        self.desk.say(f"Signed: the decision on {zone}.")


class MemberZone(TakingPartScreen):
    """The zone in hand for a member; every word goes under that member's role."""

    nav: ClassVar[str] = "The zone in hand"

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        zone = self.room.state.zone
        values = dict(super().values()) | {"decides": True}
        if not zone:
            return values
        given = self.room.own_answer(self.role, zone)
        return values | {
            "given": given,
            "own": {part: self.shown("answer", part) for part in PARTS},
            "changed": {part: self.shown("after", part) for part in PARTS},
            "dissent": self.text(f"dissent.{zone}.words"),
            "name": self.text("sign.name"),
            "has_signed": self.has_signed(values["state"]),
        }

    def typed(self, name: str, value: str) -> None:
        """Keep what is typed, in private."""
        if len(value) > LONGEST:
            raise ValueError(f"Write at most {LONGEST:,} characters.")
        super().typed(name, value)

    def kept(self, form: str) -> object:
        """What this member gave in one of the two forms."""
        zone = self.room.state.zone
        if form == "answer":
            return self.room.own_answer(self.role, zone)
        return next(
            (one for one in self.room.opinions(zone, AFTER) if one.member == self.role), None
        )

    def _filled(self, form: str) -> dict[str, str]:
        """What a form holds; a sentence where no outcome is chosen."""
        found = {part: self.shown(form, part).strip() for part in PARTS}
        if found["outcome"] not in OUTCOMES:
            raise ValueError("Choose an outcome first. Nothing is chosen for you.")
        if found["veto"] and not found["why"]:
            raise ValueError("A veto needs its reason: write it under Why.")
        if found["veto"] == found["outcome"]:
            raise ValueError("You can’t hold a veto against the outcome that you choose.")
        return found

    def do_answer(self, event: Event) -> None:
        """Give the private answer."""
        zone = self.still(event)
        self.room.answer(self.role, zone, PrivateAnswer(**self._filled("answer")))
        self.desk.say(
            f"Kept in private: your answer for {zone}. You may change it until it is shown."
        )

    def do_after(self, event: Event) -> None:
        """Change the answer after talk."""
        zone = self.still(event)
        found = self._filled("after")
        self.room.after_talk(
            self.role, zone, **{part: text or None for part, text in found.items()}
        )
        self.room.forget_typed(self.role, f"after.{zone}.")
        self.desk.say(f"Saved for all to see: your answer for {zone} after talk.")

    def do_dissent(self, event: Event) -> None:
        """Keep a dissent, word for word."""
        zone = self.still(event)
        words = self.text(f"dissent.{zone}.words").strip()
        if not words:
            raise ValueError("Write your dissent first. It is kept word for word.")
        self.room.after_talk(self.role, zone, dissent=words)
        self.room.forget_typed(self.role, f"dissent.{zone}.")
        self.desk.say(f"Saved word for word: your dissent on {zone}.")

    def do_sign(self, event: Event) -> None:
        """Sign the decision that is shown."""
        name = self.text("sign.name").strip() or None
        self.sign(event, name=name, then=" Ask the facilitator to decide again.")

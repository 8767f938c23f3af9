"""What a member does with the zone in hand: answer in private, answer after talk, dissent, sign."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, ClassVar

from heritagecheck.judgement.decisions import changes_of_evidence, signature_of
from heritagecheck.judgement.recommendation import OUTCOMES
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.zone_in_hand import ZoneInHandScreen
from heritagecheck.survey.meeting.room import PrivateAnswer
from heritagecheck.survey.records.record import LONGEST
from heritagecheck.survey.records.team import AFTER, SCORES

PARTS = ("outcome", "why", "veto", *SCORES)


class MemberZone(ZoneInHandScreen):
    """The zone in hand for a member; every word goes under that member's role."""

    nav: ClassVar[str] = "The zone in hand"

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        zone = self.room.state.zone
        values = dict(super().values()) | {"decides": True}
        if not zone:
            return values
        given = self.room.own_answer(self.role, zone)
        after = next(
            (one for one in self.room.opinions(zone, AFTER) if one.member == self.role), None
        )
        signed = values["state"].signatures if values["state"] else ()
        return values | {
            "given": given,
            "own": {part: self._shown("answer", part, given) for part in PARTS},
            "changed": {part: self._shown("after", part, after) for part in PARTS},
            "dissent": self.text(f"dissent.{zone}.words"),
            "name": self.text("sign.name"),
            "has_signed": any(one.signer == self.role for one in signed),
        }

    def _shown(self, form: str, part: str, kept: object) -> str:
        """What stands in a field: what is typed and not given yet, else what was given."""
        name = f"{form}.{self.room.state.zone}.{part}"
        typed = self.room.typed(self.role)
        if name in typed:
            return typed[name]
        value = getattr(kept, part, None)
        return "" if value is None else str(value)

    def typed(self, name: str, value: str) -> None:
        """Keep what is typed, in private."""
        if len(value) > LONGEST:
            raise ValueError(f"Write at most {LONGEST:,} characters.")
        super().typed(name, value)

    def do_choose(self, event: Event) -> None:
        """Choose an outcome, or take it back: `answer.N06.outcome=leave`."""
        name, _, chosen = event.arg.partition("=")
        form, _, part = name.split(".")
        now = self._shown(form, part, self._kept(form))
        # An outcome taken back is kept as a blank, so that what was given before does not return.
        self.room.type(self.role, name, " " if chosen == now else chosen)

    def _kept(self, form: str) -> object:
        """What this member gave in one of the two forms."""
        zone = self.room.state.zone
        if form == "answer":
            return self.room.own_answer(self.role, zone)
        return next(
            (one for one in self.room.opinions(zone, AFTER) if one.member == self.role), None
        )

    def _filled(self, form: str) -> dict[str, str]:
        """What a form holds; a sentence where no outcome is chosen."""
        found = {part: self._shown(form, part, self._kept(form)).strip() for part in PARTS}
        if found["outcome"] not in OUTCOMES:
            raise ValueError("Choose an outcome first. Nothing is chosen for you.")
        if found["veto"] and not found["why"]:
            raise ValueError("A veto needs its reason: write it under Why.")
        if found["veto"] == found["outcome"]:
            raise ValueError("You can’t hold a veto against the outcome that you choose.")
        return found

    def do_answer(self, event: Event) -> None:
        """Give the private answer."""
        zone = self._still(event)
        self.room.answer(self.role, zone, PrivateAnswer(**self._filled("answer")))
        self.desk.say(
            f"Kept in private: your answer for {zone}. You may change it until it is shown."
        )

    def do_after(self, event: Event) -> None:
        """Change the answer after talk."""
        zone = self._still(event)
        found = self._filled("after")
        self.room.after_talk(
            self.role, zone, **{part: text or None for part, text in found.items()}
        )
        self.room.forget_typed(self.role, f"after.{zone}.")
        self.desk.say(f"Saved for all to see: your answer for {zone} after talk.")

    def do_dissent(self, event: Event) -> None:
        """Keep a dissent, word for word."""
        zone = self._still(event)
        words = self.text(f"dissent.{zone}.words").strip()
        if not words:
            raise ValueError("Write your dissent first. It is kept word for word.")
        self.room.after_talk(self.role, zone, dissent=words)
        self.room.forget_typed(self.role, f"dissent.{zone}.")
        self.desk.say(f"Saved word for word: your dissent on {zone}.")

    def do_sign(self, event: Event) -> None:
        """Sign the decision that is shown."""
        zone = self._still(event)
        decision = self.room.decision(zone)
        if decision is None:
            raise ValueError(f"Nothing was decided for {zone} yet.")
        if changed := changes_of_evidence(decision, self.desk.survey):
            raise ValueError(
                f"Evidence changed since the decision: {'; '.join(changed)}. Ask the facilitator "
                "to decide again."
            )
        now = datetime.now(UTC).isoformat(timespec="seconds")
        name = self.text("sign.name").strip() or None
        self.room.sign(signature_of(decision, signer=self.role, signed_at=now, name=name))
        self.desk.say(f"Signed: the decision on {zone}.")

    def _still(self, event: Event) -> str:
        """The zone in hand, if it is still the one before the member who pressed."""
        zone = self.room.state.zone
        if event.arg != zone:
            raise ValueError(f"Meanwhile {zone or 'no zone'} was taken up. Nothing was saved.")
        return zone

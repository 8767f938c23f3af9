"""What the facilitator does: plan and choose zones, show answers, decide, cut zones, keep time."""

from __future__ import annotations

import time
from collections.abc import Mapping
from typing import Any, ClassVar

from heritagecheck.figures.elevation import UNITS_A_METRE, steps_of
from heritagecheck.judgement.agenda import ORDERS, Agenda, agenda, in_order, zones_in_hand
from heritagecheck.judgement.agreement import Agreement, agreement
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.decisions import (
    why_not_decided,
)
from heritagecheck.judgement.evidence_snapshot import evidence_snapshot
from heritagecheck.screens.app import Desk
from heritagecheck.screens.elevation_plate import elevation_or_none
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.seat import RoomScreen, Seat
from heritagecheck.screens.meeting.zone_in_hand import TakingPartScreen
from heritagecheck.screens.zone_cutting import Corner, ZoneCutting
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.entry.typed_values import read_typed
from heritagecheck.survey.entry.zone_edits import Recut
from heritagecheck.survey.meeting.room import made
from heritagecheck.survey.records import Decision, Elevation, OpenQuestion, Opinion, Zone
from heritagecheck.survey.records.fields import literal_choices
from heritagecheck.survey.records.team import NOT_DECIDED, TREAT, WORK
from heritagecheck.tables.methods import brief_method

DECIDED = ("outcome", "method", "reasons", "conditions", "override_reason")
QUESTION = ("words", "owner", "due")
MOST_MINUTES = 24 * 60
SPLIT, JOIN = "split", "join"
MODES = {SPLIT: "Split it", JOIN: "Join it with a neighbour"}


class TableScreen(RoomScreen):
    """All zones for the facilitator: sorted, filtered, planned; people and the meeting itself."""

    template = "meeting_table.html"
    title = "All zones"
    nav: ClassVar[str] = "All zones"

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts, seat=seat)
        self.order, self.kind = next(iter(ORDERS)), ""
        self.elevation = ""
        self.planned: Agenda | None = None

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        state = self.room.state
        values = {
            "state": state, "members": self.room.members, "people": list(state.people.values()),
            "orders": ORDERS, "order": self.order, "kind": self.kind, "elevation": self.elevation,
            "place": self.text("place") or state.place,
            "facilitator": self.text("facilitator") or state.facilitator,
            "minutes": self.text("minutes"), "addresses": self.seat.addresses,
            "decided": self._settled, "planned": self.planned,
            "answered": {zone: len(given) for zone, given in state.answers.items()},
            "shown": set(state.shown), "whole": self.seat.answers.whole,
        }  # fmt: skip
        whole = self.seat.answers.whole
        if whole is None:
            return values | {"zones": [], "kinds": [], "elevations": []}
        zones = zones_in_hand(whole, self._spread())
        kept = in_order(zones, self.order, self.kind)
        return values | {
            "zones": [one for one in kept if self.elevation in ("", one.elevation)],
            "kinds": sorted({one.kind for one in zones}),
            "elevations": sorted({one.elevation for one in zones}),
        }

    @property
    def _settled(self) -> set[str]:
        """Zones that this meeting decided; what it left open is not decided."""
        return {zone for zone, one in self.decided.items() if one.outcome != NOT_DECIDED}

    def _spread(self) -> Agreement | None:
        """How far the answers lie apart that were shown in this meeting."""
        given = [
            one
            for one in self.desk.survey.all(Opinion)
            if one.meeting == self.room.state.meeting and one.given == "before talk" and one.outcome
        ]
        return agreement(given, members=self.room.members) if given else None

    def do_work_out(self, event: Event) -> None:
        """Work out the answers of all zones, which the table needs."""
        answers = self.seat.answers
        survey = answers.evidence_now()
        self.desk.later("Looking through all zones", lambda _: assess(survey), answers.keep)

    def do_order(self, event: Event) -> None:
        """Sort the zones by something else."""
        self.order = event.arg if event.arg in ORDERS else self.order

    def do_kind(self, event: Event) -> None:
        """Show the zones of one type only, or all."""
        self.kind = "" if event.arg == self.kind else event.arg

    def do_elevation(self, event: Event) -> None:
        """Show the zones of one elevation only, so that neighbours are decided together."""
        self.elevation = "" if event.arg == self.elevation else event.arg

    def do_plan(self, event: Event) -> None:
        """Plan what fits into the minutes there are, of the zones shown that are not decided."""
        minutes = float(minutes_typed(self.text("minutes")))
        settled = self._settled
        open_zones = [one for one in self.values()["zones"] if one.zone not in settled]
        if not open_zones:
            raise ValueError("No zone of the table is open. Look through all zones, or show more.")
        self.planned = agenda(open_zones, minutes)
        self.room.plan([zone for item in self.planned.items for zone in item.zones])
        left = self.planned.left_out
        said = f" Not in it: {', '.join(left)}." if left else ""
        self.desk.say(f"Planned: {self.planned.used:.0f} of {minutes:.0f} minutes.{said}")

    def do_take_up(self, event: Event) -> None:
        """Take up a zone; everybody then sees it."""
        self.room.take_up(event.arg)
        self.desk.go("zone")

    def do_name(self, event: Event) -> None:
        """Say where the meeting is held, and who leads it."""
        state = self.room.state
        self.room.name_meeting(
            place=self.text("place") or state.place, held_on=state.held_on,
            facilitator=self.text("facilitator") or state.facilitator,
        )  # fmt: skip
        self.desk.say("Saved: place and facilitator.")

    def do_show_weights(self, event: Event) -> None:
        """Show the weights of all members."""
        self.room.show_weights()
        self.desk.say("The weights are shown, and every answer rests on them from now on.")

    def do_join_again(self, event: Event) -> None:
        """Let somebody join again on another device."""
        self.room.let_join_again(event.arg)
        self.desk.say(f"{event.arg} can join again with the join word.")


class LeadScreen(TakingPartScreen):
    """The zone in hand for the facilitator."""

    nav: ClassVar[str] = "The zone in hand"

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        zone = self.room.state.zone
        values = dict(super().values()) | {"leads": True}
        if not zone:
            return values
        form = {part: self.shown("decide", part) for part in DECIDED}
        answer = self.answer
        return values | {
            "form": form,
            "choices": literal_choices(Decision, "outcome"),
            "treat": TREAT,
            "works": form["outcome"] in WORK,
            "overrides": form["outcome"] not in {"", NOT_DECIDED, answer.outcome},
            "methods": [
                (code, brief_method(code, answer.evidence.zone.soiling_codes))
                for code in dict.fromkeys((*([answer.method] if answer.method else []),
                                           *answer.candidates))
            ],
            "question": {part: self.text(f"question.{zone}.{part}") for part in QUESTION},
            "minutes": self.text("timer"),
            "neighbours": self._neighbours(),
            "next": self._next(),
            "has_signed": self.has_signed(values["state"]),
        }  # fmt: skip

    def _neighbours(self) -> list[tuple[str, str, str]]:
        """Zones of the same elevation, with what this meeting decided for each."""
        every = {one.zone: one for one in self.desk.survey.all(Zone)}
        here = every[self.room.state.zone].elevation
        decided = {zone: one.in_words for zone, one in self.decided.items()}
        return [
            (code, one.name, decided.get(code, "")) for code, one in every.items()
            if one.elevation == here and code != self.room.state.zone
        ]  # fmt: skip

    def _next(self) -> str:
        """The zone of the plan that comes next."""
        gone = {*self.decided, self.room.state.zone}
        return next((one for one in self.room.state.agenda if one not in gone), "")

    def kept(self, form: str) -> Decision | None:
        """What the meeting decided for the zone."""
        return self.room.decision(self.room.state.zone)

    def do_take_up(self, event: Event) -> None:
        """Take up another zone; everybody then sees it."""
        self.room.take_up(event.arg)

    def do_show_answers(self, event: Event) -> None:
        """Show the private answers of all members."""
        self.room.show_answers(self.room.state.zone)
        self.desk.say("The answers are shown to all.")

    def do_timer(self, event: Event) -> None:
        """Let some minutes run, or stop the time."""
        if event.arg == "stop":
            self.room.set_timer(0)
            return
        minutes = float(minutes_typed(event.arg or self.text("timer")))
        self.room.set_timer(time.time() + 60 * minutes)

    def do_decide(self, event: Event) -> None:
        """Record what the meeting decided."""
        zone, answer = self.still(event), self.answer
        found = {part: self.shown("decide", part).strip() or None for part in DECIDED}
        if found["outcome"] is None:
            raise ValueError("Choose first what was decided. Nothing is chosen for you.")
        if found["outcome"] not in WORK:
            found["method"] = None
        if found["outcome"] in {NOT_DECIDED, answer.outcome}:
            found["override_reason"] = None
        snapshot = evidence_snapshot(self.desk.survey, answer.evidence.zone)
        decision = made(Decision, found | {
            "meeting": self.room.state.meeting, "zone": zone, "recommended": answer.outcome,
            "evidence": snapshot.evidence, "snapshot": snapshot.by_kind,
        })  # fmt: skip
        if refused := why_not_decided(answer, decision):
            self.desk.refuse("Not saved: this can’t be decided.", *refused)
            return
        self.room.decide(decision)
        self.room.forget_typed(self.role, f"decide.{zone}.")
        self.desk.say(f"Saved: {zone}, {decision.in_words}. Members may now dissent and sign.")

    def do_ask(self, event: Event) -> None:
        """Keep an open question with its owner and day."""
        zone = self.room.state.zone
        found = {part: self.text(f"question.{zone}.{part}").strip() for part in QUESTION}
        due = read_typed(OpenQuestion, "due", found["due"])
        self.room.ask(found["words"], found["owner"], str(due), zone)
        self.room.forget_typed(self.role, f"question.{zone}.")
        self.desk.say("Saved: the open question.")

    def do_sign(self, event: Event) -> None:
        """Sign as the facilitator."""
        self.sign(event)


def minutes_typed(typed: str) -> float:
    """Minutes as they are typed."""
    try:
        minutes = float(typed.replace(",", "."))
    except ValueError:
        minutes = 0.0
    if not 0 < minutes <= MOST_MINUTES:
        raise ValueError(f"Write the minutes as a number from 1 to {MOST_MINUTES}.")
    return minutes


class CutScreen(ZoneCutting, RoomScreen):
    """One zone, to be split or joined."""

    template = "meeting_cut.html"
    title = "Split or join a zone"

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts, seat=seat)
        self.zone = parts[0] if parts else ""
        self.mode = SPLIT
        self.line: list[Corner] = []

    @property
    def item(self) -> Elevation | None:
        """Its elevation."""
        return elevation_or_none(self.desk.survey, self.record.elevation) if self.record else None

    @property
    def drawn(self) -> list[FloatArray]:
        """The outline that is cut."""
        return self.outline_kept()

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        record, plate = self.record, self.plate
        if record is None or plate is None or not self.drawn:
            return {"record": record, "plate": None}
        others = {zone: one for zone, one in plate.rings.items() if zone != self.zone}
        return {
            "record": record, "plate": plate, "modes": MODES,
            "decision": self.room.decision(self.zone),
            "answered": len(self.room.answered(self.zone)),
            "parts": [steps_of([ring]) for ring in self.drawn],
            "others": [shape for zone, shape in plate.shapes.items() if zone != self.zone],
            "points": [(round(x * UNITS_A_METRE, 2), round(y * UNITS_A_METRE, 2))
                       for x, y in self.line],
            **self.cutting_values(others, sound=True),
        }  # fmt: skip

    def do_points(self, event: Event) -> None:
        """A point of the line was put, moved or taken away."""
        self.line = self.points_put(event)

    def do_remove(self, event: Event) -> None:
        """Take the last point of the line away."""
        self.line = self.line[:-1]

    def keep_split(self, first: Zone, second: Zone, what: str) -> bool:
        """Save both parts."""
        self.room.recut(Recut(first, new=second))
        return True

    def keep_joined(self, whole: Zone, gone: Zone, what: str) -> bool:
        """Save one zone in place of two."""
        self.room.recut(Recut(whole, gone=gone))
        return True

    def show_zone(self, zone: Zone) -> None:
        """Go back to the zone in hand."""
        self.finished()

    def finished(self) -> None:
        """Go back to the zone in hand."""
        self.line = []
        self.desk.go("zone")

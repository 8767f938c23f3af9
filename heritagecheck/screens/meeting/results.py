"""What came of a meeting so far: by elevation, where the team agrees, and the minutes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from heritagecheck.documents.minutes import write_forms, write_minutes
from heritagecheck.figures.elevation import HATCHES
from heritagecheck.judgement.agreement import COUNTS_ONLY, FEWEST_UNITS, agreement
from heritagecheck.judgement.rater_agreement import score_alpha, score_spreads
from heritagecheck.screens.app import Desk
from heritagecheck.screens.elevation_plate import KEY_OF_OUTCOMES, OnElevation, map_values
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.seat import RoomScreen, Seat
from heritagecheck.survey.checks.contradictions import last_opinions
from heritagecheck.survey.meeting.privacy import FACILITATOR
from heritagecheck.survey.records import Elevation, OpenQuestion, Opinion, View, Zone
from heritagecheck.survey.records.team import AFTER, BEFORE, NOT_DECIDED, SCORES, TREAT

OPEN, ANSWERED, SHOWN = "not taken up", "answers in private", "answers shown"
DOTS = '<circle cx="12" cy="12" r="2" fill="#5c1a1a"/>'
KEY: Mapping[str, tuple[str, str, str]] = {
    OPEN: ("–", "#fffdf8", ""),
    ANSWERED: ("…", "#e4e1d8", ""),
    SHOWN: ("?", "#c8d8d4", ""),
    **KEY_OF_OUTCOMES,
    TREAT: ("O", "#e9b4a6", DOTS),
    NOT_DECIDED: ("N", "#ffffff", HATCHES["leave and monitor"]),
}
IN_PRIVATE, LAST = "private", "last"
ROUNDS = {IN_PRIVATE: "In private, before talk", LAST: "What each said last"}
FOLDER = "minutes"


@dataclass(frozen=True, slots=True)
class ZoneThen:
    """One zone as map and list show it."""

    zone: str
    name: str
    state: str
    words: str

    @property
    def sign(self) -> str:
        """The letter or sign of its state."""
        return KEY[self.state][0]

    @property
    def spoken(self) -> str:
        """What is read aloud."""
        return f"{self.zone} {self.name}: {self.words}"


class FacadeScreen(OnElevation, RoomScreen):
    """The zones of one elevation; nothing that is private or hidden is on it."""

    template = "meeting_facade.html"
    title = "By elevation"
    nav: ClassVar[str] = "By elevation"

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts, seat=seat)
        self.elevation = ""

    @property
    def item(self) -> Elevation | None:
        """The elevation that was chosen, else that of the zone in hand, else the first."""
        every = {one.elevation: one for one in self.desk.survey.all(Elevation)}
        in_hand = [
            one.elevation for one in self.desk.survey.all(Zone) if one.zone == self.room.state.zone
        ]
        chosen = (every.get(code) for code in (self.elevation, *in_hand))
        return next(filter(None, chosen), next(iter(every.values()), None))

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        item = self.item
        rows = [
            self._row(one) for one in self.desk.survey.all(Zone)
            if item and one.elevation == item.elevation
        ]  # fmt: skip
        return {
            "item": item, "rows": rows,
            "leads": self.person.kind == FACILITATOR,
            "elevations": [(one.elevation, one.name) for one in self.desk.survey.all(Elevation)],
            **map_values(rows, rows, self.plate, KEY),
        }  # fmt: skip

    def _row(self, zone: Zone) -> ZoneThen:
        """How far the meeting came with one zone."""
        decision = self.room.decision(zone.zone)
        if decision is not None:
            return ZoneThen(zone.zone, zone.name, decision.outcome, decision.in_words)
        if self.room.is_shown(zone.zone):
            return ZoneThen(zone.zone, zone.name, SHOWN, SHOWN)
        if given := self.room.answered(zone.zone):
            of = f"{ANSWERED}: {len(given)} of {len(self.room.members)}"
            return ZoneThen(zone.zone, zone.name, ANSWERED, of)
        return ZoneThen(zone.zone, zone.name, OPEN, OPEN)

    def do_elevation(self, event: Event) -> None:
        """Show another elevation."""
        self.elevation = event.arg

    def do_take_up(self, event: Event) -> None:
        """Take up a zone, if one leads the meeting; everybody then sees it."""
        if self.person.kind == FACILITATOR:
            self.room.take_up(event.arg)
            self.desk.go("zone")


class AgreementScreen(RoomScreen):
    """How far the members agree; nothing that is private enters it."""

    template = "meeting_agreement.html"
    title = "Where the team agrees"
    nav: ClassVar[str] = "Agreement"
    given = IN_PRIVATE

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        said = [
            one for one in self.desk.survey.all(Opinion)
            if one.meeting == self.room.state.meeting and one.outcome
        ]  # fmt: skip
        last = list(last_opinions(said).values())
        chosen = last if self.given == LAST else [one for one in said if one.given == BEFORE]
        # Weights on record; those of this meeting are among them once they are shown.
        found = agreement([*self.desk.survey.all(View), *chosen], members=self.room.members)
        return {
            "found": found, "rounds": ROUNDS, "given": self.given, "few": FEWEST_UNITS,
            "members": self.room.members, "counts_only": COUNTS_ONLY,
            "score_alphas": self._score_alphas(said),
            "weights": found.weights_table.to_dict("records") if found.weights else [],
            "waiting": bool(self.room.state.weights) and not self.room.state.weights_shown,
        }  # fmt: skip

    def _score_alphas(self, said: Sequence[Opinion]) -> list[tuple[str, float]]:
        """How far the scores agree, question by question, where that is defined."""
        rounds = {BEFORE} if self.given == IN_PRIVATE else {BEFORE, AFTER}
        spreads = score_spreads(one for one in said if one.given in rounds)
        alphas = ((words, score_alpha(spreads, question)) for question, words in SCORES.items())
        return [(words, alpha) for words, alpha in alphas if alpha is not None]

    def do_round(self, event: Event) -> None:
        """Show what was given in private, or what each said last."""
        if event.arg in ROUNDS:
            self.given = event.arg


class MinutesScreen(RoomScreen):
    """What the meeting decided so far; the minutes; the end of the meeting."""

    template = "meeting_minutes.html"
    title = "Minutes"
    nav: ClassVar[str] = "Minutes"

    def __init__(self, desk: Desk, *parts: str, seat: Seat) -> None:
        super().__init__(desk, *parts, seat=seat)
        self.written: tuple[str, ...] = ()
        self.over = False

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        code = self.room.state.meeting
        survey = self.desk.survey
        return {
            "decisions": list(self.decided.values()),
            "questions": [one for one in survey.all(OpenQuestion) if one.meeting == code],
            "written": self.written, "over": self.over, "plan": self.room.state.agenda,
        }  # fmt: skip

    def do_minutes(self, event: Event) -> None:
        """Write the minutes next to the survey."""
        survey, code = self.desk.survey.still(), self.room.state.meeting
        folder = self._folder()
        self.desk.later(
            "Writing the minutes", lambda _: write_minutes(survey, code, folder), self._wrote
        )

    def do_forms(self, event: Event) -> None:
        """Write forms for paper: the zones of the plan, or the zone in hand."""
        zones = self.room.state.agenda or tuple(filter(None, (self.room.state.zone,)))
        if not zones:
            raise ValueError("Plan some zones first, or take one up.")
        survey, code = self.desk.survey.still(), self.room.state.meeting
        path = self._folder() / f"{code}-forms.pdf"
        members = self.room.members
        self.desk.later(
            "Writing the forms",
            lambda _: (write_forms(survey, zones, path, members=members),), self._wrote,
        )  # fmt: skip

    def do_end(self, event: Event) -> None:
        """End the meeting."""
        self.room.end()
        self.over = True
        self.desk.say("The meeting is over. Stop the program with Ctrl-C.")

    def _folder(self) -> Path:
        """Folder next to the survey."""
        if "://" in self.desk.survey.name:
            return Path.cwd() / FOLDER
        return Path(self.desk.survey.name).parent / FOLDER

    def _wrote(self, files: tuple[Path, ...]) -> None:
        self.written = tuple(f"{FOLDER}/{path.name}" for path in files)
        self.desk.say(f"Written into the folder {FOLDER} beside the survey.")

"""Colour of a zone: readings typed one after another, pasted, or taken from the meter's file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from typing import Any, ClassVar, Literal, cast

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Form
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone.colour_help import WET, Apart, help_of, swatch_of
from heritagecheck.screens.zone.meter import MeterFilePart
from heritagecheck.sentences import count_of
from heritagecheck.survey.entry.colour_entry import (
    SIDES,
    SetInHand,
    by_eye_of,
    read_munsell,
    read_row,
    read_rows,
    zone_with_sets,
)
from heritagecheck.survey.entry.offers import reading_not_taken
from heritagecheck.survey.entry.typed_values import NotTakenError
from heritagecheck.survey.records import Panel, Reading

NAMES = {"soiled": "Soiled stone", "reference": "Clean stone (reference)"}
STATES = ("dry", "damp", "wet")
# Usual reasons, common practice.
REASONS = (
    "out of reach", "the stone was wet", "no meter at hand",
    "no clean stone of this kind was found", "touching it was not allowed",
)  # fmt: skip
SHOWN = 12


class ColourScreen(MeterFilePart):
    """The colour readings of one zone, set by set."""

    template = "zone_colour.html"
    task: ClassVar[str] = "colour"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.chosen = ""
        self.line = {"L": "", "a": "", "b": ""}
        self.fault = self.reason = ""
        self.show_all = False
        self._sets: dict[str, SetInHand] = {}
        self._before: dict[str, list[dict[str, str]]] = {}
        self._apart = Apart(desk)

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        if any(self.set_of(key).readings for key, _ in self._keys()):
            self.hand.in_hand.add(self.task)
        else:
            self.hand.in_hand.discard(self.task)
        base = super().values()
        survey, code = self.desk.survey, self.hand.code
        chosen = self.set_of(self.chosen) if self.chosen else None
        drafted = list(self._drafted())
        by_eye = bool(chosen and chosen.by_eye)
        return {
            **base, **self.meter_values(), **self.file_values(),
            "choices": [(key, name, len(self.set_of(key).readings)) for key, name in self._keys()],
            "chosen": chosen, "name": dict(self._keys()).get(self.chosen, ""),
            "wetness": STATES, "by_eye": by_eye, "can_read": by_eye or self.day is not None,
            "rows": self._rows(chosen) if chosen else [], "shown": SHOWN, "wet": WET,
            "help": help_of(survey, self.hand.record(), chosen, drafted),
            "saved": _saved(survey.of_zone(code, Reading)) if self.hand.record() else [],
            "reasons": REASONS, "is_side": self.chosen in SIDES,
        }  # fmt: skip

    def changed_forms(self) -> Sequence[Form]:
        """No form here: a set is saved by itself."""
        return ()

    def _keys(self) -> Iterator[tuple[str, str]]:
        """The sets that can be read, and what each is called."""
        yield from NAMES.items()
        if self.hand.record():
            for panel in self.desk.survey.of_zone(self.hand.code, Panel):
                yield panel.panel, f"Panel {panel.panel}"

    # -- The set in hand ------------------------------------------------------------------------

    def _task(self, key: str) -> str:
        return f"zone/{self.hand.code}/colour#set {key}"

    def set_of(self, key: str) -> SetInHand:
        """A set in hand, as it was left."""
        if key not in self._sets:
            draft = self.desk.drafts.read(self.desk.who, self._task(key))
            self._sets[key] = SetInHand.of(key, draft)
        return self._sets[key]

    @contextmanager
    def _changing(self, key: str) -> Iterator[SetInHand]:
        """Change a set, then store it as a draft with its earlier state for undo."""
        now = self.set_of(key)
        before = now.typed
        yield now
        if now.typed != before:
            self._before.setdefault(key, []).append(before)
            self.desk.drafts.write(self.desk.who, self._task(key), now.typed)

    def _drafted(self) -> Iterator[Reading]:
        """What all sets in hand would be as records."""
        day = self.day
        shared = day.shared(self.desk.survey) if day else by_eye_of(self.desk.who, date.today())
        for key in SIDES:
            now = self.set_of(key)
            if day or not any(one.lab for one in now.readings):
                yield from now.records(self.hand.code, shared)

    def _rows(self, chosen: SetInHand) -> list[dict[str, Any]]:
        """Readings in hand, the newest first."""
        counted = [k for k, one in enumerate(chosen.readings) if one.lab and one.state == "dry"]
        apart = {counted[row] for row in self._apart.of(chosen.dry_lab())}
        return [
            {
                "number": number, "colour": swatch_of(one), "state": one.state, "place": one.place,
                "words": one.munsell or "{:g}  {:g}  {:g}".format(*(one.lab or ())),
                "apart": number in apart,
            }
            for number, one in reversed(list(enumerate(chosen.readings)))
            if self.show_all or number >= len(chosen.readings) - SHOWN or number in apart
        ]  # fmt: skip

    def typed(self, name: str, value: str) -> None:
        """Keep what is typed."""
        if name.startswith("line."):
            self.line[name.removeprefix("line.")] = value
        elif name == "tile.lab":
            self.tile_typed = value
        elif name == "reason":
            self.reason = value
        elif name == "file.begins":
            self.begins = value
        else:
            super().typed(name, value)

    def do_set(self, event: Event) -> None:
        """Choose which set is read."""
        self.chosen, self.fault, self.show_all = event.arg, "", False
        self.desk.focus = "line.L"

    def do_state(self, event: Event) -> None:
        """Say whether the stone is dry, damp or wet, from now on."""
        with self._changing(self.chosen) as now:
            now.state = event.arg
        self.fault = ""
        self.desk.focus = "line.L"

    def do_place(self, event: Event) -> None:
        """Say which stone is read, from now on; once more for none."""
        with self._changing(self.chosen) as now:
            now.place = "" if now.place == event.arg else event.arg
        self.desk.focus = "line.L"

    def do_new_place(self, event: Event) -> None:
        """Go on to a new stone."""
        with self._changing(self.chosen) as now:
            now.new_place()
        self.desk.focus = "line.L"

    def do_by_eye(self, event: Event) -> None:
        """Read with the meter, or match by eye to Munsell chips."""
        with self._changing(self.chosen) as now:
            now.by_eye = event.arg
        self.desk.focus = "line.L"

    def do_line(self, event: Event) -> None:
        """Add one reading; a plus sign alone starts a new stone."""
        self.fault, self.line = "", dict.fromkeys(self.line, "")
        with self._changing(event.arg) as now:
            if event.value.strip() == "+":
                now.new_place()
            elif why := self._taken(now, event):
                self.fault, self.line["L"] = why, event.value

    def _taken(self, now: SetInHand, event: Event) -> str:
        """Why a reading was not taken; empty where it was."""
        if not now.state:
            return "Say first whether the stone is dry, damp or wet. What you typed is kept."
        try:
            now.add((read_munsell if now.by_eye else read_row)(event.value), event.once)
        except NotTakenError as why:
            return str(why)
        return ""

    def do_paste(self, event: Event) -> None:
        """Take a pasted column of readings; every row that can't be read is named."""
        if not self.set_of(event.arg).state:
            self.fault = "Say first whether the stone is dry, damp or wet. Then paste again."
            return
        with self._changing(event.arg) as now:
            rows, wrong = read_rows(event.value, by_eye=bool(now.by_eye))
            for place, row in enumerate(rows):
                now.add(row, event.once and f"{event.once} {place}")
        said = f"{count_of(len(rows), 'row')} taken."
        if wrong:
            self.desk.refuse(f"{said} {count_of(len(wrong), 'row')} could not be read.", *wrong)
        else:
            self.desk.say(said)

    def do_remove(self, event: Event) -> None:
        """Take one reading out."""
        with self._changing(self.chosen) as now:
            if int(event.arg) < len(now.readings):
                del now.readings[int(event.arg)]
        self.desk.focus = "line.L"

    def do_back(self, event: Event) -> None:
        """Take the last change of the set back."""
        if steps := self._before.get(self.chosen):
            self._sets[self.chosen] = SetInHand.of(self.chosen, steps.pop())
            typed = self.set_of(self.chosen).typed
            self.desk.drafts.write(self.desk.who, self._task(self.chosen), typed)
        self.desk.focus = "line.L"

    def do_all_rows(self, event: Event) -> None:
        """Show every reading, or only the last."""
        self.show_all = not self.show_all

    # -- Saving ---------------------------------------------------------------------------------

    def do_save_set(self, event: Event) -> None:
        """Save the set in hand."""
        now = self.set_of(event.arg)
        if not now.readings:
            self.desk.refuse("Not saved: this set holds no reading yet.", "Type one first.")
            return
        if any(one.lab for one in now.readings) and self.day is None:
            self.desk.refuse("Not saved yet: confirm the meter first.", "Your readings are kept.")
            return
        if not self.desk.knows_who() or not self.known():
            return
        day, survey = self.day, self.desk.survey
        shared = day.shared(survey) if day else by_eye_of(self.desk.who, date.today())
        self.save_readings(now.records(self.hand.code, shared, survey), event.arg)

    def save_readings(self, made: Sequence[Reading], key: str) -> None:
        """Save a set with the number of sets of the zone; the set in hand is then empty again."""
        zone = self.hand.record()
        assert zone is not None
        before = self.desk.survey.of_zone(zone.zone, Reading)
        what = f"set {made[0].set_name}, {count_of(len(made), 'reading')}"
        if self.desk.save(*made, *zone_with_sets(zone, before, made), what=what):
            self.forget(key)
            other = {"soiled": "reference", "reference": "soiled"}.get(key, key)
            self.desk.focus = f"set.{other}"

    def set_state(self, key: str) -> str:
        """State of the stone, as it was said for a set."""
        return self.set_of(key).state

    def forget(self, key: str) -> None:
        """Start a set again."""
        self.desk.drafts.drop(self.desk.who, self._task(key))
        self._sets.pop(key, None)
        self._before.pop(key, None)

    def do_not_measured(self, event: Event) -> None:
        """Say for a whole set why it was not read."""
        reason = (event.arg or self.reason).strip()
        if not reason:
            self.desk.refuse("Not saved: say why this set was not read.")
        elif self.set_of(self.chosen).readings:
            self.desk.refuse(
                "Not saved: this set holds readings.", "Save them, or take them out first."
            )
        elif self.desk.knows_who() and self.known():
            side = cast('Literal["soiled", "reference"]', self.chosen)
            made = reading_not_taken(
                self.desk.survey, self.hand.code, side, reason,
                who=self.desk.who, today=date.today(),
            )  # fmt: skip
            self.save_readings((made,), self.chosen)
            self.reason = ""


def _saved(readings: Sequence[Reading]) -> list[dict[str, Any]]:
    """The sets of a zone that are saved, in words."""
    sets: dict[str, list[Reading]] = {}
    for one in readings:
        sets.setdefault(one.set_name, []).append(one)
    return [
        {
            "name": name, "what": NAMES.get(found[0].target, f"Panel {found[0].panel}"),
            "count": len(found), "of": found[0].set_size, "state": _states(found),
            "on": found[0].read_on, "why": found[0].not_measured_because,
        }
        for name, found in sets.items()
    ]  # fmt: skip


def _states(found: Sequence[Reading]) -> str:
    """Dry, damp or wet, as the readings of a set say."""
    return ", ".join(dict.fromkeys(one.state for one in found if one.state))

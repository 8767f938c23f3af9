"""One trial panel: when it was read, what it showed, and what its coating requires."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, NamedTuple, cast

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Field, Form
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.trials.trial_screen import TrialScreen
from heritagecheck.survey.entry.series_entry import (
    LAID_NOT_READ,
    ON_STEEL,
    as_last_panel,
    panel_tests,
    read_values,
    tests_on,
    values_typed,
)
from heritagecheck.survey.entry.typed_values import NotTakenError, read_typed, shown
from heritagecheck.survey.records import Panel, SiteTest
from heritagecheck.survey.records.record import parts_of_list
from heritagecheck.survey.records.trials import BELOW_X50
from heritagecheck.tables.row_types import BelowX50, Quantity

WHEN = ("done_on", "read_on", "not_read_because", "read_by", "reader_blind")
PLACE = ("control_kept", "winter_included", "joint_included")
COUNTS = ("x50_fields", "x50_fields_weakest", "damaged_fields", "damage_kind",
          "damaged_component", "fields_before", "damaged_before", "before_on")  # fmt: skip
RESULT = ("residual_pct", "delta_b", "late_effects")
NUMBERS = ("cleaning_low", "cleaning_high", "damage_low", "damage_high")
STEEL = ("grade_reached", "required_adhesion_mpa", "required_profile_low_um",
         "required_profile_high_um")  # fmt: skip
PARTS = (
    ("When, and by whom", WHEN), ("The place", PLACE), ("Damage at ×50", COUNTS),
    ("What it shows", RESULT),
    ("Settings of this panel", NUMBERS), ("Required of steel", STEEL),
    ("In words", ("note",)),
)  # fmt: skip
STONE_ONLY, IF_DAMAGED = {"joint_included", "delta_b"}, {"damage_kind", "damaged_component"}
MEASURED, HOW = "measured.", "how."  # "how." begins the name of how a quantity was measured
BEFORE = {"damaged_before", "before_on"}


class Measured(NamedTuple):
    """A quantity measured on a panel of steel, as the screen shows it."""

    code: str
    title: str
    text: str
    wrong: str
    how: str
    fresh: bool


class PanelScreen(TrialScreen):
    """One panel: when it was read, what it showed, and what its coating requires."""

    template = "panel.html"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.name, self.panel = parts[2], parts[4]
        self.heading = f"Panel {self.panel}"
        fields = (*(field for _, some in PARTS for field in some), "measured_below")
        self.form = Form(desk, "panel", self.place, Panel, fields, begun=self.kept)
        self.forms["panel"] = self.form
        self.measured_task = f"{self.place}#measured"
        self._measured_then = self._measured()
        self.measured = self._measured_then | desk.drafts.read(desk.who, self.measured_task)

    @property
    def kept(self) -> Panel:
        """The panel as it is saved."""
        return self.panel_of(self.name, self.panel)

    @property
    def following(self) -> str:
        """The panel after this one; empty after the last."""
        codes = [one.panel for one in self.panels_of(self.name)]
        return next(iter(codes[codes.index(self.panel) + 1 :]), "")

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        if self.measured == self._measured_then:
            self.measured = self._measured_then = self._measured()
        before, offered = as_last_panel(self.panels_of(self.name), self.panel)
        told = {name: shown(value) for name, value in offered.items()}
        new = {name: text for name, text in told.items() if self.form.text[name] != text}
        return {
            **super().values(), "name": self.name, "form": self.form,
            "parts": self._parts(),
            "before": before if new else "", "following": self.following,
            "unit": str(self.kept.scale), "weakest": self.weakest,
            "spots": len(self.spots_of(self.panel)), "spots_laid": self.kept.spots_laid,
            "cautions": self.cautions_of_series(self.name),
            "measured": self._measured_fields(), "below": self._below(),
        }  # fmt: skip

    def _parts(self) -> list[tuple[str, list[Field]]]:
        """The fields shown now, under their headings."""
        views = {view.name.partition(".")[2]: view for view in self.form.view()}
        found = []
        for title, fields in PARTS:
            asked = [views[one] for one in fields if self.form.text[one] or self._asked(one)]
            if asked:
                found.append((title, asked))
        return found

    def _below(self) -> list[tuple[str, str, bool]]:
        """Measurements below ×50: code, name, and whether the panel names it; none until read."""
        named = self._named_below()
        if not (named or self.form.text["read_on"].strip()):
            return []
        names = {row.measure: row.name for row in BelowX50.rows()}
        return [(one, names[one], one in named) for one in BELOW_X50]

    def _named_below(self) -> list[str]:
        """Measurements below ×50 that the panel names, in the order of the list."""
        return list(parts_of_list(self.form.text["measured_below"]))

    def do_below(self, event: Event) -> None:
        """Name a measurement below ×50, or take it out."""
        named = self._named_below()
        kept = [one for one in named if one != event.arg]
        now = kept if event.arg in named else [*named, event.arg]
        self.form.type("measured_below", "; ".join(now))

    def _asked(self, field: str) -> bool:
        """Whether a field is shown, given the answers so far."""
        text, metal = self.form.text, self.kind == "metal"
        if field in WHEN[:3]:
            return field != "not_read_because" or not text["read_on"]
        conditions = {
            **dict.fromkeys(IF_DAMAGED, text["damaged_fields"].strip() not in {"", "0"}),
            **dict.fromkeys(BEFORE, bool(text["fields_before"].strip())),
            **dict.fromkeys(NUMBERS, self.kept.setting_quantity is not None),
            **dict.fromkeys(STEEL, metal),
            **dict.fromkeys(STONE_ONLY, not metal),
            "x50_fields_weakest": bool(self.weakest),
        }
        # A panel that was not read has no further fields.
        return bool(text["read_on"].strip()) and conditions.get(field, True)

    def typed(self, name: str, value: str) -> None:
        """Store what was typed; a panel with readings is no longer one that was only laid."""
        if name.startswith(MEASURED):
            self.measured = self.measured | {name.removeprefix(MEASURED): value}
            self.desk.drafts.write(self.desk.who, self.measured_task, self.measured)
            return
        super().typed(name, value)
        laid = self.form.text["not_read_because"] == LAID_NOT_READ
        if name == "panel.read_on" and laid and _is_date(value):
            self.form.type("not_read_because", "")

    def do_today(self, event: Event) -> None:
        """It was read today, by whoever saves."""
        self.typed("panel.read_on", date.today().isoformat())
        self.form.type("read_by", self.desk.who)

    def do_as_last(self, event: Event) -> None:
        """Take over what the panel before it shared, to be looked at and saved."""
        _, offered = as_last_panel(self.panels_of(self.name), self.panel)
        for name, value in offered.items():
            self.typed(f"panel.{name}", shown(value))

    def do_save(self, event: Event) -> None:
        """Keep the panel."""
        if self._saved():
            self.desk.go("zone", self.code, "series", self.name)

    def do_save_next(self, event: Event) -> None:
        """Keep the panel, and go on with the one after it."""
        if self._saved():
            self.desk.go("zone", self.code, "series", self.name, "panel", self.following)

    def do_spots(self, event: Event) -> None:
        """To its spots."""
        self.desk.go("zone", self.code, "series", self.name, "spots", self.panel)

    def do_no_spots(self, event: Event) -> None:
        """Record that no spot was laid on it."""
        self.desk.save(self.kept.changed(spots_laid=0), what=f"no spots laid on {self.panel}")

    def _measured(self) -> dict[str, str]:
        """What is saved of the tests on a panel of steel, as it would be typed."""
        if self.kind != "metal":
            return {}
        survey, kept = self.desk.survey, self.kept
        values = {one: values_typed(tests_on(survey, kept, one)) for one in ON_STEEL}
        return values | {f"{HOW}{one}": "" for one in ON_STEEL}

    def _measured_fields(self) -> list[Measured]:
        """What is measured on a panel of steel, as the screen shows it."""
        if not self.form.text["read_on"].strip() or not self.measured:
            return []
        rows = {one: Quantity.named(one) for one in ON_STEEL}
        titles = {one: f"{row.name} [{row.unit}]" for one, row in rows.items()}
        return [
            Measured(one, titles[one], self.measured[one], self._wrong_values(one),
                     self.measured[f"{HOW}{one}"], one in self._remeasured())
            for one in ON_STEEL
        ]  # fmt: skip

    def _remeasured(self) -> list[str]:
        """Quantities of which other values are typed than saved."""
        saved = self._measured()
        return [one for one in ON_STEEL if one in saved and saved[one] != self.measured[one]]

    def _wrong_values(self, quantity: str) -> str:
        """Why the values of a quantity can't be taken; empty where they can."""
        try:
            read_values(quantity, self.measured[quantity])
        except NotTakenError as why:
            return str(why)
        return ""

    def _tests(self, panel: Panel) -> tuple[list[SiteTest], list[SiteTest]]:
        """Tests to save with the panel, and those to delete."""
        found: list[SiteTest] = []
        gone: list[SiteTest] = []
        for one in self._remeasured():
            how = self.measured[f"{HOW}{one}"].strip()
            fresh, left = panel_tests(
                self.desk.survey, panel, one, read_values(one, self.measured[one]),
                method=how, tested_on=panel.read_on or panel.done_on,
                tested_by=panel.read_by or self.desk.who,
            )  # fmt: skip
            found += fresh
            gone += left
        return found, gone

    def _measured_ready(self) -> bool:
        """Whether all that was measured can be taken; else it is said what can't."""
        for one in self._remeasured():
            if wrong := self._wrong_values(one):
                self.desk.refuse("Not saved: 1 to correct.", wrong)
                self.desk.focus = MEASURED + one
                return False
            if not self.measured[f"{HOW}{one}"].strip():
                self.desk.refuse("Not saved: write how it was measured, such as pull-off.")
                self.desk.focus = f"{MEASURED}{HOW}{one}"
                return False
        return True

    def _saved(self) -> bool:
        if not self.ready(self.form) or not self._measured_ready():
            return False
        typed = cast("Panel", self.form.written.record())
        values = {name: getattr(typed, name) for name in self.form.fields}
        record = self.kept.changed(**values)
        tests, gone = self._tests(record)
        what = f"panel {self.panel}"
        if not self.desk.save(record, *tests, what=what, in_place_of=gone):
            return False
        self.form.saved()
        self.desk.drafts.drop(self.desk.who, self.measured_task)
        self.measured = self._measured_then = self._measured()
        return True


def _is_date(text: str) -> bool:
    """Whether a day can be read."""
    try:
        return read_typed(Panel, "read_on", text) is not None
    except NotTakenError:
        return False

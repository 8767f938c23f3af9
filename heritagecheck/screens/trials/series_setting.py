"""The screen of a series of trial panels: its method, what it treats, its setting line by line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Button, Form
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.trials.trial_screen import Judged, TrialScreen
from heritagecheck.sentences import upper_first
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.entry.series_entry import (
    LAID_NOT_READ,
    OF_SERIES,
    SettingLine,
    further_quantities,
    laid_panels,
    required_on_panels,
    series_name,
    setting_in_words,
    setting_lines,
    with_panels,
)
from heritagecheck.survey.entry.term_search import matching, terms_for
from heritagecheck.survey.records import Panel, Setting, quantities
from heritagecheck.tables.methods import brief_method

FIELDS = ("quantity", "value", "value_to", "unit", "words")
NOT_MADE_YET = "?"  # placeholder for a code that is made when the record is saved
LAYING = ("done_on", "panels_in_series", "note")
SHARED = ("method", "soiling", "also_treated", "after_series", "passes", "wetted",
          "setting_quantity", "setting_unit")  # fmt: skip
MOST_PANELS = 60
EXTRA = "quantities"
UNJUDGED = (
    "records of this zone contradict one another, so nobody knows which methods are ruled out here"
)


@dataclass(frozen=True, slots=True)
class LineView:
    """One line as the screen shows it."""

    key: str
    title: str
    why: str
    quantities: tuple[Button, ...]
    value: str
    value_to: str
    takes_value: bool
    unit: str
    units: tuple[Button, ...]
    words: tuple[Button, ...]
    free_words: str | None
    fault: str
    wrong: str


class SettingForm(Form):
    """One line of the setting of a series; `saved` is its record, if there is one."""

    def __init__(
        self, desk: Desk, task: str, line: SettingLine, zone: str, series: str, method: str,
        saved: Setting | None,
    ) -> None:  # fmt: skip
        super().__init__(
            desk, f"set-{method}-{line.quantities[0]}", task, Setting, FIELDS,
            fixed={"zone": zone, "series": series}, begun=saved,
        )  # fmt: skip
        self.line = line

    @property
    def quantity(self) -> str:
        """The quantity of the line; empty while several are possible."""
        only = self.line.quantities[0] if len(self.line.quantities) == 1 else ""
        return self.text["quantity"] or only

    @property
    def given(self) -> bool:
        """Whether anything is typed."""
        return any(self.text[name].strip() for name in ("value", "value_to", "words"))

    @property
    def unit(self) -> str:
        """Unit of the value: the one chosen, or the only one there is."""
        units = quantities.units_of(self.quantity) if self.quantity else ()
        return self.text["unit"] or (units[0] if len(units) == 1 else "")

    def type(self, name: str, value: str) -> None:
        """Take what is typed; another quantity has other units and words."""
        super().type(name, value)
        if name == "quantity":
            for other in ("unit", "words"):
                super().type(other, "")

    @property
    def written(self) -> RecordForm[Setting]:
        """What is typed, on the way to a record."""
        with_value = bool(self.text["value"].strip() or self.text["value_to"].strip())
        typed = self.text | {"quantity": self.quantity, "unit": self.unit if with_value else ""}
        return RecordForm(Setting, typed, self.fixed)

    def setting(self, series: str) -> Setting:
        """The record, for a series of this name."""
        return self.written.record().changed(series=series)

    def line_view(self) -> LineView:
        """The line as the screen shows it."""
        faults = self.written.faults(self.told) if self.told else {}
        quantity = self.quantity
        beside = {"quantity": quantity}
        units = quantities.units_of(quantity) if quantity else ()
        words = terms_for(Setting, "words", beside) if quantity else ()
        free = bool(quantity) and quantities.ANY_WORDS in quantities.terms_of(quantity)
        hint = f" [{self.line.unit}]" if self.line.unit and not units else ""
        title = upper_first(self.line.name) + hint
        wrong, fault = next(iter(faults.items()), ("", ""))
        return LineView(
            key=self.key, title=title, why=self.line.why,
            quantities=tuple(
                Button(one, quantities.name_of(one), one == quantity)
                for one in self.line.quantities if len(self.line.quantities) > 1
            ),
            value=self.text["value"], value_to=self.text["value_to"], takes_value=bool(units),
            unit=self.unit if len(units) == 1 else "",
            units=tuple(Button(one, one, one == self.unit) for one in units if len(units) > 1),
            words=tuple(Button(one.code, one.label, one.code == self.text["words"])
                        for one in words),
            free_words=self.text["words"] if free else None,
            fault=fault, wrong=wrong,
        )  # fmt: skip


class SeriesSettingScreen(TrialScreen):
    """A new series of panels, or the setting of one that is saved."""

    template = "series_setting.html"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.name = parts[2] if parts[1] == "series" else ""
        self.heading = (
            f"Setting of {self.name}" if self.name else f"New trial panels on {self.code}"
        )
        self.search = ""
        kept = self.panels_of(self.name)
        first = kept[0] if kept else None
        fields = SHARED if first else SHARED + LAYING
        fixed: dict[str, object] = {
            "panel": NOT_MADE_YET, "zone": self.code, "series": NOT_MADE_YET,
            "setting": NOT_MADE_YET, "not_read_because": LAID_NOT_READ,
        }  # fmt: skip
        self.series_form = Form(desk, "series", self.place, Panel, fields, fixed=fixed, begun=first)
        self.forms["series"] = self.series_form
        self._extra = desk.drafts.read(desk.who, f"{self.place}#more").get(EXTRA, "").split(";")
        self._make_lines()

    @property
    def method(self) -> str:
        """The method chosen; empty before."""
        return self.series_form.text["method"]

    @property
    def lines(self) -> list[SettingForm]:
        """Forms of the required lines of its setting, and of further quantities."""
        if not self.method:
            return []
        saved = {one.quantity: one for one in self.settings_of(self.name)}
        found, named = [], set()
        for line in setting_lines(self.method, self.kind):
            form = self._line(line, saved)
            found.append(form)
            # Of two quantities of which one would do, both may be saved.
            named |= {form.quantity} if form.quantity in saved else set(line.quantities)
        more = [one for one in (*saved, *self._extra) if one and one not in named]
        for quantity in dict.fromkeys(more):
            name = quantities.name_of(quantity)
            found.append(self._line(SettingLine(name, "", "", (quantity,)), saved))
        return found

    def _make_lines(self) -> None:
        """What was typed before the page is shown, as after a reload, has its place already."""
        self.forms |= {line.key: line for line in self.lines}

    def _line(self, line: SettingLine, saved: Mapping[str, Setting]) -> SettingForm:
        """The form of one line, made once."""
        key = f"set-{self.method}-{line.quantities[0]}"
        if key not in self.forms:
            kept = next((saved[one] for one in line.quantities if one in saved), None)
            self.forms[key] = SettingForm(
                self.desk, self.place, line, self.code, self.name or NOT_MADE_YET, self.method, kept
            )
        return cast("SettingForm", self.forms[key])

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        lines = self.lines
        given = [line.written.record() for line in lines if line.given and not _wrong(line)]
        fields = {view.name.partition(".")[2]: view for view in self.series_form.view()}
        text = self.series_form.text
        before = [one.method for one in self.panels_of(text["after_series"])[:1]]
        chosen = next((one for one in self.judged if one.method.method == self.method), None)
        named = {line.quantity for line in lines} | {
            one for line in lines for one in line.line.quantities if not line.quantity
        }
        further = further_quantities(self.method, named) if self.method else ()
        return {
            **super().values(), "name": self.name,
            "chosen": chosen, "unjudged": UNJUDGED if self.unjudged else "", "asked": fields,
            "methods": self._methods(), "search": self.search,
            "soilings": self._soilings(), "others": [one for one in self.series()
                                                     if one != self.name],
            "on_panels": [fields[one] for one in required_on_panels(self.method, self.kind)]
            if self.method else [],
            "lines": [line.line_view() for line in lines],
            "further": [(one, quantities.name_of(one)) for one in further],
            "varied": [(one.quantity, quantities.name_of(one.quantity)) for one in lines
                       if one.quantity and quantities.units_of(one.quantity)],
            "units": quantities.units_of(text["setting_quantity"])
            if text["setting_quantity"] else (),
            "words": setting_in_words(given) if given else "",
            "cautions": self.cautions([*before, self.method], given)
            if self.method else (),
            "form": self.series_form,
        }  # fmt: skip

    @property
    def unjudged(self) -> bool:
        """Whether nothing can say which methods are ruled out here."""
        return self.evidence is None

    def _methods(self) -> list[tuple[Judged, str]]:
        """Methods that fit what is searched, with their names here; all where nothing is."""
        terms = terms_for(Panel, "method")
        fits = matching(terms, self.search, len(terms)) if self.search.strip() else terms
        codes = {term.code for term in fits}
        here = self.zone.soiling_codes
        found = [(one, brief_method(one.method.method, here)) for one in self.judged
                 if one.method.method in codes]  # fmt: skip
        return sorted(found, key=lambda one: bool(one[0].stops))

    def _soilings(self) -> list[tuple[str, str, bool]]:
        """Soilings of the zone: code, name, and whether the panels treat it."""
        labels = {term.code: term.label for term in terms_for(Panel, "soiling")}
        treated = self._treated()
        here = dict.fromkeys((*self.zone.soiling_codes, *treated))
        return [(code, labels[code], code in treated) for code in here]

    def _treated(self) -> list[str]:
        text = self.series_form.text
        parts = (text["soiling"], *text["also_treated"].split(";"))
        return [part.strip() for part in parts if part.strip()]

    def typed(self, name: str, value: str) -> None:
        """Keep what was typed."""
        if name == "search":
            self.search = value
        else:
            super().typed(name, value)

    def do_method(self, event: Event) -> None:
        """Choose the method; an empty one returns to the list."""
        self.series_form.type("method", event.arg)
        self.search = ""
        self._make_lines()

    def do_soiling(self, event: Event) -> None:
        """Add a soiling to those treated, or take it out."""
        treated = self._treated()
        kept = [one for one in treated if one != event.arg]
        first, *more = (kept if event.arg in treated else [*treated, event.arg]) or [""]
        self.series_form.type("soiling", first)
        self.series_form.type("also_treated", "; ".join(more))

    def do_after(self, event: Event) -> None:
        """Choose the series that was laid earlier on the same place, or none."""
        self.series_form.type("after_series", event.arg)

    def do_vary(self, event: Event) -> None:
        """Choose the quantity in which the panels were varied; its unit where it is known."""
        again = self.series_form.text["setting_quantity"] == event.arg
        quantity = "" if again else event.arg
        units = quantities.units_of(quantity) if quantity else ()
        known = next((line.unit for line in self.lines if line.quantity == quantity), "")
        self.series_form.type("setting_quantity", quantity)
        self.series_form.type("setting_unit", known or (units[0] if len(units) == 1 else ""))

    def do_vary_unit(self, event: Event) -> None:
        """Choose the unit of that quantity."""
        self.series_form.type("setting_unit", event.arg)

    def do_further(self, event: Event) -> None:
        """Add one more quantity to the setting."""
        self._extra = [*self._extra, event.arg]
        more = {EXTRA: ";".join(filter(None, self._extra))}
        self.desk.drafts.write(self.desk.who, f"{self.place}#more", more)
        self._make_lines()

    def do_save(self, event: Event) -> None:
        """Save the series: its settings with all its panels."""
        lines = [line for line in self.lines if line.given]
        if not self.method:
            self.desk.refuse("Not saved: choose the method first.")
            return
        if not self._may_be_laid() or not self.ready(self.series_form, *lines):
            return
        record = cast("Panel", self.series_form.written.record())
        if not self.name and record.panels_in_series > MOST_PANELS:
            self.desk.refuse(
                f"Not saved: {record.panels_in_series} panels are more than one series holds. "
                f"Write at most {MOST_PANELS}; was a digit too many typed?"
            )
            self.desk.focus = "series.panels_in_series"
            return
        if self.name:
            self._change(record, lines)
        else:
            self._lay(record, lines)

    def _may_be_laid(self) -> bool:
        """Whether the method is open here, or a note says why the panels exist."""
        stops = next(one.stops for one in self.judged if one.method.method == self.method)
        if not (stops or self.unjudged) or self.name or self.series_form.text["note"].strip():
            return True
        why = (
            "this method is ruled out on this zone, so no panel may be laid" if stops else UNJUDGED
        )
        self.desk.refuse(f"Not saved: {why}.", "If panels exist already, write below why they do.")
        self.desk.focus = "series.note"
        return False

    def _lay(self, record: Panel, lines: list[SettingForm]) -> None:
        """Keep a new series."""
        name = series_name(self.desk.survey, self.code, self.method)
        settings = [line.setting(name) for line in lines]
        words = setting_in_words(settings, record.passes, record.wetted)
        like = record.changed(series=name, setting=words)
        survey = self.desk.survey
        panels = laid_panels(survey, like, record.panels_in_series)
        recorded = len(self.of_zone(Panel)) + len(panels)
        zone = with_panels(self.zone, recorded)
        if self.desk.save(*zone, *panels, *settings, what=f"series {name} of zone {self.code}"):
            self._forget()
            self.desk.go("zone", self.code, "series", name)

    def _change(self, record: Panel, lines: list[SettingForm]) -> None:
        """Keep what was changed of a series, on all its panels."""
        settings = [line.setting(self.name) for line in lines]
        words = setting_in_words(settings, record.passes, record.wetted)
        shared = {field: getattr(record, field) for field in OF_SERIES} | {"setting": words}
        panels = [panel.changed(**shared) for panel in self.panels_of(self.name)]
        told = {one.quantity for one in settings}
        gone = [one for one in self.settings_of(self.name) if one.quantity not in told]
        what = f"the setting of {self.name}"
        if self.desk.save(*panels, *settings, what=what, in_place_of=gone):
            for form in (self.series_form, *self.lines):
                form.saved()
            self.desk.go("zone", self.code, "series", self.name)

    def _forget(self) -> None:
        """Clear the forms: what was typed is saved."""
        for form in self.forms.values():
            form.saved(**dict.fromkeys(form.fields, ""))
        self._extra = []
        self.desk.drafts.drop(self.desk.who, f"{self.place}#more")


def _wrong(line: SettingForm) -> bool:
    """Whether a line can't be taken as it is."""
    return bool(line.written.faults())

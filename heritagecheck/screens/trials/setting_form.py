"""One line of the form of a setting: a quantity with its value and unit, or in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Button, Form
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.entry.series_entry import SettingLine
from heritagecheck.survey.entry.term_search import terms_for
from heritagecheck.survey.records import Setting, quantities

FIELDS = ("quantity", "value", "value_to", "unit", "words")


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
    """
    One line of the setting of a series.

    Parameters
    ----------
    desk : Desk
        What all screens share.
    task : str
        Under which its draft is kept.
    line : SettingLine
        What is asked.
    zone, series : str
        Codes of the zone and of the series.
    kept : Setting, optional
        What is saved of it.
    """

    def __init__(
        self, desk: Desk, task: str, line: SettingLine, zone: str, series: str, method: str,
        saved: Setting | None,
    ) -> None:  # fmt: skip
        begun = RecordForm.of(saved).typed if saved else None
        super().__init__(
            desk, f"set-{method}-{line.quantities[0]}", task, Setting, FIELDS,
            fixed={"zone": zone, "series": series}, begun=begun,
        )  # fmt: skip
        self.line = line

    @property
    def quantity(self) -> str:
        """The quantity that tells it; empty while several could."""
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
    def written(self) -> RecordForm:
        """What is typed, on the way to a record."""
        with_value = bool(self.text["value"].strip() or self.text["value_to"].strip())
        typed = self.text | {"quantity": self.quantity, "unit": self.unit if with_value else ""}
        return RecordForm(Setting, typed, self.fixed)

    def setting(self, series: str) -> Setting:
        """The record, for a series of this name."""
        return cast("Setting", self.written.record().changed(series=series))

    def line_view(self) -> LineView:
        """The line as the screen shows it."""
        faults = self.written.faults(self.told) if self.told else {}
        quantity = self.quantity
        beside = {"quantity": quantity}
        units = quantities.units_of(quantity) if quantity else ()
        words = terms_for(Setting, "words", beside) if quantity else ()
        free = bool(quantity) and quantities.ANY_WORDS in quantities.terms_of(quantity)
        hint = f" [{self.line.unit}]" if self.line.unit and not units else ""
        title = self.line.name[:1].upper() + self.line.name[1:] + hint
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

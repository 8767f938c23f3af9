"""The layers on a zone, outermost first, and whether each is itself of value."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, ClassVar

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Field, Form
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone.at_hand import ASKED
from heritagecheck.screens.zone.zone_screen import ZoneScreen
from heritagecheck.survey.entry.codes import next_codes
from heritagecheck.survey.entry.record_form import title_of
from heritagecheck.survey.entry.term_search import Term, matching, terms_for
from heritagecheck.survey.records import Layer, Zone
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.structure import WHOLLY_VALUED

OF_VALUE = WHOLLY_VALUED | {"partly"}
SHOWN_AT_ONCE = 8


class SoilingScreen(ZoneScreen):
    """The list of layers; it also writes the soilings of the zone."""

    template = "zone_soiling.html"
    task: ClassVar[str] = "soiling"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.search = ""
        self.hand.layers()

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        terms = terms_for(Zone, "soilings")
        names = {term.code: term.label for term in terms}
        left = [term for term in terms if term.code not in self.hand.soilings]
        found: Sequence[Term] = matching(left, self.search, SHOWN_AT_ONCE)
        coatings = next(one for one in self.hand.zone.view() if one.name == "zone.coatings")
        return {
            **super().values(), "search": self.search, "found": found, "coatings": coatings,
            "left": len(left),
            "layers": [
                (soiling, names.get(soiling, soiling), form, self._fields(form))
                for soiling, form in zip(self.hand.soilings, self.hand.layers(), strict=True)
            ],
        }  # fmt: skip

    @staticmethod
    def _fields(form: Form) -> list[Field]:
        """Fields of a layer; its material only if it is of value."""
        asked = form.text["value"] in OF_VALUE or form.text["made_of"]
        return [one for one in form.view() if asked or not one.name.endswith(".made_of")]

    def typed(self, name: str, value: str) -> None:
        """Search for a soiling, or fill in a layer."""
        if name == "soiling.search":
            self.search = value
        else:
            super().typed(name, value)

    def do_add(self, event: Event) -> None:
        """Put a soiling below the others; by the Enter key, the likeliest of those found."""
        code = event.arg
        if not code:
            left = [one for one in terms_for(Zone, "soilings")
                    if one.code not in self.hand.soilings]  # fmt: skip
            likely = matching(left, self.search, 1) if self.search.strip() else ()
            if not likely:
                self.desk.refuse(f"No soiling is called “{self.search}”. Choose one of the list.")
                return
            code = likely[0].code
        self._write([*self.hand.soilings, code])
        self.search = ""

    def do_up(self, event: Event) -> None:
        """Put a layer further out."""
        self._move(event.arg, -1)

    def do_down(self, event: Event) -> None:
        """Put a layer further in."""
        self._move(event.arg, 1)

    def do_drop(self, event: Event) -> None:
        """Take a layer off the list; what was typed for it stays as a draft."""
        self._write([one for one in self.hand.soilings if one != event.arg])

    def _move(self, code: str, by: int) -> None:
        order = self.hand.soilings
        place = order.index(code)
        order.insert(max(place + by, 0), order.pop(place))
        self._write(order)

    def _write(self, order: Iterable[str]) -> None:
        self.hand.zone.type("soilings", "; ".join(order))
        self.hand.layers()

    def changed_forms(self) -> Sequence[Form]:
        """The form of the zone, which lists its soilings, and those of its layers."""
        layers = [form for form in self.hand.layers() if form.changed or form.kept() is None]
        return [*([self.hand.zone] if self.hand.zone.changed else []), *layers]

    def known(self) -> bool:
        """A new zone is saved here, together with its layers."""
        return True

    def ready(self, *forms: Form) -> bool:
        """Whether zone and layers can be saved; if not, shows what the zone lacks."""
        self.hand.date_new_zone()
        wrong = [name for name in self.hand.zone.faults() if name in ASKED]
        if wrong:
            self.desk.refuse(
                "Not saved yet: the zone is saved together with its soilings.",
                f"First fill in: {', '.join(title_of(Zone, name) for name in wrong)}.",
            )
            self.desk.focus = f"zone.{wrong[0]}"
            self.desk.go("zone", self.hand.code)
            return False
        return super().ready(*forms)

    def records(self, forms: Sequence[Form]) -> Iterable[Record]:
        """The zone and its layers; new layers are given their codes now."""
        new = [form for form in forms if form.model is Layer and form.kept() is None]
        made = next_codes(self.desk.survey, "layers", len(new), zone=self.hand.code)
        for form, code in zip(new, made, strict=True):
            form.fixed["layer"] = code
        return super().records(forms)

    def taken_out(self) -> Sequence[Record]:
        """Layers whose soiling is no longer on the list."""
        return self.hand.dropped_layers()

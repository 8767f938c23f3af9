"""The spots of a trial panel: a grid that looks like the panel, filled in by taps or letters."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from heritagecheck.evidence.laser import peak_fluence
from heritagecheck.evidence.laser.beam import three_digits
from heritagecheck.screens.app import Desk
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.trials.trial_screen import TrialScreen
from heritagecheck.survey.entry.series_entry import setting_lines
from heritagecheck.survey.entry.spot_grid import ABSENT, Place, SpotGrid, dose_in_words, grid_of
from heritagecheck.survey.entry.term_search import Term, terms_for
from heritagecheck.survey.entry.typed_values import NotTakenError, read_typed
from heritagecheck.survey.records import Panel, Spot, quantities
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.tables.row_types import Method

GRID = "grid."
SEEN = "seen"  # the saved spots that a draft started from
SQUARE_ON = 90
MOST_FAULTS = 8
OF_LAYOUT = re.compile(r"rows|columns|along|quantity|unit|dose\.\d+|passes|wetted")


@dataclass(frozen=True, slots=True)
class Cell:
    """One place of the grid as the screen shows it."""

    place: Place
    at: str
    number: str
    dose: str
    state: str
    cleaned: str
    damaged: str
    fault: str
    in_hand: bool


class SpotsScreen(TrialScreen):
    """The spots of one panel."""

    template = "spots.html"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.name, self.panel = parts[2], parts[4]
        self.heading = f"Spots of {self.panel}"
        self.begun = self._saved()
        self.text = self.begun | desk.drafts.read(desk.who, self.place)
        self.at = ""
        self.tells = False
        self._before: list[dict[str, str]] = []

    @property
    def kept(self) -> Panel:
        """The panel as it is saved."""
        return self.panel_of(self.name, self.panel)

    @property
    def grid(self) -> SpotGrid:
        """What is typed."""
        return SpotGrid(self.kept, self.text, self.spots_of(self.panel))

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        if self._others_saved and self.text == self.begun:
            self._begin()
        grid = self.grid
        faults = grid.faults() if self.tells else {}
        cells = [self._cell(place, faults.get(place.key, ""), grid.scale) for place in grid.places]
        rows, columns = grid.size
        held = next((cell for cell in cells if cell.at == self.at), None)
        method = self.kept.method
        return {
            **super().values(), "name": self.name,
            "panel": self.panel, "text": self.text,
            "grid": grid, "faults": faults, "held": held,
            "columns": columns, "scale": str(grid.scale),
            "rows": [cells[row * columns : (row + 1) * columns] for row in range(rows)],
            "quantities": [(one, quantities.name_of(one)) for one in self._quantities()],
            "units": quantities.units_of(self.text["quantity"])
            if self.text.get("quantity") else (),
            "counts": list(_counts(cells)), "open": sum(not one.place.settled for one in cells),
            "no_kind": [one for one in cells if one.place.typed["damaged"] == "yes"
                        and not one.place.typed["damage_kind"]],
            "components": self._components(), "kinds": self._kinds(),
            "laser": Method.named(method).family == "laser",
            "last": self._last(), "can_undo": bool(self._before),
            "changed": self.text != self.begun, "others": self._others_saved,
            "cautions": self.cautions_of_series(self.name),
        }  # fmt: skip

    def _saved(self) -> dict[str, str]:
        """What would have to be typed for the spots as they are saved, and which these are."""
        spots = self.spots_of(self.panel)
        seen = hashlib.sha256(repr(spots).encode()).hexdigest()
        return grid_of(self.kept, spots) | {SEEN: seen}

    def _begin(self) -> None:
        """Begin with what is saved."""
        self.desk.drafts.drop(self.desk.who, self.place)
        self.begun = self._saved()
        self.text, self._before, self.tells = dict(self.begun), [], False

    @property
    def _others_saved(self) -> bool:
        """Whether other spots of the panel were saved since this entry started."""
        return self.text[SEEN] != self._saved()[SEEN]

    def do_take_saved(self, event: Event) -> None:
        """Go on with the spots as they are saved, without what was typed here."""
        self._begin()

    def _cell(self, place: Place, fault: str, scale: Scale) -> Cell:
        at = f"{place.row}.{place.column}"
        dose = dose_in_words(place.dose, scale) if place.dose.strip() else "no dose yet"
        words = {"yes": "{}", "no": "not {}", "": "not said whether {}"}
        cleaned, damaged = (
            words[place.typed[name]].format(name) for name in ("cleaned", "damaged")
        )
        state = f"{cleaned}, {damaged}"
        if place.absent:
            state = "no spot here"
        elif why := place.typed["not_read_because"]:
            state = f"not read: {why}"
        number = dose.removesuffix(str(scale)).strip() if place.dose.strip() else "?"
        return Cell(place, at, number, dose, state, cleaned, damaged, fault, at == self.at)

    def _quantities(self) -> list[str]:
        """Quantities that can be varied from spot to spot."""
        told = [one.quantity for one in self.settings_of(self.name)]
        asked = [one for line in setting_lines(self.kept.method, self.kind)
                 for one in line.quantities]  # fmt: skip
        first = [self.text.get("quantity", ""), self.kept.setting_quantity or ""]
        every = dict.fromkeys((*first, *asked, *told, "passes"))
        return [one for one in every if one and quantities.units_of(one)]

    def _components(self) -> list[str]:
        """Components that lay under spots of this substrate."""
        weakest = [part.strip() for part in self.weakest.split("|") if part.strip()]
        typed = [place.typed["component"] for place in self.grid.places]
        saved = [spot.component or "" for spot in self.of_zone(Spot)]
        return [one for one in dict.fromkeys((*weakest, *saved, *typed)) if one]

    def _kinds(self) -> tuple[Term, ...]:
        return terms_for(Spot, "damage_kind")

    def _last(self) -> str:
        """Another panel of the series of which the spots are saved; empty where there is none."""
        if self.spots_of(self.panel):
            return ""
        codes = [one.panel for one in self.panels_of(self.name) if one.panel != self.panel]
        return next((code for code in reversed(codes) if self.spots_of(code)), "")

    def _write(self, **changed: str) -> None:
        """Take what was changed, and keep it as a draft."""
        self._before.append(dict(self.text))
        self.text |= changed
        self.desk.drafts.write(self.desk.who, self.place, self.text)

    def typed(self, name: str, value: str) -> None:
        """Keep what was typed."""
        name = name.removeprefix(GRID)
        if self.text.get(name, "") != value:
            self._write(**{name: value})

    def do_along(self, event: Event) -> None:
        """Say in which direction the dose changes."""
        self._write(along=event.arg)

    def do_quantity(self, event: Event) -> None:
        """Choose what was varied from spot to spot."""
        units = quantities.units_of(event.arg)
        same = event.arg == self.kept.setting_quantity
        known = self.kept.setting_unit if same else None
        self._write(quantity=event.arg, unit=known or (units[0] if len(units) == 1 else ""))

    def do_unit(self, event: Event) -> None:
        """Choose its unit."""
        self._write(unit=event.arg)

    def do_wetted(self, event: Event) -> None:
        """Say whether the surface was wetted before."""
        self._write(wetted="" if self.text.get("wetted") == event.arg else event.arg)

    def do_today(self, event: Event) -> None:
        """They were read today, by whoever saves."""
        self._write(read_on=date.today().isoformat(), read_by=self.desk.who)

    def do_as_last(self, event: Event) -> None:
        """Take over size and doses of another panel; what its spots showed is not taken over."""
        typed = grid_of(self.panel_of(self.name, event.arg), self.spots_of(event.arg))
        self._write(**{name: text for name, text in typed.items() if OF_LAYOUT.fullmatch(name)})

    def do_cleaned(self, event: Event) -> None:
        """The next answer to whether a spot came clean."""
        self._turn(event.arg, "cleaned")

    def do_damaged(self, event: Event) -> None:
        """The next answer to whether a spot is damaged."""
        self._turn(event.arg, "damaged")

    def _turn(self, at: str, name: str) -> None:
        """From not said to yes, from yes to no, from no to yes."""
        now = self.text.get(f"cell.{at}.{name}", "")
        self._write(**{f"cell.{at}.{name}": "no" if now == "yes" else "yes"})
        self.at = at

    def do_hand(self, event: Event) -> None:
        """Take a spot in hand, to say more of it."""
        self.at = "" if self.at == event.arg else event.arg

    def do_unread(self, event: Event) -> None:
        """Say why a spot was not read, or that it was read after all."""
        name = f"cell.{event.arg}.not_read_because"
        self.at = event.arg
        if self.text.get(name):
            self._write(**{name: ""})
        else:
            self.desk.focus = GRID + name

    def do_absent(self, event: Event) -> None:
        """Record that no spot was laid at this place, or that there was one."""
        name = f"cell.{event.arg}.{ABSENT}"
        self._write(**{name: "" if self.text.get(name) else "yes"})

    def do_rest(self, event: Event) -> None:
        """Answer one question with no for every spot of which nothing is said."""
        places = [one for one in self.grid.laid
                  if not one.typed[event.arg] and not one.typed["not_read_because"]]  # fmt: skip
        self._write(**{f"{place.key}.{event.arg}": "no" for place in places})

    def do_kind(self, event: Event) -> None:
        """Choose the kind of damage of the spot in hand."""
        self._write(**{f"cell.{self.at}.damage_kind": event.arg})

    def do_first_damaged(self, event: Event) -> None:
        """Choose what was damaged first at the spot in hand."""
        self._write(**{f"cell.{self.at}.damaged_component": event.arg})

    def do_component(self, event: Event) -> None:
        """Say what lay under the spot in hand."""
        self._write(**{f"cell.{self.at}.component": event.arg})

    def do_spread(self, event: Event) -> None:
        """The same component under all spots of its row, of its column, or of the panel."""
        here = self.text.get(f"cell.{self.at}.component", "")
        in_hand = next(one for one in self.grid.places if one.key == f"cell.{self.at}")
        alike = {"row": ("row",), "column": ("column",), "all": ()}[event.arg]
        same = [
            one for one in self.grid.laid
            if all(getattr(one, name) == getattr(in_hand, name) for name in alike)
        ]  # fmt: skip
        self._write(**{f"{one.key}.component": here for one in same})

    def do_undo_spots(self, event: Event) -> None:
        """Take the last change back."""
        if self._before:
            self.text = self._before.pop()
            self.desk.drafts.write(self.desk.who, self.place, self.text)

    def do_fluence(self, event: Event) -> None:
        """Offer the peak fluence as doses, from the energy of a pulse and the spot on the wall."""
        energies = [one for one in re.split(r"[;\s]+", self.text.get("energies", "")) if one]
        doses = len(self.grid.doses)
        if not doses or len(energies) != doses:
            self.desk.refuse(
                f"Not worked out: {len(energies)} energies are written for {doses} doses.",
                "Write as many energies as there are doses, separated by semicolons.",
            )
            return
        try:
            found = peak_fluence(
                [_positive(one) for one in energies], 500 * _positive(self.text.get("spot_mm", "")),
                incidence_deg=self._incidence(),
            )  # fmt: skip
        except NotTakenError as why:
            self.desk.refuse("Not worked out.", str(why))
            return
        texts = {f"dose.{step}": three_digits(one) for step, one in enumerate(found, start=1)}
        self._write(quantity="peak_fluence", unit="J/cm²", **texts)
        self.desk.say("The doses are the peak fluence of a round Gaussian beam. Look at each.")

    def _incidence(self) -> float:
        """Angle between the beam and square on, as it is saved; 0 where it is not."""
        angles = [one for one in self.settings_of(self.name) if one.quantity == "angle"]
        return SQUARE_ON - (angles[0].highest or SQUARE_ON) if angles else 0

    def do_save(self, event: Event) -> None:
        """Keep all spots of the panel, and their number with it."""
        self.desk.look_around()
        grid = self.grid
        if self._others_saved:
            self.desk.refuse("Not saved: spots of this panel were saved meanwhile, not by you.")
            return
        self.tells = True
        if faults := grid.faults():
            told = list(faults.values())
            more = len(told) - MOST_FAULTS
            rest = (f"{more} more.",) if more > 0 else ()
            self.desk.refuse(f"Not saved: {len(told)} to correct.", *told[:MOST_FAULTS], *rest)
            self.desk.focus = GRID + next(iter(faults))
            return
        spots = grid.spots(self.desk.survey)
        panel = self.kept.changed(spots_laid=len(spots))
        if self.desk.save(panel, *spots, what=f"{len(spots)} spots of {self.panel}"):
            self._begin()
            self.desk.go("zone", self.code, "series", self.name)


def _counts(cells: list[Cell]) -> Iterator[tuple[str, int, int, int]]:
    """Each dose with its spots that were read, those cleaned and those damaged."""
    for dose in dict.fromkeys(cell.dose for cell in cells):
        read = [one.place.typed for one in cells
                if one.dose == dose and one.place.typed["cleaned"] and one.place.typed["damaged"]
                and not one.place.absent and not one.place.typed["not_read_because"]]  # fmt: skip
        cleaned, damaged = (sum(one[name] == "yes" for one in read)
                            for name in ("cleaned", "damaged"))  # fmt: skip
        if read:
            yield dose, len(read), cleaned, damaged


def _positive(text: str) -> float:
    """A number above 0 as a person writes it."""
    value = read_typed(Spot, "dose", text)
    if not isinstance(value, float):
        raise NotTakenError("Write the diameter of the spot on the wall, such as 6.5.")
    return value

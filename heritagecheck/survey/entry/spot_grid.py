"""The spots of one panel as a grid: doses typed once a row or column, and what each spot showed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby

from heritagecheck.sentences import lower_first
from heritagecheck.survey.entry.codes import next_codes
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.entry.typed_values import NotTakenError, read_typed, shown, understood
from heritagecheck.survey.records import Panel, Spot
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.survey.survey import Survey

MOST_ROWS, MOST_COLUMNS = 200, 20
ROWS, COLUMNS = "rows", "columns"
# Typed once for all spots; a spot may have its own.
SHARED = ("passes", "wetted", "read_on", "read_by")
# Given for each spot.
OWN = ("cleaned", "damaged", "damage_kind", "damaged_component", "component",
       "not_read_because", "note")  # fmt: skip
ABSENT = "absent"  # no spot was laid at this place of the grid
CODE = "spot"


@dataclass(frozen=True, slots=True)
class Place:
    """One place of the grid: row and column from 1, and what was typed about its spot."""

    row: int
    column: int
    dose: str
    typed: Mapping[str, str]

    @property
    def key(self) -> str:
        """Prefix of its fields."""
        return f"cell.{self.row}.{self.column}"

    @property
    def absent(self) -> bool:
        """Whether no spot was laid here."""
        return bool(self.typed.get(ABSENT))

    @property
    def settled(self) -> bool:
        """Whether a result, or a reason for none, was given."""
        seen = bool(self.typed.get("cleaned") and self.typed.get("damaged"))
        return seen or bool(self.typed.get("not_read_because")) or self.absent


class SpotGrid:
    """
    The typed fields of the spots of one panel.

    These are ``rows``, ``columns``, ``along`` (``rows`` or ``columns``: the direction in which the
    dose changes), ``quantity``, ``unit``, ``dose.1`` and so on, fields shared by all spots, and
    ``cell.ROW.COLUMN.FIELD``. `kept` holds the saved spots.
    """

    def __init__(self, panel: Panel, typed: Mapping[str, str], kept: Sequence[Spot] = ()) -> None:
        self.panel, self.typed = panel, typed
        self._kept = {spot.spot: spot for spot in kept}

    @cached_property
    def size(self) -> tuple[int, int]:
        """Rows and columns; 0 where a number is not valid."""
        rows = _count(self.typed.get(ROWS, ""), MOST_ROWS)
        columns = _count(self.typed.get(COLUMNS, ""), MOST_COLUMNS)
        return (rows, columns) if rows and columns else (0, 0)

    @property
    def by_column(self) -> bool:
        """Whether the dose changes from column to column."""
        return self.typed.get("along") == COLUMNS

    @property
    def doses(self) -> list[str]:
        """Doses as they are typed, one for each row or column."""
        return [self.typed.get(f"dose.{step + 1}", "") for step in range(self.size[self.by_column])]

    @property
    def scale(self) -> Scale:
        """Quantity and unit of the doses."""
        return Scale(self.typed.get("quantity") or None, self.typed.get("unit") or None)

    @cached_property
    def places(self) -> tuple[Place, ...]:
        """All places, row by row."""
        doses, (rows, columns) = self.doses, self.size
        return tuple(
            Place(row, column, doses[(column if self.by_column else row) - 1],
                  self._of_place(row, column))
            for row in range(1, rows + 1) for column in range(1, columns + 1)
        )  # fmt: skip

    @property
    def laid(self) -> tuple[Place, ...]:
        """Places at which a spot was laid."""
        return tuple(place for place in self.places if not place.absent)

    def faults(self) -> dict[str, str]:
        """What is wrong, one sentence a field; places of the grid are named ``cell.ROW.COLUMN``."""
        if not all(self.size):
            return {
                name: f"Write how many {name} of spots there are, from 1 to {most}."
                for name, most in ((ROWS, MOST_ROWS), (COLUMNS, MOST_COLUMNS))
                if not _count(self.typed.get(name, ""), most)
            }
        found = dict(self._faults_of_grid())
        for place in self.laid:
            for field, why in self._form(place, "?").faults().items():
                name = self._where(place, field)
                found.setdefault(name, why if "cell" not in name else self._of_cell(place, why))
        return found

    def spots(self, survey: Survey) -> tuple[Spot, ...]:
        """Records of the spots, row by row; a SurveyError if one is not valid."""
        fresh = [place for place in self.laid if place.typed.get(CODE, "") not in self._kept]
        codes = iter(next_codes(survey, "spots", len(fresh), panel=self.panel.panel))
        found = []
        for place in self.laid:
            code = next(codes) if place in fresh else place.typed[CODE]
            found.append(self._form(place, code).record())
        return tuple(found)

    def _of_place(self, row: int, column: int) -> dict[str, str]:
        """Fields of one spot; shared fields where it has no text of its own."""
        own = {name: self.typed.get(f"cell.{row}.{column}.{name}", "")
               for name in (*OWN, *SHARED, ABSENT, CODE)}  # fmt: skip
        return {name: text or (self.typed.get(name, "") if name in SHARED else "")
                for name, text in own.items()}  # fmt: skip

    def _form(self, place: Place, code: str) -> RecordForm[Spot]:
        """One spot as a form."""
        typed = {name: place.typed[name] for name in (*OWN, *SHARED)}
        if typed["not_read_because"]:
            typed["read_on"] = ""
        if typed["damaged"] != "yes":
            typed |= {"damage_kind": "", "damaged_component": ""}
        quantity, unit = self.scale
        typed["dose"] = place.dose
        fixed = {
            "spot": code, "panel": self.panel.panel, "zone": self.panel.zone,
            "spots_on_panel": len(self.laid), "dose_quantity": quantity, "dose_unit": unit,
        }  # fmt: skip
        return RecordForm(Spot, typed, {k: v for k, v in fixed.items() if v is not None})

    def _faults_of_grid(self) -> Iterator[tuple[str, str]]:
        """What is wrong with the grid as a whole."""
        if not self.typed.get("along"):
            yield "along", "Say whether the dose changes from row to row or from column to column."
        if not self.scale.quantity:
            yield "quantity", "Choose what was varied from spot to spot."
        elif not self.scale.unit:
            yield "unit", "Choose the unit of the doses."
        for step, text in enumerate(self.doses, start=1):
            if not text.strip():
                yield f"dose.{step}", "Write the dose of these spots, such as 2.5."
        if any(not place.typed["read_on"] for place in self.laid
               if not place.typed["not_read_because"]):  # fmt: skip
            yield "read_on", "Write when the spots were read, such as today."
        here = {place.typed.get(CODE, "") for place in self.laid}
        if lost := [code for code in self._kept if code not in here]:
            saved = f"{len(lost)} of the {len(self._kept)} spots that are saved"
            yield ROWS, f"{saved} have no place in this grid. Make it larger."

    def _where(self, place: Place, field: str) -> str:
        """Name of the field into which a wrong value of a spot was typed."""
        if field == "dose":
            return f"dose.{place.column if self.by_column else place.row}"
        if field in {"dose_quantity", "dose_unit"}:
            return "quantity" if field == "dose_quantity" else "unit"
        own = self.typed.get(f"{place.key}.{field}")
        return field if field in SHARED and not own else place.key

    def _of_cell(self, place: Place, why: str) -> str:
        """A fault of one spot, with its place."""
        if not place.settled:
            lacks = [words for name, words in (("cleaned", "cleaned or not"),
                                               ("damaged", "damaged or not"))
                     if not place.typed[name]]  # fmt: skip
            why = f"say whether it is {' and '.join(lacks)}, or why it was not read."
        return f"Row {place.row}, column {place.column}: {lower_first(why)}"


def dose_in_words(text: str, scale: Scale) -> str:
    """A dose with its unit as it was understood; as typed if it is not valid."""
    beside = {"dose_quantity": scale.quantity, "dose_unit": scale.unit}
    try:
        number = understood(Spot, "dose", text)
        read_typed(Spot, "dose", text, beside=beside)
    except NotTakenError:
        return text
    return f"{number} {scale}".strip()


def grid_of(panel: Panel, spots: Sequence[Spot]) -> dict[str, str]:
    """
    Form fields of saved spots.

    The place of a spot is not recorded: equal doses that follow one another make a row, doses
    that repeat make columns, and anything else one column.
    """
    if not spots:
        offered: dict[str, str | int | None] = {
            "quantity": panel.setting_quantity, "unit": panel.setting_unit,
            "passes": panel.passes, "wetted": panel.wetted,
        }  # fmt: skip
        return {name: shown(value) for name, value in offered.items() if value is not None}
    rows, columns, along = _layout([spot.dose for spot in spots])
    first = next((spot for spot in spots if spot.dose is not None), spots[0])
    typed = {
        ROWS: str(rows), COLUMNS: str(columns), "along": along,
        "quantity": shown(first.dose_quantity), "unit": shown(first.dose_unit),
    }  # fmt: skip
    steps = spots[::columns] if along == ROWS else spots[:columns]
    typed |= {f"dose.{step}": shown(spot.dose) for step, spot in enumerate(steps, start=1)}
    for name in SHARED:
        values = {shown(getattr(spot, name)) for spot in spots}
        values.discard("" if name in {"read_on", "read_by"} else "\0")
        if len(values) == 1:
            typed[name] = values.pop()
    for place, spot in enumerate(spots):
        key = f"cell.{place // columns + 1}.{place % columns + 1}"
        own = {name: shown(getattr(spot, name)) for name in (*OWN, *SHARED)}
        own = {name: text for name, text in own.items() if text and typed.get(name) != text}
        typed |= {f"{key}.{name}": text for name, text in {CODE: spot.spot, **own}.items()}
    return {name: text for name, text in typed.items() if text}


def _layout(doses: Sequence[float | None]) -> tuple[int, int, str]:
    """Rows, columns and direction of doses in which to show the spots."""
    runs = [len(list(same)) for _, same in groupby(doses)]
    if len(set(runs)) == 1 and 1 < runs[0] <= MOST_COLUMNS:
        return len(runs), runs[0], ROWS
    period = next((at for at in range(2, len(doses)) if doses[at] == doses[0]), len(doses))
    repeats = all(dose == doses[place % period] for place, dose in enumerate(doses))
    if repeats and len(doses) % period == 0 and 1 < period <= MOST_COLUMNS and period < len(doses):
        return len(doses) // period, period, COLUMNS
    return len(doses), 1, ROWS


def _count(text: str, most: int) -> int:
    """A number of rows or columns; 0 if it is not valid."""
    try:
        value = read_typed(Panel, "panels_in_series", text)
    except NotTakenError:
        return 0
    return value if isinstance(value, int) and value <= most else 0

"""A workbook of field sheets read as plain rows: every cell is understood, or asked about."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from openpyxl.utils import get_column_letter

from heritagecheck.errors import Fault
from heritagecheck.survey.exchange.workbook.file import FoundSheet, found_sheets, opened
from heritagecheck.survey.exchange.workbook.shape import Kind, kind_of, text_of_cell
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import (
    EITHER,
    Ambiguous,
    Row,
    Unclear,
    commas_are_decimal,
    plain,
)
from heritagecheck.survey.settings.old_settings import as_now, in_old_form

if TYPE_CHECKING:
    from openpyxl.cell.read_only import ReadOnlyCell


@dataclass(frozen=True, eq=False)
class WorkbookRows:
    """Rows of a workbook, to be read once, and where each field stands."""

    raw: dict[str, Iterable[Row]]
    letters: dict[str, dict[str, str]]
    rows: int

    @property
    def words_are_read(self) -> bool:
        """Whether its settings stand in sentences alone, as older releases wrote them."""
        panels = self.letters.get("panels")
        if panels is None or "settings" in self.raw:
            return False
        return in_old_form("panels", panels)

    def placed(self, faults: Iterable[Fault]) -> tuple[Fault, ...]:
        """Faults with the column in which each stands."""
        return tuple(
            fault if fault.column or fault.row is None else replace(
                fault, column=self.letters.get(fault.table, {}).get(fields_of(fault)[0], "")
            )
            for fault in faults
        )  # fmt: skip


def fields_of(fault: Fault) -> list[str]:
    """Fields of which a fault speaks."""
    return fault.field.split(" and ")


def workbook_rows(path: str | Path, faults: list[Fault]) -> WorkbookRows:
    """Rows of every table in a workbook of field sheets."""
    path = Path(path)
    before = len(faults)
    sheets = found_sheets(opened(path), faults)
    if not sheets and len(faults) == before:
        faults.append(
            Fault(path.name, None, "", "", f"it holds none of the sheets: {', '.join(TABLES)}")
        )
    raw: dict[str, Iterable[Row]] = {}
    for table, sheet in sheets.items():
        wrong = list(sheet.faults())
        faults.extend(wrong)
        raw[table] = () if wrong else _rows(sheet, faults)
    letters = {table: sheet.letters for table, sheet in sheets.items()}
    return WorkbookRows(raw, letters, sum(sheet.rows for sheet in sheets.values()))


def _rows(found: FoundSheet, faults: list[Fault]) -> Iterator[Row]:
    """Read the rows of one sheet."""
    commas = cache(lambda: _commas_are_decimal(found))
    stray: set[int] = set()
    fields, headings, model = found.fields, found.headings, TABLES[found.table]
    old = in_old_form(found.table, fields.values())
    for number, cells in found.lines():
        row: dict[str, Any] = {}
        for place, cell in enumerate(cells):
            if cell.value is None:
                continue
            if place in fields:
                row[fields[place]] = _plain_or_unclear(cell, model, fields[place], commas, place)
            elif place not in headings and place not in stray and shown(cell):
                stray.add(place)
                faults.append(_stray(found, number, place, cell))
        yield number, as_now(found.table, row) if old else row


def _plain_or_unclear(
    cell: ReadOnlyCell, model: type[Record], field: str, commas: Callable[[], bool], place: int
) -> Any:
    """What a cell says, or the question that it leaves."""
    try:
        return plain_cell(cell, model, field, commas)
    except ValueError as question:
        of_column = question.of_column if isinstance(question, Ambiguous) else ""
        return Unclear(shown(cell), str(question), get_column_letter(place + 1), of_column)


def _stray(found: FoundSheet, number: int, place: int, cell: ReadOnlyCell) -> Fault:
    """Tell of the first cell in a column that has no heading."""
    return Fault(
        found.table, number, "", "",
        f"{shown(cell)!r} has no heading; move it below a heading, or delete the column",
        get_column_letter(place + 1),
    )  # fmt: skip


def _commas_are_decimal(found: FoundSheet) -> bool:
    """Whether some number that is kept as text shows that the sheet's commas are decimal signs."""
    model = TABLES[found.table]
    places = [place for place, name in found.fields.items() if kind_of(model, name) == "number"]
    return commas_are_decimal(
        text_of_cell(str(cells[place].value)).strip()
        for _, cells in found.lines()
        for place in places
        if place < len(cells) and cells[place].data_type == "s"
    )


# Shown times a hundred or by the thousand: who looks at the cell sees another number.
SCALED = re.compile(r"%|[0#?],+(?![0#?])")
QUOTED = re.compile(r'"[^"]*"|\\.')
SHOWN_AS_KEPT = frozenset({"General", "0", "@"})
# Beyond it, a spreadsheet keeps other digits than were typed.
WHOLE_DIGITS_KEPT = 10**15
NO_TIME = time()
REFUSED = {
    "f": "this is a formula, and what it gives may change: paste its value in its place",
    "e": "this is the spreadsheet's own error: write the value, or leave the cell empty",
    "b": "this is the spreadsheet's own true or false: write it as a word, such as yes or no",
}


def plain_cell(
    cell: ReadOnlyCell, model: type[Record], field: str, commas: Callable[[], bool]
) -> Any:
    """What a cell says, as its record takes it."""
    value, kind = cell.value, kind_of(model, field)
    if value is None:
        return None
    if cell.data_type == "s":
        text = text_of_cell(str(value)).strip()
        return plain(text, model, field, comma=commas() if EITHER.fullmatch(text) else False)
    if cell.data_type == "d":
        return _day(value, kind)
    if cell.data_type in REFUSED:
        raise ValueError(REFUSED[cell.data_type])
    return _number(value, kind, str(cell.number_format))


def shown(cell: ReadOnlyCell) -> str:
    """A cell as a fault names it."""
    value: Any = cell.value
    if cell.data_type == "f":
        return str(getattr(value, "text", value))
    if isinstance(value, datetime) and value.time() == NO_TIME:
        return value.date().isoformat()
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float) and "%" in QUOTED.sub("", str(cell.number_format)):
        return f"{100 * value:g} %"
    return text_of_cell(str(value)).strip()


def _day(value: Any, kind: Kind) -> date:
    """Day of a cell that the spreadsheet keeps as a date."""
    if kind != "date":
        raise ValueError(
            "the spreadsheet keeps this as a date or time: format the cell as "
            f"{'text' if kind == 'text' else 'a plain number'} and write it again"
        )
    if isinstance(value, datetime) and value.time() == NO_TIME:
        return value.date()
    if type(value) is date:
        return value
    raise ValueError("this holds a time of day: write the date alone, such as 2026-05-01")


def _number(value: Any, kind: Kind, number_format: str) -> Any:
    """Number of a cell, where it is shown as it is kept."""
    if kind == "date":
        raise ValueError(
            "this is a bare number. Which day is meant? Write it as a date, such as 2026-05-01"
        )
    if kind == "text":
        return _figures(value, number_format)
    if SCALED.search(QUOTED.sub("", number_format)):
        raise ValueError(
            f"kept as {value:g} and shown otherwise. Which is meant? Format the cell as a plain "
            "number and write it again"
        )
    return value


def _figures(value: Any, number_format: str) -> str:
    """Text of a number that stands where a text is asked, such as a zone called 12."""
    whole = float(value).is_integer() and abs(value) < WHOLE_DIGITS_KEPT
    if not whole or number_format not in SHOWN_AS_KEPT:
        raise ValueError(
            "the spreadsheet keeps this as a number, so that leading zeros may be lost: "
            "format the cell as text and write it again"
        )
    return str(int(value))

"""What one cell of a workbook says: taken only where nothing is guessed, else a question."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Any

from heritagecheck.survey.exchange.workbook.shape import Kind, kind_of, text_of_cell
from heritagecheck.survey.records.cells import EITHER, plain
from heritagecheck.survey.records.record import Record

if TYPE_CHECKING:
    from openpyxl.cell.read_only import ReadOnlyCell

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
    """
    What a cell says, as its record takes it.

    Parameters
    ----------
    cell : openpyxl.cell.read_only.ReadOnlyCell
        The cell.
    model : type of Record
        Record that holds the field.
    field : str
        Name of the field.
    commas : callable
        Whether the sheet shows elsewhere that its commas are decimal signs; asked only where it
        matters.

    Returns
    -------
    str, float, int, date or None
        None for an empty cell; what is no value of the field is left for the record to refuse.

    Raises
    ------
    ValueError
        It may mean either of two things, or is no plain value; says what to do.
    """
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
    """
    A cell as a fault names it.

    Parameters
    ----------
    cell : openpyxl.cell.read_only.ReadOnlyCell
        The cell.

    Returns
    -------
    str
    """
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
            "the spreadsheet keeps this as a number, so that noughts or signs may be lost: "
            "format the cell as text and write it again"
        )
    return str(int(value))

"""One sheet of records in a workbook: headings, help, formats, what is locked, what is checked."""

from __future__ import annotations

import math
from collections.abc import Container, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple

from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.properties import PageSetupProperties

from heritagecheck.survey.exchange.workbook.rules import rules
from heritagecheck.survey.exchange.workbook.shape import (
    DATE_FORMAT,
    FIRST_DATE,
    FIRST_ROW,
    HEADING_ROW,
    HELP_ROW,
    HELP_SIGN,
    LAST_ROW,
    REASONS,
    cell_text,
    help_text,
    kind_of,
)
from heritagecheck.survey.records import KEYS, TABLES

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell import Cell
    from openpyxl.worksheet.worksheet import Worksheet

HELP_OF_REASONS = f"{HELP_SIGN}Correct the marked cells; this column is ignored."
FORMATS = {"text": "@", "date": DATE_FORMAT, "number": "General", "whole": "General"}
WIDTHS = {"text": 24, "date": 13, "number": 14, "whole": 14}
KEY_WIDTH, REASONS_WIDTH, LINE_HEIGHT = 16, 60, 15
WRAPPED = Alignment(wrap_text=True, vertical="top")
HEADING, HELP = Font(bold=True), Font(italic=True, color="404040")
GREY, PALE = (PatternFill("solid", fgColor=colour) for colour in ("E8E6E0", "FFF2CC"))
# A thick edge as well as a tint, for who sees or prints no colour.
EDGE = Side(style="thick")
MARKED = Border(left=EDGE, right=EDGE, top=EDGE, bottom=EDGE)
ALLOWED = (
    "formatColumns", "formatRows", "insertRows", "deleteRows", "sort", "autoFilter",
)  # fmt: skip


class AsItWas(NamedTuple):
    """A cell to be written as it was found, so that what was wrong with it stays so."""

    value: Any
    data_type: str
    number_format: str


class RecordSheet:
    """
    A sheet of one table, written from the top down.

    Parameters
    ----------
    book : openpyxl.Workbook
        The workbook, opened for writing only.
    table : str
        Name of the table.
    reasons : bool
        Whether a column before all others says what is to be corrected. Nothing but the headings
        is locked then, and no list points to another sheet.
    """

    def __init__(self, book: Workbook, table: str, *, reasons: bool = False) -> None:
        self._table, self._model, self._reasons = table, TABLES[table], reasons
        self._fields = tuple(self._model.model_fields)
        self._letters = {
            field: get_column_letter(place + reasons)
            for place, field in enumerate(self._fields, start=1)
        }
        self._sheet: Worksheet = book.create_sheet(table)
        self._row = 0
        self._set_columns()
        self._set_page()
        self._write_head()
        self._kept = [self._pen(field, locked=field in KEYS[table]) for field in self._fields]
        self._free = [self._pen(field) for field in self._fields]

    def add(self, values: Sequence[Any]) -> None:
        """
        Write one record; its codes are locked.

        Parameters
        ----------
        values : sequence
            Its values, in the order of the fields.
        """
        for pen, value in zip(self._kept, values, strict=True):
            put(pen, value)
        self._append(self._kept)

    def add_free(self, count: int) -> None:
        """
        Write rows to be filled in.

        Parameters
        ----------
        count : int
            How many. Every row below them is free too, by the format of its column, which not all
            spreadsheets heed.
        """
        for _ in range(min(count, LAST_ROW - self._row)):
            self._append(self._free)

    def add_faulty(self, cells: Mapping[str, Any], wrong: Container[str], reasons: str) -> None:
        """
        Write a row that has to be corrected.

        Parameters
        ----------
        cells : mapping of str to Any
            Field to its value, or to an `AsItWas`.
        wrong : container of str
            Fields to be marked.
        reasons : str
            What is wrong, a line for each fault.
        """
        told = WriteOnlyCell(self._sheet)
        told.alignment = WRAPPED
        put(told, reasons)
        row = [self._pen(field, marked=field in wrong) for field in self._fields]
        for field, pen in zip(self._fields, row, strict=True):
            put(pen, cells.get(field))
        lines = sum(math.ceil(max(len(line), 1) / REASONS_WIDTH) for line in reasons.split("\n"))
        self._append([told, *row], lines=lines)

    def _append(self, cells: list[Cell], *, lines: int = 1) -> None:
        """Write one row; its cells may be used again for the next."""
        self._row += 1
        if lines > 1:
            self._sheet.row_dimensions[self._row].height = LINE_HEIGHT * lines
        self._sheet.append(cells)

    def _set_columns(self) -> None:
        """Widths and formats, also for the rows that nobody wrote yet; and what is checked."""
        if self._reasons:
            self._sheet.column_dimensions["A"].width = REASONS_WIDTH
        for field, letter in self._letters.items():
            column = self._sheet.column_dimensions[letter]
            column.width = self._width(field)
            column.number_format = FORMATS[kind_of(self._model, field)]
            column.protection = Protection(locked=False)
        for rule in rules(self._table, self._letters, linked=not self._reasons):
            self._sheet.data_validations.append(rule)

    def _set_page(self) -> None:
        """What stays in sight, on the screen and on paper, and what is locked."""
        keys = sum(field in KEYS[self._table] for field in self._fields[: len(KEYS[self._table])])
        held = get_column_letter(keys + self._reasons + 1)
        self._sheet.freeze_panes = f"{held}{FIRST_ROW}"
        self._sheet.print_title_rows = f"{HEADING_ROW}:{HELP_ROW}"
        self._sheet.page_setup.orientation = "landscape"
        self._sheet.page_setup.fitToHeight = 0
        self._sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        # From the help down, so that neither filters nor sorting take it for a record.
        last = get_column_letter(len(self._fields) + self._reasons)
        self._sheet.auto_filter.ref = f"A{HELP_ROW}:{last}{LAST_ROW}"
        protect(self._sheet)

    def _write_head(self) -> None:
        """Headings, and below each what it asks."""
        helps = [help_text(self._table, field) for field in self._fields]
        before = self._reasons
        self._append([head(self._sheet, n) for n in [REASONS] * before + list(self._fields)])
        lines = [math.ceil(1.15 * len(text) / self._width(field)) for text, field in
                 zip(helps, self._fields, strict=True)]  # fmt: skip
        cells = [head(self._sheet, text) for text in [HELP_OF_REASONS] * before + helps]
        for cell in cells:
            cell.font = HELP
        self._append(cells, lines=max(lines))

    def _width(self, field: str) -> int:
        """Width of a column, in digits."""
        wide = KEY_WIDTH if field in KEYS[self._table] else WIDTHS[kind_of(self._model, field)]
        return max(wide, len(field) + 4)

    def _pen(self, field: str, *, locked: bool = False, marked: bool = False) -> Cell:
        """One cell of a column, to be filled and written as often as is needed."""
        cell = WriteOnlyCell(self._sheet)
        cell.protection = Protection(locked=locked)
        cell.number_format = FORMATS[kind_of(self._model, field)]
        if marked:
            cell.fill, cell.border = PALE, MARKED
        return cell


def put(cell: Cell, value: Any) -> None:
    """
    Write a value into a cell, so that it comes back as it was.

    Parameters
    ----------
    cell : openpyxl.cell.Cell
        The cell.
    value : str, float, int, date, AsItWas or None
        What it shall hold. A text stays a text, whatever it begins with.
    """
    if isinstance(value, AsItWas):
        cell.value, cell.data_type = value.value, value.data_type
        cell.number_format = value.number_format
    elif isinstance(value, str):
        cell.value, cell.data_type = cell_text(value), "s"
    elif isinstance(value, float):
        # Every digit: openpyxl itself would write sixteen.
        cell.value, cell.data_type = repr(value), "n"
    elif cell.number_format == FORMATS["text"] and value is not None:
        cell.value, cell.data_type = str(value), "s"
    elif isinstance(value, date) and value < FIRST_DATE:
        cell.value, cell.data_type = value.isoformat(), "s"
    else:
        cell.value = value


def head(sheet: Worksheet, text: str) -> Cell:
    """
    One cell that heads a column or a part.

    Parameters
    ----------
    sheet : openpyxl.worksheet.worksheet.Worksheet
        Its sheet.
    text : str
        What it says.

    Returns
    -------
    openpyxl.cell.Cell
    """
    cell = WriteOnlyCell(sheet, text)
    cell.font, cell.fill, cell.alignment = HEADING, GREY, WRAPPED
    return cell


def protect(sheet: Worksheet) -> None:
    """
    Lock the cells of a sheet that are to stay; without a password, for it guards against slips.

    Parameters
    ----------
    sheet : openpyxl.worksheet.worksheet.Worksheet
        The sheet.
    """
    sheet.protection.sheet = True
    for name in ALLOWED:
        # In the file's own words, true forbids.
        setattr(sheet.protection, name, False)

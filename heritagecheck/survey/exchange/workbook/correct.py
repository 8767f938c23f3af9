"""The rows that were refused, to be corrected: as field sheets, with the reasons beside them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from openpyxl.cell import WriteOnlyCell

from heritagecheck.errors import Fault
from heritagecheck.survey.exchange.workbook.file import found_sheets, opened
from heritagecheck.survey.exchange.workbook.read import fields_of
from heritagecheck.survey.exchange.workbook.shape import HOW_TO, LONGEST_TEXT, text_of_cell
from heritagecheck.survey.exchange.workbook.sheet import AsItWas, RecordSheet, head, protect
from heritagecheck.survey.exchange.workbook.write import (
    new_workbook,
    saved,
    write_lines,
    write_lists,
)
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.record import UNPRINTABLE
from heritagecheck.survey.records.row_reading import unguarded

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell.read_only import ReadOnlyCell

# Table to row, as a spreadsheet counts it, to field to what stands in its cell.
CellsFound = Mapping[str, Mapping[int, Mapping[str, Any]]]
NO_VALUE = AsItWas("#VALUE!", "e", "General")
HOW = (
    "Each sheet holds the rows that were refused, and only these. The first column says what is "
    "wrong, and in which row it was; the cells concerned are marked.",
    "Correct the marked cells, save, and import this file as it is. The first column is ignored.",
    "A cell that held a formula, or what no cell can show, shows an error until its value is "
    "written there.",
)


def write_rows_to_correct(
    path: str | Path, source: str | Path | CellsFound, faults: Iterable[Fault]
) -> Path:
    """Write the rows that were refused, to be corrected and read in again."""
    told: dict[str, dict[int, list[Fault]]] = {}
    apart: list[Fault] = []
    for fault in faults:
        table = fault.table.removesuffix(".csv")
        if fault.row is None or table not in TABLES:
            apart.append(fault)
        else:
            told.setdefault(table, {}).setdefault(fault.row, []).append(fault)
    cells = source if isinstance(source, Mapping) else _cells_of(Path(source), told)
    for table, rows in told.items():
        for number in [number for number in rows if number not in cells.get(table, {})]:
            apart += rows.pop(number)
    return _written(path, cells, {table: told[table] for table in TABLES if told.get(table)}, apart)


def _cells_of(path: Path, told: Mapping[str, Mapping[int, Any]]) -> CellsFound:
    """Cells of the rows that are told of, as they stand in a workbook."""
    found: dict[str, dict[int, dict[str, Any]]] = {}
    for table, sheet in found_sheets(opened(path), []).items():
        wanted, fields = told.get(table, {}), sheet.fields
        found[table] = {
            number: {
                fields[place]: _as_it_was(cell)
                for place, cell in enumerate(cells)
                if place in fields and cell.value is not None
            }
            for number, cells in (sheet.lines() if wanted else ())
            if number in wanted
        }
    return found


def _as_it_was(cell: ReadOnlyCell) -> Any:
    """Cell as it stood; a formula becomes an error, for nobody knows what it gave."""
    if cell.data_type == "s":
        return text_of_cell(str(cell.value))
    if cell.data_type == "f":
        return NO_VALUE
    return AsItWas(cell.value, cell.data_type, str(cell.number_format))


def _written(
    path: str | Path,
    cells: CellsFound,
    told: Mapping[str, Mapping[int, list[Fault]]],
    apart: list[Fault],
) -> Path:
    """Write the sheets and save them."""
    book = new_workbook(path)
    _write_first(book, apart)
    for table, rows in told.items():
        sheet = RecordSheet(book, table, reasons=True)
        for number, wrong in sorted(rows.items()):
            sheet.add_faulty(
                {name: _plain(value) for name, value in cells[table][number].items()},
                {field for fault in wrong for field in fields_of(fault)},
                _told(wrong),
            )
    write_lists(book)
    return saved(book, path)


def _plain(value: Any) -> Any:
    """Text without the sign that guards it, which the cell sets anew; what no cell holds, none."""
    if not isinstance(value, str):
        return value
    return NO_VALUE if UNPRINTABLE.search(value) or len(value) >= LONGEST_TEXT else unguarded(value)


def _told(faults: Iterable[Fault]) -> str:
    """What is wrong with a row, a line for each fault."""
    lines = "\n".join(str(replace(fault, column="")) for fault in faults)
    return UNPRINTABLE.sub("\ufffd", lines)[:LONGEST_TEXT]


def _write_first(book: Workbook, apart: list[Fault]) -> None:
    """Say what to do, and what is wrong that stands in no row."""
    sheet = book.create_sheet(HOW_TO)
    protect(sheet)
    sheet.column_dimensions["A"].width = 110
    sheet.append([head(sheet, "What to correct")])
    write_lines(sheet, ((text,) for text in HOW))
    if apart:
        sheet.append([WriteOnlyCell(sheet)])
        sheet.append([head(sheet, "Other faults, in no row of these sheets")])
        write_lines(sheet, ((_told([fault]),) for fault in apart))

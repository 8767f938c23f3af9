"""Field sheets as a workbook: a sheet for each table, how to fill it in, what the words mean."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

from heritagecheck import tables
from heritagecheck.errors import Fault, SurveyError, names_of
from heritagecheck.survey.exchange.workbook.read import found_sheets, opened
from heritagecheck.survey.exchange.workbook.sheet import (
    HEADING_ROW,
    HELP_ROW,
    HOW_TO,
    LAST_ROW,
    LISTS,
    LONGEST_TEXT,
    QUESTIONS,
    TERMS,
    WORDS,
    WRAPPED,
    AsItWas,
    RecordSheet,
    head,
    lists,
    protect,
    put,
    text_of_cell,
    too_long,
)
from heritagecheck.survey.records import MAY_BE_EMPTY, ONE_ROW, TABLES, Records
from heritagecheck.survey.records.quantities import terms_in_words
from heritagecheck.survey.records.record import UNPRINTABLE
from heritagecheck.survey.records.row_reading import unguarded
from heritagecheck.tables.row_types import (
    Material,
    Method,
    Quantity,
    SettingQuantity,
    SettingUnit,
    Topic,
    Word,
)
from heritagecheck.whole_file import written_whole

if TYPE_CHECKING:
    from openpyxl.cell.read_only import ReadOnlyCell
    from openpyxl.worksheet.worksheet import Worksheet


# -- Field sheets ----------------------------------------------------------------------------------

ROWS_FREE = 200
HOW = (
    "One sheet is one table, one row is one record. Fill the sheets from left to right: what a "
    "later one names must be on an earlier one.",
    "An empty cell means that nobody knows. Never write 0, a dash or a question mark for it.",
    "Where something was not measured, say why: under not_recorded_because, "
    "not_measured_because or not_read_because. That counts as an answer.",
    f"Where a list opens, pick from it. The sheet “{WORDS}” says what each code means, the sheet "
    f"“{QUESTIONS}” which findings each topic takes.",
    "Look at what a cell shows after you typed: a spreadsheet may make 125 of 12,5, or a day of "
    "3.5. Dates are written year-month-day.",
    "Write values only: a formula, merged cells, or anything without a heading is "
    "refused. Comments of the spreadsheet are not read: there is a column for notes.",
    "Headings and the codes of records that were there before are locked, without a password. New "
    "records go below them. To sort a sheet, lift its protection first.",
    "Write roles, not names: conservator or engineer.",
    "Save it as .xlsx, without a password. If something is wrong, nothing is taken, and every "
    "fault is named with its sheet, row and column.",
)


def write_workbook(path: str | Path, records: Records, *, rows_free: int = ROWS_FREE) -> Path:
    """Write field sheets as a workbook, to be filled in and read again."""
    faults = [*too_long(records), *_too_many(records)]
    if faults:
        raise SurveyError(faults, nothing="written")
    book = new_workbook(path)
    _write_how_to(book, records)
    for table in TABLES:
        found = records.get(table, ())
        sheet = RecordSheet(book, table)
        for record in found:
            sheet.add([value for _, value in record])
        sheet.add_free(rows_free if table not in ONE_ROW else 1 - len(found))
    _write_table(book, WORDS, (16, 28, 40, 70, 16, 10, 10), _words())
    _write_table(book, QUESTIONS, (24, 50, 50, 44, 60), _questions())
    write_lists(book)
    return saved(book, path)


def new_workbook(path: str | Path) -> Workbook:
    """Begin a workbook, to be written from the top down."""
    if Path(path).exists():
        raise FileExistsError(f"{path} exists. Nothing was written; name a new file.")
    book = Workbook(write_only=True)
    book.properties.creator = book.properties.lastModifiedBy = "heritagecheck"
    return book


def write_lists(book: Workbook) -> None:
    """Write the hidden sheet of the lists that cells offer."""
    sheet = book.create_sheet(LISTS)
    sheet.sheet_state = "hidden"
    protect(sheet)
    for row in zip_longest(*lists()):
        sheet.append(row)


def saved(book: Workbook, path: str | Path) -> Path:
    """Save a workbook, whole or not at all."""
    content = io.BytesIO()
    book.save(content)
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    with written_whole(path) as half:
        half.write_bytes(content.getvalue())
    return path


def write_lines(sheet: Worksheet, lines: Iterable[Sequence[str]]) -> None:
    """Write lines of text, wrapped within their columns."""
    for line in lines:
        cells = [WriteOnlyCell(sheet) for _ in line]
        for cell, text in zip(cells, line, strict=True):
            cell.alignment = WRAPPED
            put(cell, text)
        sheet.append(cells)


def _too_many(records: Records) -> Iterator[Fault]:
    """Find tables with more records than a sheet has rows."""
    room = LAST_ROW - HELP_ROW
    for table, found in records.items():
        if len(found) > room:
            yield Fault(table, None, "", "", f"{len(found)} records; a sheet holds {room} at most")


def _write_how_to(book: Workbook, records: Records) -> None:
    """Say in plain words how the workbook is filled in, and in which order."""
    sheet = book.create_sheet(HOW_TO)
    protect(sheet)
    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 20, 90
    sheet.column_dimensions["C"].width, sheet.column_dimensions["D"].width = 18, 14
    sheet.append([head(sheet, "How to fill in"), head(sheet, "")])
    write_lines(sheet, ((str(number), text) for number, text in enumerate(HOW, start=1)))
    sheet.append([])
    sheet.append(
        [head(sheet, text) for text in ("Sheet", "What a row is", "How many", "There now")]
    )
    write_lines(sheet, (_about(table, len(records.get(table, ()))) for table in TABLES))


def _about(table: str, count: int) -> tuple[str, str, str, str]:
    """One table: what a row of it is, how many it takes, how many it holds."""
    many = "exactly one" if table in ONE_ROW else "may be none" if table in MAY_BE_EMPTY else "some"
    return table, " ".join((TABLES[table].__doc__ or "").split()), many, str(count)


def _write_table(
    book: Workbook, title: str, widths: Sequence[int], lines: Iterator[Sequence[str]]
) -> None:
    """Write a sheet to look things up in; its first line heads its columns."""
    sheet = book.create_sheet(title)
    protect(sheet)
    sheet.freeze_panes = f"A{HEADING_ROW + 1}"
    for letter, width in zip("ABCDEFG", widths, strict=False):
        sheet.column_dimensions[letter].width = width
    sheet.append([head(sheet, text) for text in next(lines)])
    write_lines(sheet, lines)


def _words() -> Iterator[Sequence[str]]:
    """Every code that a list offers, with what it means."""
    yield "list", "code", "what it is", "what it means", "unit", "from", "to"
    words = {one.term_code: one for one in Word.rows()}
    for name in TERMS:
        for code in tables.codes(name) if name != "topics" else ():
            yield name, code, *_meaning(name, code, words.get(code))


def _meaning(name: str, code: str, word: Word | None) -> Sequence[str]:
    """What a code of one list is, what it means, its unit and its range."""
    if name == "quantities":
        measured = Quantity.named(code)
        ends = _end(measured.low), _end(measured.high)
        return measured.name, measured.what_to_do, measured.unit, *ends
    if name == "setting_quantities":
        dialled = SettingQuantity.named(code)
        ends = _end(dialled.low), _end(dialled.high)
        return dialled.name, terms_in_words(code), ", ".join(dialled.units), *ends
    if name == "setting_units":
        return SettingUnit.named(code).dimension, "", "", "", ""
    if name == "materials":
        return Material.named(code).name, Material.named(code).meaning, "", "", ""
    if word is None:
        return Method.named(code).name, "", "", "", ""
    return word.term, word.definition, "", "", ""


def _end(number: float | None) -> str:
    """One end of a range; empty where it has none."""
    return "" if number is None else f"{number:.12g}"


def _questions() -> Iterator[Sequence[str]]:
    """Every topic with its possible findings."""
    yield "topic", "question", "findings", "for which zones", "how to find out"
    for row in Topic.rows():
        yield row.topic, row.question, ", ".join(row.findings), row.asked_of, row.what_to_do


# -- Rows to correct -------------------------------------------------------------------------------

# Table to row number (as a spreadsheet counts) to field to the value of its cell.
CellsFound = Mapping[str, Mapping[int, Mapping[str, Any]]]
NO_VALUE = AsItWas("#VALUE!", "e", "General")
HOW_TO_CORRECT = (
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
    """Cells of the rows with faults, as in a workbook."""
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
                {field for fault in wrong for field in names_of(fault.field)},
                _told(wrong),
            )
    write_lists(book)
    return saved(book, path)


def _plain(value: Any) -> Any:
    """Text without the guard sign, which the cell sets again; None if no cell can hold it."""
    if not isinstance(value, str):
        return value
    return NO_VALUE if UNPRINTABLE.search(value) or len(value) >= LONGEST_TEXT else unguarded(value)


def _told(faults: Iterable[Fault]) -> str:
    """What is wrong with a row, a line for each fault."""
    lines = "\n".join(str(replace(fault, column="")) for fault in faults)
    return UNPRINTABLE.sub("\ufffd", lines)[:LONGEST_TEXT]


def _write_first(book: Workbook, apart: list[Fault]) -> None:
    """Write what to do, and the faults that belong to no row."""
    sheet = book.create_sheet(HOW_TO)
    protect(sheet)
    sheet.column_dimensions["A"].width = 110
    sheet.append([head(sheet, "What to correct")])
    write_lines(sheet, ((text,) for text in HOW_TO_CORRECT))
    if apart:
        sheet.append([WriteOnlyCell(sheet)])
        sheet.append([head(sheet, "Other faults, in no row of these sheets")])
        write_lines(sheet, ((_told([fault]),) for fault in apart))

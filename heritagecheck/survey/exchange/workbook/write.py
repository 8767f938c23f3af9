"""Field sheets as a workbook: a sheet for each table, how to fill it in, what the words mean."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

from heritagecheck import tables
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.exchange.workbook.shape import (
    HEADING_ROW,
    HELP_ROW,
    HOW_TO,
    LAST_ROW,
    LISTS,
    QUESTIONS,
    WORDS,
    too_long,
)
from heritagecheck.survey.exchange.workbook.sheet import (
    TERMS,
    WRAPPED,
    RecordSheet,
    head,
    lists,
    protect,
    put,
)
from heritagecheck.survey.records import MAY_BE_EMPTY, ONE_ROW, TABLES
from heritagecheck.survey.records.quantities import told_as, units_of
from heritagecheck.survey.records.record import Record
from heritagecheck.tables.topics import asked_of
from heritagecheck.whole_file import written_whole

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

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


def write_workbook(
    path: str | Path,
    records: Mapping[str, tuple[Record, ...]],
    *,
    rows_free: int = ROWS_FREE,
) -> Path:
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


def _too_many(records: Mapping[str, tuple[Record, ...]]) -> Iterator[Fault]:
    """Find tables with more records than a sheet has rows."""
    room = LAST_ROW - HELP_ROW
    for table, found in records.items():
        if len(found) > room:
            yield Fault(table, None, "", "", f"{len(found)} records; a sheet holds {room} at most")


def _write_how_to(book: Workbook, records: Mapping[str, tuple[Record, ...]]) -> None:
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
    words = {row["code"]: row for row in tables.rows("vocabulary")}
    names = {row["method"]: row["name"] for row in tables.rows("methods")}
    told = {
        "quantities": tables.keyed("quantities", "quantity"),
        "materials": tables.keyed("materials", "material"),
        "setting_quantities": tables.keyed("setting_quantities", "quantity"),
        "setting_units": tables.keyed("setting_units", "unit"),
    }
    for name in TERMS:
        for code in tables.codes(name) if name != "topics" else ():
            row = told[name][code] if name in told else {}
            word = words.get(code, {"term": names.get(code, ""), "definition": ""})
            if name == "setting_quantities":
                row = row | {"what_to_do": told_as(code), "unit": ", ".join(units_of(code))}
            if name == "setting_units":
                row = {"name": row["dimension"]}
            yield (
                name, code, row.get("name", word["term"]),
                row.get("what_to_do", row.get("meaning", word["definition"])),
                row.get("unit", ""), row.get("low", ""), row.get("high", ""),
            )  # fmt: skip


def _questions() -> Iterator[Sequence[str]]:
    """Every topic asked, with the findings it takes."""
    yield "topic", "question", "findings", "asked of", "how to find out"
    for row in tables.rows("topics"):
        where = row["asked_where"].replace("=", " is ").replace("|", " or ")
        asked = asked_of(row["kind"])
        yield (
            row["topic"], row["question"], row["findings"].replace("|", ", "),
            f"{asked}, where {where}" if where else asked, row["what_to_do"],
        )  # fmt: skip

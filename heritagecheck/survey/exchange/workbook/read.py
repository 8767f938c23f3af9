"""Read a workbook of field sheets as plain rows: every cell is understood or queried."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from functools import cache
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.utils.exceptions import InvalidFileException

from heritagecheck.errors import Fault, SurveyError, names_of, refused_file
from heritagecheck.survey.exchange.archives import BROKEN, NO_ARCHIVE, swollen
from heritagecheck.survey.exchange.csv_tables import header_faults
from heritagecheck.survey.exchange.workbook.sheet import (
    BESIDE,
    HELP_SIGN,
    LAST_ROW,
    REASONS,
    Kind,
    kind_of_cell,
    text_of_cell,
)
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.old_settings import as_now, in_old_form
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import (
    EITHER,
    Ambiguous,
    Row,
    Unclear,
    commas_are_decimal,
    plain,
)

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell.read_only import ReadOnlyCell
    from openpyxl.worksheet._read_only import ReadOnlyWorksheet


# -- Read as plain rows ----------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class WorkbookRows:
    """Rows of a workbook, to be read once, and where each field stands."""

    raw: dict[str, Iterable[Row]]
    letters: dict[str, dict[str, str]]
    rows: int

    @property
    def words_are_read(self) -> bool:
        """Whether it has settings as sentences only, as older releases wrote them."""
        panels = self.letters.get("panels")
        if panels is None or "settings" in self.raw:
            return False
        return in_old_form("panels", panels)

    def placed(self, faults: Iterable[Fault]) -> tuple[Fault, ...]:
        """Faults with the column of each."""
        return tuple(
            fault if fault.column or fault.row is None else replace(
                fault, column=self.letters.get(fault.table, {}).get(names_of(fault.field)[0], "")
            )
            for fault in faults
        )  # fmt: skip


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
    """Whether a number stored as text shows that the sheet uses decimal commas."""
    model = TABLES[found.table]
    places = [
        place for place, name in found.fields.items() if kind_of_cell(model, name) == "number"
    ]
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
    value, kind = cell.value, kind_of_cell(model, field)
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
    """Number of a cell, if it is displayed as stored."""
    if kind == "date":
        raise ValueError(
            "this is a bare number. Which day is meant? Write it as a date, such as 2026-05-01"
        )
    if kind == "text":
        return _figures(value, number_format)
    if SCALED.search(QUOTED.sub("", number_format)):
        raise ValueError(
            f"stored as {value:g} and shown otherwise. Which is meant? Format the cell as a plain "
            "number and write it again"
        )
    return value


def _figures(value: Any, number_format: str) -> str:
    """Text of a number in a text field, such as a zone called 12."""
    whole = float(value).is_integer() and abs(value) < WHOLE_DIGITS_KEPT
    if not whole or number_format not in SHOWN_AS_KEPT:
        raise ValueError(
            "the spreadsheet keeps this as a number, so that leading zeros may be lost: "
            "format the cell as text and write it again"
        )
    return str(int(value))


# -- Opened with care ------------------------------------------------------------------------------

Line = tuple[int, "tuple[ReadOnlyCell, ...]"]
# Some 200,000 readings unpack to this; a small file that unpacks to more is made to do harm.
MOST_BYTES = 400_000_000
OLD_BINARY = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
LOCKED_INSIDE = "EncryptedPackage".encode("utf-16-le")
ROW_OR_MERGED = re.compile(
    rb'<(?:\w+:)?(?:row[ >/]|mergeCell [^>]*?ref="(?P<name>(?P<column>[A-Z]+)(?P<row>\d+)[^"]*)")'
)
CHUNK, LONGEST_TAG = 1 << 20, 200
LINES_AT_ONCE = 500


@dataclass(frozen=True, eq=False)
class FoundSheet:
    """A sheet that holds records of one table."""

    sheet: ReadOnlyWorksheet
    table: str
    heading_row: int
    headings: dict[int, str]
    rows: int
    merged: tuple[tuple[str, int, str], ...]

    @property
    def fields(self) -> dict[int, str]:
        """Place of each column to its field, counted from 0."""
        known = TABLES[self.table].model_fields
        return {place: name for place, name in self.headings.items() if name in known}

    @property
    def letters(self) -> dict[str, str]:
        """Fields to the letters of their columns."""
        return {name: get_column_letter(place + 1) for place, name in self.fields.items()}

    def lines(self) -> Iterator[Line]:
        """Read every line that holds something, below the headings and without their help."""
        for number, cells in lines_of(self.sheet):
            if number > self.heading_row and not _is_help(cells):
                yield number, cells

    def faults(self) -> Iterator[Fault]:
        """Find what is wrong with the headings; and merged cells, which hold one value for many."""
        names = [name for name in self.headings.values() if name != REASONS]
        places = {name: get_column_letter(place + 1) for place, name in self.headings.items()}
        for fault in header_faults(self.table, names, self.table):
            yield Fault(
                self.table, self.heading_row, fault.field, fault.value, fault.allowed,
                places.get(fault.value, ""),
            )  # fmt: skip
        for column, row, name in self.merged:
            yield Fault(
                self.table, row, "merged cells", name,
                "unmerge them and write the value into each cell that it is for", column,
            )  # fmt: skip


def opened(path: Path) -> Workbook:
    """Open a workbook to read its cells unchanged."""
    if not path.is_file():
        raise refused_file(path.name, "there is no such file")
    data = path.read_bytes()
    try:
        why_not = _why_not(data)
    except NO_ARCHIVE as error:
        why_not = f"this workbook is broken: {error}"
    if why_not:
        raise refused_file(path.name, why_not)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return load_workbook(
                io.BytesIO(data), read_only=True, data_only=False, keep_links=False
            )
    except (*BROKEN, InvalidFileException) as error:
        raise refused_file(path.name, f"this workbook is broken: {error}") from error


def found_sheets(book: Workbook, faults: list[Fault]) -> dict[str, FoundSheet]:
    """Sheets of a workbook that hold records."""
    found: dict[str, FoundSheet] = {}
    for sheet in book.worksheets:
        table = sheet.title.strip().lower().replace(" ", "_")
        if table.replace("_", " ") in BESIDE:
            continue
        first = next(lines_of(sheet), None)
        if first is None:
            continue
        if table in found or table not in TABLES:
            why = "there is a sheet of this table already" if table in found else (
                "this sheet does not belong to the survey, and it is not empty"
            )  # fmt: skip
            faults.append(
                Fault(sheet.title, None, "", "",
                      f"{why}. Move what it holds to a sheet of the survey ({', '.join(TABLES)}), "
                      "or delete it")
            )  # fmt: skip
            continue
        headings = {
            place: str(cell.value).strip()
            for place, cell in enumerate(first[1])
            if cell.value is not None and str(cell.value).strip()
        }
        found[table] = FoundSheet(sheet, table, first[0], headings, *_looked_over(sheet))
    return found


def lines_of(sheet: ReadOnlyWorksheet) -> Iterator[Line]:
    """Lines of a sheet that hold something, each with its number."""
    # Cells beyond the size that a file declares would be lost.
    sheet.reset_dimensions()
    rows: Iterator[Line] = enumerate(cast("Any", sheet).iter_rows(), start=1)
    while True:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                some = list(islice(rows, LINES_AT_ONCE))
        except BROKEN as error:
            broken = Fault(sheet.title, None, "", "", f"this sheet is broken: {error}")
            raise SurveyError([broken]) from error
        if not some or some[0][0] > LAST_ROW:
            return
        yield from (
            (number, cells)
            for number, cells in some
            if any(cell.value is not None and str(cell.value).strip() for cell in cells)
        )


def _why_not(data: bytes) -> str:
    """Say why a file is no workbook that can be read; empty where it may be one."""
    if data.startswith(OLD_BINARY):
        if LOCKED_INSIDE in data:
            return "this workbook is locked with a password: save it without one"
        return "this is an old workbook (.xls): save it as .xlsx"
    if not zipfile.is_zipfile(io.BytesIO(data)):
        return "this is not a workbook (.xlsx)"
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = archive.infolist()
    if "[Content_Types].xml" not in {part.filename for part in parts}:
        return "this is not a workbook (.xlsx): if a spreadsheet opens it, save it as .xlsx"
    if any(map(swollen, parts)) or sum(part.file_size for part in parts) > MOST_BYTES:
        return "this file unpacks to far more than a survey holds, and was not opened"
    return ""


def _is_help(cells: tuple[ReadOnlyCell, ...]) -> bool:
    """Whether a line is the help below the headings."""
    return all(str(cell.value).startswith(HELP_SIGN) for cell in cells if cell.value is not None)


def _looked_over(sheet: ReadOnlyWorksheet) -> tuple[int, tuple[tuple[str, int, str], ...]]:
    """Count rows, empty ones too, and find merged cells: first column, first row, name."""
    rows, found = 0, []
    tail = b""
    with cast("Any", sheet)._get_source() as source:
        while chunk := source.read(CHUNK):
            text = tail + chunk
            tags = list(ROW_OR_MERGED.finditer(text))
            rows += sum(tag["column"] is None for tag in tags)
            found += [
                (tag["column"].decode(), int(tag["row"]), tag["name"].decode())
                for tag in tags
                if tag["column"] is not None
            ]
            # A tag may lie across two chunks; one that was found must not be found again.
            tail = text[max(tags[-1].end() if tags else 0, len(text) - LONGEST_TAG) :]
    return rows, tuple(found)

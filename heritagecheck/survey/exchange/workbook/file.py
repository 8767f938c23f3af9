"""A workbook opened with care: what it is, which of its sheets hold records, line by line."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.utils.exceptions import InvalidFileException

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.exchange.archives import BROKEN, NO_ARCHIVE, swollen
from heritagecheck.survey.exchange.csv_tables import header_faults
from heritagecheck.survey.exchange.workbook.shape import BESIDE, HELP_SIGN, LAST_ROW, REASONS
from heritagecheck.survey.records import TABLES

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell.read_only import ReadOnlyCell
    from openpyxl.worksheet._read_only import ReadOnlyWorksheet

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
    """Open a workbook to read its cells as they stand."""
    if not path.is_file():
        raise _no_workbook(path, "there is no such file")
    data = path.read_bytes()
    try:
        why_not = _why_not(data)
    except NO_ARCHIVE as error:
        why_not = f"this workbook is broken: {error}"
    if why_not:
        raise _no_workbook(path, why_not)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return load_workbook(
                io.BytesIO(data), read_only=True, data_only=False, keep_links=False
            )
    except (*BROKEN, InvalidFileException) as error:
        raise _no_workbook(path, f"this workbook is broken: {error}") from error


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
    # What a file says of its own size would cut off all that lies beyond.
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


def _no_workbook(path: Path, why: str) -> SurveyError:
    """Refuse a whole file."""
    return SurveyError([Fault(path.name, None, "", "", why)])


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

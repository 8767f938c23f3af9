"""The table of a laboratory's stress file: its lines, its headings, and what it holds."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass

from heritagecheck.errors import NOTHING, Fault, SurveyError, refused_file
from heritagecheck.survey.instruments.height_formats import is_text
from heritagecheck.survey.instruments.meter_file import text_of
from heritagecheck.survey.instruments.profile_files import sheet_lines
from heritagecheck.survey.instruments.stress_file import StressKind
from heritagecheck.survey.instruments.stress_words import (
    FIELDS,
    Heading,
    heading_of,
    is_number,
    unit_of,
)
from heritagecheck.survey.records.row_reading import commas_are_decimal

Line = tuple[int, list[str]]

MOST_LINES = 20_000
FEWEST_HEADINGS = 2
SEPARATORS = (";", "\t", ",", r"\s{2,}|\s*\|\s*")


@dataclass(frozen=True, slots=True)
class StressTable:
    """Lines above the headings, the headings by their columns, and the lines below them."""

    above: list[Line]
    columns: dict[int, Heading]
    body: list[Line]
    unread: tuple[str, ...]
    width: int
    decimal_comma: bool

    def column(self, *names: str) -> Heading | None:
        """The heading of the first of these columns that is there."""
        found = {one.word.name: one for one in self.columns.values()}
        return next((found[name] for name in names if name in found), None)


def lines_of(file: str, data: bytes) -> list[list[Line]]:
    """Lines as cells, in each way that a text may be separated."""
    if data.startswith(b"PK\x03\x04") and b"xl/workbook.xml" in data:
        return [sheet_lines(file, data)]
    if not is_text(data) or data.startswith((b"PK\x03\x04", b"%PDF")):
        raise refused_file(
            file, "is not a table. Ask the laboratory for text, CSV or a spreadsheet (.xlsx)"
        )
    text = text_of(data)
    if text.count("\n") > MOST_LINES:
        raise refused_file(file, f"holds more than {MOST_LINES:,} lines; export a part")
    return [_separated(text, separator) for separator in SEPARATORS]


def _separated(text: str, separator: str) -> list[Line]:
    """Lines that hold something, as cells."""
    if len(separator) > 1:
        cells = [re.split(separator, line.strip(" |")) for line in text.split("\n")]
    else:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
        try:
            cells = list(reader)
        except csv.Error:
            return []
    return [
        (at, [cell.strip() for cell in line])
        for at, line in enumerate(cells, 1)
        if any(cell.strip() for cell in line)
    ]


def table_of(file: str, ways: list[list[Line]]) -> StressTable:
    """The table below the first line that holds headings of ours."""
    for lines in ways:
        for place, (_, cells) in enumerate(lines):
            columns = {at: one for at, cell in enumerate(cells) if (one := _column(cell))}
            if len(columns) >= FEWEST_HEADINGS:
                return _below(file, lines, place, columns)
    raise refused_file(
        file, "has no line of headings that is known. Columns are ψ and d or 2θ for tilts; depth, "
        "stress and standard error for stresses; direction, strain and its standard error for "
        "three directions"
    )  # fmt: skip


def _column(cell: str) -> Heading | None:
    """A column that a heading names."""
    return heading_of(cell, "column") if cell else None


def _below(file: str, lines: list[Line], place: int, columns: dict[int, Heading]) -> StressTable:
    """The table below its headings, with units from the line below them where there is one."""
    at, headings = lines[place]
    body = lines[place + 1 :]
    if body and not any(is_number(cell) for cell in body[0][1]):
        columns = {
            column: heading if heading.unit else heading._replace(
                unit=unit_of(_bare(body[0][1], column), heading.word.dimension)
            )
            for column, heading in columns.items()
        }  # fmt: skip
        body = body[1:]
    twice = [name for name, count in Counter(
        FIELDS.get(one.word.name, one.word.name) for one in columns.values()
    ).items() if count > 1]  # fmt: skip
    faults = [
        Fault(file, at, "headings", ", ".join(one.said for one in columns.values()),
              f"two columns both mean {name}; keep one")
        for name in twice
    ]  # fmt: skip
    if not body:
        faults.append(Fault(file, at, "rows", NOTHING, "below the headings there are no numbers"))
    if faults:
        raise SurveyError(faults)
    numbers = [cell for _, cells in (*lines[:place], *body) for cell in cells]
    unread = tuple(cell for k, cell in enumerate(headings) if cell and k not in columns)
    width = max(k for k, cell in enumerate(headings) if cell) + 1
    return StressTable(lines[:place], columns, body, unread, width, commas_are_decimal(numbers))


def _bare(cells: list[str], column: int) -> str:
    """A unit as the line below the headings writes it."""
    return cells[column].strip("[]() ") if column < len(cells) else ""


def kind_of(file: str, table: StressTable) -> StressKind:
    """What a table holds, by its columns."""
    found: list[StressKind] = []
    if table.column("psi"):
        found.append("tilts")
    if table.column("stress"):
        found.append("stresses")
    if table.column("strain") or (
        table.column("spacing") and table.column("direction") and not table.column("psi")
    ):
        found.append("strains")
    if len(found) == 1:
        return found[0]
    names = ", ".join(one.said for one in table.columns.values())
    raise refused_file(
        file, f"its columns are {names}. A table holds either ψ with d or 2θ, or depth with stress "
        "and its standard error, or direction with strain and its standard error"
    )  # fmt: skip

"""The tables of a survey as CSV text: read as it was meant, and written so that it comes back."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.cells import commas_are_decimal, guarded, kinds, plain
from heritagecheck.survey.checked import Row
from heritagecheck.survey.records import TABLES, Record

ADDED_LATER = frozenset({"tile_readings", "spots", "attachments", "height_maps"})


def folder_rows(folder: Path, faults: list[Fault]) -> dict[str, Iterable[Row]]:
    """
    Rows of every table in a folder, to be read once.

    Parameters
    ----------
    folder : Path
        Folder that holds one ``<table>.csv`` for each table.
    faults : list of Fault
        What is wrong with the files is added to it, also while the rows are read.

    Returns
    -------
    dict of str to iterable of Row

    Raises
    ------
    SurveyError
        There is no such folder.
    """
    if not folder.is_dir():
        raise SurveyError([Fault(str(folder), None, "", "", "there is no such folder")])
    promised = _promised(folder, faults)
    raw: dict[str, Iterable[Row]] = {}
    for table in TABLES:
        path = folder / f"{table}.csv"
        if path.is_file():
            raw[table] = _rows(path, table, faults)
        elif table not in ADDED_LATER or table in promised:
            faults.append(Fault(path.name, None, "", "", f"this table is missing from {folder}"))
    return raw


def _promised(folder: Path, faults: list[Fault]) -> set[str]:
    """Tables that the package's own description says are there."""
    path = folder / "datapackage.json"
    if not path.is_file():
        return set()
    try:
        described = json.loads(path.read_text("utf-8"))
        return {str(resource["name"]) for resource in described["resources"]}
    except (ValueError, KeyError, TypeError) as error:
        faults.append(Fault(path.name, None, "", "", f"this describes no data package: {error}"))
        return set()


def _rows(path: Path, table: str, faults: list[Fault]) -> Iterator[Row]:
    """Read the rows of one file as text, each with the number a spreadsheet shows."""
    text = _decoded(path, faults)
    if text is None:
        return
    model = TABLES[table]
    first = text.split("\n", 1)[0]
    delimiter = max(
        ",;\t",
        key=lambda sign: len({cell.strip(' "') for cell in first.split(sign)}
                             & set(model.model_fields)),
    )  # fmt: skip
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        lines = [
            (number, line)
            for number, line in enumerate(reader, start=1)
            if any(cell.strip() for cell in line)
        ]
    except csv.Error as error:
        faults.append(Fault(path.name, reader.line_num, "", "", f"this is no CSV table: {error}"))
        return
    if not lines:
        faults.append(Fault(path.name, None, "", "", "this file is empty"))
        return
    header = [name.strip() for name in lines[0][1]]
    wrong = list(header_faults(path.name, header, table))
    faults.extend(wrong)
    if wrong:
        return
    comma = None if delimiter == "," else _decimal_comma(model, header, lines[1:])
    for number, cells in lines[1:]:
        if len(cells) != len(header):
            faults.append(
                Fault(path.name, number, "", "",
                      f"{len(cells)} cells stand under {len(header)} headings. "
                      "Is a decimal comma or a loose separator among them?")
            )  # fmt: skip
            continue
        row = plain_row(zip(header, cells, strict=True), model, comma, (path.name, number), faults)
        if row is not None:
            yield number, row


def _decimal_comma(
    model: type[Record], header: list[str], lines: list[tuple[int, list[str]]]
) -> bool:
    """Whether some number of a table shows that its commas are decimal signs."""
    places = [place for place, name in enumerate(header) if float in kinds(model, name)]
    return commas_are_decimal(
        line[place].strip() for _, line in lines for place in places if place < len(line)
    )


def plain_row(
    cells: Iterable[tuple[str, str]],
    model: type[Record],
    comma: bool | None,
    place: tuple[str, int],
    faults: list[Fault],
) -> dict[str, Any] | None:
    """
    One row as its record takes it.

    Parameters
    ----------
    cells : iterable of (str, str)
        Names of the fields and what stands in their cells.
    model : type of Record
        Record that the row is.
    comma : bool or None
        Whether commas are known to be decimal signs; None where a comma parts cells.
    place : tuple of str and int
        Name of the table and number of the row, for faults.
    faults : list of Fault
        Where a cell may mean two things, that is added.

    Returns
    -------
    dict or None
        None where a fault was added.
    """
    row: dict[str, Any] = {}
    clear = True
    for name, cell in cells:
        try:
            row[name] = plain(cell.strip(), model, name, comma=comma)
        except ValueError as question:
            faults.append(Fault(*place, name, cell.strip(), str(question)))
            clear = False
    return row if clear else None


def _decoded(path: Path, faults: list[Fault]) -> str | None:
    """Text of a file, or a fault where it holds none."""
    data = path.read_bytes()
    if not data.strip():
        faults.append(Fault(path.name, None, "", "", "this file is empty"))
        return None
    if b"\x00" in data:
        faults.append(Fault(path.name, None, "", "", "this is no CSV table but a binary file"))
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def header_faults(name: str, header: list[str], table: str) -> Iterator[Fault]:
    """
    What is wrong with the headings of a table.

    Parameters
    ----------
    name : str
        Name of the file or sheet.
    header : list of str
        Its headings.
    table : str
        Table that it should be.

    Yields
    ------
    Fault
    """
    fields = TABLES[table].model_fields
    if not set(header) & set(fields):
        yield Fault(
            name, 1, "", "",
            f"this is no table of {table}: its first line names none of: {', '.join(fields)}",
        )  # fmt: skip
        return
    for heading, count in Counter(header).items():
        if heading not in fields:
            yield Fault(
                name, 1, "heading", heading or "nothing", f"allowed are: {', '.join(fields)}"
            )
        elif count > 1:
            yield Fault(name, 1, "heading", heading, "this heading stands there twice")
    for field, info in fields.items():
        if info.is_required() and field not in header:
            yield Fault(name, 1, "heading", field, "this heading is missing")


def table_text(table: str, records: Iterable[Record]) -> str:
    """
    One table as CSV text.

    Parameters
    ----------
    table : str
        Name of the table.
    records : iterable of Record
        Its records.

    Returns
    -------
    str
        Commas, decimal points, one line feed a row; no text that a spreadsheet takes for a formula.
    """
    fields = list(TABLES[table].model_fields)
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(fields)
    for record in records:
        writer.writerow([written(getattr(record, field)) for field in fields])
    return text.getvalue()


def written(value: Any) -> str:
    """
    A value as a table writes it.

    Parameters
    ----------
    value : str, float, int, date or None
        Value of a field.

    Returns
    -------
    str
        Every digit that is needed to have the same number back.
    """
    if value is None:
        return ""
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    if isinstance(value, date):
        return value.isoformat()
    return guarded(value) if isinstance(value, str) else str(value)

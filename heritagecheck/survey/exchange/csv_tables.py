"""The tables of a survey as CSV text: read as it was meant, and written so that it comes back."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Iterable, Iterator
from difflib import get_close_matches
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

from heritagecheck.errors import NOTHING, Fault, refused_file
from heritagecheck.survey.records import KEYS, TABLES
from heritagecheck.survey.records.fields import kind_of
from heritagecheck.survey.records.old_settings import as_now, in_old_form
from heritagecheck.survey.records.record import UNREAD, Record
from heritagecheck.survey.records.row_reading import (
    Ambiguous,
    Row,
    Unclear,
    commas_are_decimal,
    guarded,
    plain,
    shown,
    unguarded,
)

ADDED_LATER = frozenset(
    {
        "tile_readings", "settings", "spots", "section_readings", "attachments", "height_maps",
        "photos",
        "meetings", "opinions", "decisions", "open_questions", "signatures",
    }
)  # fmt: skip


# A property of a data package's tables, of our own, which the standard allows.
ROWS = "rows"
# The largest surveys hold some hundred thousand readings; a second reads some ten thousand rows.
MOST_BYTES, MOST_ROWS, MOST_COLUMNS = 30_000_000, 150_000, 1_000


def folder_rows(folder: Path, faults: list[Fault]) -> dict[str, Iterable[Row]]:
    """Rows of every table in a folder, to be read once."""
    if not folder.is_dir():
        what = "there is no such folder"
        if folder.is_file():
            what = "this is neither a folder of tables, nor a .zip or .xlsx that holds them"
        raise refused_file(str(folder), what)
    promised = _promised(folder, faults)
    raw: dict[str, Iterable[Row]] = {}
    for table in TABLES:
        path = folder / f"{table}.csv"
        if path.is_file():
            rows = _rows(path, table, faults)
            raw[table] = _counted(rows, path.name, promised.get(table, {}).get(ROWS), faults)
        elif table not in ADDED_LATER or table in promised:
            faults.append(Fault(path.name, None, "", "", f"this table is missing from {folder}"))
    faults += _misnamed(folder, [table for table in TABLES if table not in raw])
    return raw


def _misnamed(folder: Path, missing: list[str]) -> Iterator[Fault]:
    """Files whose names nearly are those of missing tables, and whose rows would be lost."""
    for path in sorted(folder.glob("*.csv")):
        if path.stem not in TABLES and (
            meant := get_close_matches(path.stem.casefold(), missing, n=1, cutoff=0.8)
        ):
            what = f"no table has this name. Is it {meant[0]}.csv? Rename it, or move it elsewhere"
            yield Fault(path.name, None, "", "", what)


def words_are_read(folder: Path) -> bool:
    """Whether a folder has its settings as sentences only, as older releases wrote them."""
    path = folder / "panels.csv"
    if not path.is_file() or (folder / "settings.csv").is_file():
        return False
    found = _parted(path, "panels", [])
    return found is not None and in_old_form("panels", found.header)


def differences(folder: Path) -> tuple[str, ...]:
    """Tables that are not as they were when their package was written."""
    found = []
    for table, described in _promised(folder, []).items():
        path = folder / f"{table}.csv"
        then = str(described.get("hash", "")).removeprefix("sha256:")
        if table not in TABLES or not path.is_file() or not then:
            continue
        data = path.read_bytes()
        if then not in {sha256(one).hexdigest() for one in (data, data.replace(b"\r\n", b"\n"))}:
            lines = _parted(path, table, [])
            count = 0 if lines is None else sum(1 for _ in lines.numbered())
            was = described.get(ROWS, "an unknown number of")
            found.append(f"{path.name} was changed after its export: {count} rows, {was} then")
    return tuple(found)


def _counted(
    rows: Iterable[Row], name: str, promised: object, faults: list[Fault]
) -> Iterator[Row]:
    """The same rows; fewer than the package promises are a fault, for rows may have been lost."""
    before, count = len(faults), 0
    for row in rows:
        count += 1
        yield row
    unread = not count and any(fault.table == name for fault in faults[before:])
    if isinstance(promised, int) and count < promised and not unread:
        faults.append(
            Fault(
                name, None, "rows", str(count),
                f"datapackage.json says that {promised} were exported. Put back what was lost. If "
                f"rows were deleted on purpose, write {count} there in place of {promised}",
            )
        )  # fmt: skip


def _promised(folder: Path, faults: list[Fault]) -> dict[str, dict[str, Any]]:
    """Tables that the package's own description says are there, and what it says of them."""
    path = folder / "datapackage.json"
    if not path.is_file():
        return {}
    try:
        described = json.loads(path.read_text("utf-8"))
        return {str(resource["name"]): dict(resource) for resource in described["resources"]}
    except (ValueError, KeyError, TypeError) as error:
        faults.append(
            Fault(path.name, None, "", "", f"this does not describe a data package: {error}")
        )
        return {}


class _Lines(NamedTuple):
    """A CSV file: its headings, the sign that separates cells, and its text."""

    header: list[str]
    delimiter: str
    text: str

    def numbered(self) -> Iterator[tuple[int, list[str]]]:
        """Lines below the headings that hold anything, each with its number."""
        lines = csv.reader(_split(self.text), delimiter=self.delimiter, strict=True)
        return islice(_filled(lines), 1, None)


def _filled(lines: Iterable[list[str]]) -> Iterator[tuple[int, list[str]]]:
    """Lines that hold anything, each with its number; one at a time, however long the file."""
    for number, line in enumerate(lines, start=1):
        if any(map(str.strip, line)):
            yield number, line


def _split(text: str) -> Iterator[str]:
    """The lines of a text with their line feeds."""
    start = 0
    while end := text.find("\n", start) + 1:
        yield text[start:end]
        start = end
    if start < len(text):
        yield text[start:]


def _rows(path: Path, table: str, faults: list[Fault]) -> Iterator[Row]:
    """Read the rows of one file as text, each with the number a spreadsheet shows."""
    found = _parted(path, table, faults)
    if found is None:
        return
    header = found.header
    wrong = list(header_faults(path.name, header, table))
    faults.extend(wrong)
    model, old = TABLES[table], in_old_form(table, header)
    counts = Counter(header)
    # Below headings that are wrong, what the others hold is looked at all the same, but not taken.
    unread = {name: UNREAD for name in model.model_fields if wrong and counts[name] != 1}
    if wrong and (old or len(unread) == len(model.model_fields)):
        return
    comma = None if found.delimiter == "," else _decimal_comma(model, found)
    columns = _Columns(model, header, comma)
    for number, cells in found.numbered():
        if len(cells) != len(header):
            faults.append(
                Fault(path.name, number, "", "",
                      f"{len(cells)} cells under {len(header)} headings. "
                      "Look for a decimal comma or an extra separator")
            )  # fmt: skip
            yield number, _key_alone(table, header, cells)
            continue
        row = columns.row(cells)
        if wrong:
            row = {name: one for name, one in row.items() if name in model.model_fields} | unread
        yield number, as_now(table, row) if old else row


def _key_alone(table: str, header: list[str], cells: list[str]) -> dict[str, Any]:
    """A row of which nobody can say where its cells belong, but for its key at the beginning."""
    places = {name: header.index(name) for name in KEYS[table] if name in header}
    key = {name: cells[at].strip() for name, at in places.items() if at < len(cells)}
    return dict.fromkeys(TABLES[table].model_fields, UNREAD) | key


def written_cells(
    folder: Path, wanted: Iterable[tuple[str, int]]
) -> dict[str, dict[int, dict[str, str]]]:
    """Cells of some rows as they were written, to be shown to whoever corrects them."""
    asked: dict[str, set[int]] = {}
    for table, number in wanted:
        asked.setdefault(table, set()).add(number)
    cells: dict[str, dict[int, dict[str, str]]] = {}
    for table, numbers in asked.items():
        found = _parted(folder / f"{table}.csv", table, [])
        for number, line in found.numbered() if found else ():
            if found and number in numbers:
                last = len(found.header) - 1
                line[last:] = [found.delimiter.join(line[last:])]
                cells.setdefault(table, {})[number] = dict(zip(found.header, line, strict=False))
    return cells


def _parted(path: Path, table: str, faults: list[Fault]) -> _Lines | None:
    """Look through a file; None where a fault says why it can't be separated into cells."""
    text = _decoded(path, faults)
    if text is None:
        return None
    first = text.split("\n", 1)[0]
    fields = set(TABLES[table].model_fields)
    delimiter = max(
        ",;\t", key=lambda sign: len({cell.strip(' "') for cell in first.split(sign)} & fields)
    )
    reader = csv.reader(_split(text), delimiter=delimiter, strict=True)
    header: list[str] | None = None
    count, widest = -1, 0
    try:
        # To the end: of a file that turns out to be no table, no row is taken.
        for _, line in _filled(reader):
            header = header or line
            count, widest = count + 1, max(widest, len(line))
    except csv.Error as error:
        what = f"this is not a CSV table: {error} in line {reader.line_num}"
        faults.append(Fault(path.name, None, "", "", what))
        return None
    if header is None:
        faults.append(Fault(path.name, None, "", "", "this file is empty"))
        return None
    if count > MOST_ROWS or widest > MOST_COLUMNS:
        what = (
            f"holds {count:,} rows, the widest of {widest:,} cells; at most {MOST_ROWS:,} rows of "
            f"{MOST_COLUMNS:,} cells are read. Import it in parts"
        )
        faults.append(Fault(path.name, None, "", "", what))
        return None
    return _Lines([name.strip() for name in header], delimiter, text)


def _decimal_comma(model: type[Record], found: _Lines) -> bool:
    """Whether some number of a table shows that its commas are decimal signs."""
    places = [place for place, name in enumerate(found.header)
              if name in model.model_fields and kind_of(model, name) is float]  # fmt: skip
    return commas_are_decimal(
        line[place].strip() for _, line in found.numbered() for place in places if place < len(line)
    )


class _Columns:
    """How the cells of a table are read, found out once for all of its rows."""

    def __init__(self, model: type[Record], header: list[str], comma: bool | None) -> None:
        self._model, self._header, self._comma = model, header, comma
        known = [name for name in header if name in model.model_fields]
        self._not_texts = [name for name in known if kind_of(model, name) is not str]
        # Without one of the others a row is the same as one in which it holds nothing.
        fields = model.model_fields
        self._always_there = [
            name for name in known if fields[name].is_required() or fields[name].default is not None
        ]

    def row(self, cells: list[str]) -> dict[str, Any]:
        """One row as its record takes it."""
        row: dict[str, Any] = {
            name: unguarded(bare) if bare[0] == "'" else bare
            for name, cell in zip(self._header, cells, strict=True)
            if cell and (bare := cell.strip())
        }
        for name in self._not_texts:
            # Digits alone mean one thing, whatever a comma is.
            if (text := row.get(name)) and not text.isdigit():
                row[name] = self._plain(text, name)
        for name in self._always_there:
            row.setdefault(name, None)
        return row

    def _plain(self, bare: str, name: str) -> str | Unclear | None:
        """A number or a date as its record takes it, or the question that it leaves."""
        try:
            return plain(bare, self._model, name, comma=self._comma)
        except Ambiguous as question:
            return Unclear(bare, str(question), of_column=question.of_column)


def _decoded(path: Path, faults: list[Fault]) -> str | None:
    """Text of a file, or a fault where it holds none."""
    if path.stat().st_size > MOST_BYTES:
        what = f"holds {path.stat().st_size:,} B; at most {MOST_BYTES:,} B of a table are read"
        faults.append(Fault(path.name, None, "", "", what))
        return None
    data = path.read_bytes()
    if not data.strip():
        faults.append(Fault(path.name, None, "", "", "this file is empty"))
        return None
    if b"\x00" in data:
        faults.append(Fault(path.name, None, "", "", "this is a binary file, not a CSV table"))
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def header_faults(name: str, header: list[str], table: str) -> Iterator[Fault]:
    """What is wrong with the headings of a table."""
    fields = TABLES[table].model_fields
    if not set(header) & set(fields):
        yield Fault(
            name, 1, "", "",
            f"this is not the table {table}: its first line has none of the headings "
            f"{', '.join(fields)}",
        )  # fmt: skip
        return
    for heading, count in Counter(header).items():
        if heading not in fields:
            meant = get_close_matches(heading, fields, n=1)
            said = f"unknown; did you mean {meant[0]}? Allowed" if meant else "unknown; allowed"
            said += f" are: {', '.join(fields)}"
            yield Fault(name, 1, "heading", heading or NOTHING, said)
        elif count > 1:
            yield Fault(name, 1, "heading", heading, "this heading occurs twice")
    for field, info in fields.items():
        if info.is_required() and field not in header:
            yield Fault(name, 1, "heading", field, "this heading is missing")


def table_text(table: str, records: Iterable[Record]) -> str:
    """One table as CSV text."""
    fields = list(TABLES[table].model_fields)
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(fields)
    for record in records:
        writer.writerow([written(getattr(record, field)) for field in fields])
    return text.getvalue()


def written(value: Any) -> str:
    """A value as a table writes it."""
    return guarded(value) if isinstance(value, str) else shown(value)

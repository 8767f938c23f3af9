"""One sheet of a workbook: its headings, rows and locks, and what a spreadsheet checks in it."""

from __future__ import annotations

import math
import re
from collections.abc import Container, Iterator, Mapping, Sequence
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties

from heritagecheck import tables
from heritagecheck.errors import Fault
from heritagecheck.survey.records import KEYS, LINKS, ONE_ROW, TABLES, Records
from heritagecheck.survey.records.fields import (
    allowed_words,
    kind_of,
    limits,
    literal_choices,
    terms_of,
    unit_of,
)
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import guarded
from heritagecheck.tables.row_types import Topic

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell import Cell
    from openpyxl.worksheet.worksheet import Worksheet


# -- How field sheets are laid out -----------------------------------------------------------------

# A sheet of records has the name of its table, so that every fault names a visible sheet.
HOW_TO = "how to fill in"
WORDS = "words"
QUESTIONS = "questions"
LISTS = "lists"
BESIDE = frozenset({HOW_TO, WORDS, QUESTIONS, LISTS})
# Heads a column that says what is wrong with each row; it is passed over when it comes back.
REASONS = "what to correct"
# Every cell of the line below the headings begins with it; no record does.
HELP_SIGN = "» "
HEADING_ROW, HELP_ROW, FIRST_ROW = 1, 2, 3
LAST_ROW = 1_048_576
LONGEST_TEXT = 32_767
DATE_FORMAT = "yyyy-mm-dd"
# Before it, a spreadsheet counts a day that never was.
FIRST_DATE = date(1900, 3, 1)
LIST_SHOWN = 60
SHOWN_ELSEWHERE = {
    ("observations", "topic"): f"Pick from the list: see “{QUESTIONS}”.",
    ("observations", "finding"): f"Each topic has its own: see “{QUESTIONS}”.",
    ("zones", "soilings"): f"See “{WORDS}”.",
}
# Spreadsheets take _x0041_ in a text for the letter A, unless its first sign is written so.
LOOKS_ESCAPED = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
ESCAPED = re.compile(r"_x005F_|_x000D_(?=\n)", re.IGNORECASE)

Kind = Literal["text", "number", "whole", "date"]
KINDS: dict[type, Kind] = {str: "text", float: "number", int: "whole", date: "date"}


@cache
def kind_of_cell(model: type[Record], field: str) -> Kind:
    """What the cells of a field hold."""
    return "text" if literal_choices(model, field) else KINDS[kind_of(model, field)]


def help_text(table: str, field: str) -> str:
    """Hint below the heading of a field."""
    model = TABLES[table]
    info = model.model_fields[field]
    unit = f" [{unit_of(model, field)}]" if unit_of(model, field) else ""
    once = "Each may occur once." if KEYS[table] == (field,) and table not in ONE_ROW else ""
    need = "Needed." if info.is_required() else ""
    question = f"{HELP_SIGN}{info.description}{unit}"
    stop = "" if question.endswith("?") else "."
    parts = (f"{question}{stop}", _allowed(table, field), once, need)
    return " ".join(part for part in parts if part)


def _allowed(table: str, field: str) -> str:
    """Allowed values of a field in a few words; long lists have their own sheet."""
    model = TABLES[table]
    choices = ", ".join(literal_choices(model, field))
    if (table, field) in SHOWN_ELSEWHERE:
        return SHOWN_ELSEWHERE[table, field]
    if terms_of(model, field):
        return f"Pick from the list: see “{WORDS}”."
    if choices:
        return f"Pick: {choices}." if len(choices) <= LIST_SHOWN else "Pick from the list."
    if field in LINKS.get(table, {}):
        return f"One of the sheet {LINKS[table][field]}."
    return {
        "text": "",
        "date": "Year-month-day.",
        "number": sentence_of(allowed_words(model, field)),
        "whole": sentence_of(allowed_words(model, field)),
    }[kind_of_cell(model, field)]


def sentence_of(words: str) -> str:
    """Words with a capital before them and a full stop behind."""
    return f"{words[:1].upper()}{words[1:]}."


def cell_text(text: str) -> str:
    """A text as a cell of a workbook keeps it."""
    return guarded(LOOKS_ESCAPED.sub("_x005F_", text))


def text_of_cell(text: str) -> str:
    """The text that a cell keeps, still guarded against formulas."""
    return ESCAPED.sub(lambda found: "_" if "5" in found[0] else "", text)


def too_long(records: Records) -> list[Fault]:
    """Texts that no cell of a workbook holds whole."""
    return [
        Fault(
            table, None, field, f"{value[:40]}…",
            f"{len(value)} characters; a cell of a workbook holds at most {LONGEST_TEXT}. "
            f"It is in {', '.join(str(getattr(record, part)) for part in KEYS[table])}",
        )
        for table, found in records.items()
        for record in found
        for field, value in record
        if isinstance(value, str) and len(cell_text(value)) > LONGEST_TEXT
    ]  # fmt: skip


# -- One sheet -------------------------------------------------------------------------------------

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
    """A sheet of one table, written from the top down."""

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
        """Write one record; its codes are locked."""
        for pen, value in zip(self._kept, values, strict=True):
            put(pen, value)
        self._append(self._kept)

    def add_free(self, count: int) -> None:
        """Write rows to be filled in."""
        for _ in range(min(count, LAST_ROW - self._row)):
            self._append(self._free)

    def add_faulty(self, cells: Mapping[str, Any], wrong: Container[str], reasons: str) -> None:
        """Write a row that has to be corrected."""
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
            column.number_format = FORMATS[kind_of_cell(self._model, field)]
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
        wide = KEY_WIDTH if field in KEYS[self._table] else WIDTHS[kind_of_cell(self._model, field)]
        return max(wide, len(field) + 4)

    def _pen(self, field: str, *, locked: bool = False, marked: bool = False) -> Cell:
        """One cell of a column, to be filled and written as often as is needed."""
        cell = WriteOnlyCell(self._sheet)
        cell.protection = Protection(locked=locked)
        cell.number_format = FORMATS[kind_of_cell(self._model, field)]
        if marked:
            cell.fill, cell.border = PALE, MARKED
        return cell


def put(cell: Cell, value: Any) -> None:
    """Write a value into a cell, so that it comes back as it was."""
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
    """One cell that heads a column or a part."""
    cell = WriteOnlyCell(sheet, text)
    cell.font, cell.fill, cell.alignment = HEADING, GREY, WRAPPED
    return cell


def protect(sheet: Worksheet) -> None:
    """Lock the cells of a sheet that are to stay, without a password: it guards against slips."""
    sheet.protection.sheet = True
    for name in ALLOWED:
        # In the file's own words, true forbids.
        setattr(sheet.protection, name, False)


TERMS = (
    "substrates", "exposure", "soilings", "materials", "methods", "quantities",
    "setting_quantities", "setting_units", "topics",
)  # fmt: skip
# The last two columns of the lists: each topic as often as it has findings, and the findings.
TOPIC_COLUMN, FINDING_COLUMN = (get_column_letter(len(TERMS) + n) for n in (1, 2))
LONGEST_LIST_IN_RULE = 255
LONGEST_ERROR = 225
COMPARED = {"ge": ">=", "gt": ">", "le": "<=", "lt": "<"}
# The reader refuses what breaks such a rule; what is only not there yet may still be added.
STOP, WARN = "stop", "warning"


def lists() -> list[tuple[str, ...]]:
    """Lists to pick from, as the columns of the hidden sheet."""
    pairs = [(row.topic, finding) for row in Topic.rows() for finding in row.findings]
    return [
        *((name, *tables.codes(name)) for name in TERMS),
        ("topic", *(topic for topic, _ in pairs)),
        ("finding", *(finding for _, finding in pairs)),
    ]


def rules(
    table: str, letters: Mapping[str, str], *, linked: bool = True
) -> Iterator[DataValidation]:
    """Rules of one sheet, for every line below its headings."""
    for field, letter in letters.items():
        rule = _rule(table, field, letters, linked=linked)
        if rule is not None:
            rule.add(f"{letter}{FIRST_ROW}:{letter}{LAST_ROW}")
            yield rule


def _rule(
    table: str, field: str, letters: Mapping[str, str], *, linked: bool
) -> DataValidation | None:
    """Rule of one field; none where it takes any text."""
    model = TABLES[table]
    choices = ",".join(literal_choices(model, field))
    if terms_of(model, field):
        return _list(
            _terms_range(terms_of(model, field)),
            STOP,
            f"Pick from the list: see the sheet “{WORDS}”.",
        )
    if choices:
        assert len(choices) <= LONGEST_LIST_IN_RULE, f"{table}.{field} needs a list on the sheet"
        return _list(f'"{choices}"', STOP, f"One of: {choices.replace(',', ', ')}.")
    if (table, field) == ("observations", "finding"):
        return _list(_findings_range(letters["topic"]), WARN, "This topic has other findings.")
    if field in LINKS.get(table, {}):
        other = LINKS[table][field]
        message = f"The sheet {other} has no such code yet. Add it there too."
        return _list(_keys_range(other), WARN, message) if linked else None
    if kind_of_cell(model, field) == "text":
        return None
    return _limited(model, field, f"{letters[field]}{FIRST_ROW}")


def _list(source: str, style: str, message: str) -> DataValidation:
    """Build a list to pick from."""
    return _built(type="list", formula1=source, errorStyle=style, error=message)


def _limited(model: type[Record], field: str, cell: str) -> DataValidation:
    """Limits of a number, or that a date is one."""
    message = sentence_of(allowed_words(model, field))
    tests = [f"ISNUMBER({cell})"]
    if kind_of_cell(model, field) != "number":
        tests.append(f"{cell}=INT({cell})")
    tests += [f"{cell}{COMPARED[sign]}{bound:g}" for sign, bound in limits(model, field).items()]
    return _built(type="custom", formula1=f"AND({','.join(tests)})", errorStyle=STOP, error=message)


def _built(**settings: Any) -> DataValidation:
    """Build a rule that leaves empty cells alone and says in words what it takes."""
    error = settings.pop("error")[:LONGEST_ERROR]
    return DataValidation(
        allow_blank=True, showErrorMessage=True, errorTitle="Not taken", error=error, **settings
    )


def _terms_range(name: str) -> str:
    """Cells that hold one list of codes."""
    letter = get_column_letter(TERMS.index(name) + 1)
    return f"{LISTS}!${letter}$2:${letter}${len(tables.codes(name)) + 1}"


def _keys_range(table: str) -> str:
    """Keys on the sheet of a table, as many as there are when the list is opened."""
    column = f"{table}!$A${FIRST_ROW}"
    return f"OFFSET({column},0,0,MAX(1,COUNTA({column}:$A${LAST_ROW})),1)"


def _findings_range(topic: str) -> str:
    """Findings of the topic in the same row."""
    last = 1 + sum(len(row.findings) for row in Topic.rows())
    topics = f"{LISTS}!${TOPIC_COLUMN}$2:${TOPIC_COLUMN}${last}"
    cell = f"${topic}{FIRST_ROW}"
    return (
        f"OFFSET({LISTS}!${FINDING_COLUMN}$1,MATCH({cell},{topics},0),0,COUNTIF({topics},{cell}),1)"
    )

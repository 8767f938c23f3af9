"""How field sheets are laid out in a workbook: what writing and reading them both rest on."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from functools import cache
from typing import Literal

from heritagecheck.errors import Fault
from heritagecheck.survey.records import KEYS, LINKS, ONE_ROW, TABLES
from heritagecheck.survey.records.fields import (
    allowed_words,
    kinds,
    literal_choices,
    terms_of,
    unit_of,
)
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import guarded

# A sheet of records bears the name of its table, so that every fault names the sheet that is seen.
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


@cache
def kind_of(model: type[Record], field: str) -> Kind:
    """What the cells of a field hold."""
    found = kinds(model, field)
    if literal_choices(model, field):
        return "text"
    if date in found:
        return "date"
    if int in found:
        return "whole"
    return "number" if float in found else "text"


def help_text(table: str, field: str) -> str:
    """What stands below the heading of a field."""
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
    """Say what a field takes, in few words: long lists stand on a sheet of their own."""
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
    }[kind_of(model, field)]


def sentence_of(words: str) -> str:
    """Words with a capital before them and a full stop behind."""
    return f"{words[:1].upper()}{words[1:]}."


def cell_text(text: str) -> str:
    """A text as a cell of a workbook keeps it."""
    return guarded(LOOKS_ESCAPED.sub("_x005F_", text))


def text_of_cell(text: str) -> str:
    """The text that a cell keeps, still guarded against formulas."""
    return ESCAPED.sub(lambda found: "_" if "5" in found[0] else "", text)


def too_long(records: Mapping[str, tuple[Record, ...]]) -> list[Fault]:
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

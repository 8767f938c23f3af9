"""Cells and rows of a table made into records: nothing is guessed, every fault is reported."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from operator import itemgetter
from typing import Any

from pydantic import ValidationError

from heritagecheck.errors import NOTHING, Fault, Must, SurveyError
from heritagecheck.survey.records import TABLE_OF, TABLES
from heritagecheck.survey.records.fields import allowed_words, kind_of
from heritagecheck.survey.records.record import (
    PLAIN_DATE,
    UNREAD,
    AnyRecord,
    Contradictions,
    FieldFault,
    Record,
)

# -- One cell --------------------------------------------------------------------------------------

DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
# Three digits after the one sign, and no more than three before: 1,234 may mean either.
EITHER = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}")
# What a spreadsheet takes for the beginning of a formula, also behind the sign that prevents it.
FORMULA_LIKE = re.compile(r"'*[=+\-@\t\r]")
THREE_NUMBERS = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})")
IN_WORDS = re.compile(r"(?:(\d{1,2})\.? ([A-Za-z]+)|([A-Za-z]+) (\d{1,2})),? (\d{4})")
MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Unclear:
    """A cell with two possible meanings, or without a plain value: its text, and what to ask."""

    value: str
    question: str
    column: str = ""
    of_column: str = ""


class Ambiguous(ValueError):
    """A cell with two possible meanings; `of_column` is the question for a whole column."""

    def __init__(self, question: str, of_column: str) -> None:
        super().__init__(question)
        self.of_column = of_column


def guarded(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    return f"'{text}" if FORMULA_LIKE.match(text) else text


def unguarded(text: str) -> str:
    """The text before `guarded`."""
    return text[1:] if text.startswith("'") and FORMULA_LIKE.match(text) else text


def shown(value: object) -> str:
    """A value as text from which it can be read back; nothing as an empty text."""
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    return value.isoformat() if isinstance(value, date) else "" if value is None else str(value)


def commas_are_decimal(cells: Iterable[str]) -> bool:
    """Whether a cell of the table proves that its commas are decimal signs."""
    return any(DECIMAL_COMMA.fullmatch(cell) and not EITHER.fullmatch(cell) for cell in cells)


def number_text(cell: str, *, decimal_comma: bool) -> str:
    """A number with a decimal point, if its meaning is clear."""
    either = EITHER.fullmatch(cell)
    if either and (either[1] == ".") == decimal_comma:
        sign, other, name = (".", ",", "point") if decimal_comma else (",", ".", "comma")
        raise Ambiguous(
            f"{cell.replace(sign, other)} or {cell.replace(sign, '')}? Write it without a {name}",
            f"does the {name} separate thousands, or is it a decimal sign? Write each number of "
            f"this column without a {name}",
        )
    return cell.replace(",", ".") if DECIMAL_COMMA.fullmatch(cell) else cell


def date_text(cell: str) -> str:
    """A date as year-month-day, if it is clear which day it is."""
    if PLAIN_DATE.fullmatch(cell):
        return cell
    found = {day.isoformat() for day in _days(cell)}
    if len(found) > 1:
        one, other = sorted(found)
        raise Ambiguous(
            f"{one} or {other}? Write it year-month-day, as one of these two",
            "is the day first, or the month? Write each date of this column year-month-day",
        )
    return found.pop() if found else cell


def _days(cell: str) -> set[date]:
    """Every day that a cell may mean."""
    words, numbers = IN_WORDS.fullmatch(cell), THREE_NUMBERS.fullmatch(cell)
    if words:
        day, name = words[1] or words[4], (words[2] or words[3]).lower()
        months = [
            place for place, month in enumerate(MONTHS, 1) if name in {month, month[:3], "sept"}
            and (name != "sept" or month == "september")
        ]  # fmt: skip
        return {found for month in months if (found := _day(words[5], month, day))}
    if not numbers:
        return set()
    return {found for order in _orders(numbers) if (found := _day(*order))}


def _orders(numbers: re.Match[str]) -> list[tuple[str, str, str]]:
    """Three numbers as year, month and day, in each possible order."""
    first, middle, last = numbers[1], numbers[3], numbers[4]
    if len(first) == 4:
        return [(first, middle, last)]
    return [(last, middle, first), (last, first, middle)] if len(last) == 4 else []


def no_such_day(cell: str) -> str:
    """The day that a cell names although its month is shorter; empty if there is none."""
    numbers = THREE_NUMBERS.fullmatch(cell)
    for year, month, day in _orders(numbers) if numbers else ():
        if 1 <= int(month) <= len(MONTHS) and 1 <= int(day) <= 31 and not _day(year, month, day):
            return f"{int(day)} {MONTHS[int(month) - 1].capitalize()} {year}"
    return ""


def _day(year: str, month: str | int, day: str) -> date | None:
    """The day; None if it does not exist."""
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        return None


def plain(cell: str, model: type[Record], field: str, *, comma: bool | None) -> str | None:
    """Text of a cell as its record takes it."""
    if not cell:
        return None
    kind = kind_of(model, field)
    if kind is date:
        return date_text(cell)
    if kind is not str:
        cell = unguarded(cell)  # a spreadsheet that was given -0.3 as text may have guarded it
        if comma is None and not EITHER.fullmatch(cell):
            return cell
        return number_text(cell, decimal_comma=bool(comma))
    return unguarded(cell)


# -- One row ---------------------------------------------------------------------------------------

LONGEST_SHOWN = 200
# Nobody corrects more by hand, and a file of another program would fill the memory with faults.
MOST_FAULTS = 20_000
Row = tuple[int, Mapping[str, Any]]


@dataclass(frozen=True, eq=False)
class RowsRead:
    """
    Rows that were read: valid ones as records, each with its row, and the faults.

    `refused` holds what could be read of the others, by table, each with its row; `unread`, the
    tables (as messages name them) of which rows could not be read at all.
    """

    records: dict[str, tuple[Record, ...]]
    numbers: dict[str, list[int]]
    faults: tuple[Fault, ...]
    refused: dict[str, list[tuple[int, Record]]]
    unread: frozenset[str]

    @property
    def broken(self) -> frozenset[str]:
        """Tables, as messages name them, with a fault."""
        return frozenset(fault.table for fault in self.faults)

    def all_rows(self) -> tuple[dict[str, tuple[Record, ...]], dict[str, list[int]]]:
        """Every row as far as it could be read, valid or not, and its number, by table."""
        records, numbers = dict(self.records), dict(self.numbers)
        for table, refused in self.refused.items():
            both = [*zip(numbers[table], records[table], strict=True), *refused]
            both.sort(key=itemgetter(0))
            numbers[table] = [number for number, _ in both]
            records[table] = tuple(record for _, record in both)
        return records, numbers


def read_rows(
    raw: Mapping[str, Iterable[Row]], *, faults: list[Fault], suffix: str = ""
) -> RowsRead:
    """Make records of plain rows, each by itself."""
    records: dict[str, tuple[Record, ...]] = {}
    numbers: dict[str, list[int]] = {}
    refused: dict[str, list[tuple[int, Record]]] = {}
    wrong: list[Fault] = []
    for table, model in TABLES.items():
        good: list[Record] = []
        numbers[table] = []
        words: dict[Any, Any] = {}
        for number, row in raw.get(table, ()):
            if len(wrong) > MOST_FAULTS:
                what = f"more than {MOST_FAULTS:,} faults; the rows that follow were not checked"
                faults.append(Fault(table + suffix, None, "", "", what))
                break
            try:
                record = model.model_validate(row)
                good.append(record.sharing(words))
                numbers[table].append(number)
            except ValidationError as error:
                record = model.readable(row)
                refused.setdefault(table, []).append((number, record))
                wrong.extend(faults_of_row(error, record, table + suffix, number, row))
        records[table] = tuple(good)
    unread = frozenset(fault.table for fault in faults) - {
        table + suffix for table in TABLES if records[table] or table in refused
    }
    return RowsRead(records, numbers, (*faults, *wrong), refused, unread)


def record_of(
    model: type[AnyRecord], values: Mapping[str, Any], *, nothing: str = "saved"
) -> AnyRecord:
    """A record of some values; a SurveyError with every fault if it is not valid."""
    try:
        return model.model_validate(values)
    except ValidationError as error:
        faults = row_faults(error, TABLE_OF[model], None, values)
        raise SurveyError(faults, nothing=nothing) from None


def faults_of_row(
    error: ValidationError, record: Record, table: str, number: int | None, row: Mapping[str, Any]
) -> Iterator[Fault]:
    """Everything wrong in one row: unclear cells, fields, and rules that could still be checked."""
    unclear = {name: cell for name, cell in row.items() if isinstance(cell, Unclear)}
    for name, cell in unclear.items():
        yield Fault(table, number, name, cell.value, cell.question, cell.column, cell.of_column)
    reported = set(unclear) | {name for name, cell in row.items() if cell is UNREAD}
    for fault in [
        *row_faults(error, table, number, row),
        *_broken(record.broken_rules(), table, number, row),
    ]:
        if fault.field not in reported:
            reported.add(fault.field)
            yield fault


def _broken(
    rules: Iterable[tuple[str, str]], table: str, number: int | None, row: Mapping[str, Any]
) -> Iterator[Fault]:
    """The rules that a record breaks, as faults."""
    for name, allowed in rules:
        yield Fault(table, number, name, _came(row, name), allowed)


def in_order(faults: Iterable[Fault]) -> list[Fault]:
    """Faults by table and row; zones before records that name them, since causes come first."""
    place = {table: number for number, table in enumerate(TABLES)}
    return sorted(
        faults,
        key=lambda one: (place.get(one.table.removesuffix(".csv"), -1), one.table, one.row or 0),
    )


def row_faults(
    error: ValidationError, table: str, number: int | None, row: Mapping[str, Any]
) -> Iterator[Fault]:
    """What is wrong with one row, in the words of the form."""
    model = next(kind for kind in TABLES.values() if kind.__name__ == error.title)
    for item in error.errors():
        why = item.get("ctx", {}).get("error")
        if isinstance(why, Contradictions):
            yield from _broken(why.broken, table, number, row)
            continue
        name = str(item["loc"][0])
        value = _came(row, name)
        if isinstance(why, FieldFault):
            allowed: str = why.why
        elif name in model.model_fields:
            allowed = _must_be(model, name, value, _hint(item["type"], value))
        else:
            allowed = "there is no such field"
        yield Fault(table, number, name, value, allowed)


def _came(row: Mapping[str, Any], name: str) -> str:
    """The value of a field, as a fault shows it."""
    came = row.get(name)
    if came == NOTHING:
        return f'"{came}"'  # the word was written
    return NOTHING if came is None or came == "" else _in_brief(str(came))


def _in_brief(value: str) -> str:
    """A value cut to the length that a message shows."""
    return value if len(value) <= LONGEST_SHOWN else f"{value[:LONGEST_SHOWN]}…"


def _must_be(model: type[Record], name: str, value: str, hint: str) -> str:
    """What a field must be, or why this is not a date."""
    if kind_of(model, name) is not date or value == NOTHING:
        return Must("must be ", allowed_words(model, name), hint)
    if day := no_such_day(value):
        return f"not a date: {day} does not exist{hint}"
    return f"not a date; write year-month-day, such as 2026-05-01{hint}"


def _hint(kind: str, value: str) -> str:
    """Add the likely cause, where there is one."""
    if value.startswith("-"):
        return ""
    if kind in {"less_than_equal", "less_than", "greater_than_equal", "greater_than"}:
        return ". Was a decimal point lost?"
    if kind == "value_error" and DECIMAL_COMMA.fullmatch(value):
        return ". Write a decimal point here"
    return ""

"""What a cell of a table means: numbers, dates and texts, taken only where nothing is guessed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache

from heritagecheck.survey.records.fields import kinds
from heritagecheck.survey.records.record import PLAIN_DATE, Record

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
    """A cell that may mean two things, or is no plain value: what it holds, and what is asked."""

    value: str
    question: str
    column: str = ""
    of_column: str = ""


class Ambiguous(ValueError):
    """
    A cell that may mean either of two things.

    Parameters
    ----------
    question : str
        What is asked of this cell.
    of_column : str
        What is asked once where several cells of a column leave the same open.
    """

    def __init__(self, question: str, of_column: str) -> None:
        super().__init__(question)
        self.of_column = of_column


def guarded(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    return f"'{text}" if FORMULA_LIKE.match(text) else text


def unguarded(text: str) -> str:
    """The text that `guarded` was given."""
    return text[1:] if text.startswith("'") and FORMULA_LIKE.match(text) else text


def shown(value: object) -> str:
    """A value as it is written, such that it is read again as it was; nothing as an empty text."""
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    return value.isoformat() if isinstance(value, date) else "" if value is None else str(value)


def commas_are_decimal(cells: Iterable[str]) -> bool:
    """Whether a table shows by itself that its commas are decimal signs."""
    return any(DECIMAL_COMMA.fullmatch(cell) and not EITHER.fullmatch(cell) for cell in cells)


def number_text(cell: str, *, decimal_comma: bool) -> str:
    """A number with a decimal point, where it is clear what it is."""
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
    """A date as year-month-day, where it is clear which day it is."""
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
    """Three numbers as year, month and day, in each way that they may be meant."""
    first, middle, last = numbers[1], numbers[3], numbers[4]
    if len(first) == 4:
        return [(first, middle, last)]
    return [(last, middle, first), (last, first, middle)] if len(last) == 4 else []


def no_such_day(cell: str) -> str:
    """The day that a cell names although its month is shorter; empty where it names none."""
    numbers = THREE_NUMBERS.fullmatch(cell)
    for year, month, day in _orders(numbers) if numbers else ():
        if 1 <= int(month) <= len(MONTHS) and 1 <= int(day) <= 31 and not _day(year, month, day):
            return f"{int(day)} {MONTHS[int(month) - 1].capitalize()} {year}"
    return ""


def _day(year: str, month: str | int, day: str) -> date | None:
    """The day, where there is such a one."""
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        return None


def plain(cell: str, model: type[Record], field: str, *, comma: bool | None) -> str | None:
    """What a cell says, as its record takes it."""
    if not cell:
        return None
    kind = _kind(model, field)
    if kind is date:
        return date_text(cell)
    if kind is float:
        cell = unguarded(cell)  # a spreadsheet that was given -0.3 as text may have guarded it
        if comma is None and not EITHER.fullmatch(cell):
            return cell
        return number_text(cell, decimal_comma=bool(comma))
    return unguarded(cell)


@cache
def _kind(model: type[Record], field: str) -> type:
    """Whether a field takes a date, a number or a text."""
    kind = kinds(model, field)
    return date if date in kind else float if kind & {float, int} else str

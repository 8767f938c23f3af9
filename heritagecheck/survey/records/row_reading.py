"""Plain rows made into records, each by itself, and every fault in the words of the form."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from operator import itemgetter
from typing import Any

from pydantic import ValidationError

from heritagecheck.errors import NOTHING, Fault
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.cells import DECIMAL_COMMA, Unclear, no_such_day
from heritagecheck.survey.records.fields import allowed_words, kinds
from heritagecheck.survey.records.record import UNREAD, Contradictions, FieldFault, Record

LONGEST_SHOWN = 200
# Nobody corrects more by hand; a file that is none of ours would fill the memory with them.
MOST_FAULTS = 20_000
Row = tuple[int, Mapping[str, Any]]


@dataclass(frozen=True, eq=False)
class RowsRead:
    """
    Rows that were looked at: the good ones as records, each with its row, and the faults.

    `refused` holds what could be read of the others, by table, each with its row; `unread` names
    the tables, as they are told, of which rows could not be read at all.
    """

    records: dict[str, tuple[Record, ...]]
    numbers: dict[str, list[int]]
    faults: tuple[Fault, ...]
    refused: dict[str, list[tuple[int, Record]]]
    unread: frozenset[str]

    @property
    def broken(self) -> frozenset[str]:
        """Tables, as they are told, that hold a fault."""
        return frozenset(fault.table for fault in self.faults)

    def all_rows(self) -> tuple[dict[str, tuple[Record, ...]], dict[str, list[int]]]:
        """Every row as far as it could be read, good or not, and its number, by table."""
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


def faults_of_row(
    error: ValidationError, record: Record, table: str, number: int | None, row: Mapping[str, Any]
) -> Iterator[Fault]:
    """Everything that is wrong in one row: unclear cells, fields, and what contradicts besides."""
    unclear = {name: cell for name, cell in row.items() if isinstance(cell, Unclear)}
    for name, cell in unclear.items():
        yield Fault(table, number, name, cell.value, cell.question, cell.column, cell.of_column)
    told = set(unclear) | {name for name, cell in row.items() if cell is UNREAD}
    for fault in [
        *row_faults(error, table, number, row),
        *_broken(record.broken_rules(), table, number, row),
    ]:
        if fault.field not in told:
            told.add(fault.field)
            yield fault


def _broken(
    rules: Iterable[tuple[str, str]], table: str, number: int | None, row: Mapping[str, Any]
) -> Iterator[Fault]:
    """The rules that a record breaks, as faults."""
    for name, allowed in rules:
        yield Fault(table, number, name, _came(row, name), allowed)


def in_order(faults: Iterable[Fault]) -> list[Fault]:
    """Faults by table and row; zones before what names them, for a cause is told first."""
    place = {table: number for number, table in enumerate(TABLES)}
    return sorted(
        faults,
        key=lambda one: (place.get(one.table.removesuffix(".csv"), -1), one.table, one.row or 0),
    )


def row_faults(
    error: ValidationError, table: str, number: int | None, row: Mapping[str, Any]
) -> Iterator[Fault]:
    """Say what is wrong with one row, in the words of the form."""
    model = next(kind for kind in TABLES.values() if kind.__name__ == error.title)
    for item in error.errors():
        why = item.get("ctx", {}).get("error")
        if isinstance(why, Contradictions):
            yield from _broken(why.broken, table, number, row)
            continue
        name = str(item["loc"][0])
        value = _came(row, name)
        if isinstance(why, FieldFault):
            allowed = str(why)
        elif name in model.model_fields:
            allowed = _must_be(model, name, value)
        else:
            allowed = "there is no such field"
        yield Fault(table, number, name, value, allowed + _hint(item["type"], value))


def _came(row: Mapping[str, Any], name: str) -> str:
    """What stands in a field, as a fault names it."""
    came = row.get(name)
    if came == NOTHING:
        return f'"{came}"'  # the word was written
    return NOTHING if came is None or came == "" else _in_brief(str(came))


def _in_brief(value: str) -> str:
    """A value as a message has room for it."""
    return value if len(value) <= LONGEST_SHOWN else f"{value[:LONGEST_SHOWN]}…"


def _must_be(model: type[Record], name: str, value: str) -> str:
    """What a field must hold, in the words of the form, or why this is no date."""
    if date not in kinds(model, name) or value == NOTHING:
        return f"must be {allowed_words(model, name)}"
    if day := no_such_day(value):
        return f"not a date: {day} does not exist"
    return "not a date; write year-month-day, such as 2026-05-01"


def _hint(kind: str, value: str) -> str:
    """Add the likely cause, where there is one."""
    if value.startswith("-"):
        return ""
    if kind in {"less_than_equal", "less_than", "greater_than_equal", "greater_than"}:
        return ". Was a decimal point lost?"
    if kind == "value_error" and DECIMAL_COMMA.fullmatch(value):
        return ". Write a decimal point here"
    return ""

"""Stress files of laboratories: plain tables whose headings name their units, never guessed."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from heritagecheck.errors import NOTHING, Fault, SurveyError
from heritagecheck.survey.instruments.height_files import content_of
from heritagecheck.survey.instruments.stress_file import (
    DIRECTIONS,
    StressFile,
    StressKind,
    StressRow,
)
from heritagecheck.survey.instruments.stress_gaps import missing, odd
from heritagecheck.survey.instruments.stress_head import HeadRead
from heritagecheck.survey.instruments.stress_table import StressTable, kind_of, lines_of, table_of
from heritagecheck.survey.instruments.stress_words import (
    FIELDS,
    Heading,
    names_a_unit,
    needs_unit,
    out_of_range,
    parted_number,
)
from heritagecheck.tables.row_types import StressUnit


def read_stress_file(path: str | Path, *, also: Mapping[str, str] | None = None) -> StressFile:
    """Read a laboratory's stress file; `also` holds lines of the head that the file leaves out."""
    path = Path(path)
    data = content_of(path)
    lines = lines_of(path.name, data)
    table = table_of(path.name, lines)
    faults: list[Fault] = []
    kind = kind_of(path.name, table)
    head = HeadRead(path.name, table, dict(also or {}), faults)
    if not faults:
        faults += missing(path.name, kind, table, head.found)
    reader = _Rows(path.name, table, head, faults)
    rows = reader.read()
    if not faults:
        faults += odd(path.name, head.found, rows, table.unread)
    if faults:
        raise SurveyError(faults)
    return StressFile(
        path.name, hashlib.sha256(data).hexdigest(), kind, head.found, rows,
        tuple(_cautions(kind, head, reader)),
    )  # fmt: skip


class _Rows:
    """Rows of a table, in the units that we keep; every fault is named."""

    def __init__(self, file: str, table: StressTable, head: HeadRead, faults: list[Fault]) -> None:
        self.file, self.table, self.head, self.faults = file, table, head, faults
        self.factors = {
            column: factor for column, heading in table.columns.items()
            if heading.word.dimension and (factor := self._factor(heading)) is not None
        }  # fmt: skip

    def _unit(self, heading: Heading) -> StressUnit | None:
        """Unit of a column: what the laboratory said of it, or the heading."""
        given = self.head.stress_unit if heading.word.dimension == "stress" else None
        return given or heading.unit

    def _factor(self, heading: Heading) -> float | None:
        """Size of a column's unit in the one that we keep."""
        unit = self._unit(heading)
        if unit is None:
            came = heading.said if names_a_unit(heading) else NOTHING
            self._fault(None, f"unit of {heading.said}", came, needs_unit(heading.word))
            return None
        spread = heading.word.name == "stress_spread"
        if spread and self.head.coverage_factor is None:
            self._fault(
                None, heading.said, "an uncertainty of unknown width",
                'is it one standard error, or two? Ask the laboratory, and add the line "k", '
                "1 for a standard error, 2 for an expanded uncertainty",
            )  # fmt: skip
            return None
        return float(unit.factor) / (self.head.coverage_factor or 1.0 if spread else 1.0)

    def read(self) -> tuple[StressRow, ...]:
        """Every row; all of them are looked at before a fault is raised."""
        found = [self._row(at, cells) for at, cells in self.table.body]
        self._look_at_sizes(found)
        return tuple(StressRow(**one) for one in found)

    def _row(self, at: int, cells: list[str]) -> dict[str, Any]:
        """One row by the fields of its record."""
        if any(cells[self.table.width :]):
            self._fault(
                at, "line", " ".join(cells)[:60],
                "has more cells than there are headings. Is a decimal comma among them?",
            )  # fmt: skip
            return {"row": at}
        found: dict[str, Any] = {"row": at}
        for column, heading in self.table.columns.items():
            cell = cells[column] if column < len(cells) else ""
            if heading.word.name == "direction":
                found["direction"] = self._direction(at, heading, cell)
            elif column in self.factors:
                found[FIELDS[heading.word.name]] = self._number(at, column, cell)
        return found

    def _number(self, at: int, column: int, cell: str) -> float | None:
        """A number of a row in the unit that we keep."""
        heading, value = self.table.columns[column], None
        try:
            parted = parted_number(cell, decimal_comma=self.table.decimal_comma)
        except ValueError as question:
            self._fault(at, heading.said, cell, str(question))
            return None
        if parted is not None and not parted[1]:
            value = parted[0] * self.factors[column]
        if value is None or not math.isfinite(value):
            self._fault(
                at, heading.said, cell or NOTHING,
                "is not a number. Leave a reading that failed out of the file, with its whole row",
            )  # fmt: skip
            return None
        return value

    def _direction(self, at: int, heading: Heading, cell: str) -> str:
        """A direction of a row."""
        said = cell.casefold()
        if said in DIRECTIONS:
            return said
        self._fault(at, heading.said, cell or NOTHING, f"must be one of {', '.join(DIRECTIONS)}")
        return ""

    def _look_at_sizes(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """Refuse columns whose numbers can't be in the unit that they are said to be in."""
        for column, factor in self.factors.items():
            heading = self.table.columns[column]
            values = [
                value for one in rows
                if (value := one.get(FIELDS[heading.word.name])) is not None
            ]  # fmt: skip
            read = [value / factor for value in values]
            if why := out_of_range(heading.word, values, self._unit(heading), read):
                came = f"{min(read):.6g} to {max(read):.6g}"
                self._fault(None, heading.said, came, why)

    def _fault(self, at: int | None, field: str, came: str, why: str) -> None:
        self.faults.append(Fault(self.file, at, field, came, why))


def _cautions(kind: StressKind, head: HeadRead, reader: _Rows) -> Iterator[str]:
    """What to look at before a file is relied on."""
    for heading in reader.table.columns.values():
        given = head.stress_unit if heading.word.dimension == "stress" else None
        if given is not None and heading.unit not in {None, given}:
            said = heading.unit.unit if heading.unit else NOTHING
            yield f"{heading.said} was read in {given.unit}, as given; the file says {said}"
    if also := sorted(head.also):
        names = [heading.said for name in also for heading in (head.stated[name][1],)]
        yield f"Not in the file, but given beside it: {', '.join(names)}"
    if reader.table.unread:
        yield f"Columns not used: {', '.join(reader.table.unread)}"
    if kind != "tilts":
        return
    if head.found.half_s2_per_tpa is None:
        yield (
            "½S2 is worked out from E and ν. It differs from that of the lattice planes; ask the "
            "laboratory for ½S2"
        )
    if head.found.half_s2_error_per_tpa is None and head.found.youngs_modulus_error_gpa is None:
        # Values of 3.5 to 5.5 1/TPa were measured on one steel (source MET-14-62, abstract).
        yield "The error of the elastic constants is not stated, so it is in no interval"

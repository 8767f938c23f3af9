"""Stress files of laboratories: plain tables whose headings name their units, never guessed."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from heritagecheck.errors import NOTHING, Fault, SurveyError
from heritagecheck.survey.instruments.height_files import content_of
from heritagecheck.survey.instruments.stress_table import (
    FIELDS,
    Heading,
    StressTable,
    heading_of,
    kind_of,
    lines_of,
    names_a_unit,
    names_of,
    needs_unit,
    out_of_range,
    parted_number,
    table_of,
    unit_of,
    units_of,
)
from heritagecheck.survey.instruments.stress_values import (
    DIRECTIONS,
    StressFile,
    StressHead,
    StressKind,
    StressRow,
)
from heritagecheck.tables.row_types import StressUnit, StressWord


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


# -- The head: elastic constants, and what else holds for all rows ---------------------------------

OF_HEAD = {
    "half_s2": "half_s2_per_tpa", "half_s2_error": "half_s2_error_per_tpa",
    "youngs_modulus": "youngs_modulus_gpa", "youngs_modulus_error": "youngs_modulus_error_gpa",
    "poisson": "poisson", "wavelength": "wavelength_nm", "free_spacing": "free_spacing_nm",
    "free_spacing_error": "free_spacing_error_nm", "information_depth": "information_depth_um",
    "along_phi": "along_phi_deg",
}  # fmt: skip


class HeadRead:
    """Lines above the headings, with what the laboratory said elsewhere."""

    def __init__(
        self, file: str, table: StressTable, also: Mapping[str, str], faults: list[Fault]
    ) -> None:
        self.file, self.table, self.faults = file, table, faults
        self.stated: dict[str, tuple[int | None, Heading, str]] = {}
        self.also: set[str] = set()
        for at, cells in table.above:
            self._take(at, *_key_and_value(cells))
        for key, words in also.items():
            self._take_given(key, words)
        values = {
            field: value for name, field in OF_HEAD.items()
            if (value := self._number(name)) is not None
        }  # fmt: skip
        self.coverage_factor = self._number("coverage_factor")
        self.stress_unit = self._unit()
        self.found = StressHead(planes=self._words("planes"), direction=self._direction(), **values)

    def _take(self, at: int | None, key: str, words: str) -> None:
        """Store a line of the head if its key is known."""
        heading = heading_of(key, "head")
        if heading is None or not words:
            return
        name = heading.word.name
        before = self.stated.get(name)
        if before is not None and before[2] != words:
            self._fault(at, heading, words, f"or {before[2]}? Both are given")
        self.stated[name] = at, heading, words

    def _take_given(self, key: str, words: str) -> None:
        """Keep what was said elsewhere; refused where the file says otherwise."""
        heading = heading_of(key, "head")
        if heading is None:
            known = ", ".join(row.shown for row in StressWord.rows() if row.place == "head")
            raise ValueError(f'also["{key}"] is not known; take one of: {known}.')
        self._take(None, key, words)
        self.also.add(heading.word.name)

    def _number(self, name: str) -> float | None:
        """A number of the head in the unit that we keep."""
        if name not in self.stated:
            return None
        at, heading, words = self.stated[name]
        try:
            parted = parted_number(words, decimal_comma=self.table.decimal_comma)
        except ValueError as question:
            self._fault(at, heading, words, str(question))
            return None
        if parted is None:
            self._fault(at, heading, words, "is not a number")
            return None
        value, unit = parted
        if "±" in unit:
            self._fault(
                at, heading, words,
                f'give the error in a line of its own, "standard error of {heading.word.shown}"',
            )  # fmt: skip
            return None
        return self._kept(at, heading, value, unit)

    def _kept(self, at: int | None, heading: Heading, value: float, unit: str) -> float | None:
        """A number in the unit that we keep, where its unit is named and its size can be."""
        word, found = heading.word, heading.unit
        if not word.dimension:
            found, factor = None, 1.0
        else:
            found = unit_of(unit, word.dimension) if unit else found
            if found is None:
                self._fault(at, heading, f"{value:g} {unit}".strip(), needs_unit(word))
                return None
            factor = float(found.factor)
        if why := out_of_range(word, [value * factor], found, [value]):
            self._fault(at, heading, f"{value:g} {unit}".strip(), why)
            return None
        return value * factor

    def _words(self, name: str) -> str:
        return self.stated[name][2] if name in self.stated else ""

    def _direction(self) -> str:
        """The one direction of the file."""
        said = self._words("direction").casefold()
        if said and said not in DIRECTIONS[:2]:
            at, heading, words = self.stated["direction"]
            self._fault(at, heading, words, f"must be {' or '.join(DIRECTIONS[:2])}")
            return ""
        return said

    def _unit(self) -> StressUnit | None:
        """Unit of the stresses, where the head names it."""
        said = self._words("stress_unit")
        found = unit_of(said, "stress") if said else None
        if said and found is None:
            at, heading, words = self.stated["stress_unit"]
            names = ", ".join(row.unit for row in units_of("stress"))
            self._fault(at, heading, words, f"must be one of {names}")
        return found

    def _fault(self, at: int | None, heading: Heading, came: str, why: str) -> None:
        self.faults.append(Fault(self.file, at, heading.said, came, why))


def _key_and_value(cells: Sequence[str]) -> tuple[str, str]:
    """A line of the head as what it names and what it says of it."""
    held = [cell.lstrip("#").strip() for cell in cells if cell.lstrip("#").strip()]
    if not held:
        return "", ""
    if len(held) == 1:
        name, mark, words = re.sub("[:=]", "\0", held[0], count=1).partition("\0")
        return (name.strip(), words.strip()) if mark else ("", "")
    return held[0].rstrip(":= "), " ".join(held[1:])


# -- What a file lacks, or says twice or against itself --------------------------------------------

SHOWN = 5
CONSTANTS_APART = 2.0  # ½S2 of real planes and (1 + ν) / E differ by less than this factor
SPACING_APART = 0.01  # relative distance of a spacing from d0 at most
SMALLEST_TILTS_DEG = 1.6  # a quarter turn is 1.57 rad

WANTED: dict[StressKind, list[tuple[str, ...]]] = {
    "tilts": [("spacing", "two_theta")],
    "stresses": [("depth", "removed"), ("stress_error", "stress_spread")],
    "strains": [("direction",), ("strain", "spacing")],
}


def missing(file: str, kind: StressKind, table: StressTable, found: StressHead) -> Iterator[Fault]:
    """Elastic constants and columns without which a table is no stress."""
    moduli = found.youngs_modulus_gpa is not None and found.poisson is not None
    if kind == "strains" and not moduli:
        yield Fault(
            file, None, "elastic constants", NOTHING,
            "strains in three directions need E and ν of the lattice planes. Ask the laboratory, "
            "and add the lines, such as E = 220 GPa and ν = 0.28",
        )  # fmt: skip
    elif found.half_s2_per_tpa is None and not moduli:
        yield Fault(
            file, None, "elastic constants", NOTHING,
            "a stress needs ½S2 of the lattice planes, or E and ν of them. Ask the laboratory, and "
            "add the line, such as ½S2 = 5.8 1/TPa",
        )  # fmt: skip
    for names in WANTED[kind]:
        if table.column(*names) is None:
            said = ", or ".join(names_of("column", name) for name in names)
            yield Fault(file, None, "column", NOTHING, f"give a column {said}")
    if kind == "tilts" and not table.column("spacing") and found.wavelength_nm is None:
        yield Fault(
            file, None, "wavelength", NOTHING,
            "2θ gives a spacing only with the wavelength. Add the line, such as wavelength = "
            "0.22897 nm",
        )  # fmt: skip
    if kind == "strains":
        yield from _strains_missing(file, table, found)


def _strains_missing(file: str, table: StressTable, head: StressHead) -> Iterator[Fault]:
    """Faults of strains without an error, or without d0 if spacings are given."""
    if table.column("strain"):
        if table.column("strain_error") is None:
            said = names_of("column", "strain_error")
            yield Fault(file, None, "column", NOTHING, f"give a column {said}")
        return
    if table.column("spacing_error") is None:
        said = names_of("column", "spacing_error")
        yield Fault(file, None, "column", NOTHING, f"give a column {said}")
    if head.free_spacing_nm is None or head.free_spacing_error_nm is None:
        yield Fault(
            file, None, "d0", NOTHING,
            "a spacing gives a strain only with the unstressed spacing d0 and its standard error. "
            "Add both lines",
        )  # fmt: skip


def odd(
    file: str, head: StressHead, rows: Sequence[StressRow], unread: Sequence[str]
) -> Iterator[Fault]:
    """What contradicts itself, or would be counted twice; `unread` columns mean nothing to us."""
    if head.half_s2_per_tpa and head.youngs_modulus_gpa and head.poisson:
        isotropic = 1000 * (1 + head.poisson) / head.youngs_modulus_gpa
        ratio = head.half_s2_per_tpa / isotropic
        if not 1 / CONSTANTS_APART < ratio < CONSTANTS_APART:
            yield Fault(
                file, None, "½S2", f"{head.half_s2_per_tpa:g} 1/TPa",
                f"E and ν give {isotropic:.3g} 1/TPa. Which of them is wrong?",
            )  # fmt: skip
    if head.free_spacing_nm is not None:
        apart = SPACING_APART * head.free_spacing_nm
        off = [one for one in rows if one.spacing_nm is not None
               and abs(one.spacing_nm - head.free_spacing_nm) > apart]  # fmt: skip
        for one in off[:SHOWN]:
            yield Fault(
                file, one.row, "d", f"{one.spacing_nm:g} nm",
                f"d0 is {head.free_spacing_nm:g} nm; planes of one kind differ by far less",
            )  # fmt: skip
    tilts = [abs(one.psi_deg) for one in rows if one.psi_deg is not None]
    if tilts and 0 < max(tilts) < SMALLEST_TILTS_DEG:
        yield Fault(
            file, None, "ψ", f"at most {max(tilts):g}°",
            "tilts as small as these carry no stress. Are they in radians?",
        )  # fmt: skip
    yield from _twice(file, rows)
    if unread:
        yield from _pooled(file, rows, ", ".join(unread))


def _twice(file: str, rows: Sequence[StressRow]) -> Iterator[Fault]:
    """Rows that are there twice: each would count as another measurement."""
    seen: dict[tuple[object, ...], int] = {}
    for one in rows:
        place = (one.direction, one.depth_um, one.removed_um, one.phi_deg, one.psi_deg)
        # The same tilt may be measured again, but not with the same number to the last digit.
        key = (*place, one.spacing_nm, one.two_theta_deg) if one.psi_deg is not None else place
        if key in seen:
            yield Fault(
                file, one.row, "row", f"as row {seen[key]}",
                "is there twice; leave one of them out",
            )  # fmt: skip
        seen.setdefault(key, one.row)


def _pooled(file: str, rows: Sequence[StressRow], unread: str) -> Iterator[Fault]:
    """Tilts of several places in one file, distinguished by a column that is not known."""
    seen: dict[tuple[object, ...], StressRow] = {}
    for one in rows:
        place = (one.direction, one.depth_um, one.removed_um, one.phi_deg, one.psi_deg)
        before = seen.setdefault(place, one)
        if one.psi_deg is not None and before is not one:
            yield Fault(
                file, one.row, "ψ", f"{one.psi_deg:g}°, as in row {before.row}",
                f"does {unread} tell two places apart? Give each place a file of its own; else "
                "leave that column out",
            )  # fmt: skip
            return

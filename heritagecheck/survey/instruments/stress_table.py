"""The table of a laboratory's stress file: its headings, units and numbers in our own terms."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

from heritagecheck.errors import NOTHING, Fault, SurveyError, refused_file
from heritagecheck.survey.instruments.height_formats import is_text
from heritagecheck.survey.instruments.meter_file import text_of
from heritagecheck.survey.instruments.profile_files import NUMBER, sheet_lines
from heritagecheck.survey.instruments.stress_values import StressKind
from heritagecheck.survey.records.row_reading import commas_are_decimal, number_text
from heritagecheck.tables.row_types import StressUnit, StressWord

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
    """The table below the first line with known headings."""
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


# -- Headings, units and numbers in our own terms --------------------------------------------------

Place = str

KEPT = {"angle": "°", "spacing": "nm", "depth": "µm", "stress": "MPa", "compliance": "1/TPa",
        "modulus": "GPa", "strain": "µε", "": ""}  # fmt: skip
# In the order of the columns of a stress row.
FIELDS = {
    "depth": "depth_um", "removed": "removed_um", "psi": "psi_deg", "phi": "phi_deg",
    "two_theta": "two_theta_deg", "two_theta_error": "two_theta_error_deg",
    "spacing": "spacing_nm", "spacing_error": "spacing_error_nm", "stress": "stress_mpa",
    "stress_error": "stress_error_mpa", "stress_spread": "stress_error_mpa",
    "strain": "strain_1e6", "strain_error": "strain_error_1e6",
}  # fmt: skip
BRACKETS = re.compile(r"(.*?)\s*(\[|\()([^\[\]()]*)[\])]")
LETTERS = {
    "ψ": "psi", "φ": "phi", "ϕ": "phi", "θ": "theta", "σ": "sigma", "ε": "epsilon", "ν": "nu",
    "λ": "lambda", "±": "plusminus", "⁄": "", "/": "",
}  # fmt: skip
DASHES = str.maketrans({"−": "-", "–": "-", "⁻": "-", "μ": "u", "µ": "u"})
# What is written between the parts of a unit, and before a power of ten.
BETWEEN = re.compile(r"[\s·*^]|^[x×]")


class Heading(NamedTuple):
    """What a heading means: our word, the unit that it names, and what it says itself."""

    word: StressWord
    unit: StressUnit | None
    said: str


def heading_of(cell: str, place: Place) -> Heading | None:
    """A known heading; None if it is not known."""
    said = cell.strip()
    parted = [
        Heading(word, unit_of(unit, word.dimension), said) for name, unit in _parted(said)
        if (word := _words(place).get(_plain(name)))
    ]  # fmt: skip
    if known := next((one for one in parted if one.unit), None):
        return known
    if word := _words(place).get(_plain(said)):
        return Heading(word, None, said)
    return parted[0] if parted else None


def unit_of(written: str, dimension: str) -> StressUnit | None:
    """A unit of a dimension as somebody writes it; None where there is no such one."""
    return _units().get((_tight(written), dimension))


def units_of(dimension: str) -> tuple[StressUnit, ...]:
    """Every unit of a dimension."""
    return tuple(row for row in StressUnit.rows() if row.dimension == dimension)


def names_of(place: Place, name: str) -> str:
    """How a heading may be written, for a message."""
    word = next(row for row in StressWord.rows() if (row.place, row.name) == (place, name))
    return " or ".join((word.shown, *word.spellings[:2]))


def names_a_unit(heading: Heading) -> bool:
    """Whether a heading has a unit after its name, known or not."""
    return _plain(heading.said) not in _words(heading.word.place)


def is_number(cell: str) -> bool:
    """Whether a cell is a number and nothing else, however it is meant."""
    return NUMBER.fullmatch(cell.translate(DASHES)) is not None


def parted_number(cell: str, *, decimal_comma: bool) -> tuple[float, str] | None:
    """A number, and what is written behind it; None where a cell begins with no number."""
    found = NUMBER.match(cell.translate(DASHES))
    if found is None:
        return None
    plain = number_text(found[0], decimal_comma=decimal_comma)
    return float(plain.replace(",", ".")), cell[found.end() :].strip()


def needs_unit(word: StressWord) -> str:
    """Which units a quantity may have."""
    names = ", ".join(row.unit for row in units_of(word.dimension))
    return (
        f"write the unit beside it, such as {word.shown} [{KEPT[word.dimension]}]; one of {names}"
    )


def out_of_range(
    word: StressWord, kept: Sequence[float], unit: StressUnit | None, read: Sequence[float]
) -> str:
    """Why numbers can't be in their unit, with the unit that they may be in; empty where fine."""
    if word.low is None or word.high is None or not kept:
        return ""
    low, high = word.low, word.high
    if all(low <= value <= high for value in kept):
        return ""
    kept_unit = KEPT[word.dimension]
    why = f"{word.shown} lies between {low:g} and {high:g} {kept_unit}".rstrip()
    if unit is None:
        return why
    others = [
        row.unit for row in units_of(word.dimension)
        if row != unit and all(low <= value * float(row.factor) <= high for value in read)
    ]  # fmt: skip
    fits = f". In {' or '.join(others)} it would" if others else ""
    ask = ". Ask the laboratory" + (
        ', and add the line "stress unit"' if word.dimension == "stress" else ""
    )
    return f"read in {unit.unit}, and {why}{fits}{ask}"


def _parted(said: str) -> list[tuple[str, str]]:
    """A heading as name and unit, in each way that it may be meant."""
    found = []
    if brackets := BRACKETS.fullmatch(said):
        found.append((brackets[1], brackets[3]))
    for sign in (" in ", "/", ","):
        name, mark, unit = said.partition(sign)
        if mark and unit:
            found.append((name, unit))
    return found


@cache
def _words(place: Place) -> dict[str, StressWord]:
    """Our words by every way to write them."""
    return {
        _plain(written): row for row in StressWord.rows() if row.place == place
        for written in (row.shown, *row.spellings)
    }  # fmt: skip


@cache
def _units() -> dict[tuple[str, str], StressUnit]:
    """Units by every way to write them, and by their dimension."""
    return {
        (_tight(written), row.dimension): row for row in StressUnit.rows()
        for written in (row.unit, *row.spellings)
    }  # fmt: skip


def _plain(words: str) -> str:
    """Words without case, marks and Greek letters."""
    text = unicodedata.normalize("NFKC", words).casefold()
    text = "".join(LETTERS.get(letter, letter) for letter in text)
    return "".join(letter for letter in text if letter.isalnum())


def _tight(unit: str) -> str:
    """A unit without blanks and dots; its case counts."""
    return BETWEEN.sub("", unicodedata.normalize("NFKC", unit.strip()).translate(DASHES))

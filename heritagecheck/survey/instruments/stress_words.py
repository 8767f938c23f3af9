"""Headings, units and numbers of a laboratory's stress file, in our own terms."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

from heritagecheck.survey.records.row_reading import number_text
from heritagecheck.tables.row_types import StressUnit, StressWord

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
NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")
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
    """A heading in our terms; None where it is none of ours."""
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
    """Whether a heading writes a unit beside its name, be it one that is known or not."""
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

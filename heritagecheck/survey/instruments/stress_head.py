"""The head of a laboratory's stress file: elastic constants, and what else holds for all rows."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from heritagecheck.errors import Fault
from heritagecheck.survey.instruments.stress_file import DIRECTIONS, StressHead
from heritagecheck.survey.instruments.stress_table import StressTable
from heritagecheck.survey.instruments.stress_words import (
    Heading,
    heading_of,
    needs_unit,
    out_of_range,
    parted_number,
    unit_of,
    units_of,
)
from heritagecheck.tables.row_types import StressUnit, StressWord

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
        """Keep a line of the head, if its key is one of ours."""
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

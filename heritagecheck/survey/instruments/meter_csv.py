"""CSV of colour meters: columns by a mapping, numbers and days only where nothing is guessed."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from heritagecheck.errors import Fault, SurveyError, refused_file
from heritagecheck.survey.instruments.meter_file import (
    SCALES,
    Measured,
    MeterColour,
    day_said,
    geometry_said,
    light_said,
    number_said,
    observer_said,
    text_of,
)
from heritagecheck.survey.records.row_reading import DECIMAL_COMMA, commas_are_decimal, number_text

# -- Rows ------------------------------------------------------------------------------------------

LAB = ("L_star", "a_star", "b_star")
DELIMITERS = ";\t,"
HEADINGS_WITHIN = 100  # lines; meters write some of their own above the table
Line = tuple[int, list[str]]


@dataclass(frozen=True, slots=True)
class MeterTable:
    """A table of measurements, and where in it our columns are."""

    headings: list[str]
    lines: list[Line]
    columns: dict[str, int]
    wavelengths: dict[int, float]


def read_csv(file: str, data: bytes, mapping: MeterMapping | None) -> list[Measured]:
    """Measurements in a CSV file."""
    encoding = None if mapping is None else mapping.encoding
    try:
        text = text_of(data, encoding)
    except (UnicodeError, LookupError) as error:
        raise SurveyError([Fault(file, None, "encoding", str(encoding), str(error))]) from None
    if not text.strip():
        raise refused_file(file, "holds nothing but blanks")
    if mapping is None:
        raise SurveyError([_asks_for_mapping(file, text)])
    table = _table(file, text, mapping)
    if not table.lines:
        raise refused_file(file, "holds headings and no measurement")
    faults: list[Fault] = []
    number = _number_reader(table, mapping)
    measured = [
        MeterRow(
            file, line, table, mapping.constants, number, faults, mapping.date_format
        ).measured()
        for line in table.lines
    ]
    if faults:
        raise SurveyError(faults)
    return measured


def _lines(file: str, text: str, delimiter: str) -> list[Line]:
    """Lines that hold something, each with the number a spreadsheet shows."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        return [
            (number, [cell.strip() for cell in cells])
            for number, cells in enumerate(reader, 1)
            if any(cell.strip() for cell in cells)
        ]
    except csv.Error as error:
        why = f"this is not a CSV table: {error}"
        raise SurveyError([Fault(file, reader.line_num, "", "", why)]) from None


def _asks_for_mapping(file: str, text: str) -> Fault:
    """The headings of a table, and a mapping to copy."""
    first = next(line for line in text.split("\n") if line.strip())
    delimiter = max(DELIMITERS, key=first.count)
    headings = [cell for _, line in _lines(file, first, delimiter) for cell in line if cell]
    return Fault(
        file, None, "mapping", "nothing",
        "say what its headings mean with read_meter_file(…, mapping=FILE). Its headings are: "
        f"{', '.join(headings)}. Copy this into a file such as meter.toml and correct it:\n"
        + example(headings),
    )  # fmt: skip


def _table(file: str, text: str, mapping: MeterMapping) -> MeterTable:
    """Find the line of headings: the first that holds every column of the mapping."""
    nearest: tuple[list[str], list[str]] = list(mapping.columns), []
    for delimiter in mapping.delimiter or DELIMITERS:
        try:
            lines = _lines(file, text, delimiter)
        except SurveyError:
            if delimiter == (mapping.delimiter or DELIMITERS)[-1] and not nearest[1]:
                raise
            continue
        for at, (_, cells) in enumerate(lines[:HEADINGS_WITHIN]):
            missing = mapping.missing_in(cells)
            if not missing:
                return _found(file, cells, lines[at + 1 :], mapping)
            if not nearest[1] or len(missing) < len(nearest[0]):
                nearest = missing, cells
    missing, headings = nearest
    raise SurveyError(
        Fault(
            file, None, f"heading of {name}", mapping.columns[name],
            f"no line has this heading and all others of the mapping; the nearest has: "
            f"{', '.join(one for one in headings if one)}",
        )
        for name in missing
    )  # fmt: skip


def _found(file: str, headings: list[str], lines: list[Line], mapping: MeterMapping) -> MeterTable:
    """The table below its headings, or what is wrong with its shape."""
    table = MeterTable(
        headings, lines, mapping.columns_in(headings), mapping.wavelengths_in(headings)
    )
    faults = [
        Fault(file, None, "heading", headings[place], "occurs twice")
        for place in (*table.columns.values(), *table.wavelengths)
        if headings.count(headings[place]) > 1
    ]
    for number, cells in lines:
        # A separator at the end of a line makes an empty cell more.
        extra = [cell for cell in cells[len(headings) :] if cell]
        if len(cells) < len(headings) or extra:
            faults.append(
                Fault(file, number, "", "",
                      f"{len(cells)} cells for {len(headings)} headings. "
                      "Is a decimal comma or a loose separator among them?")
            )  # fmt: skip
    if faults:
        raise SurveyError(faults)
    return table


def _number_reader(table: MeterTable, mapping: MeterMapping) -> Callable[[str], float]:
    """How a number of this table is read: by the mapping's decimal sign, or where it is clear."""
    places = [*(table.columns[name] for name in LAB if name in table.columns), *table.wavelengths]
    cells = [line[place] for _, line in table.lines for place in places]
    comma = mapping.decimal == "," or (mapping.decimal is None and commas_are_decimal(cells))

    def read(cell: str) -> float:
        if comma and "." in cell:
            raise ValueError("this table's decimal sign is the comma; write no point")
        if comma:
            return number_said(cell.replace(",", ".") if DECIMAL_COMMA.fullmatch(cell) else cell)
        if mapping.decimal == ".":
            return number_said(cell)
        return number_said(number_text(cell, decimal_comma=False))

    return read


@dataclass(frozen=True, slots=True)
class MeterRow:
    """One line while it is read; what its table leaves out is among the constants."""

    file: str
    line: Line
    table: MeterTable
    constants: Mapping[str, str]
    number: Callable[[str], float]
    faults: list[Fault]
    date_format: str | None = None

    def measured(self) -> Measured:
        """Give the line as a measurement."""
        row, cells = self.line
        lab = [self._cell(name, self.number) for name in LAB if name in self.table.columns]
        spectrum = [self._value(self.table.headings[place], cells[place], self.number)
                    for place in self.table.wavelengths]  # fmt: skip
        light = self._cell("illuminant", light_said) or (None, None)
        observer = self._cell("observer_deg", observer_said)
        if None not in {light[1], observer} and light[1] != observer:
            self._fault("observer_deg", str(observer), f"or {light[1]}? It says both")
        return Measured(
            self._said("name") or str(row),
            row,
            (MeterColour((lab[0], lab[1], lab[2]), light[0], observer or light[1]),) if lab else (),
            tuple(self.table.wavelengths.values()) or None,
            tuple(spectrum) or None,
            self._cell("geometry", geometry_said),
            self._cell("aperture_mm", self._aperture),
            self._cell("measured_on", self._day),
        )

    def _said(self, name: str) -> str:
        """What is written there: in the table, or else among the constants."""
        place = self.table.columns.get(name)
        return self.constants.get(name, "") if place is None else self.line[1][place]

    def _cell(self, name: str, read: Callable[[str], Any]) -> Any:
        """Value of a column or constant; None where there is none."""
        words, place = self._said(name), self.table.columns.get(name)
        heading = name if place is None else self.table.headings[place]
        return self._value(heading, words, read) if words or name in LAB else None

    def _value(self, heading: str, words: str, read: Callable[[str], Any]) -> Any:
        """What a cell says; else a fault."""
        try:
            return read(words)
        except ValueError as why:
            self._fault(heading, words or "nothing", str(why))
            return None

    def _fault(self, heading: str, came: str, why: str) -> None:
        """Note what is wrong with a cell."""
        self.faults.append(Fault(self.file, self.line[0], heading, came, why))

    def _aperture(self, words: str) -> float:
        """Aperture in mm; a constant has a point, whatever the table has."""
        plain = words.removesuffix("mm").strip()
        return number_said(plain) if "aperture_mm" in self.constants else self.number(plain)

    def _day(self, words: str) -> date:
        """Day by the form given, or where it is clear."""
        form = self.date_format
        if form is None or "measured_on" in self.constants:
            return day_said(words)
        try:
            return datetime.strptime(words, form).date()
        except ValueError:
            raise ValueError(f"does not have the form {form} of the mapping") from None


# -- What the headings mean ------------------------------------------------------------------------

COLUMNS = (
    "name", "L_star", "a_star", "b_star", "reflectance", "illuminant", "observer_deg", "geometry",
    "aperture_mm", "measured_on",
)  # fmt: skip
CONSTANTS = ("illuminant", "observer_deg", "geometry", "aperture_mm", "measured_on")
FILE = ("delimiter", "decimal", "date_format", "encoding", "reflectance_scale")
KNOWN = {"columns": COLUMNS, "constants": CONSTANTS, "file": FILE}
NM = "{nm}"
CHOICES = {"decimal": (",", "."), "delimiter": (",", ";", "\t"), "reflectance_scale": tuple(SCALES)}
# Headings as meters write them, for the example alone.
LIKELY = {
    "name": r"(?i)(sample|data|target|reading)?[ _]?(name|id|no\.?|title)\b.*",
    "L_star": r"(?i)(cie[ _]?)?L\*?(\b|_|\().*",
    "a_star": r"(?i)(cie[ _]?)?a\*?(\b|_|\().*",
    "b_star": r"(?i)(cie[ _]?)?b\*?(\b|_|\().*",
    "measured_on": r"(?i).*\b(date|time)\b.*",
}


@dataclass(frozen=True, slots=True)
class MeterMapping:
    """Headings of a meter's export, and what its file leaves out."""

    columns: Mapping[str, str]
    constants: Mapping[str, str]
    delimiter: str | None = None
    decimal: str | None = None
    date_format: str | None = None
    encoding: str | None = None
    reflectance_scale: str | None = None

    def columns_in(self, headings: list[str]) -> dict[str, int]:
        """Places of the columns that are named singly."""
        return {
            name: headings.index(heading)
            for name, heading in self.columns.items()
            if name != "reflectance" and heading in headings
        }

    def wavelengths_in(self, headings: list[str]) -> dict[int, float]:
        """Places of the columns of a spectrum, in the order of their wavelengths."""
        before, _, after = self.columns.get("reflectance", "").partition(NM)
        pattern = re.compile(re.escape(before) + r"(\d{3,4}(?:\.\d+)?)" + re.escape(after))
        if "reflectance" not in self.columns:
            return {}
        found = {place: float(match[1]) for place, heading in enumerate(headings)
                 if (match := pattern.fullmatch(heading))}  # fmt: skip
        return dict(sorted(found.items(), key=lambda one: one[1]))

    def missing_in(self, headings: list[str]) -> list[str]:
        """Columns that are not there."""
        there = set(self.columns_in(headings))
        there |= {"reflectance"} if self.wavelengths_in(headings) else set()
        return [name for name in self.columns if name not in there]


def read_mapping(path: Path) -> MeterMapping:
    """Read a mapping from a TOML file."""
    try:
        said = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise refused_file(path.name, f"can't be read: {error.strerror or error}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise refused_file(path.name, f"this is not TOML: {error}") from None
    faults = list(_faults(path.name, said))
    if faults:
        raise SurveyError(faults)
    constants = {name: str(value) for name, value in said.get("constants", {}).items()}
    return MeterMapping(said["columns"], constants, **said.get("file", {}))


def _faults(file: str, said: Mapping[str, Any]) -> Iterator[Fault]:
    """Find what is wrong with a mapping."""
    for part, inner in said.items():
        if part not in KNOWN or not isinstance(inner, dict):
            yield Fault(file, None, "part", part, "a mapping has [columns], [constants], [file]")
            continue
        for name, value in inner.items():
            field = f"{part}.{name}"
            if name not in KNOWN[part]:
                yield Fault(file, None, field, str(value), f"known are: {', '.join(KNOWN[part])}")
            elif part != "constants" and not (isinstance(value, str) and value):
                yield Fault(file, None, field, str(value), "must be a text in quotation marks")
            elif part == "file" and value not in CHOICES.get(name, (value,)):
                offered = " or ".join(repr(one) for one in CHOICES[name])
                yield Fault(file, None, field, value, f"must be {offered}")
    parts = {part: said[part] if isinstance(said.get(part), dict) else {} for part in KNOWN}
    yield from _column_faults(file, parts["columns"], parts["constants"])


def _column_faults(
    file: str, columns: Mapping[str, Any], constants: Mapping[str, Any]
) -> Iterator[Fault]:
    """Find what is wrong with the columns of a mapping."""
    lab = [name for name in COLUMNS[1:4] if name not in columns]
    if lab and (len(lab) < 3 or "reflectance" not in columns):
        yield Fault(
            file, None, "columns", ", ".join(lab),
            "are missing; name L_star, a_star and b_star, or reflectance, or all four",
        )  # fmt: skip
    if "reflectance" in columns and str(columns["reflectance"]).count(NM) != 1:
        yield Fault(
            file, None, "columns.reflectance", str(columns["reflectance"]),
            f"must hold {NM} where the headings hold the wavelength, such as 'R {NM} nm'",
        )  # fmt: skip
    for name in sorted(set(columns) & set(constants)):
        yield Fault(file, None, name, "", "is both a column and a constant; keep one")
    headings = [str(heading) for heading in columns.values()]
    for heading in sorted({one for one in headings if headings.count(one) > 1}):
        yield Fault(file, None, "columns", heading, "is used for two of our names")


def example(headings: Iterable[str]) -> str:
    """A mapping to copy, filled in for headings that resemble known ones."""
    there = list(headings)
    lines = ["[columns]  # our name = heading of the export"]
    for name, pattern in LIKELY.items():
        found = next((one for one in there if re.fullmatch(pattern, one)), "…")
        lines.append(f"{name} = {_quoted(found)}")
    spectrum = next((re.sub(r"\d{3}", NM, one, count=1) for one in there
                     if re.search(r"(?<!\d)[3-7]\d0(?!\d)", one)), None)  # fmt: skip
    if spectrum:
        lines.append(f"reflectance = {_quoted(spectrum)}")
    lines += [
        "[constants]  # what the export leaves out and you know",
        'illuminant = "D65"', "observer_deg = 10", 'geometry = "SCI"', "aperture_mm = 8",
        "[file]",
        'decimal = ","  # or "."',
    ]  # fmt: skip
    return "\n".join(lines)


def _quoted(text: str) -> str:
    """A text as TOML writes it."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'

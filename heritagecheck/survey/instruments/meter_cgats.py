"""CGATS.17, the text tables of colour meters: keywords, a list of fields, lines of values."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.instruments.meter_csv import LAB as OURS
from heritagecheck.survey.instruments.meter_csv import MeterRow, MeterTable
from heritagecheck.survey.instruments.meter_file import (
    Measured,
    geometry_said,
    light_said,
    number_said,
    observer_said,
)

TOKEN = re.compile(r'"([^"]*)"(?=\s|$)|(#.*)|([^\s"]\S*)|(")')
SPECTRAL = re.compile(
    r"(?:SPECTRAL_(?P<scale>PCT|DEC)_?|SPECTRAL_NM_?|SPECTRAL_|SPEC_|NM_?|R_)"
    r"(?P<nm>\d{3,4})|(?P<before>\d{3,4})_?NM",
    re.IGNORECASE,
)
PER_NAME = {"PCT": "0 to 100", "DEC": "0 to 1"}
LAB = ("LAB_L", "LAB_A", "LAB_B")
NAMES = ("SAMPLE_NAME", "SAMPLE_ID", "SAMPLEID")


@dataclass(slots=True)
class _Table:
    """A table of the file while it is being read."""

    keywords: list[tuple[str, str, int]] = field(default_factory=list)
    fields: list[str] = field(default_factory=list)
    lines: list[tuple[int, list[str]]] = field(default_factory=list)
    ended: set[str] = field(default_factory=set)


def is_cgats(text: str) -> bool:
    """Whether a text is a table of CGATS.17."""
    return any(line.strip() == "BEGIN_DATA_FORMAT" for line in text.split("\n"))


def read_cgats(file: str, text: str) -> tuple[list[Measured], str | None]:
    """Measurements in a CGATS.17 text, and the scale of reflectance that its fields name."""
    # CREATED is the day of the file, not of the measurement, so it is not taken.
    faults: list[Fault] = []
    table = _table(file, text, faults)
    faults += _count_faults(file, table)
    faults += _field_faults(file, table.fields)
    constants = _set_up(file, table, faults)
    spectral = {place: found for place, name in enumerate(table.fields)
                if (found := SPECTRAL.fullmatch(name))}  # fmt: skip
    scales = {PER_NAME.get((found["scale"] or "").upper()) for found in spectral.values()}
    if len(scales) > 1:
        faults.append(Fault(file, None, "fields", "SPECTRAL_…", "mix two scales of reflectance"))
    if faults:
        raise SurveyError(faults)
    places = {name.upper(): place for place, name in enumerate(table.fields)}
    columns = {ours: places[field] for ours, field in zip(OURS, LAB, strict=True)
               if field in places}  # fmt: skip
    named = [places[name] for name in NAMES if name in places]
    columns |= {"name": named[0]} if named else {}
    nm = {place: float(found["nm"] or found["before"]) for place, found in spectral.items()}
    wavelengths = {place: nm[place] for place in sorted(nm, key=nm.__getitem__)}
    whole = MeterTable(table.fields, table.lines, columns, wavelengths)
    measured = [MeterRow(file, line, whole, constants, number_said, faults).measured()
                for line in table.lines]  # fmt: skip
    if faults:
        raise SurveyError(faults)
    return measured, scales.pop() if scales else None


def _table(file: str, text: str, faults: list[Fault]) -> _Table:
    """Part the lines into keywords, fields and values."""
    table = _Table()
    part = ""
    for number, line in enumerate(text.split("\n"), 1):
        words = _words(file, number, line, faults)
        if not words:
            continue
        if words[0] in {"BEGIN_DATA_FORMAT", "BEGIN_DATA"}:
            if words[0] in table.ended or part:
                faults.append(Fault(file, number, words[0], "", "export one table a file"))
            part = words[0]
        elif words[0] in {"END_DATA_FORMAT", "END_DATA"}:
            table.ended.add(words[0].replace("END", "BEGIN"))
            part = ""
        elif part == "BEGIN_DATA_FORMAT":
            table.fields += words
        elif part == "BEGIN_DATA":
            table.lines.append((number, words))
        else:
            table.keywords.append((words[0].upper(), " ".join(words[1:]), number))
    for one in ("BEGIN_DATA_FORMAT", "BEGIN_DATA"):
        if one not in table.ended:
            end = one.replace("BEGIN", "END")
            faults.append(Fault(file, None, end, "", "is missing: the file was cut off"))
    return table


def _words(file: str, number: int, line: str, faults: list[Fault]) -> list[str]:
    """Words of a line: quotes hold blanks together, # begins a comment."""
    words: list[str] = []
    for quoted, comment, word, stray in TOKEN.findall(line):
        if stray:
            faults.append(Fault(file, number, "", "", "a quotation mark is not closed"))
        if comment:
            break
        words.append(word or quoted)
    return words


def _count_faults(file: str, table: _Table) -> Iterator[Fault]:
    """Faults of declared counts that do not match the file."""
    there = {"NUMBER_OF_FIELDS": len(table.fields), "NUMBER_OF_SETS": len(table.lines)}
    for keyword, value, number in table.keywords:
        if keyword in there and value != str(there[keyword]):
            yield Fault(file, number, keyword, value, f"the file has {there[keyword]}")
    if not table.lines and "BEGIN_DATA" in table.ended:
        yield Fault(file, None, "", "", "holds no measurement")
    for number, words in table.lines:
        if len(words) != len(table.fields):
            yield Fault(
                file, number, "", "",
                f"{len(words)} values for {len(table.fields)} fields. Is a name with a "
                "blank in it not in quotation marks?",
            )  # fmt: skip


def _field_faults(file: str, fields: list[str]) -> Iterator[Fault]:
    """Fields that can't be taken, or that are missing."""
    upper = [name.upper() for name in fields]
    for name in sorted(set(upper)):
        if upper.count(name) > 1 and not name.startswith("SPECTRAL"):
            yield Fault(file, None, "field", name, "occurs twice")
        elif name.startswith("SPECTRAL") and not SPECTRAL.fullmatch(name):
            yield Fault(
                file, None, "field", name,
                "export spectra with a field for each wavelength, such as SPECTRAL_NM380",
            )  # fmt: skip
    nm = [found["nm"] or found["before"] for name in upper if (found := SPECTRAL.fullmatch(name))]
    for one in sorted(set(nm)):
        if nm.count(one) > 1:
            yield Fault(file, None, "field", f"{one} nm", "occurs twice")
    missing = [name for name in LAB if name not in upper]
    if missing and (len(missing) < 3 or not nm):
        yield Fault(
            file, None, "fields", ", ".join(missing),
            "are missing; a file must hold LAB_L, LAB_A and LAB_B, or spectra, or both",
        )  # fmt: skip


def _set_up(file: str, table: _Table, faults: list[Fault]) -> dict[str, str]:
    """What the keywords say of illuminant, observer and geometry of all measurements."""
    said: dict[str, set[str | int | None]] = {
        "illuminant": set(), "observer_deg": set(), "geometry": set()
    }  # fmt: skip
    for keyword, value, number in table.keywords:
        what, _, of = value.partition(",")
        name, words = (what.strip().upper(), of) if keyword == "WEIGHTING_FUNCTION" else (
            keyword, value
        )  # fmt: skip
        try:
            if name in {"ILLUMINANT", "ILLUMINATION_NAME"}:
                light, observer = light_said(words)
                said["illuminant"].add(light)
                said["observer_deg"] |= {observer} - {None}
            elif name in {"OBSERVER", "OBSERVER_ANGLE"}:
                said["observer_deg"].add(observer_said(words))
            elif name == "MEASUREMENT_GEOMETRY":
                said["geometry"].add(geometry_said(words))
        except ValueError as why:
            faults.append(Fault(file, number, keyword, value, str(why)))
    for what_said, values in said.items():
        if len(values) > 1:
            came = " and ".join(sorted(map(str, values)))
            faults.append(Fault(file, None, what_said, came, "the file says both"))
    return {name: str(value) for name, values in said.items() for value in values - {None}}

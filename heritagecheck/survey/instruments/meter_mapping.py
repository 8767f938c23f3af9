"""What the headings of a meter's CSV mean: a small TOML file that its users write once."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.instruments.meter_file import SCALES

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
        raise _refused(path, f"can't be read: {error.strerror or error}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _refused(path, f"this is not TOML: {error}") from None
    faults = list(_faults(path.name, said))
    if faults:
        raise SurveyError(faults)
    constants = {name: str(value) for name, value in said.get("constants", {}).items()}
    return MeterMapping(said["columns"], constants, **said.get("file", {}))


def _refused(path: Path, why: str) -> SurveyError:
    """The one fault of a mapping."""
    return SurveyError([Fault(path.name, None, "", "", why)])


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
    """A mapping to copy, filled in where a heading looks like one of ours."""
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

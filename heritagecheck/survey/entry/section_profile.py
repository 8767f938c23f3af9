"""A profile of a section as it is typed: what its readings share, and a line for each of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import zip_longest
from typing import Any, cast

from heritagecheck.survey.entry.codes import next_codes, next_name
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.entry.typed_values import NotTakenError, brief, read_typed, shown
from heritagecheck.survey.records import SectionReading
from heritagecheck.survey.records.sections import STRESSES
from heritagecheck.survey.survey import Survey

# A column of a spreadsheet each: what a reading has of its own.
COLUMNS = ("depth_um", "value", "standard_error", "count")
MUST_HAVE = COLUMNS[:2]
SHARED = (
    "panel", "spot", "moment", "quantity", "element", "method", "elastic_constants",
    "measured_on", "measured_by", "file", "note",
)  # fmt: skip
MOST_ROWS = 1000  # a whole workbook that was pasted by a slip is not read for minutes
Typed = Mapping[str, str]


def rows_of(typed: Typed) -> list[dict[str, str]]:
    """The readings, one a line of the columns; an empty line at the end is no reading."""
    columns = [[cell.strip() for cell in typed[name].rstrip().split("\n")] for name in COLUMNS]
    rows = [
        dict(zip(COLUMNS, cells, strict=True))
        for cells in zip_longest(*columns, fillvalue="")
        if any(cells)
    ]
    return rows[: MOST_ROWS + 1]


def with_rows(typed: Typed, text: str, column: str) -> dict[str, str]:
    """
    The columns with rows that were pasted, behind those that they hold.

    Rows begin in the column into which they were pasted; cells beyond the last column are refused.
    """
    first = COLUMNS.index(column)
    pasted = [line.split("\t") for line in text.rstrip().splitlines()]
    wide = max(len("\t".join(cells).rstrip().split("\t")) for cells in pasted)
    if wide > len(COLUMNS) - first:
        raise NotTakenError(
            f"{wide} columns were pasted; here {len(COLUMNS) - first} are taken at most: depth, "
            "value, standard error, count."
        )
    into = COLUMNS[first : first + wide]
    held = {name: typed[name].rstrip().split("\n") if typed[name].strip() else [] for name in into}
    longest = max(map(len, held.values()))
    return {
        name: "\n".join([
            *held[name], *[""] * (longest - len(held[name])),
            *(cells[place].strip() if place < len(cells) else "" for cells in pasted),
        ])
        for place, name in enumerate(into)
    }  # fmt: skip


def faults_of_rows(typed: Typed, shared: Mapping[str, object]) -> dict[str, str]:
    """What is wrong with the lines, a sentence a column; a wrong reading is named by its line."""
    rows = rows_of(typed)
    if not rows:
        return {"depth_um": "No reading is written. Write depth and value, a line each."}
    if len(rows) > MOST_ROWS:
        return {"depth_um": f"More than {MOST_ROWS} lines were written; give those of one profile."}
    found: dict[str, str] = {}
    depths: dict[object, int] = {}
    must = (*MUST_HAVE, "standard_error") if shared.get("quantity") in STRESSES else MUST_HAVE
    for line, row in enumerate(rows, start=1):
        for name in COLUMNS:
            try:
                value = read_typed(SectionReading, name, row[name], beside=shared)
            except NotTakenError as why:
                found.setdefault(name, f"Line {line}: {why}")
                continue
            if value is None and name in must:
                found.setdefault(name, f"Line {line}: nothing is written here. {_beside(row)}")
            if name == "depth_um" and value is not None:
                if value in depths:
                    said = f"Line {line}: {brief(row[name])} is the depth of line {depths[value]}"
                    found.setdefault(name, f"{said} too; give each depth once.")
                depths.setdefault(value, line)
    return found


def _beside(row: Typed) -> str:
    """What a line holds, where something in it is missing."""
    there = "; ".join(f"{name.replace('_', ' ')} {row[name]}" for name in COLUMNS if row[name])
    return f"The line holds {there}."


def profile_name(survey: Survey, zone: str, typed: Typed) -> str:
    """An unused name for a profile: where it lies, what was measured, and when."""
    place = typed["spot"] or typed["panel"] or zone
    what = typed["element"] or typed["quantity"]
    stem = "-".join(filter(None, (place, what.replace("_", "-"), typed["moment"])))
    return next_name(survey, "section_readings", "profile", stem)


def readings_of(
    survey: Survey, zone: str, profile: str, shared: Mapping[str, Any], typed: Typed,
    kept: Sequence[SectionReading],
) -> tuple[tuple[SectionReading, ...], tuple[SectionReading, ...]]:  # fmt: skip
    """Readings to be saved, which all carry their number; and saved ones that are gone."""
    rows = rows_of(typed)
    fresh = max(0, len(rows) - len(kept))
    codes = [one.section_reading for one in kept[: len(rows)]]
    codes += next_codes(survey, "section_readings", fresh, zone=zone, profile=profile)
    made = []
    for code, row in zip(codes, rows, strict=True):
        fixed = {
            **shared, "section_reading": code, "zone": zone, "profile": profile,
            "profile_size": len(rows),
        }  # fmt: skip
        made.append(cast("SectionReading", RecordForm(SectionReading, row, fixed).record()))
    return tuple(made), tuple(kept[len(rows) :])


def columns_typed(kept: Sequence[SectionReading]) -> dict[str, str]:
    """What would have to be typed for a profile that is saved."""
    found = {
        name: "\n".join(shown(getattr(one, name)) for one in kept).rstrip("\n") for name in COLUMNS
    }
    return found | {name: shown(getattr(kept[0], name)) for name in SHARED}

"""Results typed line by line: a set of tests of one quantity, or a profile of a section."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import zip_longest
from operator import attrgetter
from typing import Any

from heritagecheck.sentences import count_of
from heritagecheck.survey.entry.codes import next_codes, next_name
from heritagecheck.survey.entry.offers import NOT_MEASURED
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.entry.typed_values import (
    NotTakenError,
    brief,
    read_typed,
    shown,
    unit_for,
)
from heritagecheck.survey.records import SectionReading, SiteTest, Zone, grouped
from heritagecheck.survey.records.readings import STRESSES
from heritagecheck.survey.survey import Survey

# What is usually measured, in the order of work (common practice); any other can be added.
OF_METAL = ("lead_lab_pct", "lead_xrf_mg_cm2", "coating_thickness_um", "plate_loss_pct",
            "chloride_ug_cm2", "rust_area_pct")  # fmt: skip
OF_MASONRY = ("tap_hollow_pct", "tape_lift_mg", "water_uptake_kg_m2_h05", "sulphate_pct",
              "chloride_pct")  # fmt: skip
OF_A_COATING = ("lead_lab_pct", "lead_xrf_mg_cm2")
# Fields by which tests of one set may differ: each coating has a chip of its own.
OF_A_PART = ("method", "coating", "full_depth", "detection_limit", "spread", "not_measured_because")


@dataclass(frozen=True)
class Part:
    """Results of a set that share coating, method and limit: as typed, and as saved."""

    typed: Mapping[str, str]
    saved: tuple[SiteTest, ...] = ()

    @property
    def lines(self) -> list[str]:
        """The results, one a line; a single empty line if only a reason is given."""
        found = [line.strip() for line in self.typed["value"].splitlines() if line.strip()]
        return found or ([""] if self.typed["not_measured_because"].strip() else [])


def usual_quantities(zone: Zone, *, coated: bool) -> tuple[str, ...]:
    """Codes of the quantities usually measured on a zone; lead too where it may be coated."""
    lead = OF_A_COATING if coated else ()
    return tuple(dict.fromkeys(lead + (OF_METAL if zone.metal else OF_MASONRY)))


def parts_of(tests: Iterable[SiteTest]) -> list[tuple[SiteTest, ...]]:
    """Tests of one quantity, grouped by coating, method, limit and reason."""
    return [tuple(some) for some in grouped(tests, attrgetter(*OF_A_PART)).values()]


def faults_of_part(part: Part, fixed: Mapping[str, object]) -> dict[str, str]:
    """What is wrong with a part, one sentence a field; a wrong result is named by its line."""
    if len(part.lines) > 1 and part.typed["spread"].strip():
        return {"spread": "Leave it empty where each result is written; it follows from them."}
    lines = part.lines or [""]
    for number, line in enumerate(lines, start=1):
        found = _form(part, line, fixed).faults()
        if "value" in found and len(lines) > 1:
            found["value"] = f"Line {number}: {found['value']}"
        if found:
            return found
    return {}


def summary_of(quantity: str, part: Part, fixed: Mapping[str, object]) -> str:
    """Number, mean, spread and range of the results so far; empty if there are none."""
    read = [_form(part, line, fixed).value("value") for line in part.lines]
    values = [value for value in read if isinstance(value, float)]
    if not values:
        return ""
    unit = unit_for(SiteTest, "value", {"quantity": quantity})
    if len(values) == 1:
        return f"1 result: {values[0]:g} {unit}; no spread from one result"
    return (
        f"{count_of(len(values), 'result')}: mean {statistics.fmean(values):.3g}, spread "
        f"(standard deviation) {statistics.stdev(values):.2g}, from {min(values):g} to "
        f"{max(values):g} {unit}"
    )


def set_of_tests(
    survey: Survey, zone: str, quantity: str, parts: Sequence[Part], *, taken: int | None, who: str,
    today: date,
) -> tuple[tuple[SiteTest, ...], tuple[SiteTest, ...]]:  # fmt: skip
    """
    All records of a set: those to save, and saved ones that were removed.

    `taken` is how many results there were in all. If it is not given, the size is the number
    written, but never less than before: a missing result stays missing.
    """
    saved = [test for part in parts for test in part.saved]
    written = sum(len(part.lines) for part in parts)
    size = max(taken or 0, written) if taken else max([written, *(one.set_size for one in saved)])
    name = saved[0].set_name if saved else next_name(
        survey, "site_tests", "set_name", f"{zone}-{quantity}")  # fmt: skip
    new = sum(max(len(part.lines) - len(part.saved), 0) for part in parts)
    made = iter(next_codes(survey, "site_tests", new, zone=zone, quantity=quantity))
    found: list[SiteTest] = []
    gone: list[SiteTest] = []
    for part in parts:
        gone += part.saved[len(part.lines) :]
        for place, line in enumerate(part.lines):
            before = part.saved[place] if place < len(part.saved) else None
            fixed: dict[str, object] = {
                "site_test": before.site_test if before else next(made),
                "zone": zone, "quantity": quantity, "set_name": name, "set_size": size,
                "tested_on": before.tested_on if before else today,
                "tested_by": before.tested_by if before else who,
            }  # fmt: skip
            found.append(_form(part, line, fixed).record())
    return tuple(found), tuple(gone)


def _form(part: Part, line: str, fixed: Mapping[str, object]) -> RecordForm[SiteTest]:
    """One result as a form; without a measurement no method is required."""
    typed = {name: part.typed[name] for name in OF_A_PART} | {"value": line}
    if not line and typed["not_measured_because"].strip() and not typed["method"].strip():
        typed["method"] = NOT_MEASURED
    return RecordForm(SiteTest, typed, fixed)


# -- A profile of a section ------------------------------------------------------------------------

# Fields of each reading, one column each.
COLUMNS = ("depth_um", "value", "standard_error", "count")
MUST_HAVE = COLUMNS[:2]
SHARED = (
    "panel", "spot", "moment", "quantity", "element", "method", "elastic_constants",
    "measured_on", "measured_by", "file", "note",
)  # fmt: skip
MOST_ROWS = 1000  # else a workbook pasted by mistake would take minutes
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
    The columns with pasted rows added, which start in the given column.

    NotTakenError if there are more cells than columns to the right of it.
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
    """Readings to save, each with the size of the profile; and saved ones that were removed."""
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
        made.append(RecordForm(SectionReading, row, fixed).record())
    return tuple(made), tuple(kept[len(rows) :])


def columns_typed(kept: Sequence[SectionReading]) -> dict[str, str]:
    """Form fields of a saved profile."""
    found = {
        name: "\n".join(shown(getattr(one, name)) for one in kept).rstrip("\n") for name in COLUMNS
    }
    return found | {name: shown(getattr(kept[0], name)) for name in SHARED}

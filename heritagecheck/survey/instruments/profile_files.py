"""Profiles of styluses, from text, a spreadsheet or the instrument's own file."""

from __future__ import annotations

import hashlib
import io
import math
import re
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heritagecheck.errors import Fault, SurveyError, refused_file
from heritagecheck.survey.exchange.archives import BROKEN, in_one_line
from heritagecheck.survey.instruments.height_files import (
    STANDARD,
    UM_PER,
    HeightFile,
    content_of,
    heights_in,
    load_library,
    opened_file,
    read_height_map,
    unit_faults,
    unit_given,
    unit_said,
)
from heritagecheck.survey.instruments.height_formats import is_text, zip_faults
from heritagecheck.survey.instruments.meter_file import text_of
from heritagecheck.survey.records.row_reading import Ambiguous, commas_are_decimal, number_text

FloatArray = NDArray[np.float64]
Line = tuple[int, list[str]]

MOST_POINTS = 500_000
FEWEST_POINTS = 8
SHOWN = 5
UNEVEN = 0.1  # of a step: places are printed rounded, but no further off than this
NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")
NO_HEIGHT = {"", "nan", "bad", "-", "--", "---", "***", "****"}
UNITS = {
    "nm": r"nm|(?i:nanomet(?:er|re)s?)", "µm": r"[µμu]m|(?i:micromet(?:er|re)s?|microns?)",
    "mm": r"mm|(?i:millimet(?:er|re)s?)", "m": r"m|(?i:met(?:er|re)s?)",
}  # fmt: skip
# The unit of a column, not of a quantity in words above it such as "stylus of 2 µm".
UNIT = re.compile(
    r"(?<![\dA-Za-zµμ])(?<!\d )(?:"
    + "|".join(f"({words})" for words in UNITS.values())
    + r")(?![A-Za-z])"
)
STEP = re.compile(r"(?:step|spacing|increment)[^\d]{0,20}([\d.]+)\s*(\S+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Trace:
    """What a file holds of a profile: heights, places or a step, and the units it names."""

    kind: str
    heights: FloatArray
    places: FloatArray | None
    step: float | None
    height_unit: str | None
    place_unit: str | None


def read_profile(
    path: str | Path, *, height_unit: str | None = None, step_um: float | None = None
) -> HeightFile:
    """Read the profile of a stylus: one or two columns of numbers, or an instrument's file."""
    path, given = Path(path), unit_given(height_unit)
    if step_um is not None and not (math.isfinite(step_um) and step_um > 0):
        raise ValueError(f"step_um = {step_um:g}: the step is above 0 µm.")
    data = content_of(path)
    if data.startswith(b"PK\x03\x04") and b"xl/workbook.xml" in data:
        trace = _columns(path.name, "XLSX", sheet_lines(path.name, data))
    elif is_text(data) and not data.startswith((b"aISO-1.0", b"bISO-1.0")):
        trace = _columns(path.name, "TEXT", _text_lines(path.name, text_of(data)))
    else:
        trace = _instrument(path.name, data)
    if faults := list(_faults(path.name, trace, given, step_um)):
        raise SurveyError(faults)
    return _read(path.name, data, trace, given, step_um)


def _read(
    file: str, data: bytes, trace: Trace, given: str | None, step_um: float | None
) -> HeightFile:
    """The profile in µm; refused where its unit must be wrong."""
    # SurfaceTopography gives SDF in µm, and has reckoned it over from the metres in the file.
    standard = STANDARD.get(trace.kind.lower())
    unit = str(trace.height_unit) if standard else given or str(trace.height_unit)
    heights = trace.heights * UM_PER[unit]
    own = _own_step_um(trace)
    step = step_um or own or math.nan
    if trace.places is not None and trace.places[0] > trace.places[-1]:
        heights = heights[::-1].copy()  # drawn from its far end
    tall, long = float(np.nanmax(heights) - np.nanmin(heights)), heights.size * step
    if tall > long:
        raise refused_file(
            file, f"its heights run over {tall:,.4g} µm on a line of {long:,.4g} µm, read in "
            f"{unit}: one of them is in another unit. Give height_unit= and step_um="
        )  # fmt: skip
    heights.setflags(write=False)
    return HeightFile(
        file, hashlib.sha256(data).hexdigest(), trace.kind, heights[np.newaxis], (step, step),
        standard or unit, tuple(_cautions(trace, given, step_um, own)),
    )  # fmt: skip


def _own_step_um(trace: Trace) -> float | None:
    """Step by the file itself; None where it leaves it open."""
    if trace.place_unit is None:
        return None
    size = UM_PER[trace.place_unit]
    if trace.places is not None:
        return size * abs(float(trace.places[-1] - trace.places[0])) / (trace.places.size - 1)
    return None if trace.step is None else size * trace.step


def _faults(file: str, trace: Trace, given: str | None, step_um: float | None) -> Iterator[Fault]:
    """What keeps heights from being a profile in µm."""
    if trace.heights.size < FEWEST_POINTS or np.isnan(trace.heights).all():
        yield Fault(file, None, "heights", str(int(np.isfinite(trace.heights).sum())),
                    f"a profile has {FEWEST_POINTS} or more")  # fmt: skip
        return
    yield from unit_faults(file, trace.kind, trace.height_unit or "", given)
    own = _own_step_um(trace)
    if step_um is None and own is None:
        yield Fault(
            file, None, "step_um", "nothing",
            "give step_um=, the step in µm, because the file does not state it",
        )  # fmt: skip
    if trace.places is not None:
        yield from _uneven(file, trace.places)


def _uneven(file: str, places: FloatArray) -> Iterator[Fault]:
    """Places that do not follow one another in even steps."""
    even = np.linspace(places[0], places[-1], places.size)
    step = abs(even[1] - even[0])
    off = np.abs(places - even)
    if not step or off.max() > UNEVEN * step:
        apart = np.diff(places)
        yield Fault(
            file, None, "steps", f"{apart.min():.4g} to {apart.max():.4g}",
            "must be even. Let the instrument's program write the profile at even steps",
        )  # fmt: skip


def _cautions(
    trace: Trace, given: str | None, step_um: float | None, own: float | None
) -> Iterator[str]:
    """What to look at before a profile is relied on."""
    if given not in {None, trace.height_unit, STANDARD.get(trace.kind.lower())}:
        said = trace.height_unit or "nothing"
        yield f"Heights were read in {given}, as given; the file says {said}"
    if own and step_um and not math.isclose(own, step_um, rel_tol=1e-3):
        yield f"The step was given; the file says {own:g} µm"


# -- Columns of numbers ----------------------------------------------------------------------------


def _text_lines(file: str, text: str) -> list[Line]:
    """Lines of a text as cells."""
    written = [(at, line.strip()) for at, line in enumerate(text.split("\n"), 1) if line.strip()]
    separator = _separator(file, [line for _, line in written])
    return [
        (at, [cell.strip() for cell in (line.split(separator) if separator else line.split())])
        for at, line in written
    ]


def _separator(file: str, lines: list[str]) -> str | None:
    """What separates the columns; None for blanks."""
    numeric = [line for line in lines if re.fullmatch(r"[\d\s.,;eE+-]+", line)]
    for sign in (";", "\t"):
        if 2 * sum(sign in line for line in numeric) > len(numeric):
            return sign
    one_word = [line for line in numeric if len(line.split()) == 1]
    with_comma = [line for line in one_word if "," in line.rstrip(",")]
    if 2 * len(with_comma) <= len(numeric):
        return "," if one_word and all(line.endswith(",") for line in one_word) else None
    if any("." in line for line in with_comma):
        return ","
    raise refused_file(
        file, f"in “{with_comma[0]}” the comma may be a decimal sign, or separate two columns. "
        "Export it with semicolons between columns, or with decimal points"
    )  # fmt: skip


def sheet_lines(file: str, data: bytes) -> list[Line]:
    """Rows of a spreadsheet's first sheet as cells."""
    from openpyxl import load_workbook

    if faults := zip_faults(file, data):
        raise SurveyError(faults)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # of styles and forms that we do not read
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            rows = list(book.worksheets[0].iter_rows(max_row=MOST_POINTS + 100, values_only=True))
    except (*BROKEN, KeyError, IndexError) as error:
        raise refused_file(file, f"can't be read as a spreadsheet: {error}") from error
    return [
        (at, ["" if cell is None else str(cell).strip() for cell in row])
        for at, row in enumerate(rows, 1)
        if any(cell is not None for cell in row)
    ]


def _columns(file: str, kind: str, lines: list[Line]) -> Trace:
    """One column of heights, or two of positions and heights, with the lines above them."""
    lines = [(at, _without_end(cells)) for at, cells in lines]
    wide = Counter(len(cells) for _, cells in lines if _numeric(cells))
    if not wide:
        raise refused_file(file, "holds no lines of numbers, so no profile")
    columns = wide.most_common(1)[0][0]
    if columns > 2:
        raise refused_file(
            file, f"holds {columns} columns of numbers; a profile has heights, or places and "
            "heights. Export those alone, or read a height map"
        )  # fmt: skip
    first = next(
        k for k, (_, cells) in enumerate(lines) if _numeric(cells) and len(cells) == columns
    )
    body, above = lines[first:], [cells for _, cells in lines[:first]]
    if len(body) > MOST_POINTS:
        raise refused_file(file, f"holds more than {MOST_POINTS:,} heights; export a part")
    values = _numbers(file, body, columns)
    told = _column_units(above[-1] if above else [], columns)
    step = next((found for cells in above if (found := STEP.search(" ".join(cells)))), None)
    if columns == 2:
        return Trace(kind, values[:, 1], values[:, 0], None, told[1], told[0])
    unit = None if step is None else _units_in(step[2])
    return Trace(
        kind, values[:, 0], None, None if step is None else float(step[1]), told[0],
        unit[0] if unit else None,
    )  # fmt: skip


def _without_end(cells: list[str]) -> list[str]:
    """Cells without the empty ones that a separator at the end of a line makes."""
    count = max((k + 1 for k, cell in enumerate(cells) if cell), default=0)
    return cells[:count]


def _numeric(cells: list[str]) -> bool:
    """Whether a line holds numbers, or signs for a missing height, and nothing else."""
    known = [cell for cell in cells if NUMBER.fullmatch(cell)]
    return bool(known) and all(cell in known or cell.lower() in NO_HEIGHT for cell in cells)


def _numbers(file: str, body: list[Line], columns: int) -> FloatArray:
    """Values of each line; every damaged line is named."""
    comma = commas_are_decimal(cell for _, cells in body for cell in cells)
    values, faults = np.full((len(body), columns), np.nan), []
    for k, (at, cells) in enumerate(body):
        # A height may be missing, a place may not.
        place_is_there = columns == 1 or bool(cells and NUMBER.fullmatch(cells[0]))
        if not (len(cells) <= columns and place_is_there and (not cells or _heights_in(cells[-1]))):
            faults.append(Fault(file, at, "line", " ".join(cells)[:60],
                                f"is damaged: the others hold {columns} numbers each"))  # fmt: skip
            continue
        for column, cell in enumerate(cells):
            if cell.lower() in NO_HEIGHT:
                continue
            try:
                plain = number_text(cell, decimal_comma=comma)
            except Ambiguous as question:
                faults.append(Fault(file, at, "number", cell, str(question)))
                continue
            values[k, column] = float(plain.replace(",", "."))
            if not math.isfinite(values[k, column]):
                faults.append(Fault(file, at, "number", cell[:60], "is too large to be a height"))
    if faults:
        more = len(faults) - SHOWN
        if more > 0:
            faults = [*faults[:SHOWN], Fault(file, None, "", "", f"{more} more lines like these")]
        raise SurveyError(faults)
    return values


def _heights_in(cell: str) -> bool:
    """Whether a cell is a number, or a sign for a missing one."""
    return bool(NUMBER.fullmatch(cell)) or cell.lower() in NO_HEIGHT


def _column_units(heading: list[str], columns: int) -> list[str | None]:
    """Unit of each column by the line above them; None where it names none."""
    every = _units_in(" ".join(heading))
    if len(every) == columns:
        return [*every]  # words of a heading may be separated like columns
    if len(heading) != columns:
        return [None] * columns
    return [next(iter(_units_in(cell)), None) for cell in heading]


def _units_in(words: str) -> list[str]:
    """Units that words name, in their order."""
    return [list(UNITS)[int(found.lastindex or 1) - 1] for found in UNIT.finditer(words)]


# -- An instrument's own file ----------------------------------------------------------------------


def _instrument(file: str, data: bytes) -> Trace:
    """A profile in a format that SurfaceTopography knows."""
    reader: Any = opened_file(file, data)
    channel = reader.default_channel if reader.channels else None
    grid = () if channel is None else tuple(channel.nb_grid_pts)
    if channel is None or (len(grid) == 2 and 1 not in grid):
        raise refused_file(file, "holds no profile. Read an area as a height map")
    kind, unit = str(reader.format()), unit_said(channel)
    unit = unit if unit in UM_PER else ""
    if len(grid) == 2:
        heights = heights_in(file, reader, channel).reshape(-1)
        places = None
    else:
        places, heights = _line(file, reader, channel)
    sizes = channel.physical_sizes
    along = max(range(len(grid)), key=lambda axis: grid[axis])
    step = None if sizes is None or places is not None else float(sizes[along]) / grid[along]
    return Trace(kind.upper(), heights, places, step, unit or None, unit or None)


def _line(file: str, reader: Any, channel: Any) -> tuple[FloatArray | None, FloatArray]:
    """Places, where steps are not known to be even, and heights of a line."""
    try:
        found = reader.topography(channel_index=channel.index)
        heights = np.ma.filled(np.ma.asarray(found.heights(), dtype=np.float64), np.nan)
        places = None if found.is_uniform else np.asarray(found.positions(), dtype=np.float64)
    except (*BROKEN, load_library().ReadFileError) as error:
        raise refused_file(file, f"its heights can't be read: {in_one_line(error)}") from error
    return places, np.where(np.isfinite(heights), heights, np.nan)


# -- A file of heights, whether its instrument saw an area or drew a line --------------------------

OPEN = frozenset({"height_unit", "pixel_um", "step_um"})  # what some files leave open


def read_surface(
    path: str | Path, *, height_unit: str | None = None,
    pixel_um: tuple[float, float] | None = None,
) -> HeightFile:  # fmt: skip
    """Read a height map, or the profile of a stylus as a map of one row."""
    try:
        return read_height_map(path, height_unit=height_unit, pixel_um=pixel_um)
    except SurveyError as no_map:
        if left_open(no_map):
            raise
        try:
            return read_profile(
                path, height_unit=height_unit, step_um=pixel_um[0] if pixel_um else None
            )
        except SurveyError as no_profile:
            # A file that is neither is reported as the format tried first.
            raise (no_profile if left_open(no_profile) else no_map) from None


def left_open(error: SurveyError) -> frozenset[str]:
    """What a file leaves open, where that alone keeps it from being read."""
    fields = frozenset(map(str, error.faults["field"]))
    return fields if fields <= OPEN else frozenset()

"""Files of a survey: attachments, and what makes height maps and photographs measurements."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, get_args

from pydantic import Field

from heritagecheck.errors import Codes, Fields, Must, WithCodes
from heritagecheck.sentences import count_of
from heritagecheck.survey.records.readings import Mineral
from heritagecheck.survey.records.record import (
    PLAIN_NUMBER,
    FileName,
    Key,
    Maybe,
    OptionalDate,
    OptionalNumber,
    OptionalText,
    Record,
    State,
    Words,
    Wrong,
    YesNo,
    all_or_none,
    column,
    listed,
    optional,
    rule,
)  # fmt: skip

_MINERALS: tuple[str, ...] = get_args(Mineral)
AttachmentKind = Literal[
    "photograph", "height_map", "instrument_file", "drawing", "document", "other"
]


class Attachment(Record):
    """One file that belongs to the survey, known by its content."""

    attachment: Key = column("Code of the attachment")
    kind: AttachmentKind = column("What it is")
    file: FileName = column(
        "Name of the file, with its folder below the survey's own", title="Name of the file"
    )
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] = column(
        "SHA-256 of its content, in hexadecimal digits", title="SHA-256"
    )
    bytes: int = column("Size", unit="B", ge=0, le=10_000_000_000)
    zone: OptionalText = optional("Zone it shows, if one", title="Zone")
    panel: OptionalText = optional("Trial panel it shows, if one", title="Trial panel")
    taken_on: OptionalDate = optional("Date on which it was made", title="Made on")
    taken_by: OptionalText = optional("Role of its maker")
    note: OptionalText = optional("In words", title="Note")


class HeightMap(Record):
    """One height map, as whoever knows the surface confirmed its unit, pixel size and extent."""

    height_map: Key = column("Code of the height map")
    attachment: Key = column("Attachment that holds it")
    zone: Key = column("Zone")
    panel: OptionalText = optional("Trial panel, where it shows one", title="Trial panel")
    moment: Literal["before", "after", "reference"] = column(
        "Before or after trial, or untreated", title="Before or after"
    )
    height_unit: Literal["m", "mm", "µm", "nm"] = column(
        "Unit of the heights in the file", title="Unit of the heights"
    )
    pixel_x_um: float = column("Pixel size along a row", unit="µm", gt=0, le=100_000)
    pixel_y_um: float = column("Pixel size along a column", unit="µm", gt=0, le=100_000)
    rows: int = column("Rows", ge=1, le=1_000_000)
    columns: int = column("Columns", ge=1, le=1_000_000)
    lowest_um: float = column("Lowest height", unit="µm")
    highest_um: float = column("Highest height", unit="µm")
    unseen: float = column(
        "Share of pixels without a height", title="Share without a height", unit="1", ge=0, le=1
    )
    instrument: Words = column("Instrument, by kind")
    measured_on: date = column("Date")
    confirmed_by: Words = column("Role of whoever confirmed unit and size", title="Confirmed by")
    before_map: OptionalText = optional(
        "After treatment: code of the map of the same place before", title="Map before"
    )
    bare: Annotated[YesNo | None, Maybe] = optional(
        "Was the surface free of soiling when it was measured?", title="Free of soiling"
    )
    treated: OptionalText = optional(
        "Outline of the treated area in the map: x y [pixel]; three corners or more, separated by "
        "semicolons",
        title="Outline of the treated area",
    )
    photo: OptionalText = optional(
        "Photograph that shows the same place, where minerals are told apart by it",
        title="Photograph of the place",
    )
    photo_points: OptionalText = optional(
        "Points that both show: x y in the photograph [pixel], then x y in the map [pixel]; five "
        "points or more, so that they check one another, separated by semicolons",
        title="Points in both",
    )
    photo_minerals: OptionalText = optional(
        "Outlines of grains in the photograph: mineral, colon, x y [pixel] of three corners or "
        "more separated by semicolons; a stroke between grains, such as biotite: 1 1; 9 1; 5 8 / "
        "quartz: 20 20; 30 20; 25 30",
        title="Outlines of minerals",
    )
    spot: OptionalText = optional("Trial spot, where it shows one", title="Trial spot")

    @rule
    def _lowest_lies_lowest(self) -> Wrong:
        if self.lowest_um > self.highest_um:
            most = f"must be {self.highest_um:g} or less, as "
            yield "lowest_um", Must(most, Fields("highest_um"), " is")

    @rule
    def _pair(self) -> Wrong:
        if self.before_map is not None and self.moment != "after":
            yield "before_map", "name a map before only where this one was measured after"
        elif self.before_map is not None and self.before_map == self.height_map:
            yield "before_map", "a map can't be the one before itself"
        yield from all_or_none(self, Fields("photo", "photo_points"), "together, or neither")
        if self.spot is not None and self.panel is None:
            yield "panel", "name the panel on which the spot lies"
        yield from _row_faults("treated", self.treated, 2, least=3)
        yield from _row_faults("photo_points", self.photo_points, 4, least=3)

    @rule
    def _minerals(self) -> Wrong:
        if self.photo_minerals is not None and self.photo is None:
            yield "photo_minerals", "name the photograph in which these grains were outlined"
        try:
            _grains_of(self.photo_minerals)
        except ValueError as why:
            yield "photo_minerals", why.args[0]

    @property
    def treated_outline(self) -> tuple[tuple[float, ...], ...]:
        """Corners of the treated area: x, y [pixel]; empty if not given."""
        return _rows_of(self.treated, 2, least=3)

    @property
    def tie_points(self) -> tuple[tuple[float, ...], ...]:
        """Points that both photograph and map show: x, y in each [pixel]."""
        return _rows_of(self.photo_points, 4, least=3)

    @property
    def grains(self) -> tuple[tuple[str, tuple[tuple[float, ...], ...]], ...]:
        """Grains in the photograph: mineral, and the corners x, y [pixel] of its outline."""
        return _grains_of(self.photo_minerals)


class Photo(Record):
    """
    One photograph as it shows one zone, with what makes it a measurement.

    What is measured in it stays empty until `heritagecheck.photograph.measure` fills it in.
    """

    photo: Key = column("Code of the photograph")
    attachment: Key = column("Attachment that holds it")
    zone: Key = column("Zone it is measured for", title="Zone")
    state: State = column("Wet or dry")
    points: Words = column(
        "Points on the wall: x y in the picture [pixel], then metres from the left and from the "
        "top of the drawing; four points or more, separated by semicolons",
        title="Points on the wall",
    )
    clean_stone: OptionalText = optional(
        "Outline of clean stone of the same kind in the picture: x y [pixel]; three corners or "
        "more, separated by semicolons",
        title="Outline of clean stone",
    )
    chart_corners: OptionalText = optional(
        "Corners of the colour chart's patches, x y [pixel], where they were pointed at by hand: "
        "from the first patch (dark skin) along the long side, four corners, separated by "
        "semicolons",
        title="Corners of the chart",
    )
    board: OptionalText = optional(
        "Attachment: photograph of an even grey board, same camera, place and light",
        title="Photograph of the grey board",
    )
    taken_on: date = column("Date", title="Date taken")
    taken_by: Words = column("Role", title="Taken by")
    chart_error: OptionalNumber = optional(
        "Mean error of the chart's patches, each left out in turn",
        title="Error of the chart",
        unit="ΔE00",
        ge=0,
        le=3,
    )
    error_L: OptionalNumber = optional(
        "Standard error of L* by chart and light", title="Error of L*", unit="1", ge=0, le=20
    )
    error_a: OptionalNumber = optional(
        "Standard error of a* by the chart", title="Error of a*", unit="1", ge=0, le=20
    )
    error_b: OptionalNumber = optional(
        "Standard error of b* by the chart", title="Error of b*", unit="1", ge=0, le=20
    )
    note: OptionalText = optional("In words", title="Note")

    @rule
    def _numbers(self) -> Wrong:
        yield from _row_faults("points", self.points, 4, least=4)
        yield from _row_faults("clean_stone", self.clean_stone, 2, least=3)
        yield from _row_faults("chart_corners", self.chart_corners, 2, least=4)
        if (self.chart_corners or "").count(";") > 3:
            yield "chart_corners", "give four corners, not more"
        errors = Fields("chart_error", "error_L", "error_a", "error_b")
        yield from all_or_none(self, errors, "together, or none of them")

    @property
    def tie_points(self) -> tuple[tuple[float, ...], ...]:
        """Points on the wall: x, y [pixel], from the left, from the top [m]."""
        return _rows_of(self.points, 4, least=4)

    @property
    def clean_outline(self) -> tuple[tuple[float, ...], ...]:
        """Corners of the clean stone: x, y [pixel]; empty if not given."""
        return _rows_of(self.clean_stone, 2, least=3)

    @property
    def chart_outline(self) -> tuple[tuple[float, ...], ...]:
        """Corners of the chart's patches: x, y [pixel]; empty if the chart is to be found."""
        return _rows_of(self.chart_corners, 2, least=4)


def _rows_of(text: str | None, wide: int, least: int) -> tuple[tuple[float, ...], ...]:
    """Numbers written as rows separated by semicolons."""
    if text is None:
        return ()
    found = []
    example = "120 340 1.25 3.1; 980 338 3.4 3.1" if wide == 4 else "120 340; 980 338"
    for row in text.split(";"):
        cells = row.split()
        if len(cells) != wide or not all(PLAIN_NUMBER.fullmatch(cell) for cell in cells):
            comma = " Write decimal points, no commas." if "," in row else ""
            raise ValueError(
                f"{row.strip() or 'an empty row'} must be {wide} numbers separated by "
                f"blanks.{comma} Separate rows by semicolons, such as {example}"
            )
        found.append(tuple(float(cell) for cell in cells))
    if len(found) < least:
        raise ValueError(f"{count_of(len(found), 'row')}; {least} or more are needed")
    return tuple(found)


def _grains_of(text: str | None) -> tuple[tuple[str, tuple[tuple[float, ...], ...]], ...]:
    """Grains written as mineral, colon and corners, separated by strokes."""
    found = []
    for part in () if text is None else text.split("/"):
        name, _, corners = part.partition(":")
        mineral = listed(name.strip(), _MINERALS)
        if mineral not in _MINERALS:
            raise ValueError(
                WithCodes(
                    f"{name.strip() or 'nothing'} is no mineral of the list",
                    "Write any of: ",
                    Codes(*_MINERALS),
                    ", then a colon and the corners",
                )
            )
        found.append((str(mineral), _rows_of(corners, 2, least=3)))
    return tuple(found)


def _row_faults(field: str, text: str | None, wide: int, least: int) -> Wrong:
    """Why numbers can't be read as rows."""
    try:
        _rows_of(text, wide, least)
    except ValueError as why:
        yield field, str(why)

"""A height map or profile that is being confirmed: its file, and what only a person knows of it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from heritagecheck.errors import SurveyError, refused_file
from heritagecheck.evidence.surface.zone_height_maps import (
    check_surface,
    roughness_of,
    tilt_um_per_mm,
)
from heritagecheck.figures.height_map import draw_profile, relief_jpeg
from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Form
from heritagecheck.screens.zone.at_hand import NOT_GIVEN_YET
from heritagecheck.sentences import ended
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.instruments.height_files import STANDARD, HeightFile
from heritagecheck.survey.instruments.profile_files import left_open, read_surface
from heritagecheck.survey.records import Attachment, HeightMap
from heritagecheck.survey.records.record import PLAIN_NUMBER, Record

SIZE = ("height_unit", "pixel_x_um", "pixel_y_um")
FIELDS = (
    "panel", "spot", "moment", "instrument", "measured_on", "bare", "before_map", "treated",
    "photo", "photo_points", "photo_minerals", *SIZE,
)  # fmt: skip
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class MapFile:
    """
    A file of heights without its heights, of which there may be sixteen million.

    `trouble` says why it can't be taken as it is read, and is empty where it can; `said` is what
    it says of itself, a sentence each; `picture` its relief, or its line, with the kind of that.
    """

    kind: str
    unit_in_file: str
    pixel_um: tuple[float, float]
    rows: int
    columns: int
    lowest_um: float
    highest_um: float
    unseen: float
    trouble: str
    said: tuple[str, ...]
    picture: tuple[bytes, str]


def map_file(file: HeightFile) -> MapFile:
    """The record of a file."""
    trouble = ""
    try:
        check_surface(file)
    except ValueError as why:
        trouble = str(why)
    if file.rows == 1:
        svg = draw_profile(file.heights_um[0], file.pixel_um[0]).svg
        picture = svg.encode(), "image/svg+xml"
    else:
        picture = relief_jpeg(file.heights_um, file.pixel_um), "image/jpeg"
    said = tuple(map(ended, _said(file, rough=not trouble)))
    return MapFile(
        file.kind, file.unit_in_file, file.pixel_um, file.rows, file.columns, file.lowest_um,
        file.highest_um, file.unseen, trouble, said, picture,
    )  # fmt: skip


def _said(file: HeightFile, *, rough: bool) -> Iterator[str]:
    """What the file says of itself, a sentence each."""
    width, height = file.extent_mm
    across, down = file.pixel_um
    tilt = tilt_um_per_mm(file)
    yield f"Format {file.kind}, heights in {file.unit_in_file}"
    if file.rows == 1:
        yield f"Profile of {file.columns} heights, one every {across:.4g} µm, {width:.4g} mm long"
    else:
        size = f"{file.columns} × {file.rows} pixels of {across:.4g} × {down:.4g} µm"
        yield f"Map of {size}, {width:.4g} × {height:.4g} mm"
    yield f"Heights from {file.lowest_um:.4g} to {file.highest_um:.4g} µm"
    yield f"{file.unseen:.1%} of it has no height"
    if file.rows == 1:
        yield f"Tilt {tilt[0]:.2g} µm per mm along the line"
    else:
        yield f"Tilt {tilt[0]:.2g} µm per mm along a row, {tilt[1]:.2g} µm per mm down"
    try:
        yield from (str(roughness_of(file)),) if rough else ()
    except ValueError as why:
        yield f"No roughness: {why}"
    yield from file.cautions


class MapForm(Form):
    """The record of one map: unit, size and extent by its file, the rest by whoever confirms it."""

    def __init__(self, desk: Desk, task: str, item: Attachment) -> None:
        self.item, self.desk = item, desk
        self._read: dict[tuple[str, ...], MapFile | SurveyError] = {}
        kept = self.of_file()
        begun = {"panel": item.panel or ""} if kept is None else dict(RecordForm.of(kept).typed)
        if kept is None and isinstance(found := self._opened(None, None), MapFile):
            begun |= _size_of(found)
        fixed = {"attachment": item.attachment, "zone": item.zone}
        fixed["height_map"] = NOT_GIVEN_YET if kept is None else kept.height_map
        super().__init__(
            desk, "map", task, HeightMap, FIELDS, fixed=fixed, begun=begun, kept=self.of_file
        )

    def of_file(self) -> HeightMap | None:
        """The record of this file as it is saved."""
        maps = self.desk.survey.all(HeightMap)
        return next((one for one in maps if one.attachment == self.item.attachment), None)

    @property
    def file(self) -> MapFile | None:
        """The file as it is read with what is typed; None where it can't be yet."""
        found = self._now()
        return found if isinstance(found, MapFile) else None

    @property
    def size_asked(self) -> bool:
        """Whether a person may say unit and pixel size: the standard formats state them."""
        found = self.file
        return found is None or found.kind.lower() not in STANDARD

    @property
    def trouble(self) -> str:
        """Why the file cannot be read by these answers; empty if it can, or lacks a size."""
        found = self._now()
        if isinstance(found, SurveyError):
            return "" if left_open(found) else found.sentences[0]
        return found.trouble

    def _now(self) -> MapFile | SurveyError:
        """The file, by the unit and the pixel size that are typed."""
        said = RecordForm(HeightMap, {name: self.text[name] for name in SIZE})
        unit, across, down = (said.value(name) for name in SIZE)
        pixel = None
        if isinstance(across, float):
            pixel = (across, down if isinstance(down, float) else across)
        return self._opened(unit if isinstance(unit, str) else None, pixel)

    def _opened(self, unit: str | None, pixel: tuple[float, float] | None) -> MapFile | SurveyError:
        """The file as it is read with a unit and a pixel size, once while these stay."""
        told = (str(unit), str(pixel))
        if told not in self._read:
            path = self.desk.survey.file(self.item.file)
            if path is None:
                raise ValueError(f"The file {self.item.file} is missing; take it in again.")
            try:
                found = read_surface(path, height_unit=unit, pixel_um=pixel)
                self._read = {told: map_file(found)}
            except SurveyError as error:
                self._read = {told: error}
            except ImportError as missing:
                self._read = {told: refused_file(self.item.file, str(missing))}
        return self._read[told]

    def wrong(self) -> dict[str, str]:
        """What is wrong with what was typed, and with the file as it is then read."""
        found = super().wrong()
        if not found and (why := self.trouble):
            found["height_unit"] = why
        return found

    @property
    def written(self) -> RecordForm[HeightMap]:
        """What is typed and what the file says, on the way to a record."""
        file = self.file
        if file is None:
            beyond: dict[str, object] = {"rows": 1, "columns": 1, "unseen": 0.0}
            beyond |= {"lowest_um": 0.0, "highest_um": 0.0}
        else:
            beyond = {
                "rows": file.rows, "columns": file.columns, "unseen": _digits(file.unseen),
                "lowest_um": _digits(file.lowest_um), "highest_um": _digits(file.highest_um),
            }  # fmt: skip
        by = self.desk.who or NOT_GIVEN_YET
        return RecordForm(HeightMap, self.text, self.fixed | beyond | {"confirmed_by": by})

    def record(self, code: str) -> Record:
        """The record under its code, confirmed by whoever saves."""
        made = self.written
        return RecordForm(HeightMap, made.typed, made.fixed | {"height_map": code}).record()

    # -- Points ------------------------------------------------------------------------------------

    @property
    def corners(self) -> list[Point]:
        """Corners of the treated area that are marked so far, in pixels."""
        return [(row[0], row[1]) for row in _rows(self.text["treated"]) if len(row) == 2]

    def mark(self, points: str) -> None:
        """Take corners of the treated area."""
        self.type("treated", "; ".join(_pair(one) for one in json.loads(points)))

    @property
    def ties(self) -> tuple[list[Point], list[Point]]:
        """Points in the photograph, and the same in the map as far as they are marked."""
        rows = _rows(self.text["photo_points"])
        return (
            [(row[0], row[1]) for row in rows if len(row) >= 2],
            [(row[2], row[3]) for row in rows if len(row) == 4],
        )

    def tie(self, where: str, points: str) -> None:
        """Take points of one of both pictures; the map follows the photograph."""
        given = [(float(x), float(y)) for x, y in json.loads(points)]
        photo, here = self.ties
        photo, here = (given, here) if where == "photo" else (photo, given)
        if len(here) > len(photo):
            raise ValueError("Put the point in the photograph first, then the same in the map.")
        pairs = zip_longest(map(_pair, photo), map(_pair, here), fillvalue="")
        self.type("photo_points", "; ".join(" ".join(one).strip() for one in pairs))

    @property
    def grains(self) -> list[tuple[str, list[Point]]]:
        """Grains that are outlined in the photograph so far: mineral and corners."""
        parts = [part.partition(":") for part in self.text["photo_minerals"].split("/")]
        return [
            (name.strip(), [(row[0], row[1]) for row in _rows(corners) if len(row) == 2])
            for name, _, corners in parts if name.strip()
        ]  # fmt: skip

    def new_grain(self, mineral: str) -> int:
        """Begin a grain; one that has no corner yet becomes one of this mineral."""
        grains = [one for one in self.grains if one[1]]
        self._put([*grains, (mineral, [])])
        return len(grains)

    def outline(self, place: int, points: str) -> None:
        """Take the corners of one grain."""
        grains = self.grains
        grains[place] = grains[place][0], [(float(x), float(y)) for x, y in json.loads(points)]
        self._put(grains)

    def drop_grain(self, place: int) -> None:
        """Take one grain out."""
        grains = self.grains
        self._put(grains[:place] + grains[place + 1 :])

    def _put(self, grains: Sequence[tuple[str, Sequence[Point]]]) -> None:
        told = (f"{name}: {'; '.join(map(_pair, corners))}".strip() for name, corners in grains)
        self.type("photo_minerals", " / ".join(told))


def _size_of(file: MapFile) -> dict[str, str]:
    """Unit and pixel size by the file itself, as somebody would type them."""
    across, down = (f"{_digits(one):g}" for one in file.pixel_um)
    return {"height_unit": file.unit_in_file, "pixel_x_um": across, "pixel_y_um": down}


def _digits(number: float) -> float:
    """A number without the last digits, which reckoning from metres adds."""
    return float(f"{number:.6g}")


def _rows(text: str) -> list[list[float]]:
    """Numbers between semicolons; a row of which a part is no number is left to the faults."""
    rows = [row.split() for row in text.split(";") if row.strip()]
    return [[float(part) for part in row] for row in rows if all(map(PLAIN_NUMBER.fullmatch, row))]


def _pair(point: Sequence[float]) -> str:
    """A place as the record writes it: a tenth of a pixel is enough."""
    return " ".join(f"{round(float(one), 1):g}" for one in point)

"""One photograph of one zone, measured: colour in squares, cover of soiling, dark minerals."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.colour.colour_difference import FloatArray
from heritagecheck.evidence.colour.comparison import ColourDifference
from heritagecheck.evidence.colour.zone_colour import colour_of_zone
from heritagecheck.evidence.photograph.calibration import Calibration, calibrate
from heritagecheck.evidence.photograph.chart import reduced
from heritagecheck.evidence.photograph.cover import SoilingCover, soiling_cover
from heritagecheck.evidence.photograph.differences import box_of, difference_map, to_lab
from heritagecheck.evidence.photograph.minerals import MineralFractions, mineral_fractions
from heritagecheck.evidence.photograph.patches import light_at
from heritagecheck.evidence.photograph.registration import Registration, register
from heritagecheck.survey.drawings.elevations import outlines
from heritagecheck.survey.drawings.outline import Outline
from heritagecheck.survey.instruments.photo_file import Photograph, open_photograph
from heritagecheck.survey.records import Attachment, Photo, Reading, SiteTest, Zone
from heritagecheck.survey.records.readings import FEWEST_COMPARED
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import threshold
from heritagecheck.tables.row_types import Substrate

__all__ = ["PhotographedZone", "View", "measure", "open_photograph"]

MOST_SQUARES = 60  # of a side: granite across slabs was read so often (GRANCOL-12)
LARGEST_VIEW = 2_000_000  # pixels that a view of the photograph holds, whatever the photograph has
CHART_MARGIN = 1.3  # the chart's frame reaches about so far beyond its patches


@dataclass(frozen=True, slots=True, eq=False)
class PhotographedZone:
    """
    What one photograph says about one zone, with the pictures to judge it by.

    `records` is what to save once the pictures have been looked at: the photograph with the error
    of its calibration, the squares as readings, cover and dark minerals as site tests.
    """

    zone: Zone
    photo: Photo
    readings: tuple[Reading, ...]
    site_tests: tuple[SiteTest, ...]
    calibration: Calibration
    registration: Registration
    colour: ColourDifference | None
    colour_note: str
    cover: SoilingCover | None
    dark_minerals: MineralFractions | None
    view: View
    cautions: tuple[str, ...]

    @property
    def records(self) -> tuple[Photo | Reading | SiteTest, ...]:
        """Everything to save."""
        return (self.photo, *self.readings, *self.site_tests)

    def __str__(self) -> str:
        words = [f"{self.zone.zone} in photograph {self.photo.photo}"]
        words.append(str(self.colour) if self.colour else f"no colour: {self.colour_note}")
        if self.cover is not None:
            words.append(str(self.cover))
        return "; ".join(words)


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """The photograph reduced for looking at: colours, distance from clean stone, the zone."""

    lab: FloatArray
    difference: FloatArray | None
    in_zone: np.ndarray[Any, np.dtype[np.bool_]]
    clean: np.ndarray[Any, np.dtype[np.bool_]]
    soiled: np.ndarray[Any, np.dtype[np.bool_]] | None
    outlines: dict[str, list[FloatArray]]
    pixel_mm: float
    cell: int


def measure(survey: Survey, photo: str) -> PhotographedZone:
    """
    Measure a zone in a photograph that the survey holds.

    Parameters
    ----------
    survey : Survey
        The survey.
    photo : str
        Code of the photograph, of `survey.photos`.

    Returns
    -------
    PhotographedZone
        Nothing is saved: look at its pictures, then `survey.save(*found.records, …)`.

    Raises
    ------
    SurveyError
        There is no such photograph, its file or its drawing is missing, its zone is not drawn or
        not seen, or its points lie wrong.
    ValueError
        The file is no photograph that can be measured, or no chart is found in it, or its
        calibration is too poor; with the reason.

    Notes
    -----
    The zone and the clean stone are each averaged in squares as wide as a meter's aperture, on
    linear light as a meter does; squares that touch an edge, the chart or the clean stone are left
    out, and of many only every other is kept so that neighbours don't count twice. The squares
    become readings of geometry *photograph*. Their common error is that of the chart's patches,
    each left out in turn; without a photograph of an even board an error of L* is added for the
    light, as `photo_light_sd` of the table of thresholds rates it.
    """
    item = _record(survey, photo)
    zone = next(one for one in survey.all(Zone) if one.zone == item.zone)
    picture = _opened(survey, item.attachment)
    board = None if item.board is None else _opened(survey, item.board)
    corners = np.array(item.chart_outline) if item.chart_outline else None
    calibration = calibrate(picture, corners, flat_field=board)
    ties = np.array(item.tie_points)
    registration = register(ties[:, :2], ties[:, 2:])
    drawn = outlines(survey, zone.elevation)
    if zone.zone not in drawn:
        raise SurveyError(
            [Fault("photos", None, "zone", zone.zone, "it has no outline on its drawing")]
        )
    scene = _Scene(picture, calibration, registration, drawn[zone.zone], item)
    error = _errors(calibration, even=board is not None)
    item = item.changed(chart_error=round(calibration.mean_error, 3), **error)
    readings = tuple(
        reading
        for target in ("soiled", "reference")
        for reading in _readings(item, target, scene.squares(target))
    )
    if not any(reading.target == "soiled" for reading in readings):
        raise SurveyError(
            [Fault("photos", None, "zone", zone.zone,
                   f"photograph {photo} shows no whole square of it")]
        )  # fmt: skip
    colour = colour_of_zone(zone, readings, [item])
    view, cover = scene.view(drawn)
    mica = Substrate.named(zone.substrate).weakest_components
    dark, unseen = scene.dark_minerals() if mica else (None, ())
    return PhotographedZone(
        zone, item, readings, tuple(_tests(item, cover, dark)), calibration, registration,
        colour.by_photograph, colour.photograph_note, cover, dark, view,
        (*calibration.cautions, *registration.cautions, *_cautions(item, cover, dark), *unseen),
    )  # fmt: skip


class _Scene:
    """A calibrated and registered photograph, evaluated for one zone and for clean stone."""

    def __init__(
        self, picture: Photograph, calibration: Calibration, registration: Registration,
        zone: Outline, item: Photo,
    ) -> None:  # fmt: skip
        self.pixels, self.decode = picture.pixels, calibration.model.decode
        self.linear = replace(
            calibration, model=replace(calibration.model, decode=None, gain=None)
        )  # of light that was averaged and evened before
        self.gain, self.registration, self.zone = calibration.model.gain, registration, zone
        self.clean = Outline("clean stone", (np.array(item.clean_outline),)) if (
            item.clean_outline
        ) else None  # fmt: skip
        middle = calibration.corners.mean(axis=0)
        self.chart = Outline("chart", (middle + CHART_MARGIN * (calibration.corners - middle),))
        self.pixel_mm = registration.pixel_mm

    def squares(self, target: str) -> FloatArray:
        """L*, a*, b* of squares of the zone or of the clean stone, shape (n, 3)."""
        cell = max(4, round(threshold("photo_square_mm") / self.pixel_mm))
        whole = self._whole(cell, target)
        if not whole.any():
            return np.empty((0, 3))
        kept = _thinned(whole)
        linear = np.array([self._square(row, column, cell) for row, column in kept])
        lab: FloatArray = to_lab(linear[None], self.linear.model)[0]
        return lab

    def _whole(self, cell: int, target: str) -> np.ndarray[Any, np.dtype[np.bool_]]:
        """Which squares of a grid lie wholly in the zone, or in the clean stone."""
        rows, columns = (length // cell for length in self.pixels.shape[:2])
        found = np.ones((rows, columns), dtype=bool)
        for down in (0.0, 0.5, 1.0):
            for across in (0.0, 0.5, 1.0):
                points = _grid(rows, columns, cell, down, across)
                found &= self._on(target, points).reshape(rows, columns)
        return found

    def _on(self, target: str, points: FloatArray) -> np.ndarray[Any, np.dtype[np.bool_]]:
        """Which points of the picture show the zone or the clean stone."""
        free: np.ndarray[Any, np.dtype[np.bool_]] = ~self.chart.contains(points)
        if target == "reference":
            return free & self.clean.contains(points) if self.clean else np.zeros_like(free)
        if self.clean is not None:
            free &= ~self.clean.contains(points)
        return free & self.zone.contains(self.registration.to_drawing(points))

    def _square(self, row: int, column: int, cell: int) -> FloatArray:
        """Mean linear light of one square."""
        top, left = row * cell, column * cell
        block = self.pixels[top : top + cell, left : left + cell]
        light: FloatArray = self._linear(block).mean(axis=(0, 1))
        middle = np.array([[left + cell / 2, top + cell / 2]])
        even: FloatArray = light / light_at(self.gain, middle, self.pixels.shape)[0]
        return even

    def _linear(self, block: np.ndarray[Any, Any]) -> FloatArray:
        """Linear light of stored pixels."""
        return np.asarray(block, float) if self.decode is None else self.decode[block]

    def reduced(self, cell: int) -> FloatArray:
        """Even linear light of the picture in cells of so many pixels, strip by strip."""
        light = reduced(self.pixels, self._linear, cell)
        rows, columns = light.shape[:2]
        even = light_at(self.gain, _grid(rows, columns, cell, 0.5, 0.5), self.pixels.shape)
        return np.asarray(light / even.reshape(rows, columns, 1))

    def view(self, drawn: dict[str, Outline]) -> tuple[View, SoilingCover | None]:
        """The picture reduced, and how much of the zone in it is covered."""
        cell = max(1, math.ceil(math.sqrt(math.prod(self.pixels.shape[:2]) / LARGEST_VIEW)))
        light = self.reduced(cell)
        lab = to_lab(light, self.linear.model)
        shape = lab.shape[:2]
        points = _grid(shape[0], shape[1], cell, 0.5, 0.5)
        in_zone = self._on("soiled", points).reshape(shape)
        clean = self._on("reference", points).reshape(shape)
        difference, cover = None, None
        if clean.any():
            stone = lab[clean].mean(axis=0)
            difference = difference_map(light, stone, calibration=self.linear)
            difference[self.chart.contains(points).reshape(shape)] = np.nan
            reference = np.where(clean[..., None], lab, np.nan)[box_of(clean)]
            cover = soiling_cover(lab, reference, pixel_mm=self.pixel_mm * cell, mask=in_zone)
        rings = {
            code: [self.registration.to_photograph(ring) / cell for ring in outline.rings]
            for code, outline in drawn.items()
        }
        soiled = None if cover is None else cover.mask
        return View(
            lab, difference, in_zone, clean, soiled, rings, self.pixel_mm * cell, cell
        ), cover

    def dark_minerals(self) -> tuple[MineralFractions | None, tuple[str, ...]]:
        """Dark minerals of the clean stone, or why they are not known, which is never a zero."""
        if self.clean is None:
            return None, ()
        corners = self.clean.rings[0]
        left, top = np.maximum(corners.min(axis=0), 0).astype(int)
        right, bottom = corners.max(axis=0).astype(int)
        block = self.pixels[top:bottom, left:right]
        rows, columns = block.shape[:2]
        points = np.add(_grid(rows, columns, 1, 0.5, 0.5), (left, top))
        even = light_at(self.gain, points, self.pixels.shape).reshape(rows, columns, 1)
        light = self._linear(block) / even
        mask = self._on("reference", points).reshape(rows, columns)
        lab = to_lab(light, self.linear.model)
        try:
            return mineral_fractions(lab, pixel_mm=self.pixel_mm, mask=mask), ()
        except ValueError as error:
            return None, (f"The share of dark minerals is not known: {error}",)


def _grid(rows: int, columns: int, cell: int, down: float, across: float) -> FloatArray:
    """One point of every cell, x and y in pixels, shape (rows · columns, 2)."""
    y, x = np.mgrid[:rows, :columns]
    return np.stack([(x.ravel() + across) * cell, (y.ravel() + down) * cell], axis=-1)


def _thinned(whole: np.ndarray[Any, np.dtype[np.bool_]]) -> np.ndarray[Any, np.dtype[np.intp]]:
    """Rows and columns of the squares used: no two adjacent, and no more than needed."""
    kept = np.argwhere(whole)
    for step in range(2, max(whole.shape) + 1):
        kept = np.argwhere(whole[::step, ::step]) * step
        if len(kept) <= MOST_SQUARES:
            break
    # A narrow zone may hold whole squares only between those: then they may touch.
    return kept if len(kept) >= FEWEST_COMPARED else np.argwhere(whole)[:MOST_SQUARES]


def _record(survey: Survey, photo: str) -> Photo:
    """Record of a photograph."""
    known = survey.all(Photo)
    for one in known:
        if one.photo == photo:
            return one
    names = ", ".join(one.photo for one in known) or "none"
    raise SurveyError([Fault("photos", None, "photo", photo, f"there is none. Known: {names}")])


def _opened(survey: Survey, attachment: str) -> Photograph:
    """Picture that an attachment holds."""
    one = next(one for one in survey.all(Attachment) if one.attachment == attachment)
    path = survey.file(one.file)
    if path is None:
        raise SurveyError(
            [Fault("attachments", None, "file", one.file, "this file is missing; attach it again")]
        )
    return open_photograph(path)


def _errors(calibration: Calibration, *, even: bool) -> dict[str, float]:
    """Standard errors of L*, a*, b* by chart and light, as the record holds them."""
    spread = np.sqrt(np.diag(calibration.error_covariance))
    light = 0.0 if even else threshold("photo_light_sd")
    found = (math.hypot(spread[0], light), float(spread[1]), float(spread[2]))
    return dict(zip(("error_L", "error_a", "error_b"), (round(x, 3) for x in found), strict=True))


def _readings(
    item: Photo, target: Literal["soiled", "reference"], squares: FloatArray
) -> tuple[Reading, ...]:
    """Squares as readings of one set."""
    name = f"{item.zone}-{item.photo}-{target}"
    return tuple(
        Reading(
            reading=f"{name}-{number:02d}", zone=item.zone, set_name=name, set_size=len(squares),
            target=target, L_star=L_star, a_star=a_star, b_star=b_star, state=item.state,
            geometry="photograph", photo=item.photo, file=item.attachment,
            aperture_mm=threshold("photo_square_mm"), illuminant="D65/10",
            instrument="camera with colour chart", read_on=item.taken_on, read_by=item.taken_by,
        )
        for number, (L_star, a_star, b_star) in enumerate(squares.round(2).tolist(), 1)
    )  # fmt: skip


def _tests(
    item: Photo, cover: SoilingCover | None, dark: MineralFractions | None
) -> Iterator[SiteTest]:
    """Cover and dark minerals as site tests, their spread from their interval."""
    found = []
    if cover is not None:
        found.append(("soiling_cover_pct", cover.share, cover.low, cover.high))
    if dark is not None:
        found.append(("dark_mineral_pct", dark.dark, dark.low, dark.high))
    for quantity, share, low, high in found:
        name = f"{item.zone}-{item.photo}-{quantity}"
        yield SiteTest(
            site_test=name, zone=item.zone, quantity=quantity, value=round(100 * share, 1),
            spread=round(100 * (high - low) / (2 * 1.96), 2), set_name=name, set_size=1,
            method=f"photograph {item.photo}", tested_on=item.taken_on, tested_by=item.taken_by,
        )  # fmt: skip


def _cautions(
    item: Photo, cover: SoilingCover | None, dark: MineralFractions | None
) -> Iterator[str]:
    """What to know before anything of this photograph is used."""
    if item.board is None:
        yield (
            "No even board was photographed, so how even the light was is not known: L* may "
            f"be wrong by {threshold('photo_light_sd'):g} or more."
        )
    if item.state != "dry":
        yield f"The stone was {item.state}: wet stone is darker, and its squares are not compared."
    if cover is None:
        yield "No clean stone is outlined: neither difference nor cover can be given."
    for part in (cover, dark):
        yield from () if part is None else part.cautions

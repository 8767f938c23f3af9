"""Height maps of the survey: what a file says, what a pair of them lost, and on which grains."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.photograph.registration import Registration, register
from heritagecheck.evidence.surface.height_map import (
    BoolArray,
    as_heights,
    as_pixel,
    check_scale,
    take_off_form,
    unseen_share,
)
from heritagecheck.evidence.surface.material_loss import DepthRemoved, depth_removed
from heritagecheck.evidence.surface.roughness_change import RoughnessChange, roughness_change
from heritagecheck.evidence.surface.roughness_parameters import (
    ProfileRoughness,
    Roughness,
    profile_roughness,
    roughness,
)
from heritagecheck.sentences import count_of, digits_for
from heritagecheck.survey.drawings.outline import Outline
from heritagecheck.survey.entry.codes import next_codes, next_name
from heritagecheck.survey.instruments.height_files import HeightFile
from heritagecheck.survey.instruments.profile_files import read_surface
from heritagecheck.survey.records import Attachment, HeightMap, Panel, SiteTest, Spot
from heritagecheck.survey.survey import Survey

DEPTH, ROUGHNESS = "depth_removed_um", "roughness_change_pct"
FEWEST_POINTS = 5  # four always fit, so that nothing would say how far the grains may lie off
_UM_PER_M = 1e6
_AWAY = 2.0  # errors of a point within which a border may lie: some 95 % of them


@dataclass(frozen=True, slots=True, eq=False)
class MapPair:
    """
    A map before treatment, the one after it, and what became of the treated area between them.

    `files` names the files of both. `rougher` is None where no change of roughness can be given;
    `no_roughness` then says why. `grains` are those that were outlined in a photograph, if any.
    """

    before: HeightMap
    after: HeightMap
    files: tuple[str, str]
    depth: DepthRemoved
    rougher: RoughnessChange | None
    no_roughness: str
    grains: GrainsOnMap | None

    @property
    def on_bare_surface(self) -> bool:
        """Whether somebody recorded that no soiling lay on it, before and after."""
        return self.before.bare == self.after.bare == "yes"


def heights_of(survey: Survey, one: HeightMap) -> HeightFile:
    """Heights of a map, read from its file as somebody confirmed unit and pixel size."""
    name = _file_of(survey, one)
    path = survey.file(name)
    if path is None:
        raise _refused(one, "attachment", f"the file {name} is not kept with this survey")
    return read_surface(
        path, height_unit=one.height_unit, pixel_um=(one.pixel_x_um, one.pixel_y_um)
    )


def tilt_um_per_mm(file: HeightFile) -> tuple[float, float]:
    """Slope of the plane that fits best, along a row and down; of a profile, along it."""
    fitted = take_off_form(file.heights_um.copy(), "plane")
    # A coefficient belongs to a place that runs from -1 to 1 over the field.
    sides_mm = [
        max(count - 1, 1) * size / 2000
        for count, size in zip((file.columns, file.rows), file.pixel_um, strict=True)
    ]
    return float(fitted[0, 1]) / sides_mm[0], float(fitted[1, 0]) / sides_mm[1]


def check_surface(file: HeightFile) -> None:
    """Refuse a map too small, mostly not measured, or in a unit wrong by a factor of 1,000."""
    line = file.rows == 1
    as_heights("It", file.heights_um[0] if line else file.heights_um, 1 if line else 2)
    unseen_share("heights", file.heights_um)
    check_scale("It", file.heights_um, file.pixel_um)


def roughness_of(file: HeightFile) -> Roughness | ProfileRoughness:
    """Roughness of a map or profile without its tilt."""
    if file.rows == 1:
        return profile_roughness(file.heights_um[0], file.pixel_um[0])
    return roughness(file.heights_um, file.pixel_um)


def measure_pair(survey: Survey, after: str) -> MapPair:
    """What a trial took away, from the map after it and the one before that it names."""
    known = {one.height_map: one for one in survey.all(HeightMap)}
    second = known[after]
    if second.before_map is None:
        raise _refused(second, "before_map", "name the map of the same place before treatment")
    first = known[second.before_map]
    _check_pair(first, second)
    files = heights_of(survey, first), heights_of(survey, second)
    earlier, later = (one.heights_um for one in files)
    pixel, treated = files[0].pixel_um, inside(first.treated_outline, files[0].heights_um.shape)
    grains = None
    if first.grains:
        grains = grains_on_map(first.tie_points, first.grains, earlier.shape, pixel)
    found = depth_removed(
        earlier, later, pixel_um=pixel, treated=treated,
        labels=None if grains is None else grains.labels,
        minerals=None if grains is None else grains.minerals,
        label_error_um=0.0 if grains is None else grains.error_um,
    )  # fmt: skip
    rougher, why = None, ""
    try:
        rougher = roughness_change(earlier, later, pixel_um=pixel, treated=treated)
    except ValueError as error:
        why = str(error)  # the depth does not need it
    names = _file_of(survey, first), _file_of(survey, second)
    return MapPair(first, second, names, found, rougher, why, grains)


def _check_pair(before: HeightMap, after: HeightMap) -> None:
    """Refuse two maps that cannot be registered."""
    if before.treated is None:
        raise _refused(before, "treated", "mark the treated area in the map before treatment")
    if 1 in (before.rows, after.rows):
        raise _refused(after, "before_map", "a profile is a line: depth lost needs two maps")
    places = [(one.zone, one.panel, one.spot) for one in (before, after)]
    if places[0] != places[1]:
        raise _refused(after, "before_map", f"{before.height_map} shows another place")
    sizes = [(one.pixel_x_um, one.pixel_y_um) for one in (before, after)]
    if any(abs(a - b) > 1e-3 * a for a, b in zip(*sizes, strict=True)):
        (ax, ay), (bx, by) = sizes
        raise _refused(
            after, "pixel_x_um",
            f"{before.height_map} has pixels of {ax:g} × {ay:g} µm, {after.height_map} of "
            f"{bx:g} × {by:g} µm. Measure both with one objective",
        )  # fmt: skip


def _refused(one: HeightMap, field: str, why: str) -> SurveyError:
    """Why no depth is worked out from a map."""
    return SurveyError([Fault("height_maps", None, field, one.height_map, why)], nothing="measured")


def _file_of(survey: Survey, one: HeightMap) -> str:
    """Name of the file of a map."""
    return next(a.file for a in survey.all(Attachment) if a.attachment == one.attachment)


# -- What is recorded of it ------------------------------------------------------------------------


class _Kept(NamedTuple):
    """One value to record: its mineral and standard error, or why there is none."""

    mineral: str | None
    value: float | None
    error: float | None
    why_not: str | None = None

    @property
    def rounded(self) -> float | None:
        """Three digits of the number, fewer where its error leaves fewer: the rest is noise."""
        if self.value is None or self.error is None:
            return self.value
        return round(float(f"{self.value:.3g}"), digits_for(self.error)) + 0.0  # no "-0.0"


def pair_records(
    survey: Survey, pair: MapPair, who: str
) -> tuple[tuple[Panel | SiteTest, ...], tuple[SiteTest, ...]]:
    """What a pair shows, as tests of its panel or spot that name the file; and tests gone."""
    after = pair.after
    if after.panel is None:
        raise _refused(after, "panel", "name the panel: what was lost is judged panel by panel")
    if not pair.on_bare_surface:
        raise _refused(
            after, "bare",
            "say of both maps that the surface was free of soiling. Heights can't tell soiling "
            "from the surface itself",
        )  # fmt: skip
    panel = next(one for one in survey.of_zone(after.zone, Panel) if one.panel == after.panel)
    spots = [one for one in survey.of_zone(after.zone, Spot) if one.spot == after.spot]
    asked = not any(spot.harsher_than(panel) for spot in spots)
    panel = panel.also_measured("depth_removed") if asked else panel
    made, gone = _tests(survey, pair, who, DEPTH, list(_depths(pair)))
    if pair.rougher is not None:
        panel = panel.also_measured("roughness_change") if asked else panel
        rough = _Kept(None, pair.rougher.percent, pair.rougher.standard_error)
        more, left = _tests(survey, pair, who, ROUGHNESS, [rough])
        made, gone = made + more, gone + left
    return (panel, *made), gone


def _depths(pair: MapPair) -> Iterator[_Kept]:
    """Depth lost on the whole treated area, and on each mineral that was outlined."""
    found = pair.depth
    yield _Kept(None, found.mean_um, found.standard_error_um)
    for one in found.by_mineral:
        if one.known:
            yield _Kept(one.mineral, one.mean_um, one.standard_error_um)
        else:
            yield _Kept(one.mineral, None, None, f"only {count_of(one.pixels, 'pixel')} seen of it")


def _tests(
    survey: Survey, pair: MapPair, who: str, quantity: str, kept: Sequence[_Kept]
) -> tuple[tuple[SiteTest, ...], tuple[SiteTest, ...]]:
    """Tests of one quantity, in place of those of the same file; others learn the new number."""
    after = pair.after
    known = [
        one for one in survey.of_zone(after.zone, SiteTest)
        if (one.panel, one.quantity) == (after.panel, quantity)
    ]  # fmt: skip
    same = {one.mineral: one for one in known if one.file == after.attachment}
    others = [one for one in known if one.file != after.attachment]
    size, stem = len(kept) + len(others), f"{after.panel}-{quantity}"
    name = known[0].set_name if known else next_name(survey, "site_tests", "set_name", stem)
    beside = {"panel": str(after.panel), "quantity": quantity}
    codes = list(next_codes(survey, "site_tests", len(kept), **beside))
    made = tuple(
        SiteTest(
            site_test=same[one.mineral].site_test if one.mineral in same else codes.pop(0),
            zone=after.zone, panel=after.panel, spot=after.spot, quantity=quantity,
            set_name=name, set_size=size,
            value=one.rounded,
            spread=None if one.error is None else float(f"{one.error:.2g}"),
            not_measured_because=one.why_not, mineral=one.mineral,  # type: ignore[arg-type]
            method=f"height maps {pair.before.height_map} and {after.height_map} on bare surface, "
            "laid on one another",
            tested_on=after.measured_on, tested_by=who, file=after.attachment,
        )
        for one in kept
    )  # fmt: skip
    resized = (one.changed(set_size=size) for one in others if one.set_size != size)
    told = {one.mineral for one in kept}
    return (*made, *resized), tuple(one for name, one in same.items() if name not in told)


# -- Grains outlined in a photograph of the surface ------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class GrainsOnMap:
    """
    Grains of a photograph as they lie on a height map.

    `labels` has the number of a mineral for each pixel of the map, 0 where no grain was outlined;
    `minerals` their names. `error_um` is how far from a border a pixel may show both sides of it:
    twice `rms_um`, the error of a point as the points themselves show it, no less than a pixel of
    the photograph; and a pixel of the map, which mixes what lies on it. `rings_px` are the outlines
    in the map, by mineral.
    """

    labels: NDArray[np.intp] = field(repr=False)
    minerals: dict[int, str]
    error_um: float
    rms_um: float
    rings_px: dict[str, list[NDArray[np.float64]]] = field(repr=False)

    def __str__(self) -> str:
        count = sum(len(rings) for rings in self.rings_px.values())
        return (
            f"{count} grains outlined in the photograph, which lies on the map to {self.rms_um:.2g}"
            f" µm; pixels within {self.error_um:.2g} µm of a border are left out"
        )


def grains_on_map(
    tie_points: ArrayLike,
    grains: Sequence[tuple[str, ArrayLike]],
    shape: tuple[int, int],
    pixel_um: float | tuple[float, float],
) -> GrainsOnMap:
    """Lay grains, outlined in a photograph, on a map by points x, y [pixel] that both show."""
    pixel = np.array(as_pixel(pixel_um))
    tied = _tied(np.asarray(tie_points, dtype=float), pixel)
    assert tied.rms_mm is not None  # more than four points leave some to judge by
    numbers = {name: k for k, name in enumerate(dict.fromkeys(name for name, _ in grains), 1)}
    minerals = {number: name for name, number in numbers.items()}
    labels = np.zeros(shape, dtype=np.intp)
    rings: dict[str, list[NDArray[np.float64]]] = {}
    for name, corners in grains:
        ring = tied.to_drawing(corners) * _UM_PER_M / pixel
        within = _within(ring, shape)
        if others := set(labels[within].tolist()) - {0, numbers[name]}:
            raise ValueError(
                f"A grain of {name} lies over one of {minerals[min(others)]} in the photograph. "
                "Draw each grain within its own border."
            )
        labels[within] = numbers[name]
        rings.setdefault(name, []).append(ring)
    rms_um = 1000 * tied.rms_mm
    error_um = max(_AWAY * rms_um, 1000 * tied.pixel_mm) + float(pixel.max())
    return GrainsOnMap(labels, minerals, error_um, rms_um, rings)


def _tied(points: NDArray[np.float64], pixel_um: NDArray[np.float64]) -> Registration:
    """Homography from the photograph to the surface, counted from the map's corner."""
    if len(points) < FEWEST_POINTS:
        raise ValueError(
            f"{len(points)} points tie the photograph to the map, and {FEWEST_POINTS} or more are "
            "needed. Four always fit, so nothing would say how far the grains may lie off."
        )
    try:
        return register(points[:, :2], points[:, 2:] * pixel_um / _UM_PER_M)
    except ValueError as why:
        raise ValueError(f"The photograph can't be laid on the height map. {why}") from why


def _within(ring: NDArray[np.float64], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Pixels of the map within a grain; none if it is outside the map."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    if not np.isfinite(ring).all() or (high < 0).any() or (low > np.array(shape[::-1]) - 1).any():
        return np.zeros(shape, dtype=bool)
    return inside(ring, shape)


def inside(corners_px: ArrayLike, shape: tuple[int, int]) -> BoolArray:
    """Pixels whose middle is within corners (x, y); middles are at whole numbers."""
    corners = np.asarray(corners_px, dtype=float)
    if corners.ndim != 2 or corners.shape[1] != 2 or len(corners) < 3:
        raise ValueError(f"corners_px has shape {corners.shape}: give three corners x, y or more.")
    found = np.zeros(shape, dtype=bool)
    low = np.clip(np.floor(corners.min(axis=0)).astype(int), 0, shape[::-1])
    high = np.clip(np.ceil(corners.max(axis=0)).astype(int) + 1, 0, shape[::-1])
    x, y = np.meshgrid(np.arange(low[0], high[0]), np.arange(low[1], high[1]))
    if not x.size:
        raise ValueError(
            f"The corners lie outside the map of {shape[1]} × {shape[0]} pixels. Count x to the "
            "right and y down from the pixel at the top left, which is 0 0."
        )
    outline = Outline("corners", (corners,))
    found[low[1] : high[1], low[0] : high[0]] = outline.contains(
        np.stack([x.ravel(), y.ravel()], axis=1).astype(float)
    ).reshape(x.shape)
    return found

"""Height maps of the survey: what a file says of its surface, and what a pair of maps lost."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.surface.area_roughness import Roughness, roughness
from heritagecheck.evidence.surface.depth_loss import DepthRemoved, depth_removed
from heritagecheck.evidence.surface.height_map import (
    as_heights,
    check_scale,
    take_off_form,
    unseen_share,
)
from heritagecheck.evidence.surface.interval import digits_for
from heritagecheck.evidence.surface.outline import inside
from heritagecheck.evidence.surface.photographed_grains import GrainsOnMap, grains_on_map
from heritagecheck.evidence.surface.roughness_change import RoughnessChange, roughness_change
from heritagecheck.evidence.surface.stylus_profile import ProfileRoughness, profile_roughness
from heritagecheck.sentences import count_of
from heritagecheck.survey.entry.codes import next_codes, next_name
from heritagecheck.survey.instruments.height_files import HeightFile
from heritagecheck.survey.instruments.surface_file import read_surface
from heritagecheck.survey.records import Attachment, HeightMap, Panel, SiteTest, Spot
from heritagecheck.survey.survey import Survey


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
    """Refuse a map too small, mostly not seen, or in a unit that is off by a thousand."""
    line = file.rows == 1
    as_heights("It", file.heights_um[0] if line else file.heights_um, 1 if line else 2)
    unseen_share("heights", file.heights_um)
    across, down = file.columns * file.pixel_um[0], file.rows * file.pixel_um[1]
    check_scale("It", file.heights_um, across if line else max(across, down))


def roughness_of(file: HeightFile) -> Roughness | ProfileRoughness:
    """Roughness of a map or profile, tilt taken off."""
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
        why = str(error)  # the depth stands without it
    names = _file_of(survey, first), _file_of(survey, second)
    return MapPair(first, second, names, found, rougher, why, grains)


def _check_pair(before: HeightMap, after: HeightMap) -> None:
    """Refuse two maps that can't be laid on one another."""
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


# -- What is kept of it ----------------------------------------------------------------------------

DEPTH, ROUGHNESS = "depth_removed_um", "roughness_change_pct"


class _Kept(NamedTuple):
    """One number to be kept: of which mineral, with its standard error; or why there is none."""

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

"""Height maps of the survey: what a file says of its surface, and what a pair of maps lost."""

from __future__ import annotations

from dataclasses import dataclass

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.surface.area_roughness import Roughness, roughness
from heritagecheck.evidence.surface.depth_loss import DepthRemoved, depth_removed
from heritagecheck.evidence.surface.height_map import check_scale, take_off_form, unseen_share
from heritagecheck.evidence.surface.outline import inside
from heritagecheck.evidence.surface.stylus_profile import ProfileRoughness, profile_roughness
from heritagecheck.survey.entry.codes import next_code, next_name
from heritagecheck.survey.instruments.height_files import HeightFile
from heritagecheck.survey.instruments.surface_file import read_surface
from heritagecheck.survey.records import Attachment, HeightMap, Panel, SiteTest
from heritagecheck.survey.survey import Survey


@dataclass(frozen=True, slots=True, eq=False)
class MapPair:
    """
    A map before treatment, the one after it, and what the treated area lost between them.

    `files` names the files of both; `cautions` is what to look at before the loss is relied on.
    """

    before: HeightMap
    after: HeightMap
    files: tuple[str, str]
    depth: DepthRemoved
    roughness: tuple[Roughness, Roughness]

    @property
    def on_bare_surface(self) -> bool:
        """Whether somebody recorded that no soiling lay on it, before and after."""
        return self.before.bare == self.after.bare == "yes"

    def __str__(self) -> str:
        first, second = (one.Sa for one in self.roughness)
        names = f"{self.before.height_map} and {self.after.height_map}"
        return f"Maps {names}: {self.depth}. Sa {first:.3g} µm before, {second:.3g} µm after"


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
    """Refuse a map of which most was not seen, or whose unit is off by a thousand."""
    unseen_share("heights", file.heights_um)
    across, down = file.columns * file.pixel_um[0], file.rows * file.pixel_um[1]
    check_scale("It", file.heights_um, across if file.rows == 1 else max(across, down))


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
    found = depth_removed(
        earlier, later, pixel_um=files[0].pixel_um,
        treated=inside(first.treated_outline, earlier.shape),
    )  # fmt: skip
    rough = (roughness(earlier, files[0].pixel_um), roughness(later, files[1].pixel_um))
    names = _file_of(survey, first), _file_of(survey, second)
    return MapPair(first, second, names, found, rough)


def _check_pair(before: HeightMap, after: HeightMap) -> None:
    """Refuse two maps that can't be laid on one another."""
    if before.treated is None:
        raise _refused(before, "treated", "mark the treated area in the map before treatment")
    if 1 in (before.rows, after.rows):
        raise _refused(after, "before_map", "a profile is a line: depth lost needs two maps")
    if (before.zone, before.panel) != (after.zone, after.panel):
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

DEPTH = "depth_removed_um"


def depth_records(survey: Survey, pair: MapPair, who: str) -> tuple[Panel | SiteTest, ...]:
    """The loss as a test of its panel, which names the file; and what must change with it."""
    after = pair.after
    if after.panel is None:
        raise _refused(after, "panel", "name the panel: depth lost is judged panel by panel")
    if not pair.on_bare_surface:
        raise _refused(
            after, "bare",
            "say of both maps that the surface was free of soiling. Heights can't tell soiling "
            "from the surface itself",
        )  # fmt: skip
    known = [
        one for one in survey.of_zone(after.zone, SiteTest)
        if (one.panel, one.quantity) == (after.panel, DEPTH)
    ]  # fmt: skip
    others = [one for one in known if one.file != after.attachment]
    size = len(others) + 1
    same = next((one for one in known if one.file == after.attachment), None)
    stem = f"{after.panel}-{DEPTH}"
    made = SiteTest(
        site_test=same.site_test if same
        else next_code(survey, "site_tests", panel=after.panel, quantity=DEPTH),
        zone=after.zone, panel=after.panel, quantity=DEPTH, set_size=size,
        set_name=known[0].set_name if known else next_name(survey, "site_tests", "set_name", stem),
        value=float(f"{pair.depth.mean_um:.3g}"),
        spread=float(f"{pair.depth.standard_error_um:.2g}"),
        method=f"height maps {pair.before.height_map} and {after.height_map} on bare surface, "
        "laid on one another",
        tested_on=after.measured_on, tested_by=who, file=after.attachment,
    )  # fmt: skip
    panel = next(one for one in survey.of_zone(after.zone, Panel) if one.panel == after.panel)
    return (
        panel.also_measured("depth_removed"), made,
        *(one.changed(set_size=size) for one in others if one.set_size != size),
    )  # fmt: skip

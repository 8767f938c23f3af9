"""Steps of the notebook on damage below ×50: height maps, sections, and gate 7."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import chain
from typing import TYPE_CHECKING, Any

from heritagecheck import figures
from heritagecheck.errors import SurveyError, in_one_line
from heritagecheck.evidence import surface
from heritagecheck.evidence.section.stress_readings import StressAt, stresses_in
from heritagecheck.evidence.surface.zone_height_maps import heights_of, inside, measure_pair
from heritagecheck.evidence.trials.below_x50 import compared
from heritagecheck.figures.height_map import draw_edge, draw_profile
from heritagecheck.figures.section import draw_section, draw_tilts
from heritagecheck.judgement.gates.panel_damage import BELOW
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import Rows
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.sentences import ended, upper_first
from heritagecheck.survey.instruments import StressFile, read_stress_file
from heritagecheck.survey.records import Attachment, HeightMap, SectionReading, SiteTest
from heritagecheck.survey.records.readings import STRESSES
from heritagecheck.tables.cautions import WITH_CAUTIONS

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from heritagecheck.evidence.surface.zone_height_maps import MapPair
    from heritagecheck.evidence.trials.below_x50 import FoundBelow
    from heritagecheck.survey.instruments import HeightFile

NO_MAPS = (
    "No height map of this zone is recorded. Give the instrument's file on the screen of the trial "
    "panels, and confirm its unit and pixel size."
)
NO_PAIR = (
    "No map after treatment names the map before it, with the outline of the treated area. Measure "
    "the same place before and after, with untreated surface around it."
)
NO_SECTION = (
    "No section of this zone is recorded. A laboratory's readings go into section_readings, one "
    "row a reading, with those of an untreated control."
)

NO_STRESS = (
    "No residual stress of this zone is recorded. A laboratory's stresses go into "
    "section_readings, or its file is read with survey.stress_file."
)


class SurfaceWalk(Walk):
    """From the height maps and sections of a zone to the damage that ×50 does not show."""

    @step
    def maps(self, ask: Ask) -> Iterator[Any]:
        """Height maps of the zone, as somebody confirmed them."""
        if not self._maps():
            raise NotYetError(NO_MAPS)
        import pandas as pd

        columns = {"height_map": "Map", "panel": "Panel", "moment": "When", "pixel_x_um": "Pixel "
                   "[µm]", "columns": "Columns", "rows": "Rows", "unseen": "Share unseen",
                   "instrument": "Instrument"}  # fmt: skip
        if any(one.spot for one in self._maps()):
            columns["spot"] = "Spot"
        yield Rows(pd.DataFrame([dict(one) for one in self._maps()]), columns, "map", few=12)

    @step
    def relief(self, ask: Ask) -> Iterator[Any]:
        """One map under slanting light, with its roughness."""
        one = self._chosen(ask)
        file = self._read(one)
        if one.rows == 1:
            yield draw_profile(file.heights_um[0], one.pixel_x_um)
            line = surface.profile_roughness(file.heights_um[0], one.pixel_x_um)
            yield f"{one.height_map}, {one.moment}: {ended(str(line))}"
            if self.zone_record.metal:
                yield (
                    f"By the ISO 8503 comparators its Rz is {line.comparator('grit')} after grit, "
                    f"{line.comparator('shot')} after shot."
                )
            yield from (ended(one) for one in line.cautions)
            return
        outlines = {"treated": [one.treated_outline]} if one.treated else None
        yield figures.draw_relief(file.heights_um, file.pixel_um, outlines=outlines)
        rough = surface.roughness(file.heights_um, file.pixel_um)
        yield f"{one.height_map}, {one.moment}: {ended(str(rough))}"

    @step
    def texture(self, ask: Ask) -> Iterator[Any]:
        """Grooves or dimples that a method leaves on steel: pitch, width, depth."""
        if not self.zone_record.metal:
            raise NotYetError("Grooves are looked for on metal. Choose a zone of iron or steel.")
        one = self._chosen(ask)
        if one.rows == 1:
            raise NotYetError("A profile is one line. Grooves and dimples need a height map.")
        file = self._read(one)
        found = surface.texture(file.heights_um, file.pixel_um)
        yield ended(str(found))
        yield from (ended(one) for one in (*found.against, *found.cautions))

    @step
    def depth(self, ask: Ask) -> Iterator[Any]:
        """What a trial removed, from the maps before and after."""
        pair = self._measured()
        before, found = pair.before, pair.depth
        outlines: dict[str, Sequence[ArrayLike]] = {"treated": [before.treated_outline]}
        if pair.grains is not None:
            grains = pair.grains.rings_px
            outlines |= {name.replace("_", "-"): rings for name, rings in grains.items()}
            # Its name is then placed next to the grains, which are holes in it.
            outlines["treated"] = [before.treated_outline, *chain(*grains.values())]
        yield figures.draw_depth(found, (before.pixel_x_um, before.pixel_y_um), outlines=outlines)
        yield ended(str(found))
        if found.measurable:
            yield f"A mean loss of {found.detectable_um:.2g} µm would have been found."
        if pair.grains is not None:
            yield ended(str(pair.grains))
        yield from (ended(str(one)) for one in found.by_mineral)
        if not pair.on_bare_surface:
            yield (
                "It is not recorded for both maps that the surface was free of soiling. Heights "
                "can't tell soiling from the surface itself."
            )
        yield from (ended(one) for one in found.cautions)

    @step
    def rougher(self, ask: Ask) -> Iterator[Any]:
        """Whether the treated area became rougher or smoother, against the surface around it."""
        pair = self._measured()
        if pair.rougher is None:
            raise NotYetError(pair.no_roughness)
        yield ended(str(pair.rougher))
        yield from (ended(one) for one in pair.rougher.cautions)
        if self.zone_record.metal:
            yield (
                "Steel is roughened on purpose where a coating is to hold. Where the panel names "
                "the profile required, that is held instead."
            )

    @step
    def edge(self, ask: Ask) -> Iterator[Any]:
        """Mean profile across the border of the treated area, after treatment."""
        before, after = self._pair()
        file = self._read(after)
        found = surface.edge_profile(
            file.heights_um, file.pixel_um, inside(before.treated_outline, file.heights_um.shape)
        )
        yield draw_edge(found)
        yield ended(str(found))

    @step
    def section(self, ask: Ask) -> Iterator[Any]:
        """Profiles from the surface to the core, as the laboratory gave them."""
        import pandas as pd

        readings = self.survey.of_zone(self.zone_code, SectionReading)
        if not readings:
            raise NotYetError(NO_SECTION)
        columns = {"profile": "Profile", "moment": "When", "spot": "Spot", "quantity": "Quantity",
                   "depth_um": "Depth [µm]", "value": "Value"}  # fmt: skip
        for kind in dict.fromkeys((one.quantity, one.element) for one in readings):
            yield draw_section([one for one in readings if (one.quantity, one.element) == kind])
        table = pd.DataFrame([dict(one) for one in readings])
        yield Rows(table, columns, "reading", few=12, terms=("quantity",))
        yield self.in_example(
            "At 12 J/cm² the steel melted: the hardness of the spot is raised to 20 µm. Of the "
            "panel itself, at 2.9 J/cm², no change was found.", zone="T06",
        )  # fmt: skip

    @step
    def stress(self, ask: Ask) -> Iterator[Any]:
        """Stress of a laboratory's tilts, line by line; and what changed, against the control."""
        readings = [one for one in self.survey.of_zone(self.zone_code, SectionReading)
                    if one.quantity in STRESSES]  # fmt: skip
        if not readings:
            raise NotYetError(NO_STRESS)
        sheets = dict(self._sheets(readings))
        if sheets:
            name = ask.choice(
                "Sheet of the laboratory", {name: one.file for name, one in sheets.items()}
            )
            yield f"{sheets[name]}."
            found = stresses_in(sheets[name])
            for direction in dict.fromkeys(one.direction for one in found):
                alike = [one for one in found if one.direction == direction]
                yield draw_tilts(alike)
                for one in alike:
                    yield f"{one.depth_um:.3g} µm, {direction}: {_of_line(one)}"
        else:
            yield "The stresses were reported without their tilts, so no line is drawn."
        yield from self._changes(readings)

    @step
    def found(self, ask: Ask) -> Iterator[Any]:
        """Each measurement against its limit, with the records and files that it comes from."""
        import pandas as pd

        rows = [_row(one) for series in self.zone.evidence.series for one in series.below]
        spots = [_row(one) for series in self.zone.evidence.series for one in series.harsher]
        if not rows + spots:
            raise NotYetError(
                "No panel that counts here names a measurement below ×50. Unmeasured stays as it "
                "is: the fields at ×50 decide."
            )
        names = ["panel", "what", "found", "from"]
        columns = {"panel": "Panel or spot", "what": "What", "found": "Found", "from": "From"}
        if rows:
            yield Rows(pd.DataFrame(rows, columns=names), columns, "measurement", few=12)
        if spots:
            yield "Spots at a harsher dose do not count at the panels' setting:"
            yield Rows(pd.DataFrame(spots, columns=names), columns, "measurement", few=12)

    @step
    def gate(self, ask: Ask) -> Iterator[Any]:
        """What gate 7 makes of it; a good measurement never replaces the fields at ×50."""
        checks = [
            (verdict.series, check) for verdict in self.zone.trials.values()
            for check in verdict.checks if check.name == BELOW
        ]  # fmt: skip
        if not checks:
            raise NotYetError("Gate 7 requires no measurement below ×50 here.")
        answers = {True: "met", False: "not met", None: "not known"}
        for series, check in checks:
            yield f"Panels {series}, {answers[check.holds]}. {ended(upper_first(check.words))}"
        yield WITH_CAUTIONS

    def _sheets(self, readings: Sequence[SectionReading]) -> Iterator[tuple[str, StressFile]]:
        """Files of tilts from which the readings of stress were worked out."""
        names = {one.attachment: one.file for one in self.survey.all(Attachment)}
        for name in dict.fromkeys(names[one.file] for one in readings if one.file):
            path = self.survey.file(name)
            # A report in words or figures of its own is read by people only.
            with suppress(SurveyError):
                sheet = None if path is None else read_stress_file(path)
                if sheet is not None and sheet.kind == "tilts":
                    # Kept under its checksum; people know it by its own name.
                    yield name, replace(sheet, file=name.rpartition("/")[2])

    def _changes(self, readings: Sequence[SectionReading]) -> Iterator[str]:
        """What changed from before to after, profile by profile."""
        limits = [one.value for one in self.survey.of_zone(self.zone_code, SiteTest)
                  if one.quantity == "stress_limit_mpa" and one.value is not None]  # fmt: skip
        for quantity in dict.fromkeys(one.quantity for one in readings):
            profiles: dict[str, list[SectionReading]] = {}
            for one in readings:
                if one.quantity == quantity:
                    profiles.setdefault(one.profile, []).append(one)
            before, after, control = (
                [one for one in profiles.values() if one[0].moment == moment]
                for moment in ("before", "after", "control")
            )
            if len(before) != 1 or len(control) != 2:
                yield "It takes one profile before, and the control measured on both days."
                continue
            for profile in after:
                try:
                    change = compared(before[0], profile, control, min(limits, default=None))
                    yield f"{profile[0].profile}: {change}"
                except ValueError as why:
                    yield ended(f"{profile[0].profile}: {why}")

    def _maps(self) -> tuple[HeightMap, ...]:
        """Height maps of the zone."""
        return self.survey.of_zone(self.zone_code, HeightMap)

    def _chosen(self, ask: Ask) -> HeightMap:
        """The map that was chosen in a step."""
        known = {one.height_map: one for one in self._maps()}
        if not known:
            raise NotYetError(NO_MAPS)
        names = {code: f"{code}, {one.moment}" for code, one in known.items()}
        return known[ask.choice("Height map", names)]

    def _pair(self) -> tuple[HeightMap, HeightMap]:
        """A map before treatment with its treated area, and the one after."""
        known = {one.height_map: one for one in self._maps()}
        for after in known.values():
            before = known.get(after.before_map or "")
            if before is not None and before.treated is not None:
                return before, after
        raise NotYetError(NO_PAIR if known else NO_MAPS)

    def _measured(self) -> MapPair:
        """What the pair of maps shows."""
        after = self._pair()[1]
        try:
            return measure_pair(self.survey, after.height_map)
        except (ImportError, ValueError) as why:
            raise NotYetError(in_one_line(why)) from why

    def _read(self, one: HeightMap) -> HeightFile:
        """Heights of a map, from the file stored with the survey."""
        try:
            return heights_of(self.survey, one)
        except (ImportError, SurveyError) as why:
            raise NotYetError(in_one_line(why)) from why


def _row(one: FoundBelow) -> tuple[str, str, str, str]:
    """One measurement as a row: where, what, what came out, and from which records."""
    found = ended(upper_first(one.result))
    return one.where.removeprefix("panel "), one.name, found, one.source


def _of_line(one: StressAt) -> str:
    """Stress of a line in words, with its interval and cautions."""
    return f"{one.stress_mpa:+.0f} MPa" if one.tilts is None else str(one.tilts.found)

"""Steps of the notebook on colour: readings, differences, photographs, and what they can't say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, get_args

from heritagecheck.cards import table
from heritagecheck.errors import SurveyError
from heritagecheck.evidence.colour.colour_difference import Formula, delta_e
from heritagecheck.evidence.colour.comparison import ColourDifference, directions
from heritagecheck.evidence.colour.reading_sets import FEWEST_ROBUST, Outlying, outlying
from heritagecheck.evidence.photograph.zone_photograph import PhotographedZone, measure
from heritagecheck.evidence.zone_evidence import ZoneEvidence, gather
from heritagecheck.figures.colours import draw_readings, draw_swatches, draw_zone_colour
from heritagecheck.figures.photograph import draw_if_cleaned, draw_photographed
from heritagecheck.progress import Told
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import Rows
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.sentences import count_of, ended, upper_first
from heritagecheck.survey.records import Attachment, Photo, Reading, Structure
from heritagecheck.survey.survey import Survey

STONES = {"soiled": "soiled", "reference": "clean", "panel": "trial panel"}
READINGS = {
    "reading": "Reading",
    "stone": "Stone",
    "state": "Wet or dry",
    "L_star": "L*",
    "a_star": "a*",
    "b_star": "b*",
}
PHOTOS = {
    "photo": "Photograph",
    "state": "Wet or dry",
    "taken_on": "Taken on",
    "kept": "Its readings",
}
SOILINGS = {"soiling": "Soiling", "verdict": "Verdict", "why": "Why", "where": "Where it is usual"}
READ = (
    "Read ten or more of soiled and ten or more of clean stone, dry, with one set-up of the meter."
)
ON_METAL = "On metal the colour does not decide: 05_zone_by_zone shows what does."
FIRST, SECOND = (50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485)
CHANNELS = (("L*", 0.0, 100.0), ("a*", -128.0, 128.0), ("b*", -128.0, 128.0))


class ColourWalk(Walk):
    """From the readings of a zone to how it might look once it is cleaned as agreed."""

    def __init__(self) -> None:
        self._gathered: tuple[Survey, ZoneEvidence] | None = None
        self._photographed: tuple[Survey, PhotographedZone] | None = None
        super().__init__()

    @step
    def readings(self, ask: Ask) -> Iterator[Any]:
        """Every reading of the zone as it was taken."""
        zone = self.zone_record
        found = self.survey.of_zone(zone.zone, Reading)
        if not found:
            raise NotYetError(
                f"Zone {zone.zone} has no colour reading yet. {ON_METAL if zone.metal else READ}"
            )
        yield f"Zone {zone.zone}, {zone.name}."
        yield self.in_example(
            "Read all steps for this black soffit first. Then choose N04, E04, E05 and E12 in the "
            "list above, and read again what changes.",
            zone="N06",
        )
        frame = self.survey.readings
        frame = frame[frame["zone"] == zone.zone]
        yield Rows(frame.assign(stone=frame["target"].map(STONES)), READINGS, "reading", few=6)

    @step
    def compare(self, ask: Ask) -> Iterator[Any]:
        """How far soiled and clean stone differ, and how sure that is."""
        found = self._difference()
        yield str(found)
        if note := self._evidence().colour_note:
            yield _sentence(note)
        yield from found.cautions
        yield self.in_example(
            "Here the soffit is far below clean granite in L*. It is darker, not redder or "
            "yellower.",
            zone="N06",
        )
        yield self.in_example(
            "Here the difference is measured, for its interval does not reach zero. Yet its mean "
            "lies within what clean stone itself shows.",
            zone="N04",
        )
        yield self.in_example(
            "Here fourteen of eighteen readings below the leaking gutter were wet. A photograph "
            "of a dry day is used instead, and the result says so.",
            zone="E04",
        )
        yield draw_swatches(self._evidence())

    @step
    def spread(self, ask: Ask) -> Iterator[Any]:
        """Readings of soiled stone next to all readings of clean stone."""
        self._difference()
        yield draw_zone_colour(self._evidence().zone_colour)

    @step
    def reason(self, ask: Ask) -> Iterator[Any]:
        """What the colour decides: the answer for the zone, with its cautions."""
        yield self.in_example(
            "Here the stone is browned and outside the natural spread. It is left all the same.",
            zone="E12",
        )
        yield self.zone

    @step
    def enough(self, ask: Ask) -> Iterator[Any]:
        """How many readings were taken of soiled stone, and how many are needed."""
        found = self._difference()
        yield f"{found.n_soiled} taken, {found.readings_needed} needed."
        if (more := found.readings_needed - found.n_soiled) > 0:
            words = count_of(more, "more dry reading")
            yield f"For one unit, take {words} with the same set-up."

    @step
    def apart(self, ask: Ask) -> Iterator[Any]:
        """Readings far from the others of their set; none is left out."""
        colour = self._difference()
        sides = {"soiled": colour.lab_soiled, "reference": colour.lab_reference}
        few = [STONES[name] for name, lab in sides.items() if len(lab) < FEWEST_ROBUST]
        if few:
            raise NotYetError(
                f"Fewer than {FEWEST_ROBUST} readings of {' and '.join(few)} stone are too few to "
                "say which lies apart. Look at each spot instead."
            )

        def look(_: Told) -> tuple[Outlying, Outlying]:
            return outlying(colour.lab_soiled), outlying(colour.lab_reference)

        about = self.survey, self.zone_code
        found = ask.work("Look for readings that lie apart", about, look, "Comparing the readings")
        if found is None:
            yield "Not looked for yet."
            return
        for (target, lab), side in zip(sides.items(), found, strict=True):
            codes = self._codes(target, [tuple(lab[row]) for row in side.rows])
            number = count_of(len(lab), f"{STONES[target]} reading")
            yield f"{number}: {', '.join(codes) or 'none'} far from the others."
        masks = [_marked(one) for one in found]
        yield draw_readings(colour.lab_soiled, colour.lab_reference, outlying=(masks[0], masks[1]))

    @step
    def soilings(self, ask: Ask) -> Iterator[Any]:
        """Soilings that such a change of colour would fit."""
        yield Rows(directions(self._difference()), SOILINGS, "soiling", few=5)

    @step
    def photographs(self, ask: Ask) -> Iterator[Any]:
        """Photographs of the zone; one is measured at a press."""
        zone = self.zone_record
        photos = self.survey.of_zone(zone.zone, Photo)
        measured = {one.photo for one in self.survey.of_zone(zone.zone, Reading)}
        if photos:
            kept = [
                (one.photo, one.state, one.taken_on,
                 "kept" if one.photo in measured else "none kept yet", one.chart_error)
                for one in photos
            ]  # fmt: skip
            columns = ("photo", "state", "taken_on", "kept", "chart_error")
            yield Rows(table(kept, columns), PHOTOS, "photograph")
        yield from self._not_pointed(photos)
        if not photos:
            yield self.in_example("In the example N04, E04 and E05 have one that measures.")
            raise NotYetError(
                f"No photograph measures zone {zone.zone} yet. One needs a colour chart, four "
                "points that tie it to the drawing, and clean stone of the same kind. "
                "Give it on the page of the zone, under Colour."
            )
        photo = _one_of(ask, photos)
        found = ask.work(
            f"Measure photograph {photo}", (self.survey, photo),
            lambda _: self._measured(photo), f"Measuring photograph {photo}",
        )  # fmt: skip
        if found is None:
            yield "Not measured yet in this notebook."
        elif isinstance(found, str):
            yield f"This photograph can’t be measured. {found}"
        else:
            yield str(found.colour or _sentence(found.colour_note))
            yield from (ended(str(one)) for one in (found.cover, found.dark_minerals) if one)
            yield draw_photographed(found)
            yield from map(ended, (str(found.calibration), *found.cautions))

    @step
    def both(self, ask: Ask) -> Iterator[Any]:
        """What the meter and the photograph say of the same zone, and which is used."""
        found = self._evidence().zone_colour
        yield f"Meter: {found.by_meter or _sentence(found.meter_note)}"
        yield f"Photograph: {found.by_photograph or _sentence(found.photograph_note)}"
        if found.used is None:
            raise NotYetError(
                "Neither is used yet: no colour is compared. The first step and the one that "
                "measures a photograph say what is needed."
            )
        yield f"The judgement uses the {'photograph' if found.stands_in else 'meter'}."
        if found.by_photograph is not None:
            yield draw_zone_colour(found)

    @step
    def preview(self, ask: Ask) -> Iterator[Any]:
        """The zone as it might look once it is cleaned as agreed, and years later."""
        photos = self.survey.of_zone(self.zone_record.zone, Photo)
        if not photos:
            yield self.in_example("In the example E05 shows it best.")
            raise NotYetError(
                "It needs a photograph that measures this zone. There is none yet. The step that "
                "measures a photograph says what one needs."
            )
        photo = _one_of(ask, photos)
        aim = ask.slider("How far towards clean stone", 0.8, 0, 1, 0.05)
        years = ask.number("Years after cleaning", 10, 0.5, 200)
        half = ask.number("Years until half of the contrast is back", 12, 0.5, 500)
        yield self.in_example("Twelve years are assumed here, for want of a dated record.")

        def work(_: Told) -> Any:
            found = self._measured(photo)
            if isinstance(found, str):
                return found
            try:
                return draw_if_cleaned(found, cleanliness=aim, years=years, half_time_years=half)
            except ValueError as error:
                return str(error)

        about = self.survey, photo, aim, years, half
        yield (
            ask.work("Show the agreed appearance", about, work, "Simulating the appearance")
            or "Not shown yet for these assumptions."
        )

    @step
    def two_colours(self, ask: Ask) -> Iterator[Any]:
        """The difference of two colours that are typed."""
        labs = [
            [ask.number(f"{channel} of the {which}", value, low, high)
             for (channel, low, high), value in zip(CHANNELS, lab, strict=True)]
            for which, lab in (("first", FIRST), ("second", SECOND))
        ]  # fmt: skip
        formulas: tuple[Formula, ...] = get_args(Formula)
        chosen = ask.choice("Formula", {one: one for one in formulas})
        formula = next(one for one in formulas if one == chosen)
        yield f"{formula}: {delta_e(labs[0], labs[1], formula):.4f}"

    def _evidence(self) -> ZoneEvidence:
        """Evidence of the zone, gathered once, before anything is judged."""
        zone = self.zone_record
        if not self.survey.all(Structure):
            raise NotYetError(
                "The structure has no name yet. Give it one on the start page of the survey."
            )
        known = self._gathered
        if known is None or known[0] is not self.survey or known[1].zone.zone != zone.zone:
            self._gathered = known = self.survey, gather(self.survey, zone)
        return known[1]

    def _difference(self) -> ColourDifference:
        """The colour difference of the zone, or why there is none and what to do."""
        found = self._evidence()
        if found.colour is None:
            raise NotYetError(
                f"Not compared yet. {_sentence(found.colour_note)} "
                f"{ON_METAL if found.metal else READ}"
            )
        return found.colour

    def _codes(self, target: str, labs: Sequence[tuple[float, ...]]) -> list[str]:
        """Codes of the readings of a side that have given colours."""
        return [
            one.reading
            for one in self.survey.of_zone(self.zone_code, Reading)
            if one.target == target and (one.L_star, one.a_star, one.b_star) in labs
        ]

    def _not_pointed(self, photos: Sequence[Photo]) -> Iterator[str]:
        """Photographs of the zone that can't measure it yet."""
        used = {one.attachment for one in photos} | {one.board for one in photos}
        for one in self.survey.all(Attachment):
            if (one.kind, one.zone) == ("photograph", self.zone_code) and (
                one.attachment not in used
            ):
                yield (
                    f"{one.file} does not measure yet. Give it its points on the page of the zone, "
                    "under Colour."
                )

    def _measured(self, photo: str) -> PhotographedZone | str:
        """What a photograph says of the zone, or why it can't; the last one is remembered."""
        survey, known = self.survey, self._photographed
        if known is not None and known[0] is survey and known[1].photo.photo == photo:
            return known[1]
        try:
            found = measure(survey.still(), photo)
        except SurveyError as error:
            return " ".join(map(ended, error.sentences))
        except ValueError as error:
            return ended(str(error))
        self._photographed = survey, found
        return found


def _one_of(ask: Ask, photos: Sequence[Photo]) -> str:
    """The photograph that was chosen; there is nothing to choose where there is one."""
    codes = [one.photo for one in photos]
    return codes[0] if len(codes) == 1 else ask.choice("Photograph", {one: one for one in codes})


def _sentence(note: str) -> str:
    """A note of the evidence as a sentence."""
    return ended(upper_first(note))


def _marked(found: Outlying) -> Any:
    """Which readings lie apart, as a figure takes them."""
    return found.distance > found.critical

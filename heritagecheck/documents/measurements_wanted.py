"""What instrument and laboratory still have to measure below ×50, panel by panel."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from heritagecheck.evidence.trials.below_x50 import found_below
from heritagecheck.survey.records import HeightMap, Panel, SectionReading, SiteTest, Spot, Zone
from heritagecheck.survey.records.readings import STRESSES
from heritagecheck.survey.survey import Survey

MAPS = frozenset({"depth_removed", "roughness_change"})
OF_MAPS = {
    "before": "height map before treatment", "after": "height map of the same place after it",
}  # fmt: skip
OF_SECTIONS = {"after": "profile after treatment", "control": "profile of an untreated control"}
OF_STRESS = {
    "before": "profile before treatment", "after": "profile after it",
    "control": "profile of an untreated control, measured on both days",
}  # fmt: skip
DAYS_OF_CONTROL = 2


class Wanted(NamedTuple):
    """A measurement that a panel names and lacks: of maps or of sections, and what is lacking."""

    panel: str
    name: str
    of_maps: bool
    lacking: str


def measurements_wanted(survey: Survey, zone: Zone) -> tuple[Wanted, ...]:
    """What the panels of a zone name below ×50, as far as gate 7 does not know it yet."""
    panels = survey.of_zone(zone.zone, Panel)
    sections = survey.of_zone(zone.zone, SectionReading)
    found = found_below(
        zone, panels, survey.of_zone(zone.zone, SiteTest), survey.of_zone(zone.zone, Spot), sections
    )
    maps = survey.of_zone(zone.zone, HeightMap)
    lacking = dict.fromkeys((one.panel, one.row.measure, one.row.name)
                            for one in found if one.holds is None)  # fmt: skip
    return tuple(
        Wanted(panel, name, measure in MAPS, "; ".join(_lacking(panel, measure, maps, sections)))
        for panel, measure, name in lacking
    )


def _lacking(
    panel: str, measure: str, maps: tuple[HeightMap, ...], sections: tuple[SectionReading, ...]
) -> Iterator[str]:
    """What is not recorded of a measurement; all of it once more where nothing is missing."""
    known: set[str]
    if measure in MAPS:
        every, known = (
            OF_MAPS,
            {one.moment for one in maps if (one.panel, one.spot) == (panel, None)},
        )
    else:
        stress = measure == "stress_change"
        every = OF_STRESS if stress else OF_SECTIONS
        alike = [
            one for one in sections
            if (one.quantity in STRESSES) == stress
            and one.panel in {panel, None} and one.spot is None
        ]  # fmt: skip
        known = {one.moment for one in alike}
        days = {one.measured_on for one in alike if one.moment == "control"}
        if stress and len(days) < DAYS_OF_CONTROL:
            known.discard("control")
    wanted = [words for moment, words in every.items() if moment not in known]
    yield from wanted or every.values()

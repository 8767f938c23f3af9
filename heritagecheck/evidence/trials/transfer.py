"""Which zones the trial panels on one zone speak for, and why not for another."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from weakref import WeakKeyDictionary

from heritagecheck.evidence.trials.damaged_fields import DamageLimits
from heritagecheck.evidence.trials.panels import PanelSeries, panel_series
from heritagecheck.survey.records import Panel, Setting, SiteTest, Spot, Zone
from heritagecheck.survey.records.beds import (
    may_be_one_bed,
    near_names,
    plain_bed,
    same_bed,
    stone_of,
)
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import keyed

# Panels of one zone speak of many, and are read once. Records of a survey at rest never change.
_READ: WeakKeyDictionary[Survey, dict[tuple[str, DamageLimits], tuple[PanelSeries, ...]]] = (
    WeakKeyDictionary()
)
_AREAS: WeakKeyDictionary[Survey, dict[str, float]] = WeakKeyDictionary()

CONDITIONS = ("sound", "slightly_weathered", "corroding", "cracked", "friable", "scaling")
GRADES = ("low", "medium", "high")


def transfers(tested: Zone, zone: Zone) -> bool:
    """Whether panels on one zone speak for another."""
    # Only where the record says: same bed (or coating system), same substrate, exposure, finish
    # and soilings, and the zone is no weaker, no higher in significance and no richer in dark mica
    # than the one tested.
    return not what_hinders(tested, zone)


def what_hinders(tested: Zone, zone: Zone) -> str:
    """First reason why panels on one zone don't speak for another, in words; empty if they do."""
    return next((why for why, hinders in _hindrances(tested, zone) if hinders), "")


def _hindrances(tested: Zone, zone: Zone) -> Iterator[tuple[str, bool]]:
    """All that may hinder, in words, the plainest first; and whether it does."""
    yield "another substrate", tested.substrate != zone.substrate
    tried = set(zone.soiling_codes) <= set(tested.soiling_codes)
    yield "soiled by something that was not tried", not tried
    beds = tested.bed_or_system, zone.bed_or_system
    yield "bed or coating system not recorded", not all(plain_bed(bed) for bed in beds)
    yield (
        f"bed or coating system perhaps misspelt: {' or '.join(map(str, beds))}",
        near_names(*beds),
    )
    yield "another bed or coating system", not same_bed(*beds)
    yield "another exposure", tested.exposure != zone.exposure
    yield "another finish", tested.finish != zone.finish
    yield "condition not assessed", "not_assessed" in (tested.condition, zone.condition)
    weaker = CONDITIONS.index(zone.condition) > CONDITIONS.index(tested.condition)
    yield "in weaker condition", weaker
    higher = GRADES.index(zone.significance) > GRADES.index(tested.significance)
    yield "of higher significance", higher
    yield "richer in the weakest component, or not counted", _richer(tested, zone)


def _richer(tested: Zone, zone: Zone) -> bool:
    """Whether the zone may hold more dark mica than the one tested; what is not counted may."""
    return (
        bool(keyed("substrates", "substrate")[zone.substrate]["weakest_components"])
        and (100.0 if zone.biotite_pct is None else zone.biotite_pct)
        > (0.0 if tested.biotite_pct is None else tested.biotite_pct)
    )  # fmt: skip


def zones_that_speak(survey: Survey, zone: Zone) -> tuple[list[Zone], list[Zone]]:
    """
    Zones whose panels speak for one, itself among them, and zones whose panels only warn of it.

    Those that warn have panels on the same stone, weathered or polished, of its bed or maybe of it.
    They can't speak for it, but harm there is harm to be expected here.
    """
    bed = plain_bed(zone.bed_or_system)
    # Panels of another bed say nothing here, which spares most zones of a large survey a look.
    alike = survey.by_bed[bed] if bed else (zone,)
    telling = [one for one in alike if one.zone == zone.zone or transfers(one, zone)]
    told = {one.zone for one in telling}
    warning = [
        one
        for zones in survey.tested.get(stone_of(zone.substrate), {}).values()
        if may_be_one_bed(zones[0].bed_or_system, zone.bed_or_system)
        for one in zones
        if one.zone not in told
    ]
    return telling, warning


def series_of(survey: Survey, zone: Zone, limits: DamageLimits) -> tuple[PanelSeries, ...]:
    """Series of panels on one zone."""
    read = _READ.setdefault(survey, {})
    if (zone.zone, limits) not in read:
        read[zone.zone, limits] = panel_series(
            survey.of_zone(zone.zone, Panel),
            survey.of_zone(zone.zone, SiteTest),
            survey.of_zone(zone.zone, Spot),
            survey.of_zone(zone.zone, Setting),
            limits=limits,
        )
    return read[zone.zone, limits]


def area_spoken_for(survey: Survey, tested: Zone) -> float:
    """Area of all zones for which the panels on one speak, itself among them, in m²."""
    if tested.zone not in (known := _AREAS.setdefault(survey, {})):
        alike = survey.by_bed.get(plain_bed(tested.bed_or_system), (tested,))
        known[tested.zone] = math.fsum(
            one.area_m2 for one in alike if one.zone == tested.zone or transfers(tested, one)
        )
    return known[tested.zone]


def series_of_all(
    survey: Survey, zones: Iterable[Zone], limits: DamageLimits
) -> tuple[PanelSeries, ...]:
    """Series of panels on some zones."""
    return tuple(one for zone in zones for one in series_of(survey, zone, limits))


def unaccounted(survey: Survey, zone: Zone, speaking: Iterable[Zone]) -> Iterable[str]:
    """Zones whose panels count here and of which not as many are recorded as were laid."""
    for one in speaking:
        recorded = len(survey.of_zone(one.zone, Panel))
        if one.panels_laid is None and (recorded or one.zone == zone.zone):
            yield f"{one.zone}: not recorded how many panels were laid"
        elif one.panels_laid is not None and one.panels_laid != recorded:
            yield f"{one.zone}: {one.panels_laid} panels laid, {recorded} recorded"

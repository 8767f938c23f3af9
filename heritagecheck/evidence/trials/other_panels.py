"""What trial panels of other zones and methods mean here: which count for a zone, or against it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import NamedTuple
from weakref import WeakKeyDictionary

from heritagecheck.evidence.trials.below_x50 import found_below
from heritagecheck.evidence.trials.damaged_fields import DamageLimits
from heritagecheck.evidence.trials.panels import PanelSeries, panel_series
from heritagecheck.evidence.trials.spots import SpotTrial
from heritagecheck.survey.records import (
    Attachment,
    Panel,
    SectionReading,
    Setting,
    SiteTest,
    Spot,
    Zone,
)
from heritagecheck.survey.records.quantities import ANY_WORDS, in_unit, terms_of, units_of
from heritagecheck.survey.records.structure import (
    may_be_one_bed,
    near_names,
    plain_bed,
    same_bed,
    stone_of,
)
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.methods import no_harsher, sisters
from heritagecheck.tables.row_types import Method, Substrate

# -- For which zones panels count -----------------------------------------------------------------

# Panels of one zone count for many, and are read once: the records of an assessment do not change.
_READ: WeakKeyDictionary[Survey, dict[tuple[str, DamageLimits], tuple[PanelSeries, ...]]] = (
    WeakKeyDictionary()
)
_AREAS: WeakKeyDictionary[Survey, dict[str, float]] = WeakKeyDictionary()
_FILES: WeakKeyDictionary[Survey, dict[str, str]] = WeakKeyDictionary()

CONDITIONS = ("sound", "slightly_weathered", "corroding", "cracked", "friable", "scaling")
GRADES = ("low", "medium", "high")


def transfers(tested: Zone, zone: Zone) -> bool:
    """Whether panels on one zone count for another."""
    # Only where the record says: same bed (or coating system), same substrate, exposure, finish
    # and soilings, and the zone is no weaker, no higher in significance and no richer in dark mica
    # than the one tested.
    return not what_hinders(tested, zone)


def what_hinders(tested: Zone, zone: Zone) -> str:
    """First reason why panels on one zone do not count for another, in words; empty if they do."""
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
        bool(Substrate.named(zone.substrate).weakest_components)
        and (100.0 if zone.biotite_pct is None else zone.biotite_pct)
        > (0.0 if tested.biotite_pct is None else tested.biotite_pct)
    )  # fmt: skip


def zones_that_speak(survey: Survey, zone: Zone) -> tuple[list[Zone], list[Zone]]:
    """
    Zones whose panels count for one, including itself, and zones whose panels only warn of harm.

    Those that warn have panels on the same stone, weathered or polished, of its bed or maybe of it.
    The latter show nothing good for it, but harm there is to be expected here.
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
        panels, tests = survey.of_zone(zone.zone, Panel), survey.of_zone(zone.zone, SiteTest)
        spots = survey.of_zone(zone.zone, Spot)
        measured = zone, panels, tests, spots, survey.of_zone(zone.zone, SectionReading)
        read[zone.zone, limits] = panel_series(
            panels, tests, spots, survey.of_zone(zone.zone, Setting), limits=limits,
            below=found_below(*measured, names=_file_names(survey)),
            harsher=found_below(*measured, names=_file_names(survey), harsher=True),
        )  # fmt: skip
    return read[zone.zone, limits]


def _file_names(survey: Survey) -> Mapping[str, str]:
    """Names of the files of a survey, by the code of their attachment."""
    if survey not in _FILES:
        _FILES[survey] = {one.attachment: one.file for one in survey.all(Attachment)}
    return _FILES[survey]


def area_spoken_for(survey: Survey, tested: Zone) -> float:
    """Area of all zones for which the panels on one count, including itself, in m²."""
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
    """Zones whose panels count here, but with fewer on record than were laid."""
    for one in speaking:
        recorded = len(survey.of_zone(one.zone, Panel))
        if one.panels_laid is None and (recorded or one.zone == zone.zone):
            yield f"{one.zone}: not recorded how many panels were laid"
        elif one.panels_laid is not None and one.panels_laid != recorded:
            yield f"{one.zone}: {one.panels_laid} panels laid, {recorded} recorded"


# -- What other panels show against a setting ------------------------------------------------------


class Against(NamedTuple):
    """Another series that shows harm at a setting, or may: `shows` says which."""

    series: PanelSeries
    shows: bool
    words: str


def seen_against(
    series: PanelSeries,
    others: Iterable[PanelSeries],
    substrate: str,
    *,
    up_to: float | None = None,
) -> Iterator[Against]:
    """Harm that other series show, or may, at the setting of one or at a gentler one."""
    # Counted are panels by the same method; by a method of the same family that is rated no
    # harsher on this substrate; and by any method for which the same was dialled, as the same
    # thing may have been written down under another name. Settings are compared by the numbers of
    # the quantity varied where both state it (up to `up_to`, in the unit of the series, or the
    # harshest its panels state), and by all that was dialled where that is the same. Harm at a
    # setting that can be compared in neither way is reported too, as not known: good panels do
    # not outvote it. So are panels that nobody read, or that are not all on record, unless their
    # setting was harsher.
    harshest = up_to
    if harshest is None and series.cleaning is not None and not series.unit_doubt:
        harshest = series.cleaning[1]
    for other in others:
        if other.series == series.series:
            continue
        alike = dialled_alike(series, other)
        if alike or _speaks(series, other, substrate):
            found = _held_against(series, other, harshest, alike=alike)
            if found is not None:
                yield found


def _speaks(series: PanelSeries, other: PanelSeries, substrate: str) -> bool:
    """Whether harm by the method of another series is to be expected of that of this one."""
    return other.method == series.method or (
        sisters(other.method, series.method)
        and no_harsher(other.method, series.method, substrate, series.soiling)
    )


def _held_against(
    series: PanelSeries, other: PanelSeries, harshest: float | None, *, alike: bool
) -> Against | None:
    """What one other series says of settings up to the harshest; None where it says nothing."""
    name = _named(series, other)
    if alike and _harmed(other):
        return Against(other, True, f"{name} at the same setting show {_harmed(other)}")
    first = first_harm(other)
    asked = None
    if harshest is not None and other.scale.same_quantity(series.scale):
        asked = series.scale.moved(harshest, other.scale)
    if asked is not None and first <= asked:
        return Against(other, True, f"{name} show damage from {first:.2g} {other.scale} upwards")
    hidden = _harmed(other) and (asked is None or other.cleaning is None)
    if hidden or (math.isfinite(first) and asked is None):
        return Against(
            other, False, f"{name} were harmed at a setting that cannot be compared with this one"
        )
    if other.spots is not None and other.spots.window is None:
        return Against(other, False, f"{name} have spots that can't be read together")
    harsher = asked is not None and other.cleaning is not None and other.cleaning[0] > asked
    if not harsher and not (other.complete and other.read):
        return Against(other, False, f"{name} were not all read, or are not all on record")
    return None


def first_harm(series: PanelSeries) -> float:
    """Gentlest setting at which a series shows harm, in its unit; infinite where none."""
    seen = []
    if series.damage is not None and series.damage[1] is not None:
        seen.append(series.damage[0])
    if series.cleaning is not None and _harmed(series):
        seen.append(series.cleaning[0])
    spots = series.spots
    if spots is not None and spots.answers is not None and spots.scale.same_quantity(series.scale):
        seen.append(spots.scale.moved(_harm_on(spots, series.limits.seen), series.scale))
    return min(seen, default=math.inf)


# Each series is compared with the others on its stone, zone by zone.
@lru_cache(maxsize=256)
def _harm_on(spots: SpotTrial, seen: float) -> float:
    """Gentlest dose at which spots show more damage than may be seen."""
    return spots.first_harm(seen)


def _harmed(series: PanelSeries) -> str:
    """What harm the main fields of the panels show, in a word; empty where none."""
    if series.harmed:
        return "damage"
    return "" if series.late_effects in {None, "none"} else "a late effect"


def _named(series: PanelSeries, other: PanelSeries) -> str:
    """Panels of another series with their zone, and their method where it is another."""
    name = f"panels of {other.series} on {other.zone}"
    if other.method == series.method:
        return name
    return f"{name} ({Method.named(other.method).name})"


def dialled_alike(one: PanelSeries, other: PanelSeries) -> bool:
    """Whether two series have the same setting, in everything recorded of it."""
    dialled = [
        {
            setting.quantity: _value(setting)
            for setting in series.settings
            if ANY_WORDS not in terms_of(setting.quantity)
        }
        for series in (one, other)
    ]
    varied = [_varied(series) for series in (one, other)]
    return bool(dialled[0]) and dialled[0] == dialled[1] and varied[0] == varied[1]


def _varied(series: PanelSeries) -> tuple[object, ...] | None:
    """What the panels were varied in, and between which values; None where they don't say."""
    if series.cleaning is None:
        return None
    scale = series.scale
    if scale.quantity is None or scale.unit is None:
        return scale, series.cleaning
    unit = units_of(scale.quantity)[0]
    return scale.quantity, *(in_unit(end, scale.unit, unit) for end in series.cleaning)


def _value(setting: Setting) -> tuple[float, ...] | str:
    """What was dialled, in the first unit of its quantity; words where it has none."""
    if setting.value is None or setting.unit is None:
        return setting.words or ""
    unit = units_of(setting.quantity)[0]
    ends = (setting.value, setting.highest or setting.value)
    return tuple(in_unit(end, setting.unit, unit) for end in ends)

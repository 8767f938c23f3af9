"""What other panels by the same method, or by its like, show against the setting of a series."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import NamedTuple

from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.trials.spots import SpotTrial
from heritagecheck.survey.records import Setting
from heritagecheck.survey.records.quantities import ANY_WORDS, in_unit, terms_of, units_of
from heritagecheck.tables import keyed
from heritagecheck.tables.ratings import no_harsher, sisters


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


# Each series is held against the others of its stone, zone by zone.
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
    return f"{name} ({keyed('methods', 'method')[other.method]['name']})"


def dialled_alike(one: PanelSeries, other: PanelSeries) -> bool:
    """Whether two series were laid at the same setting, by all that was dialled for them."""
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

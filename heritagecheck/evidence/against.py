"""What other panels by the same method, or by its like, show against the setting of a series."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from heritagecheck.evidence.panel_series import PanelSeries
from heritagecheck.survey.laid_spots import same_unit
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
    """
    Harm that other series show at the setting of one, or at a gentler one.

    Parameters
    ----------
    series : PanelSeries
        Series whose setting is asked about.
    others : iterable of PanelSeries
        Series on the same zone or stone; the series itself is passed over.
    substrate : str
        Code of the substrate that is asked about.
    up_to : float, optional
        Harshest setting asked about, in the unit of the series; without it, the harshest that its
        panels state.

    Yields
    ------
    Against
        One for each series that shows harm there, or whose harm can't be held against it.

    Notes
    -----
    Counted are panels by the same method; by a method of the same family that is rated no harsher
    on this substrate; and by any method whose setting stands in the same words, as the same thing
    may have been written down under another name. Settings are compared by their numbers where
    both state them in one unit, and by their words where those are the same. Harm at a setting that
    can be compared in neither way is told too, as not known: good panels do not outvote it. So are
    panels that nobody read, or that are not all on record, unless their setting was harsher.
    """
    harshest = up_to
    if harshest is None and series.cleaning is not None and not series.unit_doubt:
        harshest = series.cleaning[1]
    for other in others:
        if other.series == series.series:
            continue
        worded_alike = _plain(other.setting) == _plain(series.setting)
        if worded_alike or _speaks(series, other, substrate):
            found = _held_against(series, other, harshest, worded_alike=worded_alike)
            if found is not None:
                yield found


def _speaks(series: PanelSeries, other: PanelSeries, substrate: str) -> bool:
    """Whether harm by the method of another series is to be expected of that of this one."""
    return other.method == series.method or (
        sisters(other.method, series.method)
        and no_harsher(other.method, series.method, substrate, series.soiling)
    )


def _held_against(
    series: PanelSeries, other: PanelSeries, harshest: float | None, *, worded_alike: bool
) -> Against | None:
    """What one other series says of settings up to the harshest; None where it says nothing."""
    name = _named(series, other)
    if worded_alike and _harmed(other):
        return Against(other, True, f"{name} at the same setting show {_harmed(other)}")
    first = first_harm(other)
    asked = harshest if same_unit(other.setting_unit, series.setting_unit) else None
    if asked is not None and first <= asked:
        return Against(other, True, f"{name} show damage from {first:.2g} {other.setting_unit} on")
    hidden = _harmed(other) and (asked is None or other.cleaning is None)
    if hidden or (math.isfinite(first) and asked is None):
        return Against(
            other, False, f"{name} were harmed at a setting that can't be held against this one"
        )
    if other.spots is not None and other.spots.window is None:
        return Against(other, False, f"{name} carry spots that can't be read together")
    harsher = asked is not None and other.cleaning is not None and other.cleaning[0] > asked
    if not harsher and not (other.complete and other.read):
        return Against(other, False, f"{name} were not all read, or are not all on record")
    return None


def first_harm(series: PanelSeries) -> float:
    """
    Gentlest setting at which a series shows harm.

    Parameters
    ----------
    series : PanelSeries
        The panels and their spots.

    Returns
    -------
    float
        In the unit of its setting; infinite where no harm was seen at a setting with a number.
    """
    seen = []
    if series.damage is not None and series.damage[1] is not None:
        seen.append(series.damage[0])
    if series.cleaning is not None and _harmed(series):
        seen.append(series.cleaning[0])
    spots = series.spots
    if (
        spots is not None
        and spots.damage is not None
        and same_unit(spots.dose_unit, series.setting_unit)
    ):
        seen.append(spots.damage.first_event)
    return min(seen, default=math.inf)


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


def _plain(setting: str) -> str:
    """Setting without what spelling adds: marks, blanks, capitals."""
    return re.sub(r"[\W_]+", " ", setting).strip().casefold()

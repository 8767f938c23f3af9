"""Measured evidence of zones as one long table: colour, panels, spots, tests, with records."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.sentences import LEAST_SHARE
from heritagecheck.survey.records import SiteTest
from heritagecheck.tables import keyed

if TYPE_CHECKING:
    import pandas as pd

_EVIDENCE = ["zone", "quantity", "mean", "low", "high", "level", "unit", "records"]


def evidence_table(evidence: Iterable[ZoneEvidence]) -> pd.DataFrame:
    """All measured evidence as one long table; ends are empty where a record gives no spread."""
    from heritagecheck.cards import table

    rows = [row for item in evidence for row in evidence_rows(item)]
    return table([tuple(row.values()) for row in rows], _EVIDENCE)


def evidence_rows(item: ZoneEvidence) -> list[dict[str, Any]]:
    """Rows of `evidence_table` for one zone, None where a cell is empty."""
    found = [*_by_colour(item), *(row for one in item.series for row in _by_panels(one))]
    found += [row for test in item.tests for row in _by_test(test)]
    return [dict(zip(_EVIDENCE, (item.zone.zone, *row), strict=True)) for row in found]


def _by_colour(item: ZoneEvidence) -> Iterable[tuple[object, ...]]:
    """Difference between soiled and clean stone, by meter and by photograph."""
    for name, by, colour in (
        ("colour difference", "meter", item.zone_colour.by_meter),
        ("colour difference, by photograph", "photograph", item.zone_colour.by_photograph),
    ):
        if colour is not None:
            sets = ", ".join(item.colour_sets[by])
            yield name, colour.delta_e, colour.low, colour.high, colour.level, "ΔE00", sets


def _by_panels(series: PanelSeries) -> Iterable[tuple[object, ...]]:
    """Fields damaged, damage margin, and what the spots show."""
    panels = ", ".join(series.panels)
    if series.x50 is not None:
        seen, upper = series.x50.seen, series.x50.upper
        low = None if seen else 0.0
        yield f"×50 fields damaged, {series.series}", seen, low, upper, 0.95, "1", panels
    if series.margin_low is not None:
        low, high = series.margin_low, series.margin_high
        yield f"damage margin, {series.series}", None, low, high, None, "1", panels
    yield from _by_spots(series)


def _by_spots(series: PanelSeries) -> Iterable[tuple[object, ...]]:
    """What the spots of a series show at the setting of its panels."""
    spots = series.spots
    if spots is None:
        return
    for name, share in (("damaged", spots.damage_share), ("left soiled", spots.residual_share)):
        if share is not None:
            # Digits below a thousandth are a grid's, not the spots': they are rounded up.
            expected, upper = (max(round(one, 3), LEAST_SHARE) for one in share[:2])
            yield (
                f"spots {name}, {series.series}",
                expected, None, upper, 0.95, "1", ", ".join(series.panels),
            )  # fmt: skip


def _by_test(test: SiteTest) -> Iterable[tuple[object, ...]]:
    """Value of a site test, with 95 % where a spread is recorded."""
    if test.value is None:
        return
    quantity = keyed("quantities", "quantity")[test.quantity]
    name, unit, record = quantity["name"], quantity["unit"], test.site_test
    if test.spread is None:
        yield name, test.value, None, None, None, unit, record
    else:
        away = 1.96 * test.spread
        yield name, test.value, test.value - away, test.value + away, 0.95, unit, record

"""Measured evidence of zones as one long table: colour, panels, spots, tests, with records."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from heritagecheck.evidence.rounding import LEAST_SHARE
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.zone_evidence import ZoneEvidence
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
    found: list[tuple[object, ...]] = []
    code = item.zone.zone
    for name, by, colour in (
        ("colour difference", "meter", item.zone_colour.by_meter),
        ("colour difference, by photograph", "photograph", item.zone_colour.by_photograph),
    ):
        if colour is not None:
            found.append(
                (code, name, colour.delta_e, colour.low, colour.high, colour.level, "ΔE00",
                 ", ".join(item.colour_sets[by]))
            )  # fmt: skip
    for series in item.series:
        if series.x50 is not None:
            found.append(
                (code, f"×50 fields damaged, {series.series}",
                 series.x50.seen, None if series.x50.seen else 0.0,
                 series.x50.upper, 0.95, "1", ", ".join(series.panels))
            )  # fmt: skip
        if series.margin_low is not None:
            found.append(
                (code, f"damage margin, {series.series}", None, series.margin_low,
                 series.margin_high, None, "1", ", ".join(series.panels))
            )  # fmt: skip
        found += [(code, *row) for row in _by_spots(series)]
    for test in item.tests:
        if test.value is not None:
            quantity = keyed("quantities", "quantity")[test.quantity]
            spread = test.spread
            found.append(
                (code, quantity["name"], test.value,
                 None if spread is None else test.value - 1.96 * spread,
                 None if spread is None else test.value + 1.96 * spread,
                 None if spread is None else 0.95, quantity["unit"], test.site_test)
            )  # fmt: skip
    return [dict(zip(_EVIDENCE, row, strict=True)) for row in found]


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

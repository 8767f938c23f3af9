"""What was measured on a zone, one value a row, with its range and how often it was measured."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.sentences import LEAST_SHARE, count_of
from heritagecheck.survey.records import SiteTest
from heritagecheck.tables.row_types import Quantity

if TYPE_CHECKING:
    import pandas as pd

_COLUMNS = ("zone", "quantity", "mean", "low", "high", "level", "unit", "records")


@dataclass(frozen=True, slots=True)
class MeasuredValue:
    """One measured value of a series or panel; `counted` where it is a share of fields or spots."""

    what: str
    mean: float | None
    low: float | None
    high: float | None
    level: float | None
    unit: str
    records: tuple[str, ...]
    count: str
    series: str = ""
    counted: bool = False

    @property
    def quantity(self) -> str:
        """What was measured, and on which series."""
        return f"{self.what}, {self.series}" if self.series else self.what


def evidence_table(item: ZoneEvidence) -> pd.DataFrame:
    """All measured evidence of a zone as a table; ends are empty where there is no spread."""
    from heritagecheck.cards import table

    rows = [
        (item.zone.zone, one.quantity, one.mean, one.low, one.high, one.level, one.unit,
         ", ".join(one.records))
        for one in measured_values(item)
    ]  # fmt: skip
    return table(rows, _COLUMNS)


def measured_values(item: ZoneEvidence) -> list[MeasuredValue]:
    """All that was measured on a zone: colour, panels and spots, site tests."""
    found = [*_by_colour(item), *(row for one in item.series for row in _by_panels(one))]
    # What a panel names below ×50 is given there, with its files, and not again as a test.
    given = {
        record for one in item.series for below in (*one.below, *one.harsher)
        if below.value is not None for record in below.records
    }  # fmt: skip
    tests = (test for test in item.tests if test.site_test not in given)
    return [*found, *(row for test in tests for row in _by_test(test))]


def _by_colour(item: ZoneEvidence) -> Iterator[MeasuredValue]:
    """Difference between soiled and clean stone, by meter and by photograph."""
    for name, by, words, colour in (
        ("colour difference", "meter", "readings", item.zone_colour.by_meter),
        ("colour difference, by photograph", "photograph", "squares",
         item.zone_colour.by_photograph),
    ):  # fmt: skip
        if colour is not None:
            yield MeasuredValue(
                name, colour.delta_e, colour.low, colour.high, colour.level, "ΔE00",
                tuple(item.colour_sets[by]), f"{colour.n_soiled} and {colour.n_reference} {words}",
            )  # fmt: skip


def _by_panels(series: PanelSeries) -> Iterator[MeasuredValue]:
    """Fields damaged, damage margin, what lies below ×50, and what the spots show."""
    panels, count = tuple(series.panels), count_of(len(series.panels), "panel")
    if series.x50 is not None:
        seen, upper = series.x50.seen, series.x50.upper
        yield MeasuredValue(
            "×50 fields damaged", seen, None if seen else 0.0, upper, 0.95, "1", panels, count,
            series.series, counted=True,
        )  # fmt: skip
    if series.margin_low is not None:
        yield MeasuredValue(
            "damage margin", None, series.margin_low, series.margin_high, None, "1", panels, count,
            series.series,
        )  # fmt: skip
    for one in (*series.below, *series.harsher):
        if one.value is not None:
            yield MeasuredValue(
                one.name.lower(), one.value, None, one.upper, 0.95, one.row.unit,
                (*one.records, *one.files), count_of(len(one.records), "record"),
                one.spot or one.panel,
            )  # fmt: skip
    spots = series.spots
    for name, share in () if spots is None else (
        ("damage by the curve", spots.damage_share),
        ("soiling left by the curve", spots.residual_share),
    ):  # fmt: skip
        if share is not None:
            # Digits below a thousandth are a grid's, not the spots': they are rounded up.
            expected, upper = (max(round(one, 3), LEAST_SHARE) for one in share[:2])
            yield MeasuredValue(
                name, expected, None, upper, 0.95, "1", panels, count, series.series, counted=True
            )


def _by_test(test: SiteTest) -> Iterable[MeasuredValue]:
    """Value of a site test, with 95 % where a spread is recorded."""
    if test.value is None:
        return
    quantity, away = Quantity.named(test.quantity), 1.96 * (test.spread or 0)
    low, high, level = (
        (None, None, None) if test.spread is None
        else (test.value - away, test.value + away, 0.95)
    )  # fmt: skip
    yield MeasuredValue(
        quantity.name, test.value, low, high, level, quantity.unit, (test.site_test,), "1 test"
    )

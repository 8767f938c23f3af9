"""Lines of a zone's page: what was measured, what is ruled out, which layers lie on it."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from heritagecheck.evidence.measured_values import MeasuredValue
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.sentences import LEAST_SHARE, lower_bound, rounded_down, rounded_up
from heritagecheck.tables.row_types import Soiling


@dataclass(frozen=True, slots=True)
class Measured:
    """One line of the evidence: what was measured, what came out, how sure, how often."""

    what: str
    series: str
    value: str
    span: str
    unit: str
    count: str
    records: str

    @property
    def quantity(self) -> str:
        """What was measured, and on which series."""
        return f"{self.what}, {self.series}" if self.series else self.what


def measured(values: Iterable[MeasuredValue]) -> list[Measured]:
    """What was measured on a zone as lines for a page; like tests share one line."""
    grouped: dict[str, list[MeasuredValue]] = {}
    for row in values:
        grouped.setdefault(row.quantity, []).append(row)
    return [_line(group) for group in grouped.values()]


def _line(group: list[MeasuredValue]) -> Measured:
    """One line for like rows."""
    first = group[0]
    value, span = (_written(first, first.mean), _span(first)) if len(group) == 1 else _range(group)
    return Measured(
        first.what, first.series, value,
        f"{100 * first.level:.0f} %: {span}" if span and first.level is not None else span,
        "" if first.unit == "1" else first.unit,
        first.count if len(group) == 1 else f"{len(group)} tests",
        "; ".join(", ".join(row.records) for row in group),
    )  # fmt: skip


def _range(group: list[MeasuredValue]) -> tuple[str, str]:
    """From the least value to the greatest; and as far as their spreads reach, where it is more."""
    values = sorted(row.mean for row in group if row.mean is not None)
    low = min([*values, *(row.low for row in group if row.low is not None)])
    high = max([*values, *(row.high for row in group if row.high is not None)])
    least, most = f"{values[0]:.3g}", f"{values[-1]:.3g}"
    return (
        f"{least} to {most}" if values[0] != values[-1] else least,
        "" if (low, high) == (values[0], values[-1]) else f"{low:.3g} to {high:.3g}",
    )


def _written(
    row: MeasuredValue, value: float | None, rounded: Callable[[float], float] = float
) -> str:
    """Write one number of a row; shares of fields and spots in per cent, as they are spoken of."""
    if value is None:
        return ""
    if not row.counted:
        return f"{value:.3g}"
    # Of next to no spots no digits: the curve has none there. Bounds are rounded to their side.
    if 0 < value <= LEAST_SHARE:
        return "at most 0.1 %"
    return f"{float(f'{rounded(100 * value):.2g}'):g} %"


def _span(row: MeasuredValue) -> str:
    """Range of a row in words."""
    if row.high is None:
        return ""
    if math.isinf(row.high):
        return "" if row.low is None else f"at least {lower_bound(row.low)}, no upper end found"
    upper = _written(row, row.high, rounded_up)
    if row.low is None:
        return upper if row.counted and 0 < row.high <= LEAST_SHARE else f"up to {upper}"
    lower = _written(row, row.low, rounded_down)
    return f"{lower.removesuffix(' %') if row.counted else lower} to {upper}"


@dataclass(frozen=True, slots=True)
class RuledOut:
    """Methods that one rule takes out."""

    rule: str
    hard: bool
    methods: tuple[str, ...]
    reason: str
    source: str


def ruled_out(recommendation: Recommendation) -> list[RuledOut]:
    """Methods ruled out on a zone, each under its leading rule, hard stops first."""
    found: dict[tuple[bool, str, str, str], list[str]] = {}
    for method, stops in recommendation.ruled_out.items():
        stop = min(stops, key=lambda stop: (not stop.hard, stop.rule))
        key = (not stop.hard, stop.rule, stop.reason, stop.source_id)
        found.setdefault(key, []).append(method)
    return [
        RuledOut(rule, not soft, tuple(methods), reason, source)
        for (soft, rule, reason, source), methods in sorted(
            found.items(), key=lambda item: (item[0][0], _rank(item[0][1]), item[0])
        )
    ]


def _rank(rule: str) -> int:
    """Place of a rule among those of its kind: HS2 stands before HS11."""
    return int(re.sub(r"\D", "", rule) or 0)


def layer_names(evidence: ZoneEvidence) -> list[tuple[str, Any]]:
    """Layers of a zone by the names of the trade."""
    return [(Soiling.named(layer.soiling).name, layer) for layer in evidence.layers]


def undescribed_names(evidence: ZoneEvidence) -> list[str]:
    """Soilings seen that no layer describes, by the names of the trade."""
    return [Soiling.named(code).name for code in evidence.undescribed]

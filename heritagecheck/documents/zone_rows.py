"""Lines of a zone's page: what was measured, what is ruled out, which layers lie on it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.sentences import LEAST_SHARE, lower_bound, rounded_down, rounded_up
from heritagecheck.tables.row_types import Soiling

# A row of a table as pandas hands it over.
Row = dict[Any, Any]


@dataclass(frozen=True, slots=True)
class Measured:
    """One line of the evidence: what was measured, what came out, how sure, how often."""

    quantity: str
    value: str
    span: str
    unit: str
    count: str
    records: str


def measured(evidence: ZoneEvidence, rows: Iterable[Row]) -> list[Measured]:
    """Evidence of a zone as lines for a page; like tests stand in one line."""
    grouped: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        alone = row["quantity"] == "colour difference" or "," in row["records"]
        key = (row["quantity"], row["records"] if alone else "")
        grouped.setdefault(key, []).append(row)
    return [_line(evidence, group) for group in grouped.values()]


def _line(evidence: ZoneEvidence, group: list[Row]) -> Measured:
    """One line for like rows."""
    first = group[0]
    records = "; ".join(row["records"] for row in group)
    unit = "" if first["unit"] == "1" else first["unit"]
    if len(group) > 1:
        values = sorted(row["mean"] for row in group)
        low = min(row["low"] if _known(row["low"]) else row["mean"] for row in group)
        high = max(row["high"] if _known(row["high"]) else row["mean"] for row in group)
        spread = "" if (low, high) == (values[0], values[-1]) else f"{low:.3g} to {high:.3g}"
        middle = f"{values[0]:.3g} to {values[-1]:.3g}" if values[0] != values[-1] else _number(
            values[0]
        )  # fmt: skip
        return Measured(
            first["quantity"], middle, _with_level(first, spread), unit,
            f"{len(group)} tests", records,
        )  # fmt: skip
    span = _span(first)
    return Measured(
        first["quantity"], _written(first, "mean"), _with_level(first, span), unit,
        _count(evidence, first), records,
    )  # fmt: skip


def _known(value: Any) -> bool:
    """Whether a number is there."""
    return value is not None and not math.isnan(value)


def _number(value: Any) -> str:
    """Write a number, or nothing."""
    return f"{value:.3g}" if _known(value) else ""


def _written(row: Row, end: str) -> str:
    """Write one number of a row; shares of fields and spots in per cent, as they are spoken of."""
    value = row[end]
    if not _known(value) or not row["quantity"].startswith(("spots ", "×50 fields ")):
        return _number(value)
    # Of next to no spots no digits: the curve has none there. Bounds are rounded to their side.
    if 0 < value <= LEAST_SHARE:
        return "at most 0.1 %"
    rounded = {"low": rounded_down, "high": rounded_up}.get(end, float)
    return f"{float(f'{rounded(100 * value):.2g}'):g} %"


def _span(row: Row) -> str:
    """Range of a row in words."""
    low, high = row["low"], row["high"]
    if _known(high) and math.isinf(high):
        return f"at least {lower_bound(low)}, no upper end found" if _known(low) else ""
    if not _known(high):
        return ""
    upper = _written(row, "high")
    if not _known(low):
        return upper if upper.startswith("at most") else f"up to {upper}"
    return f"{_written(row, 'low').removesuffix(' %' * upper.endswith(' %'))} to {upper}"


def _with_level(row: Row, span: str) -> str:
    """Range with its confidence before it."""
    return f"{100 * row['level']:.0f} %: {span}" if span and _known(row["level"]) else span


def _count(evidence: ZoneEvidence, row: Row) -> str:
    """How many readings, panels or tests stand behind a row."""
    colour = {
        "colour difference": (evidence.zone_colour.by_meter, "readings"),
        "colour difference, by photograph": (evidence.zone_colour.by_photograph, "squares"),
    }  # fmt: skip
    found, words = colour.get(row["quantity"], (None, ""))
    if found is not None:
        return f"{found.n_soiled} and {found.n_reference} {words}"
    number = len(row["records"].split(", "))
    return f"{number} panels" if number > 1 else "1 test"


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

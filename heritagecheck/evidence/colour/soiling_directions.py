"""Which soilings a change of colour would fit: a clue, never proof."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from heritagecheck.tables.row_types import ColourDirection, Soiling

if TYPE_CHECKING:
    from heritagecheck.evidence.colour.readings import ColourDifference
    from heritagecheck.sentence_table import Table

_ORDER = ("fits", "overlaps", "outside")


def directions(difference: ColourDifference) -> Table:
    """Soilings whose usual direction of colour a measured difference fits, overlaps or leaves."""
    from heritagecheck.cards import table

    found = []
    for row in ColourDirection.rows():
        name = Soiling.named(row.soiling).name
        found.append((name, *_verdict(difference, row), row.where, row.traps, row.evidence))
    found.sort(key=lambda row: _ORDER.index(row[1]))
    return table(found, ("soiling", "verdict", "why", "where", "traps", "evidence"))


def _verdict(difference: ColourDifference, row: ColourDirection) -> tuple[str, str]:
    """Verdict on one soiling, and the channels that decide it."""
    outside, across = [], []
    for channel, part, low, high in (
        ("L*", difference.dL, row.dl_low, row.dl_high),
        ("a*", difference.da, row.da_low, row.da_high),
        ("b*", difference.db, row.db_low, row.db_high),
        ("chroma", difference.dC, row.dc_low, row.dc_high),
    ):
        if low is None and high is None:
            continue
        least, most = (-math.inf if low is None else low), (math.inf if high is None else high)
        said = f"{channel} {round(part.value, 1) + 0.0:+.1f}, usually {_range(low, high)}"
        if part.high < least or part.low > most:
            outside.append(said)
        elif part.low < least or part.high > most:
            across.append(said)
    if outside:
        return "outside", "; ".join(outside)
    if difference.low == 0:
        return "overlaps", "no difference is shown"
    if across:
        return "overlaps", "; ".join(across)
    return "fits", "all channels within the usual range"


def _range(low: float | None, high: float | None) -> str:
    """Range in words."""
    if low is None:
        return f"at most {high:g}"
    return f"at least {low:g}" if high is None else f"{low:g} to {high:g}"

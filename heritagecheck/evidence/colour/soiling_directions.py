"""Which soilings a change of colour would fit: a clue, never proof."""

from __future__ import annotations

from typing import TYPE_CHECKING

from heritagecheck import tables

if TYPE_CHECKING:
    from heritagecheck.evidence.colour.readings import ColourDifference
    from heritagecheck.sentence_table import Table

_CHANNELS = {"dL": "L*", "da": "a*", "db": "b*", "dC": "chroma"}
_ORDER = ("fits", "overlaps", "outside")


def directions(difference: ColourDifference) -> Table:
    """Soilings whose usual direction of colour a measured difference fits, overlaps or leaves."""
    from heritagecheck.cards import table

    names = tables.keyed("soilings", "soiling")
    found = []
    for row in tables.rows("colour_directions"):
        verdict, why = _verdict(difference, row)
        found.append(
            (names[row["soiling"]]["name"], verdict, why,
             *(row[key] for key in ("where", "traps", "evidence")))
        )  # fmt: skip
    found.sort(key=lambda row: _ORDER.index(row[1]))
    return table(found, ("soiling", "verdict", "why", "where", "traps", "evidence"))


def _verdict(difference: ColourDifference, row: dict[str, str]) -> tuple[str, str]:
    """Verdict on one soiling, and the channels that decide it."""
    outside, across = [], []
    for name, channel in _CHANNELS.items():
        part = getattr(difference, name)
        low, high = row[f"{name}_low"], row[f"{name}_high"]
        least = float(low) if low else float("-inf")
        most = float(high) if high else float("inf")
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


def _range(low: str, high: str) -> str:
    """Range in words."""
    if not low:
        return f"at most {high}"
    return f"{low} to {high}" if high else f"at least {low}"

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
    """
    Soilings whose usual direction of colour a measured difference fits, overlaps or leaves.

    Parameters
    ----------
    difference : ColourDifference
        Soiled against clean stone of the same zone, dry, as `compare` gives it.

    Returns
    -------
    Table
        One row a soiling of `tables/colour_directions.csv`, those that fit first: `soiling`, its
        name; `verdict`: *fits* where every channel's interval lies within the usual range,
        *outside* where one lies wholly outside, else *overlaps*; `why`, the channels that
        decide; `where` and `traps`; `evidence`, what the range rests on.

    Notes
    -----
    A clue, never proof: the ranges are indicative, from memory, and overlap, and several soilings
    have no direction of their own (lichen, graffiti, coatings), so they are not listed. Where a
    soiling lies, its texture and simple tests decide more than its colour. Where no difference is
    shown at all, nothing fits.

    Examples
    --------
    >>> from heritagecheck.evidence import colour
    >>> soiled = [[41.2, 1.8, 4.9], [43.0, 1.5, 5.8], [39.7, 2.0, 4.1], [42.1, 1.7, 5.9],
    ...           [40.4, 1.9, 4.2], [43.8, 1.4, 5.1]]
    >>> sheltered = [[57.1, 1.2, 7.6], [58.4, 0.9, 8.1], [55.9, 1.5, 7.2], [60.2, 0.7, 8.4],
    ...              [56.6, 1.4, 7.9], [59.3, 1.0, 7.0], [57.8, 1.1, 8.8], [54.7, 1.6, 7.4]]
    >>> clues = colour.directions(colour.compare(soiled, sheltered))
    >>> clues[clues["verdict"] == "fits"]["soiling"].tolist()
    ['general soiling']
    """
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

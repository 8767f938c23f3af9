"""The meter's white tile: a session in which its reading drifted has to be read again."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from heritagecheck.survey.records import TileReading
from heritagecheck.tables import threshold


def drift(lab: Sequence[tuple[float, float, float]]) -> float:
    """How far a white tile's readings went from the first, as ΔE*ab."""
    # CIE 1976 (ISO/CIE 11664-4:2019): near white the strictest of the common formulas, and the one
    # in which makers of meters say how well a tile repeats (common practice).
    return max(math.dist(lab[0], other) for other in lab)


def unsteady_sessions(tiles: Iterable[TileReading]) -> dict[str, str]:
    """Sessions whose readings can't be relied on."""
    sessions: dict[str, list[TileReading]] = {}
    for tile in tiles:
        sessions.setdefault(tile.session, []).append(tile)
    limit = threshold("tile_drift_max")
    found: dict[str, str] = {}
    for session, read in sessions.items():
        read.sort(key=lambda tile: tile.minutes)
        asked = read[0].tile_readings_in_session
        went = drift([(tile.L_star, tile.a_star, tile.b_star) for tile in read])
        if len(read) < asked:
            found[session] = f"{len(read)} of {asked} tile readings of session {session} recorded"
        elif len(read) < 2:
            found[session] = f"the white tile was read only once in session {session}"
        elif went > limit:
            found[session] = (
                f"the white tile drifted by {went:.2f} ΔE*ab in session {session}; "
                f"{limit:g} is the limit"
            )
    return found

"""Listed housekeeping: small maintenance that published guidance does without trial panels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from heritagecheck.evidence.zone_evidence import WHOLLY_VALUED, ZoneEvidence
from heritagecheck.judgement.options import Option
from heritagecheck.tables.row_types import Housekeeping, Soiling


def as_listed(options: Sequence[Option], row: Housekeeping | None) -> tuple[Option, ...]:
    """Mark the options that are the listed work; it strikes out nothing beside itself."""
    if row is None:
        return tuple(options)
    return tuple(
        replace(option, listed=row) if option.method in row.methods else option
        for option in options
    )


def housekeeping_row(evidence: ZoneEvidence) -> Housekeeping | None:
    """
    Row of listed housekeeping that a zone matches.

    None unless substrate, every soiling, condition, coating, cover, area and lead are recorded and
    match. A coating of value beneath the dirt, which stays, is no hindrance.
    """
    zone, targets = evidence.zone, evidence.targets
    beneath = [layer for layer in evidence.layers if layer not in targets]
    stays = all(
        layer.value in WHOLLY_VALUED and Soiling.named(layer.soiling).kind == "coating"
        for layer in beneath
    )
    if not targets or not evidence.layers_complete or not stays:
        return None
    covers = [layer.cover_pct for layer in targets]
    for row in Housekeeping.rows():
        if (
            zone.substrate in row.substrates
            and all(layer.soiling in row.soilings for layer in targets)
            and zone.condition in row.conditions
            and evidence.finding("coating_state") in row.coating_states
            and evidence.lead == row.lead
            and zone.area_m2 <= row.max_area_m2
            and all(cover is not None and cover <= row.max_cover_pct for cover in covers)
        ):
            return row
    return None

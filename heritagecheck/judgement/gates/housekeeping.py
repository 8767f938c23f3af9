"""Listed housekeeping: small maintenance that published guidance does without trial panels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from heritagecheck.evidence.zone_evidence import WHOLLY_VALUED, ZoneEvidence
from heritagecheck.judgement.options import Option
from heritagecheck.tables import keyed, rows


def as_listed(options: Sequence[Option], row: Mapping[str, str] | None) -> tuple[Option, ...]:
    """
    Mark the options that are the listed work; it strikes out nothing beside itself.

    Parameters
    ----------
    options : sequence of Option
        Options of a zone.
    row : mapping or None
        Row of `tables/housekeeping.csv` that the zone matches.

    Returns
    -------
    tuple of Option
        The same options; those that the row names carry it.
    """
    if row is None:
        return tuple(options)
    named = row["methods"].split("|")
    return tuple(
        replace(option, listed=dict(row)) if option.method in named else option
        for option in options
    )


def housekeeping_row(evidence: ZoneEvidence) -> dict[str, str] | None:
    """
    Row of listed housekeeping that a zone matches.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.

    Returns
    -------
    dict or None
        Row of `tables/housekeeping.csv`; None unless substrate, every soiling, condition, coating,
        cover, area and lead are recorded and match. A coating of value beneath the dirt, which
        stays, is no hindrance.
    """
    zone, targets = evidence.zone, evidence.targets
    beneath = [layer for layer in evidence.layers if layer not in targets]
    kinds = keyed("soilings", "soiling")
    stays = all(
        layer.value in WHOLLY_VALUED and kinds[layer.soiling]["kind"] == "coating"
        for layer in beneath
    )
    if not targets or not evidence.layers_complete or not stays:
        return None
    soilings = {layer.soiling for layer in targets}
    covers = [layer.cover_pct for layer in targets]
    for row in rows("housekeeping"):
        if (
            zone.substrate in row["substrates"].split("|")
            and soilings <= set(row["soilings"].split("|"))
            and zone.condition in row["conditions"].split("|")
            and evidence.finding("coating_state") in row["coating_states"].split("|")
            and evidence.lead == row["lead"]
            and zone.area_m2 <= float(row["max_area_m2"])
            and all(c is not None and c <= float(row["max_cover_pct"]) for c in covers)
        ):
            return row
    return None

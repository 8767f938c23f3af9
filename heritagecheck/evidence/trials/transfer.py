"""Whether trial panels on one zone tell about another, and if not, why not."""

from __future__ import annotations

from collections.abc import Iterator

from heritagecheck.survey.records import Zone
from heritagecheck.survey.records.beds import near_names, plain_bed, same_bed
from heritagecheck.tables import keyed

CONDITIONS = ("sound", "slightly_weathered", "corroding", "cracked", "friable", "scaling")
GRADES = ("low", "medium", "high")


def transfers(tested: Zone, zone: Zone) -> bool:
    """
    Whether panels on one zone tell about another.

    Parameters
    ----------
    tested : Zone
        Zone that holds the panels.
    zone : Zone
        Zone to be judged.

    Returns
    -------
    bool
        Only where the record says: same bed (or coating system), same substrate, exposure, finish
        and soilings, and the zone is no weaker, no higher in significance and no richer in dark
        mica than the one tested.
    """
    return not what_hinders(tested, zone)


def what_hinders(tested: Zone, zone: Zone) -> str:
    """
    Why panels on one zone don't tell about another.

    Parameters
    ----------
    tested : Zone
        Zone that holds the panels.
    zone : Zone
        Zone to be judged.

    Returns
    -------
    str
        The first reason, in words; empty where the panels do tell.
    """
    return next((why for why, hinders in _hindrances(tested, zone) if hinders), "")


def _hindrances(tested: Zone, zone: Zone) -> Iterator[tuple[str, bool]]:
    """All that may hinder, in words, the plainest first; and whether it does."""
    yield "another substrate", tested.substrate != zone.substrate
    tried = set(zone.soiling_codes) <= set(tested.soiling_codes)
    yield "soiled by something that was not tried", not tried
    beds = tested.bed_or_system, zone.bed_or_system
    yield "bed or coating system not recorded", not all(plain_bed(bed) for bed in beds)
    yield (
        f"bed or coating system perhaps misspelt: {' or '.join(map(str, beds))}",
        near_names(*beds),
    )
    yield "another bed or coating system", not same_bed(*beds)
    yield "another exposure", tested.exposure != zone.exposure
    yield "another finish", tested.finish != zone.finish
    yield "condition not assessed", "not_assessed" in (tested.condition, zone.condition)
    weaker = CONDITIONS.index(zone.condition) > CONDITIONS.index(tested.condition)
    yield "in weaker condition", weaker
    higher = GRADES.index(zone.significance) > GRADES.index(tested.significance)
    yield "of higher significance", higher
    yield "richer in the weakest component, or not counted", _richer(tested, zone)


def _richer(tested: Zone, zone: Zone) -> bool:
    """Whether the zone may hold more dark mica than the one tested; what is not counted may."""
    return (
        bool(keyed("substrates", "substrate")[zone.substrate]["weakest_components"])
        and (100.0 if zone.biotite_pct is None else zone.biotite_pct)
        > (0.0 if tested.biotite_pct is None else tested.biotite_pct)
    )  # fmt: skip

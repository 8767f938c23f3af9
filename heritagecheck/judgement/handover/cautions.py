"""Which cautions go with an outcome, a zone and every method that is named there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.gate import TRIAL
from heritagecheck.judgement.options import Option
from heritagecheck.tables.cautions import ALWAYS, Caution, of_outcome, usual_cautions


def cautions_of(
    outcome: str,
    evidence: ZoneEvidence,
    chosen: Option | None,
    candidates: Sequence[Option],
) -> Iterable[Caution]:
    """
    Usual cautions of a zone and of the methods that are spoken of there.

    Parameters
    ----------
    outcome : str
        Outcome of the zone.
    evidence : ZoneEvidence
        Evidence of the zone.
    chosen : Option or None
        Method recommended, or to be tried.
    candidates : sequence of Option
        Other methods that are named to be tried.

    Returns
    -------
    iterable of Caution
    """
    spoken = [chosen] if chosen else []
    if outcome == TRIAL:
        spoken += candidates
    yield of_outcome(outcome)
    told = [
        method
        for option in spoken
        for method in (option.methods if option.series is None else option.series.worked_with)
    ]
    yield from usual_cautions(evidence.facts, told)
    yield of_outcome(ALWAYS)

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
    """Usual cautions of a zone and of the methods that are spoken of there."""
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

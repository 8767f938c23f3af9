"""Rated harm of an option to the fabric, before any panel."""

from __future__ import annotations

from functools import cache

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.options import Option, risk_of
from heritagecheck.tables import threshold
from heritagecheck.tables.row_types import Method, RatedPair, Sensitivity, SourceGrade, Substrate

# Gentle contact does not find the weakest grain; these do.
LIMITED_BY_WEAKEST = {"laser", "abrasive", "acid", "power", "jetting", "biocide"}
CHELANT = "chelant"  # a family of hazard among the poultices
Rating = tuple[float, str]


def fabric_rating(evidence: ZoneEvidence, option: Option) -> Rating:
    """
    Rated harm to fabric, 0 to 10, and the poorest grade of the sources it rests on.

    The worst rated row, no less than half-way to the sensitivity of the weakest component present,
    and a little more on a surface that is no longer sound. Listed housekeeping has the rating of
    its own row.
    """
    if option.listed is not None:
        # Small work of this kind on sound fabric, as guidance lists it; panels there still count.
        return option.listed.fabric_harm, option.listed.evidence
    component = evidence.weakest_component
    substrate = evidence.zone.substrate
    found = [_sensitivity(substrate, component, method) for method in option.methods]
    rating, grade = _rated(option.rated, substrate)
    sensitive = max((one for one in found if one is not None), default=None)
    if sensitive is not None:
        rating = max(rating, (rating + sensitive[0]) / 2)
        grade = max(grade, sensitive[1], key=_grades().index)
    if evidence.zone.condition != "sound":
        rating += threshold("weathered_extra")
    return min(rating, 10.0), grade


def _rated(rows: tuple[RatedPair, ...], substrate: str) -> Rating:
    """Worst of the rated rows and the poorest grade among them; severe where there is none."""
    if not rows:
        return threshold("rated_severe"), _grades()[-1]
    grade = max((row.evidence for row in rows), key=_grades().index)
    return max(risk_of(row, substrate) for row in rows), grade


@cache
def _grades() -> tuple[str, ...]:
    """Grades of sources, the best first."""
    return tuple(row.evidence for row in SourceGrade.rows())


@cache
def _sensitivity(substrate: str, component: str | None, method: str) -> Rating | None:
    """
    Sensitivity of the weakest component present to what a method does, and its grade.

    None where the stone, or its parent, holds no such component in a share that counts.
    """
    row = Method.named(method)
    limited = row.family in LIMITED_BY_WEAKEST or row.hazard_family == CHELANT
    if component is None or not limited:
        return None
    stones = {substrate, Substrate.named(substrate).parent}
    found = [
        (one.sensitivity_0_10, one.evidence)
        for one in Sensitivity.rows()
        if one.sensitivity_0_10 is not None
        and one.row_type == "sensitivity"
        and one.substrate in stones
        and one.component == component
        and one.hazard_family == row.hazard_family
    ]
    return max(found) if found else None

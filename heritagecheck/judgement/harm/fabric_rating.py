"""Rated harm of an option to the fabric, before any panel."""

from __future__ import annotations

from functools import cache

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.options import Option, risk_of
from heritagecheck.tables import keyed, rows, threshold

# Gentle contact does not find the weakest grain; these do.
LIMITED_BY_WEAKEST = {"laser", "abrasive", "acid", "power", "jetting", "biocide"}
CHELANT = "chelant"  # a family of hazard among the poultices


def fabric_rating(evidence: ZoneEvidence, option: Option) -> tuple[float, str]:
    """
    Rated harm to fabric before any panel.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    option : Option
        The option.

    Returns
    -------
    tuple of float and str
        Rating [0 to 10] and the poorest grade of the sources it rests on: the worst rated row, no
        less than half-way to the sensitivity of the weakest component present, and a little more
        on a surface that is no longer sound. Listed housekeeping has the rating of its own row.
    """
    if option.listed is not None:
        # Small work of this kind on sound fabric, as guidance lists it; panels there still count.
        return float(option.listed["fabric_harm"]), option.listed["evidence"]
    grades = list(keyed("source_grades", "evidence"))
    if not option.rated:
        rating, grade = threshold("rated_severe"), grades[-1]
    else:
        rating = max(risk_of(row, evidence) for row in option.rated)
        grade = max((row["evidence"] for row in option.rated), key=grades.index)
    found = [component_sensitivity(evidence, method) for method in option.methods]
    sensitive = max((one for one in found if one is not None), default=None)
    if sensitive is not None:
        rating = max(rating, (rating + sensitive[0]) / 2)
        grade = max(grade, sensitive[1], key=grades.index)
    if evidence.zone.condition != "sound":
        rating += threshold("weathered_extra")
    return min(rating, 10.0), grade


def component_sensitivity(evidence: ZoneEvidence, method: str) -> tuple[float, str] | None:
    """
    Sensitivity of the weakest component present to what a method does.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    method : str
        Code of the method.

    Returns
    -------
    tuple of float and str, or None
        Sensitivity [0 to 10] and grade of its source; None where the stone holds no such component
        in a share that counts.
    """
    component = evidence.weakest_component
    row = keyed("methods", "method")[method]
    family = row["hazard_family"]
    if component is None or not (row["family"] in LIMITED_BY_WEAKEST or family == CHELANT):
        return None
    return _sensitivity(evidence.zone.substrate, component, family)


@cache
def _sensitivity(substrate: str, component: str, family: str) -> tuple[float, str] | None:
    """Highest rated sensitivity of a component of a stone or its parent, and its grade."""
    stones = {substrate, keyed("substrates", "substrate")[substrate]["parent"]}
    found = [
        (float(row["sensitivity_0_10"]), row["evidence"])
        for row in rows("substrate_sensitivity")
        if row["row_type"] == "sensitivity"
        and row["substrate"] in stones
        and row["component"] == component
        and row["hazard_family"] == family
    ]
    return max(found) if found else None

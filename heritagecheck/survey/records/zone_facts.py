"""What rules and questions may ask about a zone, as far as its answers and tests say."""

from __future__ import annotations

from collections.abc import Mapping

from heritagecheck.survey.records.lead import coated
from heritagecheck.survey.records.structure import Zone
from heritagecheck.tables import codes, keyed


def facts_of(
    zone: Zone, findings: Mapping[str, str | None], lead: str
) -> dict[str, frozenset[str] | None]:
    """Facts of a zone by its answers, topic by topic, and by what is known of lead there."""
    substrate = keyed("substrates", "substrate")[zone.substrate]
    polished = {"polished"} if zone.substrate == "granite_polished" else set()
    return {topic: _fact(findings.get(topic)) for topic in codes("topics")} | {
        "substrate": _fact(zone.substrate),
        "kind": _fact(substrate["kind"]),
        "acid_sensitive": _fact(substrate["acid_sensitive"]),
        "silica": _fact(substrate["silica"]),
        "finish": frozenset({zone.finish} | polished),
        "condition": _fact(None if zone.condition == "not_assessed" else zone.condition),
        "exposure": _fact(zone.exposure),
        "access": _fact(zone.access),
        "confined": _fact("yes" if zone.confined else "no"),
        "significance": _fact(zone.significance),
        "soiling": frozenset(zone.soiling_codes),
        "lead": _fact(lead),
        "coated": _fact("yes" if coated(zone, lead) else "no"),
    }


def _fact(value: str | None) -> frozenset[str] | None:
    """One recorded value as a fact; None where nothing is recorded."""
    return None if value is None else frozenset({value})

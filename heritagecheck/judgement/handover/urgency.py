"""How soon someone must act: make safe, act by a day, or no urgency recorded."""

from __future__ import annotations

from datetime import timedelta

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.tables import threshold
from heritagecheck.tables.conditions import asks, holds
from heritagecheck.tables.row_types import SiteRule, Topic

MAKE_SAFE = "make safe"
URGENT = {
    "falling_material": "material is loose over people",
    "lead_shedding": "lead paint is coming off",
    "stone_jacking": "growing rust lifts stone or plates",
}
# The topic's own advice is how to find out; here it is known.
BEYOND = (
    "plate or rivets lie beyond the engineer's limit (the engineer says at once what to close, "
    "relieve or prop)"
)


def urgency_of(evidence: ZoneEvidence) -> tuple[str, tuple[str, ...]]:
    """How soon someone must act, beside the outcome and never inside it."""
    reasons = []
    by = None
    # A topic's own advice is how to find out; the site rules order more where it is known.
    ordered = {
        topic: row.words
        for row in SiteRule.rows()
        if row.kind == MAKE_SAFE
        for topic in asks(row.when)
    }
    for topic, words in URGENT.items():
        if evidence.finding(topic) == "yes":
            do = ordered.get(topic) or Topic.named(topic).what_to_do
            reasons.append(f"{words} ({do[0].lower()}{do[1:]})")
    beyond = evidence.finding("engineer_limit") == "beyond"
    if beyond:
        reasons.append(BEYOND)
    now = beyond or "yes" in (
        evidence.finding("falling_material"),
        evidence.finding("lead_shedding"),
    )
    if evidence.finding("stone_jacking") == "yes":
        by = evidence.zone.next_access or evidence.survey_date + timedelta(days=365)
    limit = evidence.limit
    if limit is not None and limit.probability > threshold("urgency_probability"):
        reasons.append(str(limit))
        due = evidence.survey_date + timedelta(days=int(limit.years_to_5_pct * 365.25))
        by = min(by, due) if by else due
    if now:
        return MAKE_SAFE, tuple(reasons)
    return (f"act by {by}" if by else ""), tuple(reasons)


def urgency_not_looked_at(evidence: ZoneEvidence) -> tuple[str, ...]:
    """
    Questions of urgency that nobody answered on a zone, so that silence is not taken for *no*.
    """
    return tuple(
        row.question
        for row in Topic.rows()
        if row.gate == "urgency"
        and row.kind in {"all", evidence.substrate["kind"]}
        and holds(row.asked_where, evidence.facts) is not False
        and evidence.finding(row.topic) is None
    )

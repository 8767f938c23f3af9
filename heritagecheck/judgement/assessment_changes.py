"""An assessment as it is kept, and what has changed since one was kept."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import TYPE_CHECKING

from heritagecheck import __version__, tables
from heritagecheck.judgement.evidence_snapshot import evidence_hash
from heritagecheck.judgement.policy import Policy
from heritagecheck.survey.records import Zone
from heritagecheck.survey.store.saved_assessment import (
    SavedAssessment,
    SavedZone,
    rules_checksum,
)
from heritagecheck.survey.survey import Survey

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ("zone", "before", "now", "why")
SHARED = "records that several zones share"


def as_saved(
    survey: Survey,
    policy: Policy,
    seed: int,
    scheme: int,
    said: Iterable[tuple[str, str, int | None, str, str]],
) -> SavedAssessment:
    """Give an assessment as it is kept, its records hashed in the way of a scheme."""
    zones = {zone.zone: zone for zone in survey.all(Zone)}
    found = []
    for zone, outcome, gate, method, sentence in said:
        found.append(
            SavedZone(
                zone=zone, outcome=outcome, gate=gate, method=method, sentence=sentence,
                records=evidence_hash(survey, zones[zone], scheme=scheme),
            )
        )  # fmt: skip
    return SavedAssessment(
        version=__version__,
        rules=rules_checksum(),
        tables=tables.checksums(),
        journal_head=survey.journal_head,
        seed=seed,
        policy=policy_hash(policy),
        policy_values=policy.values,
        scheme=scheme,
        zones=tuple(found),
    )


def policy_hash(policy: Policy) -> str:
    """Fingerprint of a policy, by which one is known again of which no values were saved."""
    return hashlib.sha256(repr(policy).encode()).hexdigest()[:12]


def changes(now: SavedAssessment, before: SavedAssessment) -> pd.DataFrame:
    """
    What an assessment says otherwise than an earlier one, and why.

    Columns zone, before, now, why: one row for each zone whose outcome, gate or method is another,
    or that only one of the two holds. Why is what differs between the two: records, rules, policy;
    *rules changed since* alone means that the same records are read otherwise. Where none of these
    differs for a zone, it rests on records that several share and no hash of a zone covers. Both
    must be hashed by one scheme.
    """
    from heritagecheck.cards import table

    first = {one.zone: one for one in before.zones}
    then = {one.zone: one for one in now.zones}
    rules = (before.version, before.rules, before.tables) != (now.version, now.rules, now.tables)
    agreed = not same_policy(now, before) or before.seed != now.seed
    rows = []
    for zone in dict.fromkeys((*first, *then)):
        one, other = first.get(zone), then.get(zone)
        if one is None or other is None:
            gone = "assessed only now" if one is None else "assessed only before"
            rows.append((zone, _said(one), _said(other), gone))
            continue
        if (one.outcome, one.gate, one.method) == (other.outcome, other.gate, other.method):
            continue
        changed = {"records": one.records != other.records, "rules": rules, "policy": agreed}
        named = [name for name, holds in changed.items() if holds] or [SHARED]
        rows.append((zone, _said(one), _said(other), f"{' and '.join(named)} changed since"))
    return table(rows, COLUMNS)


def same_policy(now: SavedAssessment, before: SavedAssessment) -> bool:
    """Whether two assessments rest on the same policy: by its values where both hold them."""
    if now.policy_values is None or before.policy_values is None:
        return now.policy == before.policy
    return now.policy_values == before.policy_values


def _said(one: SavedZone | None) -> str:
    """Outcome with the gate that decides and the method."""
    if one is None:
        return ""
    gate = f", gate {one.gate}" if one.gate else ""
    return f"{one.outcome}{gate}{f', {one.method}' if one.method else ''}"

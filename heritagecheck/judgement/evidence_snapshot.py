"""The evidence behind an answer as a hash, printed, saved and signed; what changed since."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from heritagecheck.cards import table
from heritagecheck.evidence.trials.other_panels import area_spoken_for, zones_that_speak
from heritagecheck.judgement.policy import Policy
from heritagecheck.sentences import count_of
from heritagecheck.survey.records import (
    TABLE_OF,
    Panel,
    Reading,
    SectionReading,
    Setting,
    SiteTest,
    Spot,
    Zone,
)
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.team import OF_MEETINGS, SCHEME, SNAPSHOT
from heritagecheck.survey.store.saved_assessment import (
    FIRST,
    NEWEST,
    SavedAssessment,
    SavedZone,
    line_signed,
    lines_checksum,
)
from heritagecheck.survey.survey import Survey

if TYPE_CHECKING:
    import pandas as pd

SPENT, AREA = "counted to", "area that panels speak for"
# Of other zones only their trials count here.
OF_OTHERS = (Panel, Setting, SiteTest, Spot, SectionReading)


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The evidence of a zone at one moment: one hash over all, and one for each kind of record."""

    evidence: str
    by_kind: str


def evidence_hash(survey: Survey, zone: Zone, *, scheme: int = NEWEST) -> str:
    """
    Fingerprint of the records on which the answer for one zone rests.

    First 12 hexadecimal digits of a SHA-256: those that a saved assessment keeps.
    """
    lines = _lines(survey.still(), zone, scheme)
    return lines_checksum(_counted_to(survey).union(*lines.values()))


def evidence_snapshot(survey: Survey, zone: Zone, *, scheme: int = NEWEST) -> Snapshot:
    """
    What a decision and its signatures are given on.

    Parameters
    ----------
    survey : Survey
        The survey.
    zone : Zone
        The zone.
    scheme : int
        How records become lines (`survey/store/saved_assessment.py`); an earlier one only to look
        at what was signed in it.

    Returns
    -------
    Snapshot
        `evidence` is the hash that the zone's page prints; `by_kind` holds, separated by
        semicolons, the scheme, and how many records of each kind lie behind the answer, with the
        hash of each kind.
    """
    # Which beds are alike is worked out once for a survey, which must not change meanwhile.
    survey = survey.still()
    lines, day = _lines(survey, zone, scheme), _counted_to(survey)
    parts = [f"{kind} {len(some)} {lines_checksum(some)}" for kind, some in lines.items()]
    head = [] if scheme == FIRST else [f"{SCHEME} {scheme}"]
    return Snapshot(
        lines_checksum(day.union(*lines.values())),
        "; ".join((*head, *(f"{SPENT} {one}" for one in day), *parts)),
    )


def scheme_of(snapshot: str) -> int:
    """Scheme of a snapshot; those of 2026.7 do not name theirs."""
    found = SNAPSHOT.fullmatch(snapshot)
    return int((found and found["scheme"]) or FIRST)


def _counted_to(survey: Survey) -> set[str]:
    """The day to which the age of records is counted, as a line that is signed."""
    closed = survey.closed_on
    return {f"closed {closed}" if closed else f"open on {survey.day}"}


def _lines(survey: Survey, zone: Zone, scheme: int) -> dict[str, set[str]]:
    """Lines of the records behind the answer for a zone, by kind."""
    telling, warning = zones_that_speak(survey, zone)
    lines: dict[str, set[str]] = {}
    for record in _records(survey, zone.zone, (*telling, *warning), scheme):
        lines.setdefault(_kind(record, zone.zone), set()).add(line_signed(record, scheme))
    if scheme > FIRST:
        # The number of panels required grows with the area of all zones for which they count.
        for one in telling:
            if survey.of_zone(one.zone, Panel):
                area = f"{one.zone} {area_spoken_for(survey, one):.9g}"
                lines.setdefault(AREA, set()).add(area)
    return lines


def _records(
    survey: Survey, zone: str, speaking: tuple[Zone, ...], scheme: int
) -> Iterator[Record]:
    """Records on which the answer for a zone rests; what the team said of it is none of them."""
    for kind, found in survey.by_zone[zone].items():
        if kind not in OF_MEETINGS:
            yield from found
    for other in speaking:
        yield other
        for part in OF_OTHERS:
            yield from survey.of_zone(other.zone, part)
    if scheme > FIRST:
        for session in {one.session for one in survey.of_zone(zone, Reading)}:
            yield from survey.tiles_by_session.get(session or "", ())


def _kind(record: Record, zone: str) -> str:
    """Kind of a record, and its zone where trials on another one count."""
    other = getattr(record, "zone", zone)
    kind = TABLE_OF[type(record)]
    return kind if other == zone else f"{kind} of {other}"


def differences(then: str, now: str) -> tuple[str, ...]:
    """How two snapshots of one scheme differ, kind by kind, in words."""
    before, today = _parts(then), _parts(now)
    return tuple(
        _said(kind, before.get(kind), today.get(kind))
        for kind in dict.fromkeys((*before, *today))
        if before.get(kind) != today.get(kind)
    )


def _parts(snapshot: str) -> dict[str, tuple[int, str]]:
    """Kinds of a snapshot, each with its count and its hash; the day has no count."""
    found = {}
    for part in snapshot.split("; "):
        if part.startswith(f"{SPENT} "):
            found[SPENT] = (0, part.removeprefix(f"{SPENT} "))
        elif not part.startswith(f"{SCHEME} "):
            kind, count, digits = part.rsplit(" ", 2)
            found[kind] = (int(count), digits)
    return found


def _said(kind: str, before: tuple[int, str] | None, after: tuple[int, str] | None) -> str:
    """Say how one kind of evidence changed."""
    if kind == SPENT and before and after:
        return f"age of records: survey {before[1]} then, {after[1]} now"
    if kind == AREA:
        return f"{kind}: changed"
    name = kind.replace("_", " ")
    if before is None or after is None:
        some = before or after
        assert some is not None
        change = "new" if before is None else "gone"
        return f"{name}: {count_of(some[0], 'record')} {change}"
    if before[0] != after[0]:
        return f"{name}: {count_of(before[0], 'record')} then, {after[0]:,} now"
    return f"{name}: changed among {count_of(after[0], 'record')}"


# -- A saved assessment ----------------------------------------------------------------------------

COLUMNS = ("zone", "before", "now", "why")
SHARED = "records that several zones share"
# Outcome, gate that decides, and method.
Answer = tuple[str, int | None, str]


def saved_answer(one: SavedZone) -> Answer:
    """Saved answer for a zone."""
    return one.outcome, one.gate, one.method


def answer_in_words(answer: Answer) -> str:
    """Outcome with the gate that decides and the method."""
    outcome, gate, method = answer
    named = f", {method.replace('_', ' ')}" if method else ""
    return f"{outcome}{f', gate {gate}' if gate else ''}{named}"


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
    first = {one.zone: one for one in before.zones}
    then = {one.zone: one for one in now.zones}
    rules = (before.version, before.rules, before.tables) != (now.version, now.rules, now.tables)
    agreed = not same_policy(now, before) or before.seed != now.seed
    rows = []
    for zone in dict.fromkeys((*first, *then)):
        one, other = first.get(zone), then.get(zone)
        was, is_ = (answer_in_words(saved_answer(held)) if held else "" for held in (one, other))
        if one is None or other is None:
            gone = "assessed only now" if one is None else "assessed only before"
            rows.append((zone, was, is_, gone))
        elif saved_answer(one) != saved_answer(other):
            changed = {"records": one.records != other.records, "rules": rules, "policy": agreed}
            named = [name for name, holds in changed.items() if holds] or [SHARED]
            rows.append((zone, was, is_, f"{' and '.join(named)} changed since"))
    return table(rows, COLUMNS)


def same_policy(now: SavedAssessment, before: SavedAssessment) -> bool:
    """Whether two assessments rest on the same policy: by its values where both hold them."""
    if now.policy_values is None or before.policy_values is None:
        return now.policy == before.policy
    return now.policy_values == before.policy_values

"""What still waits on a zone: how soon someone must act, what is watched, what is not known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.series_verdict import TrialVerdict
from heritagecheck.judgement.options import OptionKey
from heritagecheck.sentences import day_in_words, lower_first
from heritagecheck.survey.records.structure import WHOLLY_VALUED
from heritagecheck.tables import threshold
from heritagecheck.tables.ages import return_on
from heritagecheck.tables.conditions import asks, holds
from heritagecheck.tables.row_types import MonitoringRow, Quantity, SiteRule, Soiling, Topic

# -- How soon someone must act ---------------------------------------------------------------------

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


class Urgency(NamedTuple):
    """How soon someone must act, in words, by which day where there is one, and why."""

    words: str
    act_by: date | None
    reasons: tuple[str, ...]


def urgency_turn(words: str, act_by: date | None) -> tuple[bool, bool, date]:
    """Place in a list: make safe first, then by the day, then what is not urgent."""
    return not words, words != MAKE_SAFE, act_by or date.max


def urgency_of(evidence: ZoneEvidence) -> Urgency:
    """How soon someone must act; reported with the outcome, never a part of it."""
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
            reasons.append(f"{words} ({lower_first(do)})")
    beyond = evidence.finding("engineer_limit") == "beyond"
    if beyond:
        reasons.append(BEYOND)
    now = beyond or "yes" in (
        evidence.finding("falling_material"),
        evidence.finding("lead_shedding"),
    )
    if evidence.finding("stone_jacking") == "yes":
        by = evidence.zone.next_access or return_on(evidence.survey_date, 365)
    limit = evidence.limit
    if limit is not None and limit.probability > threshold("urgency_probability"):
        reasons.append(str(limit))
        due = evidence.survey_date + timedelta(days=int(limit.years_to_5_pct * 365.25))
        by = min(by, due) if by else due
    if now:
        return Urgency(MAKE_SAFE, None, tuple(reasons))
    return Urgency(f"act by {day_in_words(by)}" if by else "", by, tuple(reasons))


def urgency_not_looked_at(evidence: ZoneEvidence) -> tuple[str, ...]:
    """
    Questions of urgency that nobody answered on a zone, so that silence is not taken for *no*.
    """
    return tuple(
        row.question
        for row in Topic.rows()
        if row.gate == "urgency"
        and row.kind in {"all", evidence.substrate.kind}
        and holds(row.asked_where, evidence.facts) is not False
        and evidence.finding(row.topic) is None
    )


# -- What is watched -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Monitoring:
    """What is watched, how, and what brings someone back."""

    indicator: str
    method: str
    trigger: str
    return_on: date

    def __str__(self) -> str:
        """Give the watch in a sentence."""
        return (
            f"watch the {self.indicator} ({self.method}); trigger: {self.trigger}; "
            f"return by {day_in_words(self.return_on)}"
        )


def monitoring_of(outcome: str, evidence: ZoneEvidence) -> Monitoring:
    """What is watched on a zone, and when someone returns."""
    facts = {**evidence.facts, "outcome": frozenset({outcome})}
    row = next(row for row in MonitoringRow.rows() if holds(row.when, facts))
    return Monitoring(
        row.indicator,
        row.method,
        row.trigger,
        return_on(evidence.survey_date, row.interval_days),
    )


# -- What is not known -----------------------------------------------------------------------------

# Asked for work alone.
FOR_WORK = {"controls", "consent", "containment", "lead_exposure", "season"}


@dataclass(frozen=True, slots=True)
class Gap:
    """Something not known, why, what would settle it, and the table in which that is written."""

    what: str
    why: str
    what_to_do: str
    table: str

    def __str__(self) -> str:
        """Give what is missing and what would settle it."""
        why = f" ({self.why})" if self.why else ""
        return f"{self.what}{why}: {self.what_to_do}" if self.what_to_do else f"{self.what}{why}"


def gaps_of(
    evidence: ZoneEvidence, trials: Mapping[OptionKey, TrialVerdict], *, work_meant: bool
) -> Iterable[Gap]:
    """Everything not known about a zone, and what would settle it."""
    for topic in Topic.rows():
        if topic.kind not in {"all", evidence.substrate.kind}:
            continue
        if not holds(topic.asked_where, evidence.facts):
            continue
        if topic.topic in FOR_WORK and not work_meant:
            continue
        if topic.topic == "lead" and evidence.lead != "unknown":
            continue
        # An answer "no" on a coating leaves lead open, and so does a test that shows too little.
        if evidence.finding(topic.topic) is None or topic.topic == "lead":
            observation = evidence.observations.get(topic.topic)
            why = (observation.not_recorded_because or "") if observation else "not recorded"
            table = "site_tests" if topic.topic == "lead" else "observations"
            yield Gap(topic.question.rstrip("?"), why, topic.what_to_do, table)
    yield from _of_the_surface(evidence)
    yield from _of_valued_layers(evidence)
    if evidence.colour is None and not evidence.metal:
        yield Gap(
            "Colour against clean stone", evidence.colour_note,
            "Ten or more dry readings each of soiled and reference stone, one set-up", "readings",
        )  # fmt: skip
    for test in evidence.tests:
        if test.value is None:
            row = Quantity.named(test.quantity)
            yield Gap(row.name, test.not_measured_because or "", row.what_to_do, "site_tests")
    for verdict in trials.values():
        hanging = [check for check in verdict.checks if check.holds is None]
        # A series with a gap says so once; what the gap leaves open follows from it.
        whole = hanging[:1] if any(check.name == "replicates" for check in hanging) else hanging
        if whole:
            words = "; ".join(check.words for check in whole)
            do = "; ".join(dict.fromkeys(check.what_to_do for check in whole))
            yield Gap(f"Trial series {verdict.series}", words, do, "panels")


def _of_the_surface(evidence: ZoneEvidence) -> Iterable[Gap]:
    """What nobody assessed of the substrate and of the layers on it."""
    if evidence.zone.condition == "not_assessed":
        yield Gap(
            "Condition of the substrate", "not assessed",
            "Look in raking light at ×10 and tap; touch nothing that may be loose or painted",
            "zones",
        )  # fmt: skip
    assessed = {one.soiling for one in evidence.layers if one.value != "not_assessed"}
    for code in evidence.zone.soiling_codes:
        if code not in assessed:
            yield Gap(
                f"Whether the {Soiling.named(code).name} is itself of value",
                "not recorded" if code in evidence.undescribed else "not assessed",
                "Lens and raking light; records of the structure; else a cross-section",
                "layers",
            )  # fmt: skip


def _of_valued_layers(evidence: ZoneEvidence) -> Iterable[Gap]:
    """Layers of value of which nobody says what they are made of."""
    for layer in evidence.layers:
        if layer.value in WHOLLY_VALUED and layer.made_of is None:
            name = Soiling.named(layer.soiling).name
            yield Gap(
                f"What the {name} of value is made of", "not recorded",
                "Lens and raking light; a specialist where it could be writing or paint", "layers",
            )  # fmt: skip

"""What stands beside every outcome: urgency, what is not known, cautions, the watch."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta

from heritagecheck import tables
from heritagecheck.evidence.zone_evidence import WHOLLY_VALUED, ZoneEvidence
from heritagecheck.judgement.gates.gate_7_panels.verdict import TrialVerdict
from heritagecheck.judgement.gates.zone_gates import TRIAL
from heritagecheck.judgement.options import Option
from heritagecheck.judgement.recommendation import Gap, Monitoring
from heritagecheck.tables.cautions import ALWAYS, Caution, of_outcome, usual_cautions
from heritagecheck.tables.conditions import holds

MAKE_SAFE = "make safe"
# Asked for work alone.
FOR_WORK = {"controls", "consent", "containment", "lead_exposure", "season"}
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
    """
    How soon someone must act, beside the outcome and never inside it.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.

    Returns
    -------
    tuple of str and tuple of str
        ``"make safe"``, ``"act by DATE"`` or nothing; and the reasons.
    """
    reasons = []
    by = None
    for topic, words in URGENT.items():
        if evidence.finding(topic) == "yes":
            do = tables.keyed("topics", "topic")[topic]["what_to_do"]
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
    if limit is not None and limit.probability > tables.threshold("urgency_probability"):
        reasons.append(str(limit))
        due = evidence.survey_date + timedelta(days=int(limit.years_to_5_pct * 365.25))
        by = min(by, due) if by else due
    if now:
        return MAKE_SAFE, tuple(reasons)
    return (f"act by {by}" if by else ""), tuple(reasons)


def urgency_not_looked_at(evidence: ZoneEvidence) -> tuple[str, ...]:
    """
    Questions of urgency that nobody answered on a zone, so that silence is not taken for *no*.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.

    Returns
    -------
    tuple of str
        The questions, in the order in which they are asked.
    """
    return tuple(
        row["question"]
        for row in tables.rows("topics")
        if row["gate"] == "urgency"
        and row["kind"] in {"all", evidence.substrate["kind"]}
        and holds(row["asked_where"], evidence.facts) is not False
        and evidence.finding(row["topic"]) is None
    )


def gaps_of(
    evidence: ZoneEvidence, trials: Mapping[str, TrialVerdict], *, work_meant: bool
) -> Iterable[Gap]:
    """
    Everything not known about a zone, and what would settle it.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    trials : mapping of str to TrialVerdict
        What its panels show.
    work_meant : bool
        Whether work is proposed; else nobody needs consent or controls for it.

    Returns
    -------
    iterable of Gap
    """
    for topic in tables.rows("topics"):
        if topic["kind"] not in {"all", evidence.substrate["kind"]}:
            continue
        if not holds(topic["asked_where"], evidence.facts):
            continue
        if topic["topic"] in FOR_WORK and not work_meant:
            continue
        if topic["topic"] == "lead" and evidence.lead != "unknown":
            continue
        # An answer "no" on a coating leaves lead open, and so does a test that shows too little.
        if evidence.finding(topic["topic"]) is None or topic["topic"] == "lead":
            observation = evidence.observations.get(topic["topic"])
            why = (observation.not_recorded_because or "") if observation else "not recorded"
            yield Gap(topic["question"].rstrip("?"), why, topic["what_to_do"])
    yield from _of_valued_layers(evidence)
    if evidence.colour is None and not evidence.metal:
        yield Gap(
            "Colour against clean stone", evidence.colour_note,
            "Ten or more dry readings each of soiled and reference stone, one set-up",
        )  # fmt: skip
    for test in evidence.tests:
        if test.value is None:
            row = tables.keyed("quantities", "quantity")[test.quantity]
            yield Gap(row["name"], test.not_measured_because or "", row["what_to_do"])
    for verdict in trials.values():
        hanging = [check for check in verdict.checks if check.holds is None]
        # A series with a gap says so once; what the gap leaves open follows from it.
        whole = hanging[:1] if any(check.name == "replicates" for check in hanging) else hanging
        if whole:
            words = "; ".join(check.words for check in whole)
            do = "; ".join(dict.fromkeys(check.what_to_do for check in whole))
            yield Gap(f"Trial series {verdict.series}", words, do)


def _of_valued_layers(evidence: ZoneEvidence) -> Iterable[Gap]:
    """Layers of value of which nobody says what they are made of."""
    for layer in evidence.layers:
        if layer.value in WHOLLY_VALUED and layer.made_of is None:
            name = tables.keyed("soilings", "soiling")[layer.soiling]["name"]
            yield Gap(
                f"What the {name} of value is made of", "not recorded",
                "Lens and raking light; a specialist where it could be writing or paint",
            )  # fmt: skip


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


def monitoring_of(outcome: str, evidence: ZoneEvidence) -> Monitoring:
    """
    What is watched on a zone, and when someone returns.

    Parameters
    ----------
    outcome : str
        Outcome of the zone: what was taken off is not watched any more.
    evidence : ZoneEvidence
        Evidence of the zone.

    Returns
    -------
    Monitoring
        First row of `tables/monitoring.csv` that fits.
    """
    facts = {**evidence.facts, "outcome": frozenset({outcome})}
    row = next(row for row in tables.rows("monitoring") if holds(row["when"], facts))
    return Monitoring(
        row["indicator"],
        row["method"],
        row["trigger"],
        evidence.survey_date + timedelta(days=int(row["interval_days"])),
    )

"""Decisions of the team on a recommendation: what may be decided, and what changed since."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from heritagecheck.judgement.evidence_snapshot import (
    differences,
    evidence_snapshot,
    scheme_of,
)
from heritagecheck.judgement.gates.gate import CLEAN, PASSED, TRIAL
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.sentences import day_in_words
from heritagecheck.survey.checks.contradictions import last_opinions
from heritagecheck.survey.records import (
    Decision,
    Meeting,
    OpenQuestion,
    Opinion,
    Signature,
    Zone,
)
from heritagecheck.survey.records.team import NOT_DECIDED, WORK
from heritagecheck.survey.store.saved_assessment import line_signed, lines_checksum
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.methods import brief_method

KNOWN_FIRST = 5  # the gate of lead, coatings and structure, which no override waives


def changes_of_evidence(decision: Decision, survey: Survey) -> tuple[str, ...]:
    """
    What changed in the evidence of a zone since it was decided.

    Returns
    -------
    tuple of str
        Kind by kind, such as ``"readings: 12 records then, 14 now"``; empty where nothing changed.
    """
    zone = next((one for one in survey.all(Zone) if one.zone == decision.zone), None)
    if zone is None:
        return (f"zone {decision.zone} is not in the survey any more",)
    now = evidence_snapshot(survey, zone, scheme=scheme_of(decision.snapshot))
    if now.evidence == decision.evidence:
        return ()
    return differences(decision.snapshot, now.by_kind) or ("records changed",)


def why_not_decided(recommendation: Recommendation, decision: Decision) -> tuple[str, ...]:
    """
    Why a decision on a recommendation cannot be recorded.

    Returns
    -------
    tuple of str
        A sentence for each reason; empty where it can be recorded. An override may go against a
        judgement, never against a hard stop, a method ruled out, or what is not known of lead and
        structure.
    """
    return tuple(_refusals(recommendation, decision))


def _refusals(recommendation: Recommendation, decision: Decision) -> Iterator[str]:
    zone, method = recommendation.zone, decision.method
    soilings = recommendation.evidence.zone.soiling_codes
    if decision.recommended != recommendation.outcome:
        yield (
            f"{zone}: the recommendation is {recommendation.outcome} now, no longer "
            f"{decision.recommended}. Look at it again before you decide."
        )
    if decision.outcome not in WORK:
        return
    if not decision.override:
        if method != recommendation.method:
            named = recommendation.method and brief_method(recommendation.method, soilings)
            yield (
                f"{zone}: {recommendation.outcome} is recommended "
                + (f"with {named} only." if named else "without a method: try nothing yet.")
                + " Another method is not covered by this evidence."
            )
        return
    if method is None:
        yield f"{zone}: name the method. An override is decided for one method only."
        return
    name = brief_method(method, soilings)
    for stop in recommendation.ruled_out.get(method, ()):
        kind = "a hard stop" if stop.hard else "a rule"
        yield f"{zone}: {name} is ruled out by {kind} ({stop}). No override lifts it."
    if method not in recommendation.ruled_out and method not in recommendation.candidates:
        yield f"{zone}: {name} is not among the methods that are open for this zone."
    gate = recommendation.gates[KNOWN_FIRST - 1]
    if gate.result != PASSED:
        yield (
            f"{zone}: gate {gate.number} is {gate.result} ({gate.reason}). No override waives what "
            "must be known of lead, coatings and structure."
        )


@dataclass(frozen=True, slots=True)
class DecisionState:
    """
    A decision with all that its meeting said of the zone, and what holds of it now.

    `changed` says what changed in the evidence since; `answer_now` is the outcome recommended now
    where it is another. `void` says why it can't be acted on: a hard stop, a method ruled out.
    `otherwise` is true where another outcome or method was decided than is recommended now.
    `signatures` are those over this decision, `outdated` those over another wording of it.
    """

    decision: Decision
    meeting: Meeting
    signatures: tuple[Signature, ...]
    outdated: tuple[Signature, ...]
    opinions: tuple[Opinion, ...]
    questions: tuple[OpenQuestion, ...]
    changed: tuple[str, ...]
    answer_now: str = ""
    void: tuple[str, ...] = ()
    otherwise: bool = False

    @property
    def dissents(self) -> tuple[Opinion, ...]:
        """Opinions with a dissent."""
        return tuple(one for one in self.opinions if one.dissent)

    @property
    def vetoes(self) -> tuple[Opinion, ...]:
        """Opinions with a veto, of those that each member gave last."""
        return tuple(one for one in last_opinions(self.opinions).values() if one.veto)

    @property
    def no_work(self) -> str:
        """Why recommended work is not handed on: the team decided otherwise on this evidence."""
        if not self.otherwise or self.changed:
            return ""
        day = day_in_words(self.meeting.held_on)
        return f"No work. On {day} the team decided: {self.decision.in_words}"

    @property
    def in_words(self) -> str:
        """What was decided, and whether the evidence is still the same, in a sentence."""
        said = f"{self.decision.zone}: {self.decision.in_words}"
        if not self.changed:
            return said
        since = "signing" if self.signatures else "the decision"
        return f"{said}. Evidence changed since {since}"


def decision_hash(decision: Decision) -> str:
    """First 12 digits of the SHA-256 of a decision, over which signatures are given."""
    return lines_checksum({line_signed(decision, scheme_of(decision.snapshot))})


def signature_of(
    decision: Decision, *, signer: str, signed_at: str, name: str | None = None
) -> Signature:
    """A signature under a decision, over its wording and the evidence that it was given on."""
    return Signature(
        meeting=decision.meeting, zone=decision.zone, signer=signer, signed_at=signed_at,
        evidence=decision.evidence, decision=decision_hash(decision), name=name,
    )  # fmt: skip


def last_decision(survey: Survey, zone: str) -> Decision | None:
    """What was decided for a zone last."""
    # Of two meetings on one day the one recorded later is the last.
    held = {one.meeting: (one.held_on, place) for place, one in enumerate(survey.all(Meeting))}
    decided = survey.of_zone(zone, Decision)
    return max(decided, key=lambda one: held[one.meeting], default=None)


def decision_state(
    survey: Survey, recommendation: Recommendation, *, meeting: str | None = None
) -> DecisionState | None:
    """
    The last decision for a zone, or that of one meeting, and what holds of it now.

    Parameters
    ----------
    survey : Survey
        The survey.
    recommendation : Recommendation
        What is recommended for the zone now.
    meeting : str, optional
        Code of a meeting; the last that decided the zone where none is named.

    Returns
    -------
    DecisionState or None
        None where no meeting, or not this one, decided anything for the zone.
    """
    zone = recommendation.zone
    decision = (
        last_decision(survey, zone)
        if meeting is None
        else next((one for one in survey.of_zone(zone, Decision) if one.meeting == meeting), None)
    )
    if decision is None:
        return None
    now = decision.model_copy(update={"recommended": recommendation.outcome})
    # What today's answer does not cover is reported as a change, not as a hard stop.
    void = why_not_decided(recommendation, now) if now.override and decision.outcome in WORK else ()
    if decision.outcome == CLEAN and now.override:
        void = (f"{zone}: {recommendation.outcome} is recommended now, so nothing may be cleaned.",)
    same = recommendation.outcome == decision.recommended
    return replace(
        decision_record(survey, decision),
        answer_now="" if same else recommendation.outcome,
        void=void,
        otherwise=decision.outcome != NOT_DECIDED
        and (decision.outcome, decision.method) != (recommendation.outcome, recommendation.method),
    )


def no_work(assessment: Assessment, zone: str) -> str:
    """Why the work recommended for a zone is handed to nobody; empty where it is, or none is."""
    recommendation = assessment.zone(zone)
    state = decision_state(assessment.survey, recommendation)
    return state.no_work if state and recommendation.outcome in {CLEAN, TRIAL} else ""


def decision_record(survey: Survey, decision: Decision) -> DecisionState:
    """A decision with the opinions of its meeting, without a current recommendation."""
    zone, code, digits = decision.zone, decision.meeting, decision_hash(decision)
    signed = [one for one in survey.of_zone(zone, Signature) if one.meeting == code]
    return DecisionState(
        decision=decision,
        meeting=next(one for one in survey.all(Meeting) if one.meeting == code),
        signatures=tuple(one for one in signed if one.decision == digits),
        outdated=tuple(one for one in signed if one.decision != digits),
        opinions=tuple(one for one in survey.of_zone(zone, Opinion) if one.meeting == code),
        questions=tuple(one for one in survey.of_zone(zone, OpenQuestion) if one.meeting == code),
        changed=changes_of_evidence(decision, survey),
    )

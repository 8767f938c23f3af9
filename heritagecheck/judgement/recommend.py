"""Gates and least harm together: one recommendation for each zone, with its reasons and doubt."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from heritagecheck import tables
from heritagecheck.cards import table
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.gather import (
    ZoneEvidence,
    evidence_table,
    gather,
)
from heritagecheck.judgement.gates import (
    CLEAN,
    MONITOR,
    PASSED,
    TRIAL,
    Case,
    Gate,
    all_gates,
    housekeeping_row,
    outcome_of,
)
from heritagecheck.judgement.harm import Draws
from heritagecheck.judgement.options import Option, Stop, options_for, ruled_out_methods
from heritagecheck.judgement.policy import CRITERIA, Policy, agreed_policy
from heritagecheck.judgement.precaution import AgainstLeaving, precaution, trial_worth
from heritagecheck.judgement.trial_check import TrialVerdict, trial_verdict
from heritagecheck.survey.records import Zone
from heritagecheck.survey.store import Survey
from heritagecheck.tables.conditions import holds

if TYPE_CHECKING:
    import pandas as pd

TABLE_COLUMNS = (
    "zone", "name", "elevation", "area_m2", "outcome", "urgency", "gate", "reason", "method",
    "least share favouring treatment",
)  # fmt: skip
MAKE_SAFE = "make safe"
INVESTIGATE = "investigate first"


@dataclass(frozen=True, slots=True)
class Gap:
    """Something not known, why, and what would settle it."""

    what: str
    why: str
    what_to_do: str

    def __str__(self) -> str:
        """Give what is missing and what would settle it."""
        why = f" ({self.why})" if self.why else ""
        return f"{self.what}{why}: {self.what_to_do}" if self.what_to_do else f"{self.what}{why}"


@dataclass(frozen=True, slots=True)
class Caution:
    """A hazard, and what is usual against it."""

    hazard: str
    words: str
    source_id: str

    def __str__(self) -> str:
        """Give hazard and words."""
        return f"{self.hazard}: {self.words}"


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
            f"return by {self.return_on}"
        )


@dataclass(frozen=True, eq=False)
class Recommendation:
    """
    What is recommended for one zone. Written for approval; never permission to work.

    `shares` is the share of draws that favour treatment, given these ratings, weights and
    records, member by member; it is empty where no method is left to weigh.
    """

    zone: str
    name: str
    outcome: str
    urgency: str
    urgency_reasons: tuple[str, ...]
    sentence: str
    method: str | None
    setting: str
    candidates: tuple[str, ...]
    gates: tuple[Gate, ...]
    conditions: tuple[str, ...]
    shares: Mapping[str, float]
    against_leaving: Mapping[str, AgainstLeaving]
    harm_of_leaving: Mapping[str, tuple[float, float, float]]
    ruled_out: Mapping[str, tuple[Stop, ...]]
    undecided: Mapping[str, tuple[Stop, ...]]
    trials: Mapping[str, TrialVerdict]
    gaps: tuple[Gap, ...]
    cautions: tuple[Caution, ...]
    monitoring: Monitoring
    evidence: ZoneEvidence

    @property
    def deciding_gate(self) -> Gate | None:
        """First gate that does not pass; None where all do."""
        return next((gate for gate in self.gates if gate.result != PASSED), None)

    @property
    def least_share(self) -> float | None:
        """Least share of draws that favour treatment, over the members."""
        return min(self.shares.values()) if self.shares else None

    def gates_table(self) -> pd.DataFrame:
        """
        All gates in order.

        Returns
        -------
        pandas.DataFrame
            Columns gate, question, result, reason, records.
        """
        return table(
            [
                (gate.number, gate.question, gate.result, gate.reason, ", ".join(gate.records))
                for gate in self.gates
            ],
            columns=["gate", "question", "result", "reason", "records"],
        )

    def harm_table(self) -> pd.DataFrame:
        """
        Harm of leaving and of each option weighed, 0 (none) to 10 (worst).

        Returns
        -------
        pandas.DataFrame
            Columns option, criterion, mean, low, high (90 % range).
        """
        options = {"leave": self.harm_of_leaving} | {
            key: test.harm for key, test in self.against_leaving.items()
        }
        return table(
            [
                (key, criterion, *harm[criterion])
                for key, harm in options.items()
                for criterion in CRITERIA
            ],
            columns=["option", "criterion", "mean", "low", "high"],
        )

    def ruled_out_table(self) -> pd.DataFrame:
        """
        Methods ruled out, by rule and source.

        Returns
        -------
        pandas.DataFrame
            Columns method, rule, hard stop, reason, source.
        """
        found = [
            (method_name(method), stop.rule, stop.hard, stop.reason, stop.source_id)
            for method, stops in self.ruled_out.items()
            for stop in stops
        ]
        return table(
            sorted(found, key=lambda row: not row[2]),
            ["method", "rule", "hard stop", "reason", "source"],
        )

    def evidence_table(self) -> pd.DataFrame:
        """
        Measured evidence of the zone.

        Returns
        -------
        pandas.DataFrame
            Columns zone, quantity, mean, low, high, level, unit, records.
        """
        return evidence_table([self.evidence])

    def __str__(self) -> str:
        """Say it in a sentence."""
        return f"{self.zone}: {self.sentence}"


@dataclass(frozen=True, eq=False)
class Assessment:
    """One recommendation for each zone, with the policy, seed and tables it rests on."""

    survey: Survey
    policy: Policy
    seed: int
    recommendations: tuple[Recommendation, ...]

    def zone(self, code: str) -> Recommendation:
        """
        Recommendation for one zone.

        Parameters
        ----------
        code : str
            Code of the zone.

        Returns
        -------
        Recommendation

        Raises
        ------
        SurveyError
            The assessment holds no such zone.
        """
        for recommendation in self.recommendations:
            if recommendation.zone == code:
                return recommendation
        known = ", ".join(item.zone for item in self.recommendations)
        raise SurveyError([Fault("zones", None, "zone", code, f"there is none. Known: {known}")])

    @property
    def table(self) -> pd.DataFrame:
        """One row a zone: outcome, urgency, deciding gate, method, share of draws, area."""
        zones = {zone.zone: zone for zone in self.survey.all(Zone)}
        return table(
            [
                (
                    item.zone,
                    item.name,
                    zones[item.zone].elevation,
                    zones[item.zone].area_m2,
                    item.outcome,
                    item.urgency,
                    item.deciding_gate.number if item.deciding_gate else None,
                    item.deciding_gate.reason if item.deciding_gate else item.sentence,
                    method_name(item.method) if item.method else "",
                    item.least_share,
                )
                for item in self.recommendations
            ],
            TABLE_COLUMNS,
        ).astype({"gate": "Int64", "least share favouring treatment": "Float64"})

    def __str__(self) -> str:
        """Count the outcomes."""
        counts = self.table["outcome"].value_counts()
        words = ", ".join(f"{outcome} {counts.get(outcome, 0)}" for outcome in OUTCOMES)
        return f"{len(self.recommendations)} zones: {words}"


OUTCOMES = (CLEAN, TRIAL, MONITOR, "leave")


def method_name(code: str) -> str:
    """
    Name of a method as the trade says it.

    Parameters
    ----------
    code : str
        Code of `tables/methods.csv`.

    Returns
    -------
    str
    """
    return tables.keyed("methods", "method")[code]["name"]


def assess(
    survey: Survey,
    policy: Policy | None = None,
    seed: int = 0,
    zones: Sequence[str] | None = None,
) -> Assessment:
    """
    Recommend, zone by zone: clean, trial first, leave and monitor, or leave.

    Parameters
    ----------
    survey : Survey
        What was seen and measured.
    policy : Policy, optional
        Weights and precaution; the survey's agreed policy where none is given.
    seed : int
        Seed of the draws: the same seed gives the same answer.
    zones : sequence of str, optional
        Codes of the zones to assess; all where none is given. A zone's answer does not depend on
        which others are asked.

    Returns
    -------
    Assessment

    Raises
    ------
    SurveyError
        A zone is not in the survey, or its records contradict one another.

    Notes
    -----
    Gates come first, in the trade's order; no score buys past one. Least harm decides only what
    they leave open. The figures are shares of draws given rated tables, weights and records: they
    are not probabilities that the stone will or won't be harmed.

    Examples
    --------
    >>> import heritagecheck as hc
    >>> print(hc.assess(hc.demo_survey(), zones=["N04"]).zone("N04").outcome)
    leave
    """
    known = {zone.zone: zone for zone in survey.all(Zone)}
    asked = list(known) if zones is None else list(zones)
    missing = [code for code in asked if code not in known]
    if missing:
        raise SurveyError(
            Fault("zones", None, "zone", code, f"there is none. Known: {', '.join(known)}")
            for code in missing
        )
    policy = agreed_policy(survey) if policy is None else policy
    draws = Draws(seed)
    found = tuple(_recommend(gather(survey, known[code]), policy, draws) for code in asked)
    return Assessment(survey, policy, seed, found)


def _recommend(evidence: ZoneEvidence, policy: Policy, draws: Draws) -> Recommendation:
    """Judge one zone."""
    options = options_for(evidence)
    urgency, urgency_reasons = urgency_of(evidence)
    trials = {
        option.key: trial_verdict(option.series, evidence, policy, urgent=bool(urgency))
        for option in options
        if option.series is not None
    }
    housekeeping = housekeeping_row(evidence)
    if housekeeping is not None:
        options = _kept_to(options, housekeeping)
    left = [option for option in options if not option.ruled_out]
    eligible = [
        option
        for option in left
        if housekeeping is not None
        or (option.key in trials and trials[option.key].result == PASSED)
    ]
    tests, leaving = precaution(evidence, eligible or left, policy, draws)
    case = Case(
        evidence=evidence,
        options=options,
        trials=trials,
        tests=tests,
        housekeeping=housekeeping,
        trial_worth=trial_worth(evidence, left, policy, draws),
    )
    gates = all_gates(case)
    outcome = outcome_of(gates)
    chosen = _chosen(outcome, options, tests)
    stops = ruled_out_methods(options)
    return Recommendation(
        zone=evidence.zone.zone,
        name=evidence.zone.name,
        outcome=outcome,
        urgency=urgency,
        urgency_reasons=urgency_reasons,
        sentence=_sentence(outcome, gates, chosen),
        method=chosen.method if chosen else None,
        setting=chosen.setting if chosen else "",
        candidates=tuple(dict.fromkeys(option.method for option in left))[:4],
        gates=gates,
        conditions=tuple(condition for gate in gates for condition in gate.conditions),
        shares=tests[chosen.key].shares if chosen and chosen.key in tests else {},
        against_leaving=tests,
        harm_of_leaving=leaving,
        ruled_out=stops,
        undecided={
            option.method: option.questions
            for option in options
            if option.questions and not option.ruled_out
        },
        trials=trials,
        gaps=tuple(_gaps(evidence, trials)),
        cautions=tuple(_cautions(outcome, evidence, chosen, left)),
        monitoring=_monitoring(evidence),
        evidence=evidence,
    )


def _kept_to(options: tuple[Option, ...], housekeeping: Mapping[str, str]) -> tuple[Option, ...]:
    """Rule out whatever the listed housekeeping does not name."""
    named = housekeeping["methods"].split("|")
    stop = Stop(
        housekeeping["row"], False, "Listed housekeeping is done by its own methods only",
        housekeeping["source_id"],
    )  # fmt: skip
    return tuple(
        option
        if option.method in named
        else replace(option, stops=(*option.stops, stop), questions=())
        for option in options
    )


def _chosen(
    outcome: str, options: Sequence[Option], tests: Mapping[str, AgainstLeaving]
) -> Option | None:
    """Option recommended: the least harmful that passes, or the one to be tried first."""
    by_key = {option.key: option for option in options}
    if outcome == CLEAN:
        passing = [test for test in tests.values() if test.passed and by_key[test.option].open]
        return by_key[min(passing, key=lambda test: test.expected).option]
    if outcome == TRIAL and tests:
        return by_key[min(tests.values(), key=lambda test: test.expected).option]
    return None


def _sentence(outcome: str, gates: Sequence[Gate], chosen: Option | None) -> str:
    """Give the answer in a sentence."""
    deciding = next((gate for gate in gates if gate.outcome is not None), None)
    if deciding is None:
        name = chosen.name if chosen else ""
        return f"Clean, recommended for approval: {name}, inside the tested window"
    if outcome == TRIAL:
        head = "Trial first" if deciding.number >= 6 else f"Trial first ({INVESTIGATE})"
    else:
        head = outcome.capitalize()
    return f"{head}: {deciding.reason}"


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
    if evidence.finding("falling_material") == "yes":
        reasons.append("material is loose over people")
    if evidence.finding("lead_shedding") == "yes":
        reasons.append("lead paint is coming off")
    now = bool(reasons)
    by = None
    if evidence.finding("stone_jacking") == "yes":
        reasons.append("growing rust lifts stone or plates")
        by = evidence.zone.next_access or evidence.survey_date + timedelta(days=365)
    limit = evidence.limit
    if limit is not None and limit.probability > tables.threshold("urgency_probability"):
        reasons.append(str(limit))
        due = evidence.survey_date + timedelta(days=int(limit.years_to_5_pct * 365.25))
        by = min(by, due) if by else due
    if now:
        return MAKE_SAFE, tuple(reasons)
    return (f"act by {by}" if by else ""), tuple(reasons)


def _gaps(evidence: ZoneEvidence, trials: Mapping[str, TrialVerdict]) -> Iterable[Gap]:
    """Everything not known about the zone, and what would settle it."""
    for topic in tables.rows("topics"):
        if topic["kind"] not in {"all", evidence.substrate["kind"]}:
            continue
        if topic["topic"] in {"interior_seen", "closed_plan", "remote_access"} and (
            evidence.zone.exposure != "closed_section"
        ):
            continue
        if topic["topic"] in {"lead_shedding", "containment"} and not _coated(evidence):
            continue
        if topic["topic"] == "lead" and evidence.lead != "unknown":
            continue
        if evidence.finding(topic["topic"]) is None:
            observation = evidence.observations.get(topic["topic"])
            why = (observation.not_recorded_because or "") if observation else "not recorded"
            yield Gap(topic["question"].rstrip("?"), why, topic["what_to_do"])
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
        for check in verdict.checks:
            if check.holds is None:
                yield Gap(f"Trial series {verdict.series}", check.words, "Read the panels again")


def _coated(evidence: ZoneEvidence) -> bool:
    """Whether the zone carries a coating, or must be taken to."""
    return evidence.facts["coated"] == frozenset({"yes"})


def _cautions(
    outcome: str,
    evidence: ZoneEvidence,
    chosen: Option | None,
    candidates: Sequence[Option],
) -> Iterable[Caution]:
    """Usual cautions of the zone and of the methods that are spoken of."""
    spoken = [chosen] if chosen else []
    if outcome == TRIAL:
        spoken += list(candidates[:4])
    words = tables.keyed("outcome_cautions", "outcome")
    yield Caution(outcome.capitalize(), words[outcome]["words"], words[outcome]["source_id"])
    for row in tables.rows("cautions"):
        general = row["methods"] == "any" and holds(row["when"], evidence.facts)
        if row["caution"] == "CA19" and not spoken:
            continue
        special = row["methods"] != "any" and any(
            holds(row["methods"], option.facts) and holds(row["when"], option.facts)
            for option in spoken
        )
        if general or special:
            yield Caution(row["hazard"], row["words"], row["source_id"])
    yield Caution("Always", words["always"]["words"], words["always"]["source_id"])


def _monitoring(evidence: ZoneEvidence) -> Monitoring:
    """First row of the monitoring table that fits."""
    row = next(row for row in tables.rows("monitoring") if holds(row["when"], evidence.facts))
    return Monitoring(
        row["indicator"],
        row["method"],
        row["trigger"],
        evidence.survey_date + timedelta(days=int(row["interval_days"])),
    )

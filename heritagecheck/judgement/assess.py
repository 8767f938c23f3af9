"""Gates and least harm together: one recommendation a zone, with reasons and uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.zone_evidence import ZoneEvidence, gather
from heritagecheck.judgement.gates.case import Case
from heritagecheck.judgement.gates.gate import CLEAN, PASSED, TRIAL, Gate
from heritagecheck.judgement.gates.method_gates import as_listed, housekeeping_row, least_harmful
from heritagecheck.judgement.gates.next_trial import (
    fields_of_trial,
    first_trial,
)
from heritagecheck.judgement.gates.panel_gate import gentler_first, still_open
from heritagecheck.judgement.gates.sequence import all_gates, outcome_of
from heritagecheck.judgement.gates.series_verdict import trial_verdict
from heritagecheck.judgement.handover.cautions import cautions_of
from heritagecheck.judgement.handover.instruction import (
    Instruction,
    instruction_for,
    ready_conditions,
)
from heritagecheck.judgement.handover.urgency import (
    gaps_of,
    monitoring_of,
    urgency_not_looked_at,
    urgency_of,
)
from heritagecheck.judgement.handover.work_setting import WorkSetting, work_setting
from heritagecheck.judgement.harm.normal_draws import Draws
from heritagecheck.judgement.harm.simulations import goes_on
from heritagecheck.judgement.harm.treat_or_leave import AgainstLeaving, precaution, trial_worth
from heritagecheck.judgement.options import Option, OptionKey, Stop, options_for, ruled_out_methods
from heritagecheck.judgement.policy import Policy, agreed_policy
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.progress import Told, followed
from heritagecheck.sentences import upper_first
from heritagecheck.survey.records import Zone
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.ages import valid_until
from heritagecheck.tables.cautions import Caution

INVESTIGATE = "investigate first"
FIRST_GATE_OF_TRIALS = 7
LAST_GATE = 8
NAMED = 4  # methods named with an answer: more would be a catalogue


def assess(
    survey: Survey,
    policy: Policy | None = None,
    seed: int = 0,
    zones: Sequence[str] | None = None,
    *,
    progress: Told | None = None,
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
    progress : callable, optional
        Told how many zones are done, and of how many in all; else a notebook shows it by itself.

    Returns
    -------
    Assessment

    Raises
    ------
    SurveyError
        Something is missing without which nothing can be assessed, a zone is not in the survey,
        or its records contradict one another.

    Notes
    -----
    Gates come first, in the trade's order; no score can override one. Least harm decides only what
    they leave open. The figures are shares of draws given rated tables, weights and records: they
    are not probabilities that the stone will or won't be harmed.

    Examples
    --------
    >>> import heritagecheck as hc
    >>> print(hc.assess(hc.demo_survey(), zones=["N04"]).zone("N04").outcome)
    leave
    """
    survey = survey.complete(policy_given=policy is not None)
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
    found = []
    with followed(progress, "zones") as told:
        for code in asked:
            evidence = gather(survey, known[code], limits=policy.damage(known[code].significance))
            found.append(_recommend(evidence, policy, draws))
            told(len(found), len(asked))
    return Assessment(survey, policy, seed, tuple(found))


def _recommend(evidence: ZoneEvidence, policy: Policy, draws: Draws) -> Recommendation:
    """Judge one zone."""
    urgency = urgency_of(evidence)
    case = _case(evidence, policy, draws, urgent=bool(urgency.words))
    gates = all_gates(case)
    outcome = outcome_of(gates)
    chosen = _chosen(outcome, gates, case)
    named = _named(outcome, chosen, case)
    settings = _settings(case, chosen)
    cautions = tuple(cautions_of(outcome, evidence, chosen, named.told))
    instruction, effort = _work(outcome, chosen, case, settings, named.then, cautions, policy)
    until = valid_until(outcome, evidence.survey_date)
    return Recommendation(
        zone=evidence.zone.zone,
        name=evidence.zone.name,
        outcome=outcome,
        urgency=urgency.words,
        act_by=urgency.act_by,
        urgency_reasons=urgency.reasons,
        urgency_not_looked_at=urgency_not_looked_at(evidence),
        sentence=_sentence(gates, chosen),
        method=chosen.method if chosen else None,
        settings=settings,
        effort=effort,
        candidates=named.candidates,
        gates=gates,
        conditions=ready_conditions(
            outcome, _conditions(gates), chosen, instruction, evidence, until, named.then
        ),
        shares=case.tests[chosen.key].shares if chosen and chosen.key in case.tests else {},
        against_leaving=case.tests,
        harm_of_leaving=case.harm_of_leaving,
        goes_on=goes_on(evidence),
        ruled_out=ruled_out_methods(case.options),
        undecided=_undecided(case.options),
        trials=case.trials,
        gaps=tuple(gaps_of(evidence, case.trials, work_meant=_work_meant(gates))),
        usual_cautions=cautions,
        monitoring=monitoring_of(outcome, evidence),
        instruction=instruction,
        valid_until=until,
        evidence=evidence,
    )


def _work(
    outcome: str,
    chosen: Option | None,
    case: Case,
    settings: dict[OptionKey, WorkSetting],
    then: Sequence[str],
    cautions: tuple[Caution, ...],
    policy: Policy,
) -> tuple[Instruction | None, str]:
    """The instruction for the method chosen, and what its first trial takes."""
    if chosen is None:
        return None, ""
    evidence, setting = case.evidence, settings[chosen.key]
    # Panels that have a setting are finished at that setting.
    begun = outcome != TRIAL or setting.steps
    fields = "" if begun else fields_of_trial(evidence, chosen, policy)
    instruction = instruction_for(
        outcome, chosen, setting, evidence, policy,
        fields=fields, ruled_out=ruled_out_methods(case.options), then=then, cautions=cautions,
    )  # fmt: skip
    return instruction, "" if chosen.series else first_trial(evidence, fields, policy)


def _settings(case: Case, chosen: Option | None) -> dict[OptionKey, WorkSetting]:
    """Setting of each option that has panels, and of the one chosen."""
    return {
        option.key: work_setting(option, case.trials.get(option.key))
        for option in case.options
        if option.key in case.trials or option is chosen
    }


def _undecided(options: Sequence[Option]) -> dict[str, tuple[Stop, ...]]:
    """What is not recorded of each method that no rule has ruled out."""
    return {
        option.method: option.questions
        for option in options
        if option.questions and not option.ruled_out
    }


def _case(evidence: ZoneEvidence, policy: Policy, draws: Draws, *, urgent: bool) -> Case:
    """Everything that the gates of a zone look at."""
    found = options_for(evidence)
    trials = {
        option.key: trial_verdict(option, option.series, evidence, policy, urgent=urgent)
        for option in found
        if option.series is not None
    }
    row = housekeeping_row(evidence)
    options = as_listed(found, row)
    turn = still_open(evidence, options, trials)
    gentler = gentler_first(evidence, options, turn)
    passing = {key for key, verdict in trials.items() if verdict.result == PASSED}
    eligible = [
        option
        for option in options
        if (not option.ruled_out or option.waits)
        and (option.listed or (option.key in passing and not gentler[option.method]))
    ]
    left = [option for option in options if not option.ruled_out]
    tests, leaving = precaution(evidence, eligible or left, policy, draws)
    return Case(
        evidence=evidence,
        options=options,
        trials=trials,
        tests=tests,
        harm_of_leaving=leaving,
        housekeeping=row,
        trial_worth=partial(trial_worth, evidence, left, policy, draws),
        gentler=gentler,
        gentlest_first=tuple(turn),
    )


@dataclass(frozen=True, slots=True)
class _Named:
    """Methods named with an answer: the first, those to try after it, those it warns of."""

    candidates: tuple[str, ...]
    then: tuple[str, ...]
    told: tuple[Option, ...]


def _named(outcome: str, chosen: Option | None, case: Case) -> _Named:
    """Methods that are named: the one chosen first, then what might do as well, gentlest first."""
    # A series that only ages is waited for; while one lacks panels, another may be tried.
    verdict = None if chosen is None else case.trials.get(chosen.key)
    waited_for = verdict is not None and verdict.pending
    left = [option for option in case.options if not option.ruled_out]
    in_turn = sorted(left, key=lambda option: _place(option, chosen, case.gentlest_first))
    named = tuple(dict.fromkeys(option.method for option in in_turn))[:NAMED]
    spoken = [] if waited_for else [option for option in in_turn if option.method in named]
    to_try = outcome == TRIAL and bool(spoken)
    then = tuple(one for one in named[1:] if to_try and one in case.gentlest_first)
    # Where one method is to be tried alone, the hazards of others would hide its own.
    told = tuple(option for option in spoken if chosen is None or option.method in then)
    return _Named(named, then, told)


def _place(option: Option, chosen: Option | None, turn: Sequence[str]) -> int:
    """Turn of a method: the one named first, then what might do as well, gentlest first."""
    if chosen is not None and option.method == chosen.method:
        return -1
    return turn.index(option.method) if option.method in turn else len(turn)


def _conditions(gates: Sequence[Gate]) -> tuple[str, ...]:
    """Conditions up to the gate that decides; later gates add none."""
    last = next((gate.number for gate in gates if gate.outcome is not None), LAST_GATE)
    return tuple(words for gate in gates if gate.number <= last for words in gate.conditions)


def _chosen(outcome: str, gates: Sequence[Gate], case: Case) -> Option | None:
    """
    Option recommended: the least harmful that passes, or the one to be tried first.

    Where a hazard, the fabric or a cause is to be looked into first, nothing is to be tried yet. No
    method is named while a gentler one has no panels; two may stand side by side. A series that
    waits for its winter or for a reading is finished before another is begun, one that lacks only
    panels is carried on, and a method whose panels failed comes last.
    """
    by_key = {option.key: option for option in case.options}
    if outcome == CLEAN:
        best = least_harmful(case)
        return None if best is None else by_key[best.option]
    if outcome != TRIAL or _deciding(gates).number < FIRST_GATE_OF_TRIALS:
        return None

    def turn(test: AgainstLeaving) -> tuple[int, float]:
        verdict = case.trials.get(test.option)
        if verdict is None:
            return 2, test.expected
        return (0 if verdict.pending else 1 if verdict.needs_panels else 3), test.expected

    laid = {by_key[key].method for key in case.trials}
    first = case.come_first
    left = [
        test
        for test in case.tests.values()
        if not by_key[test.option].ruled_out
        and laid.issuperset(case.gentler[by_key[test.option].method])
        and (not first or by_key[test.option].method in first)
    ]
    return by_key[min(left, key=turn).option] if left else None


def _deciding(gates: Sequence[Gate]) -> Gate:
    """First gate that does not pass."""
    return next(gate for gate in gates if gate.outcome is not None)


def _work_meant(gates: Sequence[Gate]) -> bool:
    """Whether work is proposed, or waits only for what gate 8 asks."""
    outcome = outcome_of(gates)
    return outcome in {CLEAN, TRIAL} or _deciding(gates).number == LAST_GATE


def _sentence(gates: Sequence[Gate], chosen: Option | None) -> str:
    """Give the answer in a sentence."""
    outcome = outcome_of(gates)
    if outcome == CLEAN and chosen is not None:
        windowed = chosen.series is not None and chosen.series.windowed
        how = "inside the tested window" if windowed else "at the setting of its panels"
        if chosen.listed is not None:
            how = "as listed housekeeping"
        return f"Clean, recommended for approval: {chosen.name}, {how}"
    deciding = _deciding(gates)
    if outcome == TRIAL:
        head = (
            "Trial first"
            if deciding.number >= FIRST_GATE_OF_TRIALS
            else f"Trial first ({INVESTIGATE})"
        )
    else:
        head = outcome.capitalize()
    return f"{head}. {upper_first(deciding.reason)}"

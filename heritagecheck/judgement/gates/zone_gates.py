"""The trade's gates, in order: the first that does not pass sets the outcome."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from heritagecheck.evidence.lead import LAB, XRF, unshown
from heritagecheck.evidence.trials.panels import complete_values
from heritagecheck.evidence.zone_evidence import WHOLLY_VALUED, ZoneEvidence
from heritagecheck.judgement.gates.gate_7_panels.one_check import in_sentences
from heritagecheck.judgement.gates.gate_7_panels.verdict import (
    NOT_KNOWN,
    NOT_PASSED,
    PASSED,
    TrialVerdict,
)
from heritagecheck.judgement.gentlest import named
from heritagecheck.judgement.harm.treat_or_leave import AgainstLeaving
from heritagecheck.judgement.options import Option
from heritagecheck.survey.records import Observation
from heritagecheck.tables import keyed, threshold
from heritagecheck.tables.naming import brief_method
from heritagecheck.tables.validity import valid_until

LEAVE, MONITOR, TRIAL, CLEAN = "leave", "leave and monitor", "trial first", "clean"
CAUSE_WORDS = {
    "cause_moisture": "moisture",
    "cause_iron": "corroding iron",
    "cause_salts": "salts",
    "cause_birds": "birds",
    "cause_other": "another source (copper run-off, residues of an earlier treatment)",
}
# A stain whose own source is cured may be taken off for its looks, if those are agreed.
STAIN_SOURCES = {"iron_stain": "cause_iron", "copper_stain": "cause_other"}
# What is loose is secured and growing rust ended before anybody cleans: no score buys past it.
UNFIT = {
    "falling_material": ("material is loose: secure it first", "whether material is loose"),
    "stone_jacking": ("growing rust lifts the stone: end that first", "whether rust lifts it"),
}
RUST_COMES_OUT = (
    "the rust between the parts comes out in the preparation, within the engineer's written release"
)
JACKED = (
    "growing rust forces the metal apart: ask the engineer first; the rust is taken out only where "
    "the engineer has released the member in writing"
)
# A trace is known and is not lead-free: the task is assessed, and what that finds is done.
TRACE = "exposure assessment for lead before work, and the containment that it asks for"
# What a trial panel does not wait for.
LATER = {"consent", "coating_order"}
LEAD_EXPOSURE = {"below_action_level", "above_action_level"}
CONSENT_HELD = {"in_principle", "granted", "not_needed"}

QUESTIONS = {
    1: "What would be removed is not itself significant, protective or rare",
    2: "There is a reason to act, and removal would answer it",
    3: "The external cause is cured",
    4: "The substrate is fit to touch",
    5: "Lead, polychromy, metal and structure are known",
    6: "Some method is not ruled out and can be carried to the zone",
    7: "Trials here are replicated, aged and without damage",
    8: "Least harm passes the precaution; controls, season and consent are in place",
}


@dataclass(frozen=True, slots=True)
class Gate:
    """
    Result of one gate, the reason in words, and the records it rests on.

    `brief` says the reason in fewer words, where a page has room for a line; empty where the reason
    is that short itself.
    """

    number: int
    result: str
    reason: str
    records: tuple[str, ...]
    outcome: str | None
    conditions: tuple[str, ...] = ()
    brief: str = ""

    @property
    def question(self) -> str:
        """What the gate asks."""
        return QUESTIONS[self.number]

    def __str__(self) -> str:
        """Give number, result and reason."""
        return f"Gate {self.number} {self.result}: {self.reason}"


@dataclass(frozen=True, eq=False)
class Case:
    """All that the gates of one zone look at."""

    evidence: ZoneEvidence
    options: tuple[Option, ...]
    trials: dict[str, TrialVerdict]
    tests: dict[str, AgainstLeaving]
    housekeeping: dict[str, str] | None
    trial_worth: Callable[[], bool]
    gentler: Mapping[str, tuple[str, ...]]

    def option(self, key: str) -> Option:
        """
        Option by its key.

        Parameters
        ----------
        key : str
            Key of the option.

        Returns
        -------
        Option
        """
        return next(option for option in self.options if option.key == key)

    @property
    def tried(self) -> tuple[Option, ...]:
        """Options with panels that no rule stops for good."""
        return tuple(
            option
            for option in self.options
            if (not option.ruled_out or option.waits) and option.key in self.trials
        )

    @property
    def panels_pass(self) -> tuple[Option, ...]:
        """Options whose panels show what gate 7 asks of them."""
        return tuple(one for one in self.tried if self.trials[one.key].result == PASSED)

    @property
    def come_first(self) -> frozenset[str]:
        """Gentler methods for want of which no option whose panels pass may be used."""
        before = [frozenset(self.gentler[option.method]) for option in self.panels_pass]
        return frozenset().union(*before) if all(before) else frozenset()


def all_gates(case: Case) -> tuple[Gate, ...]:
    """
    Ask all eight gates of one zone.

    Parameters
    ----------
    case : Case
        Evidence, options, what the trials say, what the precaution says.

    Returns
    -------
    tuple of Gate
        In order. All are answered, also behind the first that does not pass.
    """
    gates: tuple[Callable[[Case], Gate], ...] = (
        _value, _reason, _cause, _fit, _known, _method, _trial, _least_harm,
    )  # fmt: skip
    return tuple(gate(case) for gate in gates)


def outcome_of(gates: Sequence[Gate]) -> str:
    """
    Outcome that the gates set.

    Parameters
    ----------
    gates : sequence of Gate
        All eight, in order.

    Returns
    -------
    str
        Outcome of the first gate that does not pass; ``"clean"`` where all pass.
    """
    return next((gate.outcome for gate in gates if gate.outcome is not None), CLEAN)


def harm_active(evidence: ZoneEvidence) -> bool:
    """
    Whether harm goes on, or is not shown to be absent.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.

    Returns
    -------
    bool
    """
    coated = evidence.facts["coated"] == frozenset({"yes"})
    worn = {None, "failing"} if coated else {"failing"}
    return evidence.finding("decay") != "none" or evidence.finding("coating_state") in worn


def change_credible(evidence: ZoneEvidence, kept: str | None = None) -> bool:
    """
    Whether a harmful change is credible if the zone is left.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    kept : str, optional
        Code of a soiling that is itself of value: that it changes is no harm that it does.

    Returns
    -------
    bool
        True where harm goes on or is not recorded, where a cause is active or not recorded, where a
        soiling seen there is known to turn harmful, or where the substrate is neither sound nor
        slightly weathered.
    """
    soilings = keyed("soilings", "soiling")
    return (
        harm_active(evidence)
        or any(evidence.finding(topic) in {None, "active"} for topic in CAUSE_WORDS)
        or any(
            soilings[code]["change_credible"] == "yes"
            for code in evidence.zone.soiling_codes
            if code != kept
        )
        or evidence.zone.condition not in {"sound", "slightly_weathered"}
    )


def _value(case: Case) -> Gate:
    """Gate 1, asked of each layer."""
    evidence = case.evidence
    named = {layer.soiling: layer for layer in evidence.layers}
    names = keyed("soilings", "soiling")
    missing = [code for code in evidence.zone.soiling_codes if code not in named]
    records = tuple(layer.layer for layer in evidence.layers)
    unknown = [layer.soiling for layer in evidence.layers if layer.value == "not_assessed"]
    if evidence.layers and not evidence.targets:
        first = evidence.layers[0]
        ages = names[first.soiling]["ages"] == "yes"
        watch = (first.value == "protective" and ages) or change_credible(evidence, first.soiling)
        word = first.value.replace("_", " ")
        why = f" ({first.value_reason})" if first.value_reason else ""
        return Gate(
            1, NOT_PASSED,
            f"the {names[first.soiling]['name']} is itself recorded as {word}{why}",
            records, MONITOR if watch else LEAVE,
        )  # fmt: skip
    if missing or unknown:
        what = ", ".join(names[code]["name"] for code in (*missing, *unknown))
        return Gate(1, NOT_KNOWN, f"nobody assessed the value of: {what}", records, TRIAL)
    kept = [layer for layer in evidence.layers if layer.value in WHOLLY_VALUED]
    parts = [layer for layer in evidence.layers if layer.value == "partly"]
    conditions = [
        f"the {names[layer.soiling]['name']} beneath stays: stop above it" for layer in kept
    ] + [
        f"part of the {names[layer.soiling]['name']} is of value: split or narrow the zone "
        f"before work ({layer.value_reason or 'see the record'})"
        for layer in parts
    ]
    what = ", ".join(names[layer.soiling]["name"] for layer in evidence.targets)
    reason = f"recorded as of no value in itself: {what}"
    return Gate(1, PASSED, reason, records, None, tuple(conditions))


def _reason(case: Case) -> Gate:
    """Gate 2: a reason that removal would answer."""
    evidence = case.evidence
    topics = (
        "decay", "decay_cause", "detail_hidden", "coating_state", "coating_order", "other_reason",
        "stain_disfigures", "owner_wish",
    )  # fmt: skip
    records = (*evidence.record(*topics), *evidence.colour_records)
    if evidence.zone.exposure == "closed_section" and evidence.finding("interior_seen") != "yes":
        return Gate(
            2, NOT_KNOWN,
            "nobody has seen the inside: look remotely first, unless opening does more harm",
            (*evidence.record("interior_seen"), *records), MONITOR,
        )  # fmt: skip
    found = reasons_to_act(case)
    held = [words for words, applies in found.items() if applies]
    open_ = [words for words, applies in found.items() if applies is None]
    if held:
        return Gate(2, PASSED, "; ".join(held), records, None)
    if open_:
        return Gate(2, NOT_KNOWN, f"not recorded whether to: {'; '.join(open_)}", records, MONITOR)
    outcome = MONITOR if change_credible(evidence) else LEAVE
    colour = f"; colour difference {evidence.colour.delta_e:.0f} ΔE00 alone is no reason" if (
        evidence.colour is not None
    ) else ""  # fmt: skip
    if evidence.finding("owner_wish") == "yes":
        colour += "; the owner's wish is on record and is no reason by itself"
    return Gate(
        2, NOT_PASSED,
        "no decay that removal would halt, no heavy soiling that hides form, no re-coating "
        f"ordered, nothing to inspect{colour}",
        records, outcome,
    )  # fmt: skip


def reasons_to_act(case: Case) -> dict[str, bool | None]:
    """
    Reasons for which guidance takes soiling or coatings off, each held, not held or not known.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    dict
        Reason in words to True, False or None.
    """
    evidence = case.evidence
    decay, cause = evidence.finding("decay"), evidence.finding("decay_cause")
    hidden = evidence.finding("detail_hidden")
    outside = None if evidence.colour is None else not evidence.colour.inside_natural
    driven = _both(
        None if decay is None else decay != "none", None if cause is None else cause == "soiling"
    )
    if evidence.metal:
        # Clean metal without a coating decays faster, so nothing but re-coating halts its decay.
        order = evidence.finding("coating_order")
        driven = _both(driven, None if order is None else order == "yes")
    found: dict[str, bool | None] = {
        "halt the decay that the soiling drives": driven,
        "remove heavy soiling that hides form, outside natural variation": _both(
            None if hidden is None else hidden == "yes", outside
        ),
        "remove a disfiguring stain whose source is cured, as agreed": _stain(evidence),
        "remove nuisance graffiti": any(layer.soiling == "graffiti" for layer in evidence.targets),
        "inspect, repair or protect health": _named(evidence.finding("other_reason")),
        "listed housekeeping": case.housekeeping is not None,
    }
    if evidence.facts["coated"] == frozenset({"yes"}):
        state, order = evidence.finding("coating_state"), evidence.finding("coating_order")
        found["renew a failing coating, with re-coating ordered"] = _both(
            None if state is None else state == "failing", None if order is None else order == "yes"
        )
    return found


def _stain(evidence: ZoneEvidence) -> bool | None:
    """Whether a stain disfigures, its own source is cured, and its removal is agreed and held."""
    stains = [one.soiling for one in evidence.targets if one.soiling in STAIN_SOURCES]
    disfigures = evidence.finding("stain_disfigures")
    if not stains or disfigures == "no":
        return False
    agreed, consent = evidence.finding("agreed_appearance"), evidence.finding("consent")
    asked: list[bool | None] = [
        None if disfigures is None else True,
        None if agreed is None else agreed == "as_reference",
        None if consent is None else consent in CONSENT_HELD,
    ]
    for stain in stains:
        source = evidence.finding(STAIN_SOURCES[stain])
        # A stain that nobody traced to a source may go on: "none" is no cure.
        asked.append(None if source in {None, "none"} else source == "cured")
    return False if False in asked else None if None in asked else True


def _both(first: bool | None, second: bool | None) -> bool | None:
    """Whether both hold: no where one does not, not known where one is not."""
    if first is False or second is False:
        return False
    return None if first is None or second is None else True


def _named(finding: str | None) -> bool | None:
    """Whether a finding names something."""
    return None if finding is None else finding != "none"


def _cause(case: Case) -> Gate:
    """Gate 3: the external cause, asked cause by cause."""
    evidence = case.evidence
    records = evidence.record(*CAUSE_WORDS)
    active, unknown, conditions = [], [], []
    for topic in CAUSE_WORDS:
        observation = evidence.observations.get(topic)
        finding = observation.finding if observation else None
        word = _source(topic, observation)
        if finding is None:
            unknown.append(word)
        elif finding == "active":
            active.append(word)
        elif finding == "scheduled" and observation is not None and observation.due is not None:
            if late := _too_late(observation.due, evidence.survey_date):
                active.append(f"{word} ({late})")
            else:
                conditions.append(
                    f"{word}: end the cause first ({observation.owner}, by {observation.due})"
                )
        elif finding == "by_treatment" and not _ends_with_treatment(evidence, topic):
            unknown.append(f"how treatment would end the {word}")
        elif finding == "by_treatment":
            conditions.append(f"the treatment itself must end the {word}")
        elif finding == "incurable":
            conditions.append(f"{word} can't be cured: re-soiling is accepted and watched")
    if active:
        return Gate(
            3, NOT_PASSED, f"still active: {', '.join(active)}; cure this first", records, MONITOR
        )
    if unknown:
        return Gate(
            3, NOT_KNOWN, f"not recorded: {', '.join(unknown)}; investigate first", records, TRIAL
        )
    reason = "no external cause is left active"
    if conditions:
        reason = f"on condition: {'; '.join(conditions)}"
    return Gate(3, PASSED, reason, records, None, tuple(conditions))


def _source(topic: str, observation: Observation | None) -> str:
    """What a cause is called: as somebody named it by hand where no question does."""
    by_hand = observation.note if observation is not None and topic == "cause_other" else None
    return by_hand or CAUSE_WORDS[topic]


def _too_late(due: date, closed: date) -> str:
    """Why a cure that is scheduled is no condition of this advice; empty where it is one."""
    if due < closed:
        return f"cure overdue since {due}"
    return f"not cured before {due}" if due > valid_until(CLEAN, closed) else ""


def _ends_with_treatment(evidence: ZoneEvidence, topic: str) -> bool:
    """Whether treatment can end a cause: re-coating on metal, desalination in a wall."""
    recoated = evidence.metal and evidence.finding("coating_order") == "yes"
    return recoated or (not evidence.metal and topic == "cause_salts")


def _fit(case: Case) -> Gate:
    """Gate 4: the substrate itself."""
    evidence = case.evidence
    condition = evidence.zone.condition
    topics = ["engineer_limit", "member_released"] if evidence.metal else ["decay", "decay_cause"]
    records = (evidence.zone.zone, *evidence.record(*UNFIT, *topics))
    word = condition.replace("_", " ")
    unfit, unknown = (_plate if evidence.metal else _stone)(evidence)
    if condition == "not_assessed":
        unknown.insert(0, "the condition of the substrate is not assessed")
    if condition in {"friable", "scaling", "cracked"}:
        unfit.insert(0, f"the substrate is {word}: stabilise first, with a date")
    if unfit:
        return Gate(4, NOT_PASSED, "; ".join(unfit), records, MONITOR)
    if unknown:
        return Gate(4, NOT_KNOWN, "; ".join(unknown), records, TRIAL)
    conditions = (RUST_COMES_OUT,) if evidence.finding("stone_jacking") == "yes" else ()
    return Gate(4, PASSED, f"the substrate is {word}", records, None, conditions)


def _plate(evidence: ZoneEvidence) -> tuple[list[str], list[str]]:
    """What makes metal unfit to touch, and what of it is not recorded."""
    limit = evidence.finding("engineer_limit")
    # Rust that has stopped does not give back what it took, so this is asked of sound plate too.
    unfit = ["plate lies beyond the engineer's limit: repair first"] if limit == "beyond" else []
    if evidence.finding("falling_material") == "yes":
        unfit.append(UNFIT["falling_material"][0])
    if evidence.finding("stone_jacking") == "yes" and not _rust_may_come_out(evidence):
        unfit.append(JACKED)
    asked = [words for topic, (_, words) in UNFIT.items() if evidence.finding(topic) is None]
    unknown = [f"not recorded: {', '.join(asked)}"] if asked else []
    if evidence.zone.condition == "corroding" and limit is None:
        unknown.insert(0, "corroding, and no engineer has said what the plate can take")
    return unfit, unknown


def _rust_may_come_out(evidence: ZoneEvidence) -> bool:
    """Whether the engineer released the member, and the rust is among what is to be removed."""
    kinds = keyed("soilings", "soiling")
    rusty = any(kinds[layer.soiling]["kind"] == "corrosion" for layer in evidence.targets)
    return rusty and evidence.finding("member_released") == "yes"


def _stone(evidence: ZoneEvidence) -> tuple[list[str], list[str]]:
    """What makes masonry unfit to touch beside its condition, and what of it is not recorded."""
    unfit = [told for topic, (told, _) in UNFIT.items() if evidence.finding(topic) == "yes"]
    asked = [words for topic, (_, words) in UNFIT.items() if evidence.finding(topic) is None]
    decay, cause = evidence.finding("decay"), evidence.finding("decay_cause")
    if decay is None:
        asked.append("whether the stone is losing material")
    elif decay == "active" and cause is None:
        asked.append("what makes the stone lose material")
    elif decay == "active" and cause != "soiling":
        unfit.append("the stone is losing material, and not by its soiling: end that first")
    return unfit, [f"not recorded: {', '.join(asked)}"] if asked else []


def _known(case: Case) -> Gate:
    """Gate 5: what must be known before anything is disturbed."""
    evidence = case.evidence
    topics = ["polychromy"]
    unknown = []
    if evidence.lead == "unknown":
        unknown.append(_lead_in_doubt(evidence))
    if evidence.finding("polychromy") in {None, "suspected"}:
        unknown.append("polychromy is not known")
    if evidence.metal:
        topics += ["metal_identity", "engineer_limit"]
        if evidence.finding("metal_identity") != "confirmed":
            unknown.append("the metal is not confirmed")
        if evidence.finding("engineer_limit") is None:
            unknown.append("what the structure can take is not known")
    lead_tests = tuple(t.site_test for t in evidence.tests if t.quantity.startswith("lead_"))
    records = (*evidence.record("lead", *topics), *lead_tests)
    if unknown:
        return Gate(5, NOT_KNOWN, "; ".join(unknown), records, TRIAL)
    lead = {"yes": "lead is present", "trace": "a trace of lead", "no": "no lead"}[evidence.lead]
    also = "polychromy, metal and structure are known" if evidence.metal else "polychromy is known"
    reason = f"{lead}; {also}"
    return Gate(5, PASSED, reason, records, None, (TRACE,) if evidence.lead == "trace" else ())


def _lead_in_doubt(evidence: ZoneEvidence) -> str:
    """Say why lead is not known: never tested, or tested without a clear answer."""
    low, high = threshold("lead_xrf_low_mg_cm2"), threshold("lead_xrf_high_mg_cm2")
    if chips := complete_values(evidence.tests, LAB):
        what = ", ".join(unshown(evidence.tests, evidence.zone.coatings))
        return f"lead is not known (laboratory up to {max(chips):g} %, not recorded: {what})"
    if values := complete_values(evidence.tests, XRF):
        said = f"XRF up to {max(values):g} mg/cm²"
        if max(values) < low:
            return (
                f"lead is not known ({said}, which does not prove there is none: full-depth chips "
                "must say)"
            )
        return (
            f"lead is not known ({said}, between {low:g} and {high:g}: the laboratory must say; "
            "until then it counts as present)"
        )
    if evidence.finding("lead") == "no":
        return "lead is not known (answered no, but no full-depth chip of every coating shows it)"
    return "lead is not known (an untested old coating counts as lead-bearing)"


def _method(case: Case) -> Gate:
    """Gate 6: some method is left."""
    evidence = case.evidence
    left = list(
        dict.fromkeys(
            option.name
            for option in case.options
            if option.open or (option.waits and not option.questions)
        )
    )
    if left:
        first = next(option for option in case.options if option.name == left[0])
        brief = brief_method(first.method, evidence.zone.soiling_codes).lower()
        brief += f" and {len(left) - 1} more" if len(left) > 1 else ""
        return Gate(
            6, PASSED, f"not ruled out: {'; '.join(left)}", (), None,
            brief=f"not ruled out: {brief}",
        )  # fmt: skip
    hanging = list(
        dict.fromkeys(
            question.reason
            for option in case.options
            if not option.ruled_out or option.waits
            for question in option.questions
        )
    )
    if hanging:
        return Gate(
            6, NOT_KNOWN,
            "every method left depends on something not recorded; the rules in question: "
            f"{'; '.join(words[:1].lower() + words[1:] for words in hanging[:4])}",
            (), TRIAL,
        )  # fmt: skip
    if unrated := list(dict.fromkeys(one.name for one in case.options if one.unrated)):
        # An empty row of the table is no finding: nobody looked, so nothing is left for good.
        return Gate(
            6, NOT_KNOWN,
            "what is described here is ruled out, and no source tells how this soiling responds to "
            f"{'; '.join(unrated[:4])}: ask a conservator of this material",
            (), TRIAL,
        )  # fmt: skip
    outcome = MONITOR if change_credible(evidence) else LEAVE
    return Gate(6, NOT_PASSED, "every method is ruled out", (), outcome)


def _trial(case: Case) -> Gate:
    """Gate 7: what the panels show; panels are works, so nothing is tried against a refusal."""
    gate = _panels(case)
    if gate.outcome != TRIAL:
        return gate
    if case.evidence.finding("consent") == "refused":
        refused = f"{gate.reason}; consent is refused, so nothing is tried"
        records = (*gate.records, *case.evidence.record("consent"))
        return replace(gate, reason=refused, records=records, outcome=MONITOR)
    # Consent stands at the head of every sheet, and panels are not coated as the work would be.
    asked = _asked(case, listed=False)
    wrong = _wrong(case, {topic: asked[topic] for topic in asked.keys() - LATER})
    return replace(gate, conditions=tuple(f"before any further panel: {words}" for words in wrong))


def _panels(case: Case) -> Gate:
    """What the panels show, and what was not tried."""
    gap = case.evidence.panels_unaccounted
    if gap:
        return Gate(7, NOT_KNOWN, f"panels are not accounted for: {'; '.join(gap)}", (), TRIAL)
    if listed := _listed(case):
        return listed
    if good := case.panels_pass:
        return _gentlest(case, good)
    verdicts = [case.trials[option.key] for option in case.tried]
    failed = [verdict for verdict in verdicts if verdict.result == NOT_PASSED]
    if failed:
        worth_it = case.trial_worth()
        outcome = TRIAL if worth_it else MONITOR
        nearest, *others = sorted(failed, key=lambda verdict: verdict.failed)
        said = [nearest.reason, *(f"{one.series} fails too" for one in others), nearest.prospect]
        said += [] if worth_it else ["another trial is not worth its own harm"]
        records = tuple(record for one in (nearest, *others) for record in one.records)
        return Gate(7, NOT_PASSED, in_sentences(filter(None, said)), records, outcome)
    if verdicts:
        return Gate(7, NOT_KNOWN, verdicts[0].reason, verdicts[0].records, TRIAL)
    return _nothing_tried(case)


def _listed(case: Case) -> Gate | None:
    """Gate 7 where listed housekeeping is left, for which no panels are asked; else nothing."""
    left = [one for one in case.options if one.listed and (not one.ruled_out or one.waits)]
    if not left or case.housekeeping is None:
        return None
    # Who does the listed work takes its setting from the panels, so that they must agree.
    for series in filter(None, (one.series for one in left)):
        if series.setting_doubt:
            reason = f"panels of {series.series} contradict: {series.setting_doubt}"
            return Gate(7, NOT_KNOWN, reason, series.panels, TRIAL)
    return Gate(
        7, PASSED,
        f"no panels required: {case.housekeeping['name']} is listed housekeeping "
        f"({case.housekeeping['row']}, {case.housekeeping['source_id']})",
        (), None, brief=f"no panels required: listed housekeeping ({case.housekeeping['row']})",
    )  # fmt: skip


def _gentlest(case: Case, good: Sequence[Option]) -> Gate:
    """Of the methods whose panels pass, one that no gentler one comes before."""
    if case.come_first:
        verdict, gentler = case.trials[good[0].key], named(case.gentler[good[0].method])
        return Gate(
            7, NOT_KNOWN,
            f"gentler, and not settled by panels here: {gentler}; try first, or record under "
            f"not_tried why not. What was tried passes: {verdict.reason}",
            verdict.records, TRIAL,
        )  # fmt: skip
    first = next(option for option in good if not case.gentler[option.method])
    verdict = case.trials[first.key]
    left = case.evidence.zone.reasons_not_tried
    untried = "; ".join(f"{named([method])} ({reason})" for method, reason in left.items())
    reason = f"{verdict.reason}; not tried: {untried}" if untried else verdict.reason
    brief = f"{named([first.method])}, panels {verdict.series}: all that is required is met"
    brief += f"; not tried: {untried}" if untried else ""
    return Gate(7, PASSED, reason, verdict.records, None, brief=brief)


def _nothing_tried(case: Case) -> Gate:
    """Gate 7 where no panel of a method that is left is there to be read."""
    tried = [case.trials[option.key] for option in case.options if option.key in case.trials]
    laid = tuple(record for verdict in tried for record in verdict.records)
    reason = "no panel on this substrate and soiling"
    if laid:
        reason = f"only what is ruled out was tried: panels {', '.join(laid)}"
    return Gate(7, NOT_KNOWN, reason, laid, TRIAL)


def _least_harm(case: Case) -> Gate:
    """Gate 8: the precaution, then what must be in place."""
    evidence = case.evidence
    topics = ["controls", "season", "consent", "containment", "lead_exposure", "coating_order"]
    records = evidence.record(*topics)
    calm = MONITOR if change_credible(evidence) else LEAVE
    if not case.tests:
        return Gate(8, NOT_KNOWN, "no method is left to weigh against leaving", records, MONITOR)
    best = least_harmful(case)
    if best is None:
        nearest = min(case.tests.values(), key=lambda test: test.expected)
        return Gate(8, NOT_PASSED, nearest.reason, records, calm)
    option = case.option(best.option)
    wrong, unknown = _amiss(case, option)
    if wrong:
        return Gate(8, NOT_PASSED, f"postpone: {', '.join(wrong)}", records, MONITOR)
    if unknown:
        return Gate(8, NOT_KNOWN, f"not recorded: {', '.join(unknown)}", records, MONITOR)
    conditions = ("formal consent before work starts",) if (
        evidence.finding("consent") == "in_principle"
    ) else ()  # fmt: skip
    brief = best.reason.partition("; ")[0]
    return Gate(8, PASSED, best.reason, records, None, conditions, brief)


def least_harmful(case: Case) -> AgainstLeaving | None:
    """
    Least harmful option that passes the precaution, of those that may begin if there are any.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    AgainstLeaving or None
        None where no option passes.
    """
    passing = [test for test in case.tests.values() if test.passed]
    whole = [test for test in passing if not any(_amiss(case, case.option(test.option)))]
    open_ = [test for test in passing if case.option(test.option).open]
    return min(whole or open_ or passing, key=lambda test: test.expected, default=None)


def _amiss(case: Case, option: Option) -> tuple[list[str], list[str]]:
    """What keeps an option from beginning: recorded as not in place, or not recorded."""
    asked = _asked(case, listed=option.listed is not None)
    wrong = _wrong(case, asked) + [stop.reason for stop in option.stops]
    unknown = [
        topic.replace("_", " ") for topic in asked if case.evidence.finding(topic) is None
    ] + [question.reason for question in option.questions]
    return wrong, unknown


def _asked(case: Case, *, listed: bool) -> dict[str, tuple[str, set[str]]]:
    """What must be in place: topic to what is said where it is not, and the answers that do."""
    evidence = case.evidence
    asked: dict[str, tuple[str, set[str]]] = {
        "controls": ("controls are not in place", {"yes"}),
        "season": ("the season is unsuitable", {"suitable"}),
        "consent": ("consent is not held", CONSENT_HELD),
    }
    if evidence.metal and not listed:
        asked["coating_order"] = ("no coating is ordered", {"yes"})
    coated = evidence.facts["coated"] == frozenset({"yes"})
    if evidence.lead != "no" and coated and not listed:
        above = evidence.finding("lead_exposure") == "above_action_level"
        if evidence.lead == "trace":
            asked["lead_exposure"] = ("lead exposure is not assessed", LEAD_EXPOSURE)
        if evidence.lead != "trace" or above:
            asked["containment"] = ("there is no containment for lead", {"yes"})
    return asked


def _wrong(case: Case, asked: Mapping[str, tuple[str, set[str]]]) -> list[str]:
    """What is recorded as not in place."""
    found = {topic: case.evidence.finding(topic) for topic in asked}
    return [
        words
        for topic, (words, good) in asked.items()
        if found[topic] is not None and found[topic] not in good
    ]

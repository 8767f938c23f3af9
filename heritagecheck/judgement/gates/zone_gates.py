"""Gates 1 to 5, on the zone itself: value, reason, cause, substrate, lead and structure."""

from __future__ import annotations

from datetime import date

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.case import CAUSE_WORDS, CONSENT_HELD, Case, change_credible
from heritagecheck.judgement.gates.gate import (
    CLEAN,
    LEAVE,
    MONITOR,
    NOT_KNOWN,
    NOT_PASSED,
    PASSED,
    TRIAL,
    Gate,
)
from heritagecheck.sentences import day_in_words
from heritagecheck.survey.records import Observation
from heritagecheck.survey.records.readings import complete_values
from heritagecheck.survey.records.structure import WHOLLY_VALUED
from heritagecheck.survey.records.zone_facts import LAB, XRF, not_shown_by_lab
from heritagecheck.tables import threshold
from heritagecheck.tables.ages import valid_until
from heritagecheck.tables.row_types import Soiling

# -- Gate 1: what would be removed is not itself significant, protective or rare -------------------


def value_gate(case: Case) -> Gate:
    """Gate 1: no layer to be removed is itself of value."""
    evidence = case.evidence
    missing = evidence.undescribed
    records = tuple(layer.layer for layer in evidence.layers)
    unknown = [layer.soiling for layer in evidence.layers if layer.value == "not_assessed"]
    if evidence.layers and not evidence.targets:
        first = evidence.layers[0]
        ages = Soiling.named(first.soiling).ages
        watch = (first.value == "protective" and ages) or change_credible(evidence, first.soiling)
        word = first.value.replace("_", " ")
        why = f" ({first.value_reason})" if first.value_reason else ""
        return Gate(
            1, NOT_PASSED,
            f"the {Soiling.named(first.soiling).name} is itself recorded as {word}{why}",
            records, MONITOR if watch else LEAVE,
        )  # fmt: skip
    if missing or unknown:
        what = ", ".join(Soiling.named(code).name for code in (*missing, *unknown))
        return Gate(1, NOT_KNOWN, f"not assessed whether it is of value: {what}", records, TRIAL)
    kept = [layer for layer in evidence.layers if layer.value in WHOLLY_VALUED]
    parts = [layer for layer in evidence.layers if layer.value == "partly"]
    conditions = [
        f"the {Soiling.named(layer.soiling).name} beneath stays: stop above it" for layer in kept
    ] + [
        f"part of the {Soiling.named(layer.soiling).name} is of value: split or narrow the zone "
        f"before work ({layer.value_reason or 'see the record'})"
        for layer in parts
    ]
    what = ", ".join(Soiling.named(layer.soiling).name for layer in evidence.targets)
    reason = f"recorded as of no value in itself: {what}"
    return Gate(1, PASSED, reason, records, None, tuple(conditions))


# -- Gate 2: there is a reason to act, and removal would answer it ---------------------------------

# A stain whose source is cured may be removed for appearance, if that is agreed.
STAIN_SOURCES = {"iron_stain": "cause_iron", "copper_stain": "cause_other"}


def reason_gate(case: Case) -> Gate:
    """Gate 2: there is a reason to act that removal would answer."""
    evidence = case.evidence
    topics = (
        "decay", "decay_cause", "detail_hidden", "coating_state", "coating_order", "other_reason",
        "stain_disfigures", "owner_wish",
    )  # fmt: skip
    records = (*evidence.record(*topics), *evidence.colour_records)
    if evidence.zone.exposure == "closed_section" and evidence.finding("interior_seen") != "yes":
        return Gate(
            2, NOT_KNOWN,
            "the inside has not been seen: inspect remotely first, and make an opening only where "
            "that does less harm than not knowing",
            (*evidence.record("interior_seen"), *records), MONITOR,
        )  # fmt: skip
    found = reasons_to_act(case)
    held = [words for words, applies in found.items() if applies]
    open_ = [words for words, applies in found.items() if applies is None]
    if held:
        return Gate(2, PASSED, "; ".join(held), records, None)
    if open_:
        such = "; to ".join(open_)
        reason = f"it is not recorded whether there is a reason to act, such as to {such}"
        return Gate(2, NOT_KNOWN, reason, records, MONITOR)
    outcome = MONITOR if change_credible(evidence) else LEAVE
    colour = (
        f"; colour difference {evidence.colour.delta_e:.0f} ΔE00 alone is not a reason"
        if evidence.colour is not None
        else ""
    )
    if evidence.finding("owner_wish") == "yes":
        colour += "; the owner's wish is on record but is not a reason by itself"
    return Gate(
        2, NOT_PASSED,
        "no decay that removal would halt, no heavy soiling that hides form, no re-coating "
        f"ordered, nothing to inspect{colour}",
        records, outcome,
    )  # fmt: skip


def reasons_to_act(case: Case) -> dict[str, bool | None]:
    """Reasons that guidance accepts for removal, each True, False or not known (None)."""
    evidence = case.evidence
    outside = None if evidence.colour is None else not evidence.colour.inside_natural
    driven = _all(_named(evidence, "decay"), _is(evidence, "decay_cause", "soiling"))
    ordered = _is(evidence, "coating_order", "yes")
    if evidence.metal:
        # Bare clean metal decays faster, so only re-coating halts its decay.
        driven = _all(driven, ordered)
    found: dict[str, bool | None] = {
        "halt the decay that the soiling drives": driven,
        "remove heavy soiling that hides form, outside natural variation": _all(
            _is(evidence, "detail_hidden", "yes"), outside
        ),
        "remove a disfiguring stain whose source is cured, as agreed": _stain(evidence),
        "remove nuisance graffiti": _graffiti(evidence),
        "inspect, repair or protect health": _named(evidence, "other_reason"),
        "listed housekeeping": case.housekeeping is not None,
    }
    if evidence.facts["coated"] == frozenset({"yes"}):
        found["renew a failing coating, with re-coating ordered"] = _all(
            _is(evidence, "coating_state", "failing"), ordered
        )
    return found


def _graffiti(evidence: ZoneEvidence) -> bool | None:
    """Whether graffiti would be removed; not known where seen but not assessed for value."""
    if any(layer.soiling == "graffiti" for layer in evidence.targets):
        return True
    return None if "graffiti" in evidence.undescribed else False


def _stain(evidence: ZoneEvidence) -> bool | None:
    """Whether a stain disfigures, its source is cured, and removal is agreed and consented."""
    stains = [one.soiling for one in evidence.targets if one.soiling in STAIN_SOURCES]
    stains += [code for code in evidence.undescribed if code in STAIN_SOURCES]
    disfigures = evidence.finding("stain_disfigures")
    if not stains or disfigures == "no":
        return False
    held: list[bool | None] = [
        None if disfigures is None or STAIN_SOURCES.keys() & evidence.undescribed else True,
        _is(evidence, "agreed_appearance", "as_reference"),
        _is(evidence, "consent", *CONSENT_HELD),
    ]
    for stain in stains:
        source = evidence.finding(STAIN_SOURCES[stain])
        # A stain not traced to a source may continue: "none" is not a cure.
        held.append(None if source in {None, "none"} else source == "cured")
    return _all(*held)


def _all(*answers: bool | None) -> bool | None:
    """Whether all hold: False where one does not, else None where one is not known."""
    return False if False in answers else None if None in answers else True


def _is(evidence: ZoneEvidence, topic: str, *answers: str) -> bool | None:
    """Whether the finding on a topic is one of these answers; not known where there is none."""
    finding = evidence.finding(topic)
    return None if finding is None else finding in answers


def _named(evidence: ZoneEvidence, topic: str) -> bool | None:
    """Whether the finding on a topic is something other than none; not known without one."""
    finding = evidence.finding(topic)
    return None if finding is None else finding != "none"


# -- Gate 3: the external cause is cured -----------------------------------------------------------


def cause_gate(case: Case) -> Gate:
    """Gate 3: every external cause is cured, or will be."""
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
            if late := _too_late(observation.due, evidence):
                active.append(f"{word} ({late})")
            else:
                conditions.append(
                    f"end the cause first ({word}; {observation.owner}, "
                    f"by {day_in_words(observation.due)})"
                )
        elif finding == "by_treatment" and not _ends_with_treatment(evidence, topic):
            unknown.append(f"how treatment would end the {word}")
        elif finding == "by_treatment":
            conditions.append(f"the treatment itself must end the {word}")
        elif finding == "incurable":
            conditions.append(f"{word} can't be cured, so re-soiling is accepted and watched")
    if active:
        these = "this" if len(active) == 1 else "these"
        reason = f"still active: {', '.join(active)}; cure {these} first"
        return Gate(3, NOT_PASSED, reason, records, MONITOR)
    if unknown:
        return Gate(
            3, NOT_KNOWN, f"not recorded: {', '.join(unknown)}; investigate first", records, TRIAL
        )
    reason = "no external cause is left active"
    if conditions:
        reason = f"on condition: {'; '.join(conditions)}"
    return Gate(3, PASSED, reason, records, None, tuple(conditions))


def _source(topic: str, observation: Observation | None) -> str:
    """Name of a cause; of another source, the note that describes it."""
    by_hand = observation.note if observation is not None and topic == "cause_other" else None
    return by_hand or CAUSE_WORDS[topic]


def _too_late(due: date, evidence: ZoneEvidence) -> str:
    """Why a scheduled cure comes too late to be a condition; empty where it does not."""
    closed = evidence.survey_date
    if due < closed:
        return f"cure overdue since {day_in_words(due)}"
    if evidence.survey_open:
        # It may be overdue by the day on which the survey closes.
        return f"cure due on {day_in_words(due)}; it counts once the survey is closed"
    late = due > valid_until(CLEAN, closed)
    return f"not cured before {day_in_words(due)}" if late else ""


def _ends_with_treatment(evidence: ZoneEvidence, topic: str) -> bool:
    """Whether treatment can end a cause: re-coating on metal, desalination in a wall."""
    recoated = evidence.metal and evidence.finding("coating_order") == "yes"
    return recoated or (not evidence.metal and topic == "cause_salts")


# -- Gate 4: the substrate is fit to touch ---------------------------------------------------------

# Loose material is secured and growing rust stopped before cleaning: no score overrides this.
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


def substrate_gate(case: Case) -> Gate:
    """Gate 4: the substrate is fit to touch."""
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
    fit = "fit to touch, though corroding" if condition == "corroding" else word
    return Gate(4, PASSED, f"the substrate is {fit}", records, None, conditions)


def _plate(evidence: ZoneEvidence) -> tuple[list[str], list[str]]:
    """What makes metal unfit to touch, and what is not recorded about it."""
    limit = evidence.finding("engineer_limit")
    # Rust that has stopped does not restore the plate, so this applies to sound plate too.
    unfit = ["plate loss is beyond the engineer's limit: repair first"] if limit == "beyond" else []
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
    """Whether the engineer released the member and rust is among the layers to be removed."""
    rusty = any(Soiling.named(layer.soiling).kind == "corrosion" for layer in evidence.targets)
    return rusty and evidence.finding("member_released") == "yes"


def _stone(evidence: ZoneEvidence) -> tuple[list[str], list[str]]:
    """What makes masonry unfit to touch besides its condition, and what is not recorded."""
    unfit = [words for topic, (words, _) in UNFIT.items() if evidence.finding(topic) == "yes"]
    asked = [words for topic, (_, words) in UNFIT.items() if evidence.finding(topic) is None]
    decay, cause = evidence.finding("decay"), evidence.finding("decay_cause")
    if decay is None:
        asked.append("whether the stone is losing material")
    elif decay == "active" and cause is None:
        asked.append("what makes the stone lose material")
    elif decay == "active" and cause != "soiling":
        unfit.append("the stone is losing material, and not by its soiling: end that first")
    return unfit, [f"not recorded: {', '.join(asked)}"] if asked else []


# -- Gate 5: lead, polychromy, metal and structure are known before anything is disturbed ----------

# A trace is known, but not lead-free: exposure is assessed for the task, and its result followed.
TRACE = "exposure assessment for lead before work, and the containment that it requires"


def knowledge_gate(case: Case) -> Gate:
    """Gate 5: what must be known before anything is disturbed."""
    evidence = case.evidence
    topics = ["polychromy"]
    unknown = []
    if evidence.lead == "unknown":
        unknown.append(_lead_not_known(evidence))
    if evidence.finding("polychromy") in {None, "suspected"}:
        unknown.append("polychromy is not known")
    if evidence.metal:
        topics += ["metal_identity", "engineer_limit"]
        if evidence.finding("metal_identity") != "confirmed":
            unknown.append("the metal is not confirmed")
        if evidence.finding("engineer_limit") is None:
            unknown.append("what the structure can take is not known")
    lead_tests = tuple(t.site_test for t in evidence.tests if t.of_lead)
    records = (*evidence.record("lead", *topics), *lead_tests)
    if unknown:
        return Gate(5, NOT_KNOWN, "; ".join(unknown), records, TRIAL)
    lead = {"yes": "lead is present", "trace": "a trace of lead", "no": "no lead"}[evidence.lead]
    also = "polychromy, metal and structure are known" if evidence.metal else "polychromy is known"
    reason = f"{lead}; {also}"
    return Gate(5, PASSED, reason, records, None, (TRACE,) if evidence.lead == "trace" else ())


def _lead_not_known(evidence: ZoneEvidence) -> str:
    """Why lead is not known: never tested, or tested without a clear answer."""
    low, high = threshold("lead_xrf_low_mg_cm2"), threshold("lead_xrf_high_mg_cm2")
    if chips := complete_values(evidence.tests, LAB):
        what = ", ".join(not_shown_by_lab(evidence.tests, evidence.zone.coatings))
        return f"lead is not known (laboratory up to {max(chips):g} %, not recorded: {what})"
    if values := complete_values(evidence.tests, XRF):
        said = f"XRF up to {max(values):g} mg/cm²"
        if max(values) < low:
            return (
                f"lead is not known ({said}, which does not prove there is none: test full-depth "
                "chips)"
            )
        return (
            f"lead is not known ({said}, between {low:g} and {high:g}: have chips tested; "
            "until then it counts as present)"
        )
    if evidence.finding("lead") == "no":
        return "lead is not known (answered no, but not shown by full-depth chips of every coating)"
    return "lead is not known (an untested old coating counts as lead-bearing)"

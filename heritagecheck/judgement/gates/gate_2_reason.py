"""Gate 2: there is a reason to act, and removal would answer it."""

from __future__ import annotations

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.case import Case, change_credible
from heritagecheck.judgement.gates.gate import (
    LEAVE,
    MONITOR,
    NOT_KNOWN,
    NOT_PASSED,
    PASSED,
    Gate,
)
from heritagecheck.judgement.gates.work_controls import CONSENT_HELD

# A stain whose own source is cured may be taken off for its looks, if those are agreed.
STAIN_SOURCES = {"iron_stain": "cause_iron", "copper_stain": "cause_other"}


def reason_gate(case: Case) -> Gate:
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
        return Gate(
            2,
            NOT_KNOWN,
            f"it depends on something not recorded: {'; '.join(open_)}",
            records,
            MONITOR,
        )
    outcome = MONITOR if change_credible(evidence) else LEAVE
    colour = f"; colour difference {evidence.colour.delta_e:.0f} ΔE00 alone is not a reason" if (
        evidence.colour is not None
    ) else ""  # fmt: skip
    if evidence.finding("owner_wish") == "yes":
        colour += "; the owner's wish is on record but is not a reason by itself"
    return Gate(
        2, NOT_PASSED,
        "no decay that removal would halt, no heavy soiling that hides form, no re-coating "
        f"ordered, nothing to inspect{colour}",
        records, outcome,
    )  # fmt: skip


def reasons_to_act(case: Case) -> dict[str, bool | None]:
    """
    Reasons for which guidance takes soiling or coatings off, each held, not held or not known.
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
        "remove nuisance graffiti": _graffiti(evidence),
        "inspect, repair or protect health": _named(evidence.finding("other_reason")),
        "listed housekeeping": case.housekeeping is not None,
    }
    if evidence.facts["coated"] == frozenset({"yes"}):
        state, order = evidence.finding("coating_state"), evidence.finding("coating_order")
        found["renew a failing coating, with re-coating ordered"] = _both(
            None if state is None else state == "failing", None if order is None else order == "yes"
        )
    return found


def _graffiti(evidence: ZoneEvidence) -> bool | None:
    """Whether graffiti would come off; not known where they were seen and nobody valued them."""
    if any(layer.soiling == "graffiti" for layer in evidence.targets):
        return True
    return None if "graffiti" in evidence.undescribed else False


def _stain(evidence: ZoneEvidence) -> bool | None:
    """Whether a stain disfigures, its own source is cured, and its removal is agreed and held."""
    stains = [one.soiling for one in evidence.targets if one.soiling in STAIN_SOURCES]
    stains += [code for code in evidence.undescribed if code in STAIN_SOURCES]
    disfigures = evidence.finding("stain_disfigures")
    if not stains or disfigures == "no":
        return False
    agreed, consent = evidence.finding("agreed_appearance"), evidence.finding("consent")
    asked: list[bool | None] = [
        None if disfigures is None or STAIN_SOURCES.keys() & evidence.undescribed else True,
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

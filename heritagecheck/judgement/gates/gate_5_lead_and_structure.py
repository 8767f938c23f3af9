"""Gate 5: lead, polychromy, metal and structure are known before anything is disturbed."""

from __future__ import annotations

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.case import Case
from heritagecheck.judgement.gates.gate import NOT_KNOWN, PASSED, TRIAL, Gate
from heritagecheck.survey.records.lead import LAB, XRF, unshown
from heritagecheck.survey.records.readings import complete_values
from heritagecheck.tables import threshold

# A trace is known and is not lead-free: the task is assessed, and what that finds is done.
TRACE = "exposure assessment for lead before work, and the containment that it requires"


def knowledge_gate(case: Case) -> Gate:
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

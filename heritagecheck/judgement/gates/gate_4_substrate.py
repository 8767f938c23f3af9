"""Gate 4: the substrate is fit to touch."""

from __future__ import annotations

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.case import Case
from heritagecheck.judgement.gates.gate import MONITOR, NOT_KNOWN, NOT_PASSED, PASSED, TRIAL, Gate
from heritagecheck.tables.row_types import Soiling

# What is loose is secured and growing rust ended before anybody cleans: no score overrides it.
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
    fit = "fit to touch, though corroding" if condition == "corroding" else word
    return Gate(4, PASSED, f"the substrate is {fit}", records, None, conditions)


def _plate(evidence: ZoneEvidence) -> tuple[list[str], list[str]]:
    """What makes metal unfit to touch, and what of it is not recorded."""
    limit = evidence.finding("engineer_limit")
    # Rust that has stopped does not give back what it took, so this is asked of sound plate too.
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
    """Whether the engineer released the member, and the rust is among what is to be removed."""
    rusty = any(Soiling.named(layer.soiling).kind == "corrosion" for layer in evidence.targets)
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

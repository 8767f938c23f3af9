"""Gate 1: what would be removed is not itself significant, protective or rare."""

from __future__ import annotations

from heritagecheck.evidence.zone_evidence import WHOLLY_VALUED
from heritagecheck.judgement.gates.case import Case, change_credible
from heritagecheck.judgement.gates.gate import (
    LEAVE,
    MONITOR,
    NOT_KNOWN,
    NOT_PASSED,
    PASSED,
    TRIAL,
    Gate,
)
from heritagecheck.tables.row_types import Soiling


def value_gate(case: Case) -> Gate:
    """Gate 1, asked of each layer."""
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

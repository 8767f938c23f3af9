"""What is looked at when work or a panel is done, and by which limit it is accepted."""

from __future__ import annotations

from collections.abc import Iterator

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.gate import TRIAL
from heritagecheck.judgement.options import Option
from heritagecheck.judgement.policy import Policy
from heritagecheck.tables import threshold
from heritagecheck.tables.ageing import ageing_asked


def acceptance(
    outcome: str, option: Option, evidence: ZoneEvidence, policy: Policy
) -> tuple[str, ...]:
    """
    Criteria by which work, or each panel of a trial, is accepted.

    What is looked at, and its limit, from records, policy and `tables/thresholds.csv`.
    """
    if option.listed is not None:
        return (
            "What was to be removed is gone, and the surface beneath shows no mark under a lens",
        )
    return tuple(_criteria(outcome, option, evidence, policy))


def _criteria(
    outcome: str, option: Option, evidence: ZoneEvidence, policy: Policy
) -> Iterator[str]:
    """Each thing looked at, with its limit."""
    seen = policy.damage(evidence.zone.significance).seen
    share = f"at most {100 * seen:g} % of the fields" if seen else "no field"
    lost = "plate" if evidence.metal else "tooling"
    yield f"Damage: none that the eye sees; at ×50 {share}, and no crack, melting or lost {lost}"
    if evidence.metal:
        yield from _steel(option)
    else:
        left = threshold("residual_soiling_max_pct")
        yield f"Soiling left: at most {left:g} % of the area, beside the control"
        white = evidence.zone.substrate == "marble"
        most = threshold("delta_b_max_white" if white else "delta_b_max")
        yield f"Yellowing: b* moves by at most {most:g} against the control"
    if outcome == TRIAL:
        grade, kind = evidence.zone.significance, evidence.substrate["kind"]
        row = ageing_asked(kind, option.method, grade)
        winter = " and a winter" if row.winter else ""
        yield (
            f"Read at least {threshold(f'replicates_{grade}'):g} panels, "
            f"{threshold('x50_fields_min'):g} fields on each, after {row.days} days{winter}"
        )


def _steel(option: Option) -> Iterator[str]:
    """What the coating asks of bare metal: as recorded on the panels, or to be set."""
    series = option.series
    grade = next(
        (one.words for one in series.settings if one.quantity == "preparation_grade"), None
    ) if series else None  # fmt: skip
    asked = series.required if series else None
    adhesion, profile = asked or (None, None)
    found = {
        "preparation grade": grade,
        "profile": profile and f"{profile[0]:g} to {profile[1]:g} µm",
        "adhesion of the coating": adhesion and f"{adhesion:g} MPa or more",
    }
    yield from (f"{what.capitalize()}: {limit}" for what, limit in found.items() if limit)
    yield f"Chloride: at most {threshold('chloride_max_ug_cm2'):g} µg/cm² before the primer"
    if missing := [what for what, limit in found.items() if not limit]:
        names = ", ".join(missing).capitalize()
        yield f"{names}: not recorded; the conservator sets it before work"

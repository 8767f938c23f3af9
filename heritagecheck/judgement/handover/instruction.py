"""What a contractor needs: one setting, what is forbidden, when to stop, when it is accepted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.gate import CLEAN, TRIAL
from heritagecheck.judgement.handover.acceptance import acceptance
from heritagecheck.judgement.handover.work_setting import WorkSetting
from heritagecheck.judgement.options import Option, Stop, speaks_of
from heritagecheck.judgement.policy import Policy
from heritagecheck.sentences import ended, joined
from heritagecheck.tables import threshold
from heritagecheck.tables.cautions import Caution, in_words
from heritagecheck.tables.conditions import Facts, holds
from heritagecheck.tables.naming import brief_method
from heritagecheck.tables.row_types import SiteRule

LEAD = {
    "yes": "present",
    "trace": "a trace: not lead-free; exposure assessed first",
    "no": "none found",
    "unknown": "not known: work as on lead paint",
}
# What fails on the day costs spots alone; two that stand spare a campaign if one fails by ageing.
THEN = "Then, in this order, until two clean without more damage than agreed"
NOBODY = "not recorded: whom to call is written in before work begins"


@dataclass(frozen=True, slots=True)
class Instruction:
    """Draft for the contractor of one zone; a contract and an approval stand above it."""

    zone: str
    name: str
    area: str
    method: str
    setting: WorkSetting
    then: tuple[str, ...]
    lead: str
    forbidden: tuple[str, ...]
    start_panel: tuple[str, ...]
    hold_points: tuple[str, ...]
    stop_rules: tuple[str, ...]
    accepted: tuple[str, ...]
    call_first: str
    log: tuple[str, ...]
    cautions: tuple[Caution, ...]

    def __str__(self) -> str:
        """Say it in the order in which the contractor needs it, never without its cautions."""
        parts = (
            ("Zone", (f"{self.zone}, {self.name}, {self.area}",)), ("Method", (self.method,)),
            *((name, (words,)) for name, words in self.setting.lines),
            (THEN, self.then), ("Lead", (self.lead,)),
            ("Forbidden here", self.forbidden), ("Start panel", self.start_panel),
            ("Stop", self.stop_rules), ("Hold points", self.hold_points),
            ("Accepted when", self.accepted), ("Call first", (self.call_first,)),
            ("Log", self.log),
        )  # fmt: skip
        lines = [f"{name}: {ended(joined(words))}" for name, words in parts if words]
        return "\n".join((*lines, in_words(self.cautions)))


def instruction_for(
    outcome: str,
    option: Option,
    setting: WorkSetting,
    evidence: ZoneEvidence,
    policy: Policy,
    *,
    ruled_out: Mapping[str, tuple[Stop, ...]],
    then: Sequence[str],
    cautions: Sequence[Caution],
) -> Instruction:
    """Draft the instruction for the method recommended, or to be tried."""
    facts = {
        **facts_of_work(outcome, option, evidence),
        "next": frozenset({"yes" if then else "no"}),
    }
    zone = evidence.zone
    # A method that is tried next is held and stopped by its own rules too.
    methods = (*option.methods, *then)
    return Instruction(
        zone=zone.zone,
        name=zone.name,
        area=f"{zone.area_m2:g} m²",
        method=option.name,
        setting=setting,
        then=tuple(brief_method(method) for method in then),
        lead=LEAD[evidence.lead],
        forbidden=(
            *rules_of("never", facts, option.methods),
            *(
                brief_method(method)
                for method, stops in ruled_out.items()
                if any(stop.hard for stop in stops)
            ),
        ),
        start_panel=tuple(rules_of("start panel", facts, option.methods)),
        hold_points=tuple(rules_of("hold point", facts, methods)),
        stop_rules=tuple(rules_of("stop rule", facts, methods)),
        accepted=acceptance(outcome, option, evidence, policy),
        call_first=evidence.call_first or NOBODY,
        log=tuple(rules_of("record", facts, option.methods)),
        cautions=tuple(cautions),
    )


def facts_of_work(outcome: str, option: Option, evidence: ZoneEvidence) -> Facts:
    """
    Facts that rules of the site ask about.

    Those of the zone, with its outcome, whether the work is listed housekeeping, and the size of
    the job: a trial, small, or usual. What covers no one knows how much counts as all.
    """
    covers = [100.0 if one.cover_pct is None else one.cover_pct for one in evidence.targets]
    area = evidence.zone.area_m2 * min(sum(covers) or 100.0, 100.0) / 100
    small = area < threshold("small_job_m2")
    job = "trial" if outcome == TRIAL else "small" if small else "usual"
    assert outcome in {CLEAN, TRIAL}
    return {
        **evidence.facts,
        "outcome": frozenset({outcome}),
        "job": frozenset({job}),
        "listed": frozenset({"no" if option.listed is None else "yes"}),
    }


def rules_of(kind: str, facts: Facts, methods: Sequence[str]) -> Iterable[str]:
    """Rules of the site that apply."""
    for row in SiteRule.rows():
        if (
            row.kind == kind
            and any(speaks_of(row.methods, method) for method in methods)
            and holds(row.when, facts)
        ):
            yield row.words

"""What a contractor needs: one setting, what is forbidden, when to stop, when it is accepted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from heritagecheck.evidence.trials.below_x50 import limit_for
from heritagecheck.evidence.trials.damaged_fields import FieldPlan
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.gate import CLEAN, TRIAL
from heritagecheck.judgement.handover.cautions import with_heat
from heritagecheck.judgement.handover.urgency import urgency_of
from heritagecheck.judgement.handover.work_setting import WorkSetting
from heritagecheck.judgement.options import Option, Stop, speaks_of
from heritagecheck.judgement.policy import Policy
from heritagecheck.sentences import day_in_words, ended, joined, lower_first
from heritagecheck.tables import threshold
from heritagecheck.tables.ages import ageing_required
from heritagecheck.tables.cautions import Caution, in_words
from heritagecheck.tables.conditions import Facts, holds
from heritagecheck.tables.methods import brief_method
from heritagecheck.tables.row_types import SiteRule

# -- The contractor’s box --------------------------------------------------------------------------

LEAD = {
    "yes": "present",
    "trace": "a trace, so not lead-free; exposure assessed first",
    "no": "none found",
    "unknown": "not known, so work as on lead paint",
}
# A method that fails at once costs only spots. A second one that passes saves another campaign
# if the first fails by ageing.
THEN = "Then, in this order, until two clean without more damage than agreed"
NOBODY = "not recorded; write in whom to call before work begins"


@dataclass(frozen=True, slots=True)
class Instruction:
    """Draft for the contractor of one zone; a contract and an approval override it."""

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
    usual_cautions: tuple[Caution, ...]
    panels: PanelSeries | None
    substrate: str

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """Usual cautions, and what the heat of a laser may alter; only pages work that out."""
        return with_heat(self.usual_cautions, self.panels, self.setting, self.substrate)

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
    fields: FieldPlan | str,
    ruled_out: Mapping[str, tuple[Stop, ...]],
    then: Sequence[str],
    cautions: Sequence[Caution],
) -> Instruction:
    """
    Draft the instruction for the method recommended, or to be tried.

    `fields` is what a trial takes; a text where the least that gate 7 requires is all that is said.
    """
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
        then=tuple(brief_method(method, zone.soiling_codes) for method in then),
        lead=LEAD[evidence.lead],
        forbidden=(
            *rules_of("never", facts, methods),
            *(
                brief_method(method)
                for method, stops in ruled_out.items()
                if any(stop.hard for stop in stops)
            ),
        ),
        start_panel=tuple(rules_of("start panel", facts, option.methods)),
        hold_points=tuple(rules_of("hold point", facts, methods)),
        stop_rules=tuple(rules_of("stop rule", facts, methods)),
        accepted=acceptance(outcome, option, evidence, policy, fields, then),
        call_first=evidence.call_first or NOBODY,
        log=tuple(rules_of("record", facts, option.methods)),
        usual_cautions=tuple(cautions),
        panels=option.series,
        substrate=zone.substrate,
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


# -- When it is accepted ---------------------------------------------------------------------------


def acceptance(
    outcome: str,
    option: Option,
    evidence: ZoneEvidence,
    policy: Policy,
    fields: FieldPlan | str,
    then: Sequence[str],
) -> tuple[str, ...]:
    """
    Criteria by which work, or each panel of a trial, is accepted.

    What is looked at, and its limit, from records, policy and `tables/thresholds.csv`. Panels of
    the methods that are tried next (`then`) age as long as each of them requires.
    """
    if option.listed is not None:
        return (
            "What was to be removed is gone, and the surface beneath shows no mark under a lens",
        )
    found = list(_criteria(option, evidence, policy))
    if outcome == TRIAL:
        found.append(_reading(option, evidence, fields, then))
    return tuple(found)


def _criteria(option: Option, evidence: ZoneEvidence, policy: Policy) -> Iterator[str]:
    """Each thing looked at, with its limit."""
    seen = policy.damage(evidence.zone.significance).seen
    share = f"at most {100 * seen:g} % of the fields" if seen else "no field"
    lost = "plate" if evidence.metal else "tooling"
    yield f"Damage: none that the eye sees; at ×50 {share}, and no crack, melting or lost {lost}"
    yield from _below(option, evidence)
    if evidence.metal:
        yield from _steel(option)
    else:
        left = threshold("residual_soiling_max_pct")
        yield f"Soiling left: at most {left:g} % of the area, beside the control"
        white = evidence.zone.substrate == "marble"
        most = threshold("delta_b_max_white" if white else "delta_b_max")
        yield f"Yellowing: b* moves by at most {most:g} against the control"


def _reading(
    option: Option, evidence: ZoneEvidence, fields: FieldPlan | str, then: Sequence[str]
) -> str:
    """How many panels and fields are read, as the page plans them, and when."""
    panels = int(threshold(f"replicates_{evidence.zone.significance}"))
    each = int(threshold("x50_fields_min"))
    if isinstance(fields, FieldPlan):
        panels, each = fields.least, fields.fields
    aged = _aged(evidence, (option.method, *then))
    return f"Read at least {panels} panels, {each} fields on each, {aged}"


def _below(option: Option, evidence: ZoneEvidence) -> Iterator[str]:
    """What the trial panels were measured for below ×50 is measured on the work too."""
    series = option.series
    for row in dict.fromkeys(one.row for one in (series.below if series else ())):
        most = limit_for(row, evidence.zone)
        if most is None:  # meant for the coating, whose profile is a criterion of its own
            continue
        limit = "at most the engineer's limit" if row.measure == "stress_change" else (
            f"at most {most:g} {row.unit}"
        )  # fmt: skip
        yield f"{row.name}: {limit}, measured as on the trial panels"


def _aged(evidence: ZoneEvidence, methods: Sequence[str]) -> str:
    """How long the panels of each method age, in words; the first method's wait comes first."""
    waits: dict[str, list[str]] = {}
    urgent = bool(urgency_of(evidence).words)
    for method in methods:
        usual, least = (_wait(evidence, method, urgent=quick) for quick in (False, urgent))
        wait = f"after {usual}"
        if least != usual:
            wait += f", or {least} as the zone is urgent"
        name = brief_method(method, evidence.zone.soiling_codes)
        waits.setdefault(wait, []).append(name)
    (first, _), *others = waits.items()
    longer = joined(f"{joined(names, ', ')}: {wait}" for wait, names in others)
    return f"{first} ({longer})" if longer else first


def _wait(evidence: ZoneEvidence, method: str, *, urgent: bool) -> str:
    """So many days, with a winter among them where one must pass."""
    days, winter = ageing_required(
        evidence.substrate.kind, method, evidence.zone.significance, urgent=urgent
    )
    return f"{days} days{' and a winter' if winter else ''}"


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
        names, they = ", ".join(missing).capitalize(), "it" if len(missing) == 1 else "them"
        yield f"{names}: not recorded; the conservator sets {they} before work"


# -- Conditions in the words of an approval --------------------------------------------------------


def ready_conditions(
    outcome: str,
    of_gates: Sequence[str],
    option: Option | None,
    instruction: Instruction | None,
    evidence: ZoneEvidence,
    until: date,
    then: Sequence[str],
) -> tuple[str, ...]:
    """Conditions of a zone, as they can be copied into an approval."""
    found = list(of_gates)
    if option is not None and instruction is not None:
        facts = facts_of_work(outcome, option, evidence)
        found += _of_work(outcome, instruction)
        found += rules_of("condition", facts, (*option.methods, *then))
        found.append(f"no work after {day_in_words(until)} without a new inspection")
    elif outcome == TRIAL:
        found.append("no cleaning and no trial panel here before the open questions are settled")
    return tuple(found)


def _of_work(outcome: str, instruction: Instruction) -> Iterator[str]:
    """Method, setting and bounds, in the words of the contractor's box."""
    method, *then = (lower_first(name) for name in (instruction.method, *instruction.then))
    if outcome == CLEAN:
        yield f"by {method} only"
    else:
        # Otherwise a list of methods could be read as steps on one panel.
        order = ", ".join(f"({place}) {name}" for place, name in enumerate((method, *then), 1))
        by = f"each method on its own panels, in this order: {order}" if then else f"by {method}"
        yield f"trial panels only, {by}; no other work"
    for name, words in instruction.setting.lines:
        yield f"{name.lower()}: {words}"
    yield from instruction.start_panel
    yield "accepted by the criteria of the contractor's box, and done within its cautions"

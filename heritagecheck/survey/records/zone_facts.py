"""What rules and questions may ask about a zone, and which questions a survey asks of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from operator import attrgetter

from heritagecheck.survey.records import Observation, SiteTest, Zone, grouped
from heritagecheck.survey.records.readings import complete_values
from heritagecheck.tables import codes, threshold
from heritagecheck.tables.conditions import IF_NAMED, Facts, holds
from heritagecheck.tables.row_types import Soiling, Substrate, Topic


def facts_of(
    zone: Zone, findings: Mapping[str, str | None], lead: str
) -> dict[str, frozenset[str] | None]:
    """Facts of a zone from its answers, topic by topic, and from what is known about lead."""
    substrate = Substrate.named(zone.substrate)
    polished = {"polished"} if zone.substrate == "granite_polished" else set()
    return {topic: fact(findings.get(topic)) for topic in codes("topics")} | {
        "substrate": fact(zone.substrate),
        "kind": fact(substrate.kind),
        "acid_sensitive": fact(substrate.acid_sensitive),
        "silica": fact(substrate.silica),
        "finish": frozenset({zone.finish} | polished),
        "condition": fact(None if zone.condition == "not_assessed" else zone.condition),
        "exposure": fact(zone.exposure),
        "access": fact(zone.access),
        "confined": fact("yes" if zone.confined else "no"),
        "significance": fact(zone.significance),
        "soiling": frozenset(zone.soiling_codes),
        "lead": fact(lead),
        "coated": fact("yes" if coated(zone, lead) else "no"),
    }


def fact(value: str | None) -> frozenset[str] | None:
    """One recorded value as a fact; None if nothing is recorded."""
    return None if value is None else frozenset({value})


# -- Lead ------------------------------------------------------------------------------------------

XRF, LAB = "lead_xrf_mg_cm2", "lead_lab_pct"


def lead_by_xrf(tests: Iterable[SiteTest]) -> str | None:
    """Lead by XRF: "yes", "unknown" (inconclusive, or a gap), "low"; None if none was taken."""
    # A low reading is not a *no*: paint that XRF can't tell from bare metal may still make dust
    # that harms whoever works in it (US OSHA, letter of interpretation of 29 CFR 1926.62, 1 March
    # 1999).
    tests = tuple(tests)
    if not any(test.quantity == XRF for test in tests):
        return None
    values = complete_values(tests, XRF)
    if values is None:
        return "unknown"
    if max(values) > threshold("lead_xrf_high_mg_cm2"):
        return "yes"
    return "low" if max(values) < threshold("lead_xrf_low_mg_cm2") else "unknown"


def lead_by_lab(tests: Iterable[SiteTest], coatings: int | None) -> str | None:
    """Lead by laboratory: "yes", "trace", "no" or "unknown"; None if no chip was taken."""
    # *Yes* from 0.5 % on. *Trace* below and *no* where nothing was found need full-depth chips of
    # every coating, *no* also a detection limit that is fine enough.
    tests = tuple(tests)
    if not any(test.quantity == LAB for test in tests):
        return None
    values = complete_values(tests, LAB)
    if values is None:
        return "unknown"
    if max(values) >= threshold("lead_lab_pct"):
        return "yes"
    if not_shown_by_lab(tests, coatings):
        return "unknown"
    finest = threshold("lead_free_pct")
    limits = [test.detection_limit for test in tests if test.quantity == LAB]
    found_none = all(
        limit is not None and value < limit <= finest
        for value, limit in zip(values, limits, strict=True)
    )
    return "no" if found_none else "trace"


def not_shown_by_lab(tests: Iterable[SiteTest], coatings: int | None) -> tuple[str, ...]:
    """What laboratory results below the limit of lead paint do not show, in words."""
    # Nothing where full-depth chips of every coating were tested, each with a usable result:
    # found, or not found below a detection limit that is recorded.
    chips = [test for test in tests if test.quantity == LAB and test.panel is None]
    named = {chip.coating for chip in chips if chip.coating is not None}
    open_ = []
    if any(chip.full_depth != "yes" for chip in chips):
        open_.append("whether every chip goes down to the substrate")
    if coatings is None:
        open_.append("how many coatings there are")
    elif not coatings or (coatings > 1 and len(named) < coatings):
        open_.append(f"a chip of each of the {coatings} coatings")
    if any(_may_hide_lead(chip) for chip in chips):
        open_.append("the detection limit")
    return tuple(open_)


def _may_hide_lead(chip: SiteTest) -> bool:
    """Whether a chip in which nothing was found could still hold as much as lead paint does."""
    limit = chip.detection_limit
    return chip.value == 0 if limit is None else limit >= threshold("lead_lab_pct")


def may_be_coated(zone: Zone, coating_state: str | None) -> bool:
    """Whether there is or may be a coating: metal is coated unless somebody says not."""
    if zone.coatings or _coating_seen(zone):
        return True
    return zone.metal and zone.coatings is None and coating_state != "none"


def lead_of(said: str | None, xrf: str | None, lab: str | None, *, coated: bool) -> str:
    """Lead in the coating from all answers and tests: "yes", "trace", "no" or "unknown"."""
    # An answer *no* is enough only where there is no coating that could hold lead.
    if "yes" in {said, xrf, lab}:
        return "yes"
    if lab in {"trace", "no"}:
        return lab
    tested = {xrf, lab} - {None, "low"}
    return "no" if said == "no" and not coated and not tested else "unknown"


def lead_on(
    zone: Zone, said: str | None, coating_state: str | None, tests: Iterable[SiteTest]
) -> str:
    """Lead on a zone from its answers about lead and the coating, and from its tests."""
    tests = tuple(tests)
    return lead_of(
        said,
        lead_by_xrf(tests),
        lead_by_lab(tests, zone.coatings),
        coated=may_be_coated(zone, coating_state),
    )


def coated(zone: Zone, lead: str) -> bool:
    """Whether there is a coating: lead implies one; metal has one unless lead is ruled out."""
    return _coating_seen(zone) or lead in {"yes", "trace"} or (zone.metal and lead != "no")


def _coating_seen(zone: Zone) -> bool:
    """Whether a coating is among the soilings of a zone."""
    return any(Soiling.named(code).kind == "coating" for code in zone.soiling_codes)


# -- Questions -------------------------------------------------------------------------------------

# What each gate asks, as one would ask it at the wall; danger to people comes first.
HEADINGS = {
    "urgency": "First: is anybody in danger?",
    "2": "Is there a reason to clean?",
    "3": "What causes it, and is the cause cured?",
    "4": "Is it firm enough to be touched?",
    "5": "What must be known before anything is touched?",
    "6": "Can work reach it without harm?",
    "8": "What is agreed and arranged? Look up at the desk what can't be seen at the wall.",
}
BEFORE_WORK = "8"


@dataclass(frozen=True, slots=True)
class Question:
    """
    One question about a zone, with its possible answers (`findings`).

    `how` says what to look at. `only` is the condition in words while it is not known whether the
    question applies; else empty. `before_work` marks what is arranged at the desk before work.
    """

    topic: str
    question: str
    findings: tuple[str, ...]
    only: str
    how: str
    heading: str
    before_work: bool


def questions_for(
    zone: Zone, observations: Iterable[Observation] = (), tests: Iterable[SiteTest] = ()
) -> tuple[Question, ...]:
    """
    Questions that apply to a zone, given its answers and lead tests so far.

    Danger to people comes first, then gate by gate; questions that another answer rules out are
    left out. The answers may be saved or still in a form.
    """
    return questions_asked(
        Substrate.named(zone.substrate).kind, facts_at_the_wall(zone, observations, tests)
    )


def questions_asked(kind: str, facts: Facts) -> tuple[Question, ...]:
    """Questions for masonry or metal, or for any zone if `kind` is empty, by what is known."""
    found: dict[str, list[Question]] = {gate: [] for gate in HEADINGS}
    for row in Topic.rows():
        applies = holds(row.asked_where, facts)
        if applies is False or (kind and row.kind not in {"all", kind, IF_NAMED}):
            continue
        only = [] if applies else [row.where_words]
        if row.kind == IF_NAMED:
            only.insert(0, "there is one")
        elif not kind and row.kind != "all":
            only.insert(0, f"it is {row.kind}")
        found[row.gate].append(
            Question(
                row.topic, row.question, row.findings, " and ".join(only),
                row.what_to_do, HEADINGS[row.gate], row.gate == BEFORE_WORK,
            )
        )  # fmt: skip
    return tuple(question for under_heading in found.values() for question in under_heading)


def open_questions(
    zone: Zone, observations: Iterable[Observation], tests: Iterable[SiteTest]
) -> tuple[Question, ...]:
    """
    Questions that certainly apply and have neither an answer nor a reason for none.

    What is arranged for work comes later, with gate 8. A test of lead answers the question of lead.
    """
    observations, tests = tuple(observations), tuple(tests)
    answered = {one.topic for one in observations}
    answered |= {"lead" for one in tests if one.of_lead}
    return tuple(
        one
        for one in questions_for(zone, observations, tests)
        if not one.only and not one.before_work and one.topic not in answered
    )


def by_heading(questions: Iterable[Question]) -> dict[str, list[Question]]:
    """Questions grouped by heading, in their order."""
    return grouped(questions, attrgetter("heading"))


def facts_at_the_wall(
    zone: Zone, observations: Iterable[Observation], tests: Iterable[SiteTest]
) -> Facts:
    """Facts on which the conditions of questions depend; nothing where nobody answered."""
    findings = {one.topic: one.finding for one in observations}
    lead = lead_on(zone, findings.get("lead"), findings.get("coating_state"), tests)
    return facts_of(zone, findings, lead)

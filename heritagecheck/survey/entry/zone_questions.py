"""Which questions a survey asks of a zone, in the order of the gates that need the answers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from heritagecheck.survey.records import Observation, SiteTest, Zone
from heritagecheck.survey.records.zone_facts import facts_of, lead_on
from heritagecheck.tables.conditions import IF_NAMED, Facts, holds
from heritagecheck.tables.row_types import Substrate, Topic

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
    One question of a zone.

    `findings` are its answers, `how` says what to look at. `only` says in words where it is asked,
    as far as nobody knows that yet; empty where it is asked outright. `before_work` marks what is
    agreed and arranged at the desk, once work is meant.
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
    Questions asked of a zone, by what is answered and tested there so far.

    Parameters
    ----------
    zone : Zone
        The zone.
    observations : iterable of Observation
        Its answers, saved or still in a form: some questions follow from others.
    tests : iterable of SiteTest
        Its tests; those of lead decide whether there is a coating to ask about.

    Returns
    -------
    tuple of Question
        Danger to people first, then gate by gate. Left out is what another answer rules out.
    """
    return questions_asked(
        Substrate.named(zone.substrate).kind, facts_at_the_wall(zone, observations, tests)
    )


def questions_asked(kind: str, facts: Facts) -> tuple[Question, ...]:
    """Questions of masonry or metal, or of any zone where `kind` is empty, by what is known."""
    found: dict[str, list[Question]] = {gate: [] for gate in HEADINGS}
    for row in Topic.rows():
        applies = holds(row.asked_where, facts)
        if applies is False or (kind and row.kind not in {"all", kind, IF_NAMED}):
            continue
        only = [] if applies else [_where(row.asked_where)]
        if row.kind == IF_NAMED:
            only.insert(0, "there is one")
        elif not kind and row.kind != "all":
            only.insert(0, row.kind)
        found[row.gate].append(
            Question(
                row.topic, row.question, row.findings, "; ".join(only),
                row.what_to_do, HEADINGS[row.gate], row.gate == BEFORE_WORK,
            )
        )  # fmt: skip
    return tuple(question for asked in found.values() for question in asked)


def open_questions(
    zone: Zone, observations: Iterable[Observation], tests: Iterable[SiteTest]
) -> tuple[Question, ...]:
    """
    Questions that are asked outright and have neither an answer nor a reason for none.

    What is agreed and arranged for work is asked later: gate 8 waits for it. A test of lead answers
    the question of lead.
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
    """Questions under their headings, in their order."""
    found: dict[str, list[Question]] = {}
    for question in questions:
        found.setdefault(question.heading, []).append(question)
    return found


def facts_at_the_wall(
    zone: Zone, observations: Iterable[Observation], tests: Iterable[SiteTest]
) -> Facts:
    """What the conditions of questions ask about a zone; nothing where nobody answered."""
    findings = {one.topic: one.finding for one in observations}
    lead = lead_on(zone, findings.get("lead"), findings.get("coating_state"), tests)
    return facts_of(zone, findings, lead)


def _where(condition: str) -> str:
    """Put a condition on one recorded thing into words."""
    said = {
        "coated=yes": "it is coated", "confined=yes": "it is a confined space",
        "lead=trace": "a trace of lead was found",
    }  # fmt: skip
    return said.get(condition) or condition.replace("=", " is ").replace("|", " or ").replace(
        "_", " "
    )

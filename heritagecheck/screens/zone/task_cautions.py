"""The cautions of a zone, as far as anything is known of it, by the task to which each belongs."""

from __future__ import annotations

from heritagecheck.screens.zone.at_hand import ZoneAtHand
from heritagecheck.tables import codes
from heritagecheck.tables.cautions import ALWAYS, Caution, of_outcome, usual_cautions
from heritagecheck.tables.conditions import Facts
from heritagecheck.tables.row_types import Substrate

# Hazards that a task itself meets; the others of the zone are told below it.
OF_TASK = {
    "what": {"Height", "Closed section"},
    "soiling": {"Bird droppings"},
    "findings": {"Stop work", "Closed section"},
    "tests": {"Lead", "A trace of lead", "Lead not known", "Steel strength", "Closed section"},
    "colour": {"Height", "Closed section"},
    "photographs": {"Height", "Closed section"},
}


def cautions_of_task(hand: ZoneAtHand, task: str) -> tuple[list[Caution], list[Caution]]:
    """
    Cautions that belong to a task, and all others of the zone.

    Parameters
    ----------
    hand : ZoneAtHand
        The zone.
    task : str
        The task.

    Returns
    -------
    tuple of two lists of Caution
        What is not known yet counts as if it were so.
    """
    found = [*usual_cautions(_facts(hand), ()), of_outcome(ALWAYS)]
    first = OF_TASK.get(task, set())
    return [one for one in found if one.hazard in first], [
        one for one in found if one.hazard not in first
    ]


def _facts(hand: ZoneAtHand) -> Facts:
    """What is saved of the zone, and over it what the form says now."""
    now = hand.standing.recommendation if hand.standing else None
    facts = {} if now is None else dict(now.evidence.facts)
    values = {name: hand.zone.written.value(name) for name in ("access", "exposure", "substrate")}
    typed = {name: frozenset({str(value)}) for name, value in values.items() if value is not None}
    facts |= typed
    if values["substrate"] in codes("substrates"):
        facts["kind"] = frozenset({Substrate.named(str(values["substrate"])).kind})
    if hand.soilings:
        facts["soiling"] = frozenset(hand.soilings)
    if len(typed) == len(values):
        confined = values["exposure"] == "closed_section" or values["access"] == "confined"
        facts["confined"] = frozenset({"yes" if confined else "no"})
    return facts

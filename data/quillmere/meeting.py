"""The invented meeting of the team: three zones decided, one with dissent, one by an override."""

from __future__ import annotations

from datetime import date

import heritagecheck as hc
from heritagecheck.judgement.decisions import signature_of
from heritagecheck.judgement.evidence_snapshot import evidence_snapshot
from heritagecheck.survey.records import (
    Decision,
    Meeting,
    OpenQuestion,
    Opinion,
    Signature,
    Zone,
)
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.team import AFTER, BEFORE
from heritagecheck.survey.survey import Survey

MEETING = "M1"
MEMBERS = ("conservator", "engineer", "heritage authority", "owner", "ecologist")
# What each member gave in private, in the order of the members.
GIVEN = {
    "N10": ("clean", "clean", "clean", "clean", "leave and monitor"),
    "E15": ("leave", "leave and monitor", "leave", "clean", "leave"),
    "T03": ("trial first", "leave and monitor", "leave and monitor", "trial first", None),
}
WHY = {
    ("N10", "ecologist"): "Lichens on the drip edge were not surveyed when I wrote this",
    ("E15", "owner"): "Visitors read the date from the street, and today they can't",
    ("E15", "heritage authority"): "The polish is the evidence; a scratch stays",
    ("T03", "engineer"): "The grit left chloride, and the bottom ring has the least plate to lose",
}
VETO = {("E15", "heritage authority"): "clean"}
DISSENT = {
    ("E15", "owner"): "I do not object to waiting, but the date must be readable within five years."
}
DECIDED = {
    "N10": ("clean", "Panels of a year hold on this bed; crust hides the dentils", "", None),
    "E15": ("leave", "The polish can't be put back, and soiling does it no harm", "", None),
    "T03": (
        "leave and monitor",
        "No further trial before the plate is measured",
        "Nothing is blasted, scraped or washed until then; look again at each inspection",
        "More panels would thin the plate where it is thinnest; thickness comes first",
    ),
}
SIGNED = {"conservator": "A. Fell", "heritage authority": None}


def meeting(made: Survey) -> list[Record]:
    """All records of the meeting, on the evidence of the survey as it was made."""
    found: list[Record] = [
        Meeting(
            meeting=MEETING, held_on=date(2026, 10, 7), place="Boiler room",
            facilitator="facilitator", members="; ".join(MEMBERS), readers="parish council",
        )
    ]  # fmt: skip
    zones = {zone.zone: zone for zone in made.all(Zone)}
    answers = {one.zone: one for one in hc.assess(made, zones=list(DECIDED)).recommendations}
    for zone, given in GIVEN.items():
        found += _opinions(zone, given)
        outcome, reasons, conditions, override = DECIDED[zone]
        snapshot = evidence_snapshot(made, zones[zone])
        recommended = answers[zone]
        decision = Decision(
            meeting=MEETING, zone=zone, outcome=outcome, reasons=reasons,
            recommended=recommended.outcome, evidence=snapshot.evidence,
            snapshot=snapshot.by_kind, method=recommended.method if outcome == "clean" else None,
            conditions=conditions or None, override_reason=override,
        )  # fmt: skip
        found += [decision, *_signatures(decision)]
    found.append(
        OpenQuestion(
            question=f"{MEETING}-Q1", meeting=MEETING, zone="T03", owner="engineer",
            words="Thickness of the bottom ring at each rivet row", due=date(2027, 3, 31),
        )
    )  # fmt: skip
    return found


def _opinions(zone: str, given: tuple[str | None, ...]) -> list[Record]:
    """What each member gave in private, and what was said after talk."""
    found: list[Record] = [
        Opinion(
            meeting=MEETING, zone=zone, member=member, given=BEFORE, outcome=outcome,
            why=WHY.get((zone, member)), veto=VETO.get((zone, member)),
        )
        for member, outcome in zip(MEMBERS, given, strict=True) if outcome
    ]  # fmt: skip
    for (of_zone, member), words in DISSENT.items():
        if of_zone == zone:
            found.append(
                Opinion(meeting=MEETING, zone=zone, member=member, given=AFTER, dissent=words)
            )
    if zone == "N10":
        found.append(
            Opinion(
                meeting=MEETING, zone=zone, member="ecologist", given=AFTER, outcome="clean",
                why="Surveyed since: no lichens on the dentils",
            )
        )  # fmt: skip
    return found


def _signatures(decision: Decision) -> list[Signature]:
    """Signatures under one decision."""
    return [
        signature_of(
            decision, signer=signer, name=name, signed_at=f"2026-10-07T15:{minute}:00+00:00"
        )
        for minute, (signer, name) in enumerate(SIGNED.items(), start=40)
    ]

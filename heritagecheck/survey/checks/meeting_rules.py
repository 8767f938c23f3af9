"""What records of a meeting must not say together: a veto stays one, nobody signs for others."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from heritagecheck.survey.records import Decision, Meeting, Opinion, Signature
from heritagecheck.survey.records.meetings import AFTER, TREAT, roles_of

Wrong = Iterator[tuple[str, str]]


def last_opinions(opinions: Iterable[Opinion]) -> dict[tuple[str, str, str], Opinion]:
    """What each member would do in each zone of each meeting, in the end: what came after talk."""
    found: dict[tuple[str, str, str], Opinion] = {}
    for one in opinions:
        place = one.meeting, one.zone, one.member
        if place not in found or (one.given == AFTER and one.outcome is not None):
            found[place] = one
    return found


def vetoes(decision: Decision, opinions: Iterable[Opinion]) -> tuple[Opinion, ...]:
    """Opinions of members who hold a veto against what was decided."""
    decided = "clean" if decision.outcome == TREAT else decision.outcome
    return tuple(
        one
        for (meeting, zone, _), one in last_opinions(opinions).items()
        if (meeting, zone) == (decision.meeting, decision.zone) and one.veto == decided
    )


def veto_against(decision: Decision, opinions: Iterable[Opinion]) -> Wrong:
    """Field and reason where somebody holds a veto against what was decided."""
    for one in vetoes(decision, opinions):
        yield (
            "outcome",
            f"{one.member} holds a veto against {one.veto} in {one.zone}: {one.why}. Decide "
            "otherwise; only that member can take the veto back",
        )


def not_at_meeting(record: Opinion | Signature, meetings: dict[str, Meeting]) -> Wrong:
    """Field and reason where somebody speaks or signs who was no member of the meeting."""
    meeting = meetings.get(record.meeting)
    if meeting is None:
        return
    field, who = ("member", "") if isinstance(record, Opinion) else ("signer", meeting.facilitator)
    members = roles_of(meeting.members)
    if getattr(record, field) not in {*members, who}:
        yield field, f"is not a member of meeting {meeting.meeting}. Members: {'; '.join(members)}"


def signed_nothing(signature: Signature, decisions: Iterable[Decision]) -> Wrong:
    """Field and reason where a signature is under no decision."""
    place = signature.meeting, signature.zone
    if all((one.meeting, one.zone) != place for one in decisions):
        yield "zone", f"meeting {signature.meeting} decided nothing for {signature.zone} to sign"

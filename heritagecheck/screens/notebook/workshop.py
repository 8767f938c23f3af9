"""Steps of the notebook of a meeting: weights, private views, what would change, an agenda."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations
from typing import Any

from heritagecheck.cards import table
from heritagecheck.judgement.agenda import ORDERS, agenda, in_order, zones_in_hand
from heritagecheck.judgement.agreement import Agreement, agreement
from heritagecheck.judgement.elicitation import (
    TIMES,
    ElicitedWeights,
    compared_weights,
    ratio,
    swing_weights,
)
from heritagecheck.judgement.harm.treat_or_leave import per_cent
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.weights_at_stake import ZoneAtStake, weights_at_stake
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import Rows
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.sentence_table import Table
from heritagecheck.sentences import day_in_words, ended
from heritagecheck.survey.checks.contradictions import last_opinions
from heritagecheck.survey.records import Meeting, Opinion, View
from heritagecheck.survey.records.record import parts_of_list
from heritagecheck.survey.records.team import BEFORE

ANY = ""
PRIVATE, TALKED = "private", "talked"
POINTS, PAIRS = "points", "pairs"
YOURS = "By your weights"
NO_WEIGHTS = (
    "No member has given all six weights yet. Enter them on the page of what the team agrees."
)
NO_VIEWS = (
    "No meeting is recorded yet. Each member writes down an outcome for each zone in private, "
    "before any talk. In a terminal, heritagecheck workshop and the folder open the meeting."
)
WEIGHTS = {"criterion": "Criterion", "lowest": "Lowest [%]", "highest": "Highest [%]"}
SPREAD = {
    "zone": "Zone",
    "disagreement": "Pairs who differ [%]",
    "veto": "Veto",
    "to agree on": "Least that would bring agreement",
}
SAID = {"member": "Member", "outcome": "Outcome", "veto": "Veto against", "why": "Why"}
AT_STAKE = {"member": "Member", "share": "Less harm [%]", "passes": "Passes", "turn": "Turned by"}
HANDS = {
    "zone": "Zone",
    "kind": "Type",
    "why": "Why",
    "area_m2": "Area [m²]",
    "not_known": "Not known",
}
AGENDA = {"starts": "From [min]", "zones": "Zones", "minutes": "Minutes", "why": "Why"}


class WorkshopWalk(Walk):
    """From what members hold important to the time that a meeting has."""

    zone_of_example = "E15"

    @step
    def weights(self, ask: Ask) -> Iterator[Any]:
        """How much each criterion weighs for each member."""
        found = agreement(self.survey.all(View))
        if not found.weights:
            raise NotYetError(NO_WEIGHTS)
        if found.incomplete:
            yield (
                f"Weights not complete, and not counted: {', '.join(found.incomplete)}. "
                "Enter all six on the page of what the team agrees."
            )
        if found.kendall_w is not None:
            yield (
                f"How far they put the criteria in one order (Kendall's W): {found.kendall_w:.2f}. "
                "1 is the same order for all."
            )
        frame = found.weights_table
        numbers = frame.columns.difference(["criterion"])
        frame[numbers] = (100 * frame[numbers].astype(float)).round()
        yield Rows(frame, WEIGHTS, "weight")

    @step
    def views(self, ask: Ask) -> Iterator[Any]:
        """What each member would do, zone by zone."""
        found = self._agreement(ask)
        yield found
        frame = found.table
        frame["disagreement"] = (100 * frame["disagreement"]).round()
        yield Rows(frame, SPREAD, "zone", picks="zone")

    @step
    def spread(self, ask: Ask) -> Iterator[Any]:
        """Who would do what in the zone, in each member's own words."""
        meeting, private = self._round(ask)
        opinions = [
            one for one in self._opinions(meeting, private=private) if one.zone == self.zone_code
        ]
        if not opinions:
            raise NotYetError(f"Nobody gave a view on zone {self.zone_code} in this round.")
        zone = agreement(opinions, members=parts_of_list(meeting.members)).zone(self.zone_code)
        yield ended(str(zone))
        yield from (ended(f"To agree on {change}") for change in zone.changes)
        yield from (
            f"The veto of {who} against {outcome} holds until that member withdraws it."
            for who, outcome in zone.vetoes.items()
        )
        yield from (
            ended(f"Dissent of {one.member}, word for word: {one.dissent}")
            for one in self.survey.of_zone(self.zone_code, Opinion)
            if one.meeting == meeting.meeting and one.dissent and not private
        )
        said = [(one.member, one.outcome, one.veto, one.why) for one in opinions]
        yield Rows(table(said, tuple(SAID)), SAID, "view")

    @step
    def at_stake(self, ask: Ask) -> Iterator[Any]:
        """Which weights would change gate 8 of the zone, member by member."""
        [zone] = weights_at_stake(self.assessment, self._weights, [self.zone_code])
        yield ended(str(zone))
        if not zone.members:
            return
        yield from self._of_all_weights(zone)
        rows = [
            (one.member, round(100 * one.share), "yes" if one.accepts else "no",
             str(one.change or "no single weight"))
            for one in zone.members
        ]  # fmt: skip
        yield Rows(table(rows, tuple(AT_STAKE)), AT_STAKE, "member")
        yield from self._cautions()

    @step
    def try_weights(self, ask: Ask) -> Iterator[Any]:
        """One's own weights, by points or by comparing two at a time, and what follows."""
        ways = {POINTS: "points out of 100", PAIRS: "two criteria at a time"}
        mine = _by_points(ask) if ask.choice("Give weights by", ways) == POINTS else _by_pairs(ask)
        yield ended(str(mine))
        yield from (ended(f"Look at this again: {words}") for words in mine.look_again)
        [zone] = weights_at_stake(self.assessment, {YOURS: mine.swings}, [self.zone_code])
        yield ended(str(zone.members[0]) if zone.members else str(zone))
        yield from self._cautions() if zone.members else ()

    @step
    def hours(self, ask: Ask) -> Iterator[Any]:
        """Which zones the time allows, and which it does not."""
        meetings = self.survey.all(Meeting)
        said = self._said(meetings[-1], private=True) if meetings else None
        zones = zones_in_hand(self.assessment, said)
        minutes = ask.number("Minutes for zones", 120, low=1, high=1440)
        plan = agenda(zones, minutes)
        yield str(plan)
        items = [
            (f"{item.starts:g}", ", ".join(item.zones), f"{item.minutes:g}", item.why)
            for item in plan.items
        ]
        yield Rows(table(items, tuple(AGENDA)), AGENDA, "item")
        kinds = {ANY: "any", **{kind: kind for kind in sorted({one.kind for one in zones})}}
        kind = ask.choice("Type of zone", kinds)
        by = ask.choice("Sorted by", {order: order for order in ORDERS})
        yield Rows(_hands(in_order(zones, by, kind)), HANDS, "zone", picks="zone")

    @property
    def _weights(self) -> Mapping[str, Mapping[str, float]] | None:
        """Weights of those who gave all of them; those of the policy where nobody did."""
        return agreement(self.survey.all(View)).weights or None

    def _agreement(self, ask: Ask) -> Agreement:
        """How far the members agree in the round that is chosen."""
        meeting, private = self._round(ask)
        return self._said(meeting, private=private)

    def _said(self, meeting: Meeting, *, private: bool) -> Agreement:
        """How far the members agree in a round of a meeting."""
        views: list[View | Opinion] = [*self.survey.all(View)]
        views += self._opinions(meeting, private=private)
        return agreement(views, members=parts_of_list(meeting.members))

    def _round(self, ask: Ask) -> tuple[Meeting, bool]:
        """The meeting and round that are chosen; True for what was given in private."""
        meetings = {one.meeting: one for one in self.survey.all(Meeting)}
        if not meetings:
            raise NotYetError(NO_VIEWS)
        code = ask.choice(
            "Meeting",
            {code: f"{code}, {day_in_words(one.held_on)}" for code, one in meetings.items()},
        )
        rounds = {PRIVATE: "in private, before talk", TALKED: "after talk"}
        return meetings[code], ask.choice("Given", rounds) == PRIVATE

    def _opinions(self, meeting: Meeting, *, private: bool) -> list[Opinion]:
        """Opinions of one round of a meeting; after talk, each member's last."""
        given = [one for one in self.survey.all(Opinion) if one.meeting == meeting.meeting]
        if private:
            return [one for one in given if one.given == BEFORE]
        return list(last_opinions(given).values())

    def _of_all_weights(self, zone: ZoneAtStake) -> Iterator[str]:
        """What weights there could be make of the zone."""
        share = per_cent(zone.share_of_weights)
        yield f"Over all weights there could be, treating does less harm in {share} of simulations."
        yield "That is not the share of people who hold them."

    def _cautions(self) -> Iterator[str]:
        """Cautions of the zone, with every method that is named."""
        yield from (f"{one.hazard}. {one.words}" for one in self.zone.cautions)


def _by_points(ask: Ask) -> ElicitedWeights:
    """Weights by points."""
    return swing_weights({one: ask.number(one.capitalize(), 100, 0, 100) for one in CRITERIA})


def _by_pairs(ask: Ask) -> ElicitedWeights:
    """Weights by comparing two criteria at a time."""
    return compared_weights(
        {
            (one, other): ratio(ask.choice(f"{one.capitalize()} against {other}", TIMES, "1"))
            for one, other in combinations(CRITERIA, 2)
        }
    )


def _hands(zones: Any) -> Table:
    """Zones as a table."""
    return table(
        [
            (one.zone, one.kind, one.why, one.area_m2, len(one.not_known), one.name,
             one.elevation, ", ".join(one.not_known))
            for one in zones
        ],
        (*HANDS, "name", "elevation", "what is not known"),
    )  # fmt: skip

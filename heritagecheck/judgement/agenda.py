"""Which zones a meeting talks about, in which order, and what fits the time there is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import TYPE_CHECKING

from heritagecheck.cards import summary, table
from heritagecheck.judgement.agreement import Agreement, ZoneSpread
from heritagecheck.judgement.handover.urgency import gaps_of, urgency_turn
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.sentences import count_of, ended
from heritagecheck.tables import threshold
from heritagecheck.tables.row_types import Soiling

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class ZoneInHand:
    """
    A zone as a facilitator sees it before a meeting; what heritagecheck recommends is not in it.

    `kind` is its substrate and soilings in words. `answer` is the outcome that every member chose;
    empty where they differ, where somebody gave none, and where somebody vetoes it. `disagreement`
    is the share of pairs of members who differ; None below two answers. `vetoes` maps members to
    the outcomes that they will not accept. Where urgency was not looked at in full, that none is
    recorded says little.
    """

    zone: str
    name: str
    elevation: str
    kind: str
    area_m2: float
    urgency: str
    act_by: date | None
    urgency_looked_at: bool
    disagreement: float | None
    answer: str
    silent: tuple[str, ...]
    vetoes: Mapping[str, str]
    not_known: tuple[str, ...]

    @property
    def settled(self) -> bool:
        """Whether all chose the same, and nothing is urgent or vetoed."""
        return bool(self.answer) and not self.urgency and not self.vetoes

    @property
    def why(self) -> str:
        """Why it is talked about, in a few words."""
        said = [self.urgency] if self.urgency else []
        said += [f"{who} vetoes {outcome}" for who, outcome in self.vetoes.items()]
        if self.answer:
            said.append(f"all chose {self.answer}")
        elif self.disagreement:
            said.append(f"members differ ({100 * self.disagreement:.0f} % of pairs)")
        if self.silent:
            said.append(f"no answer: {', '.join(self.silent)}")
        return "; ".join(said) or "no views yet"


@dataclass(frozen=True, slots=True)
class AgendaItem:
    """One zone, or zones of one type on which all chose the same. Times in minutes."""

    zones: tuple[str, ...]
    starts: float
    minutes: float
    why: str

    def __str__(self) -> str:
        """Give its start, its zones and why."""
        return f"{self.starts:g} min, {', '.join(self.zones)} ({self.minutes:g} min): {self.why}"


@dataclass(frozen=True, eq=False)
class Agenda:
    """Zones in the order in which a meeting takes them; `left_out` names those that do not fit."""

    items: tuple[AgendaItem, ...]
    left_out: tuple[str, ...]
    minutes: float
    needed: float

    @property
    def used(self) -> float:
        """Minutes that the items take."""
        return sum(item.minutes for item in self.items)

    @property
    def table(self) -> pd.DataFrame:
        """One row an item: start and length in minutes, zones, why."""
        return table(
            [(item.starts, item.minutes, ", ".join(item.zones), item.why) for item in self.items],
            ["starts after [min]", "minutes", "zones", "why"],
        )

    def __str__(self) -> str:
        """Say in sentences what fits and what does not."""
        number = sum(len(item.zones) for item in self.items)
        said = f"{count_of(number, 'zone')} in {self.used:g} of {self.minutes:g} minutes"
        if not self.left_out:
            return ended(said)
        return (
            f"{said}. {count_of(len(self.left_out), 'zone')} left out, because all would take "
            f"{self.needed:g} minutes: {', '.join(self.left_out)}."
        )

    __repr__ = __str__

    def _repr_html_(self) -> str:
        """Show it in a notebook as a short card."""
        lines = [
            (f"{item.starts:g} min", f"{', '.join(item.zones)} ({item.minutes:g} min): {item.why}")
            for item in self.items
        ]
        return summary("Agenda", str(self), lines, more="agenda.table")


def zones_in_hand(
    assessment: Assessment, agreement: Agreement | None = None
) -> tuple[ZoneInHand, ...]:
    """
    Give the zones of an assessment as a facilitator sees them.

    Parameters
    ----------
    assessment : Assessment
        Whose urgency, areas and gaps are used; its outcomes are not.
    agreement : Agreement, optional
        What the members gave in private; without it, no zone has an answer.

    Returns
    -------
    tuple of ZoneInHand
        In the order of the assessment. Gaps that are asked only where work is recommended are left
        out, since they would give the outcome away.
    """
    said = {} if agreement is None else {one.zone: one for one in agreement.zones}
    return tuple(
        _in_hand(one, said.get(one.zone) or ZoneSpread(one.zone, {}, (), {}))
        for one in assessment.recommendations
    )


def _in_hand(recommendation: Recommendation, spread: ZoneSpread) -> ZoneInHand:
    """One zone as a facilitator sees it."""
    evidence, zone = recommendation.evidence, recommendation.evidence.zone
    soilings = ", ".join(Soiling.named(code).name for code in zone.soiling_codes)
    gaps = gaps_of(evidence, recommendation.trials, work_meant=False)
    return ZoneInHand(
        zone=zone.zone,
        name=zone.name,
        elevation=zone.elevation,
        kind=f"{evidence.substrate.name}: {soilings or 'no soiling'}",
        area_m2=zone.area_m2,
        urgency=recommendation.urgency,
        act_by=recommendation.act_by,
        urgency_looked_at=not recommendation.urgency_not_looked_at,
        disagreement=spread.disagreement,
        answer=next(iter(spread.answers.values())) if spread.agreed else "",
        silent=spread.silent,
        vetoes=spread.vetoes,
        not_known=tuple(gap.what for gap in gaps),
    )


def _by_urgency(zone: ZoneInHand) -> tuple[bool, bool, date]:
    """Make safe first, then by the day, then what is not urgent."""
    return urgency_turn(zone.urgency, zone.act_by)


def _by_disagreement(zone: ZoneInHand) -> tuple[bool, float, int]:
    """Vetoes first, then by how many pairs of members differ, then by how many are silent."""
    return not zone.vetoes, -(zone.disagreement or 0.0), -len(zone.silent)


ORDERS: Mapping[str, Callable[[ZoneInHand], tuple[object, ...]]] = {
    "disagreement": _by_disagreement,
    "area": lambda zone: (-zone.area_m2,),
    "urgency": _by_urgency,
    "not known": lambda zone: (-len(zone.not_known),),
}


def in_order(zones: Iterable[ZoneInHand], by: str, kind: str = "") -> tuple[ZoneInHand, ...]:
    """
    Sort the zones of a meeting, the first to talk about first.

    Parameters
    ----------
    zones : iterable of ZoneInHand
        The zones.
    by : {"disagreement", "area", "urgency", "not known"}
        By what, the greatest first; zones that are equal in it are sorted by code.
    kind : str
        Only zones of this type; all where it is empty.

    Raises
    ------
    ValueError
        `by` is none of these.
    """
    if by not in ORDERS:
        raise ValueError(f"by = {by!r}: zones are sorted by {', '.join(ORDERS)}.")
    chosen = [zone for zone in zones if not kind or zone.kind == kind]
    return tuple(sorted(chosen, key=lambda zone: (*ORDERS[by](zone), zone.zone)))


def agenda(zones: Iterable[ZoneInHand], minutes: float) -> Agenda:
    """
    Fit the zones of a meeting into the time there is.

    Parameters
    ----------
    zones : iterable of ZoneInHand
        The zones, in any order.
    minutes : float
        Time for zones, without the opening and the reading back. [min]

    Returns
    -------
    Agenda
        Urgent zones come first, then vetoes, then those on which most members differ; zones of one
        type on which all chose the same come last and are read out together. Where an urgent zone
        does not fit, no zone that is less urgent takes its place.

    Raises
    ------
    ValueError
        `minutes` is not above 0, or a zone is given twice.

    Notes
    -----
    A zone on which members differ takes 7.5 minutes, eight an hour; the first on which all agree
    takes 4 minutes, fifteen an hour (`tables/thresholds.csv`, common practice). Each further one of
    its type takes a minute, which is our choice. Neighbours are best decided together at the wall.
    """
    if not 0 < minutes < float("inf"):
        raise ValueError(f"minutes = {minutes:g}: give the minutes that there are, above 0.")
    parts = _parts(sorted(zones, key=_turn))
    codes = [zone.zone for part in parts for zone in part]
    if twice := sorted({code for code in codes if codes.count(code) > 1}):
        raise ValueError(f"These zones are listed twice: {', '.join(twice)}.")
    items: list[AgendaItem] = []
    left_out: list[str] = []
    starts, full = 0.0, False
    for part in parts:
        fitting = 0 if full else _fitting(part, minutes - starts)
        left_out += [zone.zone for zone in part[fitting:]]
        full = full or (not fitting and bool(part[0].urgency))
        if fitting:
            taken = part[:fitting]
            items.append(_item(taken, starts))
            starts += items[-1].minutes
    needed = sum(_takes(part) for part in parts)
    return Agenda(tuple(items), tuple(left_out), float(minutes), needed)


def _turn(zone: ZoneInHand) -> tuple[object, ...]:
    """Place of a zone in a meeting."""
    together = (zone.kind, zone.answer) if zone.settled else ("", "")
    return (
        zone.settled, *together, *_by_urgency(zone), *_by_disagreement(zone),
        -len(zone.not_known), -zone.area_m2, zone.zone,
    )  # fmt: skip


def _parts(ordered: Iterable[ZoneInHand]) -> list[list[ZoneInHand]]:
    """Zones that are taken together: one by itself, or settled ones of a type."""
    return [
        list(part)
        for _, part in groupby(
            ordered,
            key=lambda zone: (zone.kind, zone.answer) if zone.settled else zone.zone,
        )
    ]


def _takes(part: list[ZoneInHand]) -> float:
    """Minutes for zones that are taken together."""
    if not part[0].settled:
        return threshold("agenda_differ")
    return threshold("agenda_first") + (len(part) - 1) * threshold("agenda_alike")


def _fitting(part: list[ZoneInHand], minutes: float) -> int:
    """How many zones of a part fit."""
    return max(
        (count for count in range(1, len(part) + 1) if _takes(part[:count]) <= minutes), default=0
    )


def _item(part: list[ZoneInHand], starts: float) -> AgendaItem:
    """Item of the zones of a part."""
    first = part[0]
    why = f"{first.kind}; {first.why}" if first.settled else first.why
    return AgendaItem(tuple(zone.zone for zone in part), starts, _takes(part), why)

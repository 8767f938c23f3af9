"""Where the members of a team agree, where they differ, and what would have to change."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from heritagecheck.cards import summary, table
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.rater_agreement import kendalls_w, krippendorff_alpha
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment
from heritagecheck.judgement.weights_at_stake import ZoneAtStake, weights_at_stake
from heritagecheck.sentences import count_of, ended, joined
from heritagecheck.survey.records import View

if TYPE_CHECKING:
    import pandas as pd

COUNTS_ONLY = (
    "This counts answers and does not say who is right. Keep each dissent in its own words."
)
DIGITS = 12
FEWEST_UNITS = 10  # below, an alpha says little: our choice


class ZoneOpinion(Protocol):
    """What one member would do in one zone, as the records of a meeting hold it."""

    @property
    def member(self) -> str:
        """Member, by role."""

    @property
    def zone(self) -> str:
        """Code of the zone."""

    @property
    def outcome(self) -> str | None:
        """Outcome chosen; None where the member chose none."""

    @property
    def veto(self) -> str | None:
        """Outcome that the member will not accept; None without a veto."""


@dataclass(frozen=True, slots=True)
class Change:
    """Who would have to change to an outcome so that all who answered agree."""

    outcome: str
    members: tuple[str, ...]

    def __str__(self) -> str:
        """Give outcome and members."""
        return f"{self.outcome}: {', '.join(self.members)} would change"


@dataclass(frozen=True, slots=True)
class ZoneSpread:
    """
    What the members would do in one zone, before any talk or after it.

    `disagreement` is the share of pairs of members who differ, 0 to 1; None below two answers.
    `changes` names the outcomes that need the fewest changes, but never one that somebody vetoes.
    It is empty where all chose the same, and where each outcome that was chosen is vetoed. A member
    who gave no outcome is `silent`, which is never counted as an answer.
    """

    zone: str
    answers: Mapping[str, str]
    silent: tuple[str, ...]
    vetoes: Mapping[str, str]

    @property
    def counts(self) -> dict[str, int]:
        """How many members chose each outcome."""
        chosen = list(self.answers.values())
        return {outcome: chosen.count(outcome) for outcome in OUTCOMES}

    @property
    def disagreement(self) -> float | None:
        """Share of pairs of members who differ."""
        number = len(self.answers)
        if number < 2:
            return None
        alike = sum(count * (count - 1) for count in self.counts.values())
        return 1 - alike / (number * (number - 1))

    @property
    def agreed(self) -> bool:
        """Whether every member answered, all alike, and none of them vetoes that."""
        chosen = set(self.answers.values())
        return len(chosen) == 1 and not self.silent and not chosen & set(self.vetoes.values())

    @property
    def changes(self) -> tuple[Change, ...]:
        """The least that would bring those who answered to agree."""
        found = [
            Change(outcome, tuple(who for who in self.answers if self.answers[who] != outcome))
            for outcome, count in self.counts.items()
            if count and outcome not in self.vetoes.values()
        ]
        fewest = min((len(one.members) for one in found), default=0)
        return tuple(one for one in found if fewest and len(one.members) == fewest)

    def __str__(self) -> str:
        """Say in a sentence who would do what."""
        chose = {outcome: self._who(outcome) for outcome in OUTCOMES}
        said = [f"{outcome}: {', '.join(members)}" for outcome, members in chose.items() if members]
        said += [f"{who} vetoes {outcome}" for who, outcome in self.vetoes.items()]
        said += [f"no answer: {', '.join(self.silent)}"] if self.silent else []
        return f"{self.zone}: {joined(said)}"

    def _who(self, outcome: str) -> list[str]:
        """Members who chose an outcome."""
        return [who for who, chosen in self.answers.items() if chosen == outcome]


@dataclass(frozen=True, eq=False)
class Agreement:
    """
    How far a team agrees, over zones and over weights.

    `outcome_alpha` and `order_alpha` are Krippendorff's alpha of the outcomes, as names and by how
    much they do; `weight_alpha` that of the weights; `kendall_w` is Kendall's W of the order of the
    criteria. Each is None where it is not defined. `weights` holds the swings of those who gave all
    of them, and `incomplete` names the others who gave some. `at_stake` is empty without an
    assessment.
    """

    members: tuple[str, ...]
    zones: tuple[ZoneSpread, ...]
    outcome_alpha: float | None
    order_alpha: float | None
    weight_alpha: float | None
    kendall_w: float | None
    weights: Mapping[str, Mapping[str, float]]
    incomplete: tuple[str, ...]
    at_stake: tuple[ZoneAtStake, ...]

    def zone(self, code: str) -> ZoneSpread:
        """
        What the members would do in one zone.

        Raises
        ------
        ValueError
            Nobody said anything of that zone.
        """
        for one in self.zones:
            if one.zone == code:
                return one
        known = ", ".join(one.zone for one in self.zones) or "none"
        raise ValueError(f"Nobody gave a view on zone {code}. Zones with views: {known}.")

    @property
    def table(self) -> pd.DataFrame:
        """One row a zone, those that need discussion first: answers, disagreement, changes."""
        return table(
            [
                (
                    one.zone, *one.counts.values(), len(one.silent), one.disagreement,
                    ", ".join(f"{who} ({outcome})" for who, outcome in one.vetoes.items()),
                    "yes" if one.agreed else "no",
                    joined(one.changes),
                )
                for one in self.zones
            ],
            ["zone", *OUTCOMES, "no answer", "disagreement", "veto", "agreed", "to agree on"],
        ).astype({"disagreement": "Float64"})  # fmt: skip

    @property
    def weights_table(self) -> pd.DataFrame:
        """One row a criterion: share of the weight by member [1], lowest and highest of them."""
        shares = _shares(self.weights)
        return table(
            [
                (criterion, *column, min(column), max(column))
                for criterion, column in zip(CRITERIA, zip(*shares, strict=True), strict=True)
            ]
            if shares
            else [],
            ["criterion", *self.weights, "lowest", "highest"],
        )

    @property
    def at_stake_table(self) -> pd.DataFrame:
        """One row for each member of each zone that weights decide: share, and what turns it."""
        return table(
            [
                (
                    zone.zone, zone.option, one.member, one.share,
                    "yes" if one.accepts else "no", str(one.change or "no single weight"),
                )
                for zone in self.at_stake
                for one in zone.members
            ],
            ["zone", "option", "member", "share for treating", "passes", "turned by"],
        )  # fmt: skip

    def __str__(self) -> str:
        """Say in sentences how far the team agrees."""
        said = [self._of_zones(), self._of_weights(), COUNTS_ONLY]
        return " ".join(ended(words) for words in said if words)

    __repr__ = __str__

    def _of_zones(self) -> str:
        """How far the members agree on zones."""
        if not self.zones:
            return "Nobody gave an outcome yet"
        agreed = sum(one.agreed for one in self.zones)
        vetoes = sum(len(one.vetoes) for one in self.zones)
        words = f"{count_of(len(self.members), 'member')} agree on {agreed} of "
        words += count_of(len(self.zones), "zone")
        return words + (f", with {count_of(vetoes, 'veto', 'vetoes')}" if vetoes else "")

    def _of_weights(self) -> str:
        """How far the members agree on weights."""
        if len(self.weights) < 2:
            return ""
        if self.kendall_w is None:
            return "Nobody puts one criterion above another"
        return f"Order of the criteria by weight: Kendall's W {self.kendall_w:.2f} (1 is one order)"

    def _repr_html_(self) -> str:
        """Show it in a notebook as a short card."""
        few = len(self.zones) < FEWEST_UNITS
        note = f" (few zones: {len(self.zones)})" if self.zones and few else ""
        lines = [
            ("Members", ", ".join(self.members)),
            ("To discuss", ", ".join(one.zone for one in self.zones if not one.agreed)),
            ("Outcomes, Krippendorff's alpha", _number(self.outcome_alpha) + note),
            ("The same, by how much is done", _number(self.order_alpha) + note),
            ("Weights, Krippendorff's alpha", _number(self.weight_alpha)),
            ("Order of the criteria, Kendall's W", _number(self.kendall_w)),
            ("Weights not complete", ", ".join(self.incomplete)),
            (
                "Zones that weights could change",
                ", ".join(one.zone for one in self.at_stake if one.members),
            ),
            ("How to read them", "1: full agreement. 0 (alpha): as by chance."),
        ]
        more = "agreement.table, agreement.weights_table" + (
            ", agreement.at_stake_table" if self.at_stake else ""
        )
        return summary("Agreement", str(self), lines, more=more)


def agreement(
    views: Iterable[View | ZoneOpinion],
    assessment: Assessment | None = None,
    members: Iterable[str] = (),
) -> Agreement:
    """
    Find where a team agrees, where it differs, and who would have to change what.

    Parameters
    ----------
    views : iterable of View and of opinions
        Weights (`hc.records.View`), and what members would do in zones: records with `member`,
        `zone`, `outcome` and `veto`. Of opinions, those of one round of one meeting.
    assessment : Assessment, optional
        By its simulations, `at_stake` says which weights would change gate 8 of a zone: the weights
        in `views`, else those of its policy.
    members : iterable of str
        Who was to answer, by role; whoever gave a view is counted too.

    Returns
    -------
    Agreement
        The same in whichever order the views came.

    Raises
    ------
    ValueError
        A member gave two views of one thing, an outcome is none of the four, or weights can't be
        those of a policy.

    Notes
    -----
    Alpha is of what is given; silence is not filled in. An alpha or W is a count of agreement among
    these people, not a test of who is right, and says little for fewer than about ten zones.

    Examples
    --------
    >>> import heritagecheck as hc
    >>> print(hc.agreement(hc.demo_survey().all(hc.records.View)).members)
    ('conservator', 'ecologist', 'engineer', 'heritage authority', 'owner')
    """
    given = list(views)
    swings = [view for view in given if isinstance(view, View)]
    opinions = [view for view in given if not isinstance(view, View)]
    everyone = tuple(sorted({*members, *(view.member for view in given)}))
    weights, incomplete = _weights(swings)
    zones = _zones(opinions, everyone)
    shares, outcomes = _shares(weights), _outcomes(zones, everyone)
    return Agreement(
        members=everyone,
        zones=zones,
        outcome_alpha=krippendorff_alpha(outcomes, "nominal") if zones else None,
        order_alpha=krippendorff_alpha(outcomes, "ordinal") if zones else None,
        weight_alpha=krippendorff_alpha(shares, "interval") if shares else None,
        kendall_w=kendalls_w(shares) if shares else None,
        weights=weights,
        incomplete=incomplete,
        at_stake=() if assessment is None else weights_at_stake(assessment, weights or None),
    )


def _weights(views: Sequence[View]) -> tuple[dict[str, dict[str, float]], tuple[str, ...]]:
    """Swings of those who gave all of them, member by member, and who gave only some."""
    found: dict[str, dict[str, float]] = {}
    for view in views:
        of_member = found.setdefault(view.member, {})
        if view.criterion in of_member:
            raise ValueError(f"{view.member} gave two weights for {view.criterion}: keep one.")
        of_member[view.criterion] = view.swing
    whole = {
        member: {criterion: found[member][criterion] for criterion in CRITERIA}
        for member in sorted(found)
        if set(found[member]) == set(CRITERIA)
    }
    for member, swings in whole.items():
        if not any(swings.values()):
            raise ValueError(f"{member} gave no criterion a weight above 0.")
    return whole, tuple(sorted(set(found) - set(whole)))


def _shares(weights: Mapping[str, Mapping[str, float]]) -> list[list[float]]:
    """Weights that sum to one, a row for each member and a column for each criterion."""
    # Rounded, so that the same weights on another scale are the same to the last digit.
    return [
        [round(swings[criterion] / sum(swings.values()), DIGITS) for criterion in CRITERIA]
        for swings in weights.values()
    ]


def _zones(opinions: Sequence[ZoneOpinion], members: Sequence[str]) -> tuple[ZoneSpread, ...]:
    """Spread of each zone, those that need discussion first."""
    by_zone: dict[str, dict[str, ZoneOpinion]] = {}
    for one in opinions:
        of_zone = by_zone.setdefault(one.zone, {})
        if one.member in of_zone:
            raise ValueError(
                f"{one.member} gave two views on zone {one.zone}: give those of one round of one "
                "meeting."
            )
        if bad := {one.outcome, one.veto} - {None, *OUTCOMES}:
            raise ValueError(
                f"{one.member}, zone {one.zone}: {bad.pop()} is not an outcome. Allowed: "
                f"{', '.join(OUTCOMES)}."
            )
        of_zone[one.member] = one
    found = [_spread(zone, of_zone, members) for zone, of_zone in by_zone.items()]
    return tuple(sorted(found, key=_to_be_discussed))


def _spread(zone: str, opinions: Mapping[str, ZoneOpinion], members: Sequence[str]) -> ZoneSpread:
    """What the members said of one zone."""
    said = {who: opinions[who] for who in members if who in opinions}
    answers = {who: one.outcome for who, one in said.items() if one.outcome is not None}
    return ZoneSpread(
        zone=zone,
        answers=answers,
        silent=tuple(who for who in members if who not in answers),
        vetoes={who: one.veto for who, one in said.items() if one.veto is not None},
    )


def _to_be_discussed(one: ZoneSpread) -> tuple[bool, bool, float, int, str]:
    """Place of a zone: not agreed before agreed, vetoes first, then by disagreement."""
    return one.agreed, not one.vetoes, -(one.disagreement or 0.0), -len(one.silent), one.zone


def _outcomes(zones: Sequence[ZoneSpread], members: Sequence[str]) -> list[list[float]]:
    """Outcomes as numbers, from the one that does most; a row a member and a column a zone."""
    return [
        [float(OUTCOMES.index(one.answers[who])) if who in one.answers else np.nan for one in zones]
        for who in members
    ]


def _number(alpha: float | None) -> str:
    """A number as printed; nothing where it is not defined."""
    return "" if alpha is None else f"{alpha:.2f}"

"""What made an answer change since an earlier assessment: tried out, not guessed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.trials.other_panels import zones_that_speak
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.evidence_snapshot import (
    Answer,
    answer_in_words,
    policy_hash,
    same_policy,
    saved_answer,
)
from heritagecheck.judgement.other_policy import PolicyValue, policy_differences, with_value_of
from heritagecheck.judgement.policy import Policy, agreed_policy
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.progress import Told
from heritagecheck.sentences import count_of, joined
from heritagecheck.survey.records import Zone
from heritagecheck.survey.records.structure import plain_bed
from heritagecheck.survey.store.journal import Place, shown_key
from heritagecheck.survey.store.record_changes import RecordChange, as_if
from heritagecheck.survey.store.saved_assessment import SavedAssessment, SavedZone
from heritagecheck.survey.survey import Survey

MOST_TRIED = 24  # single records of one table: what is more is tried together only
MOST_NAMED = 6  # records of one table that a line names
# What panels of another zone say here is in these; what none of a zone says, in those.
SPEAKING = frozenset({"panels", "settings", "site_tests", "spots", "section_readings"})
SHARED = frozenset({"structure", "tile_readings", "attachments"})
OF_TEAM = frozenset({"policy", "views"})
UNTRIED = "can’t be assessed so"
BY_RULES = "Records and policy as they were give today’s answer, so the rules made it change."
MIXED = (
    "Records and policy as they were give a third answer. So the rules had a part in it, and so "
    "had what else differs. It can’t be taken apart."
)
NOT_EXPLAINED = "Nothing that is known to differ gives the earlier answer."


@dataclass(frozen=True, slots=True)
class Tried:
    """What was taken back to what it was, alone, and what the zone's answer then was."""

    what: str
    answer: str


@dataclass(frozen=True, slots=True)
class ChangedAnswer:
    """
    One zone whose answer is another than before, and what made it so.

    `causes` are what was shown to have changed it, and `shown` says how; both are empty where
    nothing was shown. `candidates` is all that differs and may bear on it.
    """

    zone: str
    before: str
    now: str
    causes: tuple[str, ...]
    shown: str
    candidates: tuple[str, ...]
    tried: tuple[Tried, ...]

    def __str__(self) -> str:
        """Say what changed and what made it so."""
        why = f"{joined(self.causes)}. {self.shown}" if self.causes else self.shown
        return f"{self.zone}: {self.before} became {self.now}. {why}"


@dataclass(frozen=True, slots=True)
class _Factor:
    """Something that differs, as one: records of one table, a value of the policy, the seed."""

    words: str
    places: frozenset[Place] = frozenset()
    values: tuple[PolicyValue, ...] = ()
    seed: bool = False


class Comparison:
    """
    The present assessment compared with an earlier one.

    Parameters
    ----------
    now : Assessment
        The present one.
    before : SavedAssessment
        The earlier one.
    changed : sequence of RecordChange or None
        Records that changed between the journal's heads of the two; None where no journal says so.

    Notes
    -----
    Each zone whose answer changed is assessed again by today's rules: with everything as it was,
    then with one thing as it was. Today's rules can't be exchanged for earlier ones. So rules made
    a change where everything else as it was gives today's answer, and had no part in it where that
    gives the earlier answer.
    """

    def __init__(
        self, now: Assessment, before: SavedAssessment, changed: Sequence[RecordChange] | None
    ) -> None:
        self.now, self.before, self.kept = now, before, now.saved()
        self.survey = now.survey.still()
        self.changed = {one.place: one for one in changed or ()}
        self.journal = changed is not None
        self._found: dict[str, tuple[frozenset[str], frozenset[str]]] = {}

    @cached_property
    def rules(self) -> tuple[str, ...]:
        """What differs in rules and tables, in words; empty where nothing does."""
        now, then = self.kept, self.before
        tables = sorted(
            name.removesuffix(".csv")
            for name in {*now.tables, *then.tables}
            if now.tables.get(name) != then.tables.get(name)
        )
        found = []
        if now.rules != then.rules:
            found.append(f"rules in code, release {then.version} then, {now.version} now")
        if tables:
            found.append(f"{'tables' if len(tables) > 1 else 'table'} {', '.join(tables)}")
        return tuple(found)

    @cached_property
    def policy(self) -> Policy | None:
        """The earlier policy: as it was saved, or as the journal gives it; None if not known."""
        if same_policy(self.kept, self.before):
            return self.now.policy
        if self.before.policy_values is not None:
            return _policy_of(self.before.policy_values)
        if not self.journal:
            return None
        then = agreed_policy(self._then)
        return then if policy_hash(then) == self.before.policy else None

    @cached_property
    def values(self) -> tuple[PolicyValue, ...]:
        """Values of the policy that differ, as far as the earlier one is known."""
        return () if self.policy is None else policy_differences(self.policy, self.now.policy)

    @property
    def not_known(self) -> tuple[str, ...]:
        """What the earlier assessment does not say, in sentences."""
        found = []
        if not self.journal:
            found.append(
                "No journal says which records changed: the survey has none, or it never had the "
                "checksum that the earlier assessment names."
            )
        if self.policy is None:
            found.append(
                "The policy differs, and the earlier one is not known: the older release that "
                "saved it kept its checksum only."
            )
        return tuple(found)

    def changes(self, *, progress: Told | None = None) -> tuple[ChangedAnswer, ...]:
        """
        What made each answer change.

        Parameters
        ----------
        progress : callable, optional
            Told how many zones are done, and of how many in all.

        Returns
        -------
        tuple of ChangedAnswer
            One for each zone of both assessments whose outcome, gate or method is another.
        """
        now = {one.zone: one.answer for one in self.now.recommendations}
        pairs = [
            (one, now[one.zone])
            for one in self.before.zones
            if one.zone in now and saved_answer(one) != now[one.zone]
        ]
        found = []
        for one, answer in pairs:
            found.append(self._explained(one, answer))
            if progress is not None:
                progress(len(found), len(pairs))
        return tuple(found)

    def _explained(self, one: SavedZone, now: Answer) -> ChangedAnswer:
        """What made the answer of one zone change."""
        before = saved_answer(one)
        factors = self._factors(one.zone)
        every = self._given(one.zone, factors)
        tried = [Tried("everything but the rules", _said(every))] if factors else []
        causes: tuple[str, ...] = ()
        if every == before:
            causes, shown, more = self._apart(one.zone, factors, before, now)
            tried += more
        elif every == now and self.rules:
            causes, shown = self.rules, BY_RULES
        elif self.rules and every is not None:
            shown = MIXED
        else:
            shown = NOT_EXPLAINED
        shown = joined((shown, *self.not_known), " ") if not causes else shown
        names = (*(factor.words for factor in factors), *self.rules)
        return ChangedAnswer(
            one.zone, _said(before), _said(now), causes, shown, names, tuple(tried)
        )

    def _apart(
        self, zone: str, factors: Sequence[_Factor], before: Answer, now: Answer
    ) -> tuple[tuple[str, ...], str, list[Tried]]:
        """Which of the things that differ changed an answer: names, how it was shown, trials."""
        finer = [part for factor in factors for part in self._parts(zone, factor, before)]
        alone = [(factor, self._given(zone, [factor])) for factor in finer]
        tried = [Tried(factor.words, _said(answer)) for factor, answer in alone]
        needed = [factor for factor, answer in alone if answer == before]
        if needed:
            names = tuple(factor.words for factor in needed)
            shown = "Taken back alone, it gives the earlier answer again."
            if len(needed[0].places) > 1:
                shown = "Taken back together, they give the earlier answer again."
            if len(needed) > 1:
                shown = "They made it change together: any one of them taken back alone undoes it."
            return names, shown, tried
        enough = [
            factor.words
            for factor in finer
            if self._given(zone, [part for part in finer if part is not factor]) == now
        ]
        if len(enough) == 1:
            shown = (
                "It alone gives today’s answer. Taken back alone, it does not give the earlier one "
                "again, because of what else changed."
            )
            return (enough[0],), shown, tried
        if enough:
            return tuple(enough), "Each of them alone gives today’s answer.", tried
        names = tuple(factor.words for factor in finer)
        return names, "They changed it together; no single one of them does.", tried

    def _parts(self, zone: str, factor: _Factor, before: Answer) -> Iterable[_Factor]:
        """Single records of a table, where one alone undoes the change; else all as one."""
        if not 1 < len(factor.places) <= MOST_TRIED:
            return (factor,)
        singles = [
            _Factor(str(self.changed[place]), frozenset((place,)))
            for place in self.changed
            if place in factor.places
        ]
        telling = [one for one in singles if self._given(zone, [one]) == before]
        if not telling:
            return (factor,)
        rest = factor.places.difference(*(one.places for one in telling))
        others = [_Factor(_records(rest, self.changed), rest)] if rest else []
        return (*telling, *others)

    def _factors(self, zone: str) -> list[_Factor]:
        """All differences that may affect the answer of a zone."""
        by_table: dict[str, set[Place]] = {}
        for one in self.changed.values():
            if self._bears_on(zone, one):
                by_table.setdefault(one.place[0], set()).add(one.place)
        found = [
            _Factor(_records(places, self.changed), frozenset(places))
            for places in by_table.values()
        ]
        by_value: dict[tuple[str, str], list[PolicyValue]] = {}
        for value in self.values:
            member = value.key[0] if value.field == "weights" else ""
            by_value.setdefault((value.field, member), []).append(value)
        found += [
            _Factor(f"policy: {joined(values)}", values=tuple(values))
            for values in by_value.values()
        ]
        if self.before.seed != self.now.seed:
            seeds = f"{self.before.seed} before, {self.now.seed} now"
            found.append(_Factor(f"seed of the simulations: {seeds}", seed=True))
        return found

    def _bears_on(self, zone: str, one: RecordChange) -> bool:
        """Whether a record may be among those on which the answer of a zone rests."""
        table, (speaking, alike) = one.place[0], self._others(zone)
        if table in OF_TEAM:
            return False
        if table == "zones":
            return bool(one.zones & (speaking | alike))
        spoken = table in SPEAKING and bool(one.zones & speaking)
        return zone in one.zones or table in SHARED or spoken

    def _others(self, zone: str) -> tuple[frozenset[str], frozenset[str]]:
        """Zones whose panels count for or against a zone, and all of its bed, now or before."""
        if zone not in self._found:
            speaking, alike = {zone}, {zone}
            for survey in (self.survey, self._then):
                for one in survey.all(Zone):
                    if one.zone == zone:
                        telling, warning = zones_that_speak(survey, one)
                        speaking |= {other.zone for other in (*telling, *warning)}
                        bed = survey.by_bed.get(plain_bed(one.bed_or_system), ())
                        alike |= {other.zone for other in bed}
            self._found[zone] = frozenset(speaking), frozenset(alike)
        return self._found[zone]

    @cached_property
    def _then(self) -> Survey:
        """The survey as it was, as far as its journal says."""
        return self._survey(frozenset(self.changed))

    def _given(self, zone: str, factors: Sequence[_Factor]) -> Answer | None:
        """Answer of a zone with some things as they were; None where it can't be assessed so."""
        places = frozenset[Place]().union(*(factor.places for factor in factors))
        values = [value for factor in factors for value in factor.values]
        back = any(factor.seed for factor in factors)
        policy = self.now.policy
        if self.policy is not None and len(values) == len(self.values):
            policy, values = self.policy, []
        try:
            for value in values:
                policy = with_value_of(policy, self.policy or policy, value)
            found = assess(
                self._survey(places), policy, self.before.seed if back else self.now.seed, [zone],
                progress=_nobody,
            )  # fmt: skip
        except ValueError:
            # Records or values that contradict each other never existed together either.
            return None
        return found.zone(zone).answer

    def _survey(self, places: frozenset[Place]) -> Survey:
        """The survey with some records as they were."""
        if not places:
            return self.survey
        return as_if(self.survey, {place: self.changed[place].before for place in places})


def _nobody(done: int, total: int) -> None:
    """No progress is shown for a single zone."""


def _records(places: Iterable[Place], changed: Mapping[Place, RecordChange]) -> str:
    """Records in words: one with all that changed in it, several counted."""
    found = [changed[place] for place in sorted(places)]
    if len(found) == 1:
        return str(found[0])
    named = ", ".join(sorted(shown_key(one.place[1]) for one in found[:MOST_NAMED]))
    more = f" and {len(found) - MOST_NAMED} more" if len(found) > MOST_NAMED else ""
    table = found[0].place[0].replace("_", " ")
    return f"{count_of(len(found), 'record')} of {table}: {named}{more}"


def _policy_of(values: Mapping[str, object]) -> Policy:
    """A policy from the values saved with an assessment."""
    build: Callable[..., Policy] = Policy
    try:
        return build(**values)
    except (TypeError, AttributeError, ValueError) as error:
        fault = Fault(
            "assessment.json", None, "policy_values", "", f"this is not a policy:  {error}"
        )
        raise SurveyError([fault], nothing="compared") from None


def _said(answer: Answer | None) -> str:
    """An answer in words."""
    return UNTRIED if answer is None else answer_in_words(answer)

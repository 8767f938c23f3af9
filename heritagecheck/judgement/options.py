"""Which methods are on the table for a zone, and which are ruled out, by rule and source."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import NamedTuple

from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.zone_evidence import ZoneEvidence, lasting
from heritagecheck.survey.records import Layer
from heritagecheck.survey.records.structure import WHOLLY_VALUED
from heritagecheck.tables import threshold
from heritagecheck.tables.conditions import Facts, asks, holds, method_facts
from heritagecheck.tables.methods import brief_method, method_name, risk_index
from heritagecheck.tables.row_types import (
    Contraindication,
    HardStop,
    HarmRating,
    MaterialHarm,
    Method,
    RatedPair,
    Soiling,
    Substrate,
)
from heritagecheck.tables.row_types import Housekeeping as Listed

UNRATED = "R4"
MARGIN = "margin_below_1"  # a fact of panels: the rule that asks it names them as its records
TREATING = tuple[tuple[HarmRating, bool], ...]


class OptionKey(NamedTuple):
    """One option of a zone: a method, at the setting of a series of panels where there is one."""

    method: str
    series: str | None = None

    def __str__(self) -> str:
        """Give the method, and its panels."""
        return self.method if self.series is None else f"{self.method}, panels {self.series}"


@dataclass(frozen=True, slots=True)
class Stop:
    """One rule that rules a method out."""

    rule: str
    hard: bool
    reason: str
    source_id: str
    lifts: bool = False
    records: tuple[str, ...] = ()

    def __str__(self) -> str:
        """Give rule and reason."""
        return f"{self.rule}: {self.reason}"


@dataclass(frozen=True, eq=False)
class Option:
    """One method, at the setting of its panels where there are some."""

    method: str
    name: str
    ladder: int
    series: PanelSeries | None
    stops: tuple[Stop, ...]
    questions: tuple[Stop, ...]
    rated: tuple[RatedPair, ...]
    suitability: str
    facts_of_steps: tuple[Facts, ...]
    never: frozenset[str]
    listed: Listed | None = None

    @property
    def facts(self) -> Facts:
        """What rules ask about it: about its last step, where methods follow one another."""
        return self.facts_of_steps[-1]

    @property
    def ruled_out(self) -> bool:
        """Whether a rule rules it out."""
        return bool(self.stops)

    @cached_property
    def waits(self) -> bool:
        """Whether nothing stops it but the season or a control that can be put in place."""
        return bool(self.stops) and all(stop.lifts for stop in self.stops)

    @property
    def unrated(self) -> bool:
        """Whether nothing stops it but that no source describes it: not known, not unfit."""
        return bool(self.stops) and all(stop.rule == UNRATED for stop in self.stops)

    @property
    def open(self) -> bool:
        """Whether no rule stops it and no rule depends on something unrecorded."""
        return not self.stops and not self.questions

    @cached_property
    def harms(self) -> TREATING:
        """Rows of `tables/harm_ratings.csv` on treating, and whether each is known to apply."""
        found = []
        for row in _harm_of_treating(self.methods):
            applies = row.when not in self.never and holds(row.when, self.facts)
            if applies is not False:
                found.append((row, applies is True))
        return tuple(found)

    @property
    def methods(self) -> tuple[str, ...]:
        """Its methods in the order of work: one, or those of a sequence."""
        return (self.method,) if self.series is None else self.series.methods

    @cached_property
    def key(self) -> OptionKey:
        """Short name, one for each option of a zone."""
        return OptionKey(self.method, None if self.series is None else self.series.series)


@cache
def _harm_of_treating(methods: tuple[str, ...]) -> tuple[HarmRating, ...]:
    """Rows of `tables/harm_ratings.csv` about any of these methods, whatever the zone."""
    return tuple(
        row
        for row in HarmRating.rows()
        if row.option == "treat" and any(speaks_of(row.methods, one) for one in methods)
    )


@cache
def speaks_of(methods: str, method: str) -> bool:
    """Whether a rule's condition on methods, as the tables write it, holds for a method."""
    return bool(holds(methods, method_facts(method)))


def options_for(evidence: ZoneEvidence) -> tuple[Option, ...]:
    """
    All methods for one zone, gentlest first, each with the rules that stop it.

    A method with panels is listed once for each series of panels; without, once.
    """
    found: list[Option] = []
    asked = {layer.soiling for layer in evidence.targets} or set(evidence.zone.soiling_codes)
    facts = {**evidence.facts, "target_kinds": _kinds_of_targets(evidence)}
    never = never_on(facts)
    for method in Method.rows():
        tried = [
            series
            for series in evidence.series
            if series.method == method.method and series.soiling in asked
        ]
        found += [_option(evidence, method, series, facts, never) for series in tried or (None,)]
    return tuple(sorted(found, key=lambda option: (option.ladder, str(option.key))))


def never_on(zone: Facts) -> frozenset[str]:
    """Conditions that fail on a zone whatever the method, so that no method asks them again."""
    return frozenset(when for when in _conditions() if holds(when, zone) is False)


@cache
def _conditions() -> tuple[str, ...]:
    """Conditions of every rule and rating of treating, each once."""
    rules = (rule.when for rule in (*HardStop.rows(), *Contraindication.rows()))
    rated = (row.when for row in HarmRating.rows() if row.option == "treat")
    return tuple(dict.fromkeys((*rules, *rated)))


def _step_facts(evidence: ZoneEvidence, of_option: Facts, step: str) -> Facts:
    """What rules may ask of one step of an option."""
    return {
        **of_option, **method_facts(step), "takes_valued": _takes_valued(evidence, step)
    }  # fmt: skip


def _option(
    evidence: ZoneEvidence,
    method: Method,
    series: PanelSeries | None,
    zone: Facts,
    never: frozenset[str],
) -> Option:
    """Judge one method against the rules."""
    steps = (method.method,) if series is None else series.methods
    soilings = _soilings(evidence)
    rated = tuple(
        row
        for soiling in soilings
        for step in steps
        for row in rating_rows(evidence.zone.substrate, step, soiling)
    )
    suitability = best_suitability(rated)
    of_option = {**zone, **_option_facts(evidence, rated, suitability, series)}
    facts_of_steps = tuple(_step_facts(evidence, of_option, step) for step in steps)
    stops, questions = list(_pair_stops(rated)), []
    # A sequence is stopped by whatever stops one of its steps.
    for step, facts in zip(steps, facts_of_steps, strict=True):
        more, open_ = _apply_rules(step, facts, series, never)
        stops += more
        questions += open_
    return Option(
        method=method.method,
        name=", then ".join(method_name(step, soilings) for step in steps),
        ladder=method.ladder,
        series=series,
        stops=tuple(dict.fromkeys(stops)),
        questions=tuple(dict.fromkeys(questions)) if all(one.lifts for one in stops) else (),
        rated=rated,
        suitability=suitability,
        facts_of_steps=facts_of_steps,
        never=never,
    )


def _soilings(evidence: ZoneEvidence) -> list[str]:
    """Soilings to be removed or present; all those observed if no layer is described."""
    layers = evidence.targets or evidence.layers
    return [layer.soiling for layer in layers] or list(evidence.zone.soiling_codes)


@cache
def rating_rows(substrate: str, method: str, soiling: str) -> tuple[RatedPair, ...]:
    """
    Rated rows for a method on a substrate and one soiling; empty where nobody rated the pair.

    Those of the parent substrate where the substrate has none. A soiling that comes off as another
    does is looked up as that one too, such as an old coating as lead paint: the harm of both
    counts, but a row of its own says whether it comes off.
    """
    names = {soiling, Soiling.named(soiling).rated_as or soiling}
    index = risk_index()
    for stone in filter(None, (substrate, Substrate.named(substrate).parent)):
        found = {
            name: index[method, stone, name]
            for name in sorted(names)
            if (method, stone, name) in index
        }
        if own := found.get(soiling):
            same = {"suitability": own.suitability}
            return tuple(row.model_copy(update=same) for row in found.values())
        if found:
            return tuple(found.values())
    return ()


def risk_of(row: RatedPair, substrate: str) -> float:
    """Rated harm of a row to the fabric; more where a row for sound stone is used on weathered."""
    taken_over = row.substrate != substrate
    extra = (Substrate.named(substrate).parent_extra or 0.0) if taken_over else 0.0
    return min(row.risk + extra, 10.0)


def best_suitability(rated: Iterable[RatedPair]) -> str:
    """Best among rated rows: effective, partly, ineffective or, where there is none, unrated."""
    found = {row.suitability for row in rated}
    return next(
        (word for word in ("effective", "partly", "ineffective") if word in found), "unrated"
    )


def _option_facts(
    evidence: ZoneEvidence,
    rated: tuple[RatedPair, ...],
    suitability: str,
    series: PanelSeries | None,
) -> dict[str, frozenset[str] | None]:
    """Facts that rules use about a method on this zone, whichever of its steps."""
    shown = series is not None and series.shown_sound
    substrate, most = evidence.zone.substrate, threshold("rated_severe")
    severe = not shown and any(risk_of(row, substrate) >= most for row in rated)
    margin = None if series is None else series.margin_high
    return {
        MARGIN: _yes(margin is not None and margin < 1),
        "joint_tried": _joint_tried(series),
        "removes": _yes(suitability != "ineffective"),
        "rated": _yes(bool(rated) or shown),
        "rated_severe": _yes(severe),
    }


def _joint_tried(series: PanelSeries | None) -> frozenset[str] | None:
    """Whether panels included the joint and its neighbours; not known if none did."""
    if series is None or not series.joint_included:
        return None
    return _yes(series.shown_sound)


def _kinds_of_targets(evidence: ZoneEvidence) -> frozenset[str]:
    """Kinds of soiling to be removed, such as growth; of all observed if no layer says."""
    seen = [layer.soiling for layer in evidence.targets] or list(evidence.zone.soiling_codes)
    return frozenset(Soiling.named(code).kind for code in seen)


YES, NO = frozenset({"yes"}), frozenset({"no"})


def _yes(value: bool) -> frozenset[str]:
    """Give a fact that is always known."""
    return YES if value else NO


def _takes_valued(evidence: ZoneEvidence, method: str) -> frozenset[str] | None:
    """Whether a method acts on a layer that is of value; not known where value or rating is not."""
    at_stake = [
        (layer, _takes(evidence, method, layer))
        for layer in evidence.layers
        if layer.value in WHOLLY_VALUED or layer.value == "not_assessed"
    ]
    if any(acts and layer.value in WHOLLY_VALUED for layer, acts in at_stake):
        return YES
    unknown = not evidence.layers_complete or any(acts is not False for _, acts in at_stake)
    return None if unknown else NO


def acts_on(evidence: ZoneEvidence, method: str, layer: Layer) -> bool | None:
    """Whether a method removes a layer, wholly or in part; None where nobody rated the pair."""
    rated = rating_rows(evidence.zone.substrate, method, layer.soiling)
    return best_suitability(rated) in {"effective", "partly"} if rated else None


def _takes(evidence: ZoneEvidence, method: str, layer: Layer) -> bool | None:
    """
    Whether a method takes something off a layer that may be of value.

    What the layer is made of decides, never the soiling it was filed under alone: pencil writing is
    filed as graffiti, and water that leaves spray paint takes it. Not known where nobody says what
    it is made of; a material that nobody rated for the method counts as harmed.
    """
    if acts_on(evidence, method, layer):
        return True
    if layer.made_of is None:
        return None
    spared = [
        holds(row.when, evidence.facts)
        for row in MaterialHarm.rows()
        if row.material == layer.made_of and speaks_of(row.methods, method)
    ]
    if not spared or False in spared:
        return True
    return None if None in spared else False


def lasting_stops(option: Option, never: frozenset[str]) -> tuple[Stop, ...]:
    """
    Rules that rule a method out for what the zone is, whatever can be put right on it.

    Those that hold whatever is answered at the wall: open joints are pointed, frost passes. `never`
    is what `never_on` gives of the zone's lasting facts.
    """
    stops = [
        stop
        for method, facts in zip(option.methods, option.facts_of_steps, strict=True)
        for stop in _apply_rules(method, lasting(facts), option.series, never)[0]
    ]
    return (*_pair_stops(option.rated), *stops)


def _apply_rules(
    method: str, facts: Facts, series: PanelSeries | None, never: frozenset[str]
) -> tuple[list[Stop], list[Stop]]:
    """Apply every rule to a method: what stops it, and what is not known yet."""
    stops: list[Stop] = []
    questions: list[Stop] = []
    for when, stop in rules_of(method):
        applies = when not in never and holds(when, facts)
        if applies is False:
            continue
        of_panels = series is not None and MARGIN in asks(when)
        found = replace(stop, records=series.panels) if series and of_panels else stop
        (stops if applies else questions).append(found)
    return stops, questions


@cache
def rules_of(method: str) -> tuple[tuple[str, Stop], ...]:
    """Rules about a method, whatever the zone: when each holds, and its stop."""
    return tuple(
        (
            rule.when,
            Stop(rule.rule, rule.stop == "hard", rule.reason, rule.source_id, rule.lifts),
        )
        for rule in (*HardStop.rows(), *Contraindication.rows())
        if speaks_of(rule.methods, method)
    )


def _pair_stops(rated: Iterable[RatedPair]) -> Iterable[Stop]:
    """Stops of pairs that the rated table marks as contraindicated."""
    for row in rated:
        if row.rule in _hard_rules():
            yield Stop(row.rule, True, row.reason, row.source_id)


@cache
def _hard_rules() -> frozenset[str]:
    """Names of all hard stops."""
    return frozenset(rule.rule for rule in HardStop.rows())


def ruled_out_methods(options: Sequence[Option]) -> dict[str, tuple[Stop, ...]]:
    """Methods of which every option is ruled out, each to the rules that rule it out."""
    return {
        method: tuple(dict.fromkeys(stop for option in group for stop in option.stops))
        for method, group in by_method(options).items()
        if all(option.ruled_out for option in group)
    }


def by_method(options: Iterable[Option]) -> dict[str, list[Option]]:
    """Options of each method."""
    methods: dict[str, list[Option]] = {}
    for option in options:
        methods.setdefault(option.method, []).append(option)
    return methods


def option_name(key: OptionKey, soilings: Iterable[str] = ()) -> str:
    """Name of an option for some soilings: its method, and its panels if any."""
    name = brief_method(key.method, soilings)
    return name if key.series is None else f"{name} ({key.series})"

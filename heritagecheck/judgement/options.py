"""Which methods are on the table for a zone, and which are ruled out, by rule and source."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache, cached_property

from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.zone_evidence import WHOLLY_VALUED, ZoneEvidence, lasting
from heritagecheck.survey.records import Layer
from heritagecheck.tables import keyed, rows, threshold
from heritagecheck.tables.conditions import Facts, holds, method_facts
from heritagecheck.tables.naming import brief_method, method_name
from heritagecheck.tables.ratings import risk_index

UNRATED = "R4"


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
    rated: tuple[dict[str, str], ...]
    suitability: str
    facts_of_steps: tuple[Facts, ...]
    listed: dict[str, str] | None = None

    @property
    def facts(self) -> Facts:
        """What rules ask about it: about its last step, where methods follow one another."""
        return self.facts_of_steps[-1]

    @property
    def ruled_out(self) -> bool:
        """Whether a rule rules it out."""
        return bool(self.stops)

    @property
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
    def harms(self) -> tuple[tuple[dict[str, str], bool], ...]:
        """Rows of `tables/harm_ratings.csv` on treating, and whether each is known to apply."""
        found = []
        for row in _harm_of_treating(self.methods):
            applies = holds(row["when"], self.facts)
            if applies is not False:
                found.append((row, applies is True))
        return tuple(found)

    @property
    def methods(self) -> tuple[str, ...]:
        """Its methods in the order of work: one, or those of a sequence."""
        return (self.method,) if self.series is None else self.series.methods

    @property
    def key(self) -> str:
        """Short name, one for each option of a zone."""
        return self.method if self.series is None else series_key(self.method, self.series.series)


@cache
def _harm_of_treating(methods: tuple[str, ...]) -> tuple[dict[str, str], ...]:
    """Rows of `tables/harm_ratings.csv` that speak of any of these methods, whatever the zone."""
    return tuple(
        row
        for row in rows("harm_ratings")
        if row["option"] == "treat" and any(speaks_of(row["methods"], one) for one in methods)
    )


@cache
def speaks_of(methods: str, method: str) -> bool:
    """
    Whether a rule is about a method, whatever the zone.

    Parameters
    ----------
    methods : str
        Condition of the rule on methods; it asks columns of `tables/methods.csv` alone.
    method : str
        Code of the method.

    Returns
    -------
    bool
    """
    return bool(holds(methods, method_facts(method)))


def series_key(method: str, series: str) -> str:
    """
    Key of a method at the setting of its panels.

    Parameters
    ----------
    method, series : str
        Code of the method, and of the series of panels.

    Returns
    -------
    str
    """
    return f"{method}, panels {series}"


def options_for(evidence: ZoneEvidence) -> tuple[Option, ...]:
    """
    All methods for one zone, gentlest first, each with the rules that stop it.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.

    Returns
    -------
    tuple of Option
        A method with panels stands once for each series of panels; without, once.
    """
    found: list[Option] = []
    asked = {layer.soiling for layer in evidence.targets} or set(evidence.zone.soiling_codes)
    for method in rows("methods"):
        tried = [
            series
            for series in evidence.series
            if series.method == method["method"] and series.soiling in asked
        ]
        found += [_option(evidence, method, series) for series in tried or (None,)]
    return tuple(sorted(found, key=lambda option: (option.ladder, option.key)))


def _option(evidence: ZoneEvidence, method: dict[str, str], series: PanelSeries | None) -> Option:
    """Judge one method against the rules."""
    code = method["method"]
    steps = (code,) if series is None else series.methods
    layers = evidence.targets or evidence.layers
    rated = tuple(
        row
        for layer in layers
        for step in steps
        for row in rating_rows(evidence, step, layer.soiling)
    )
    suitability = best_suitability(rated)
    stops: tuple[Stop, ...] = tuple(_pair_stops(rated))
    questions: tuple[Stop, ...] = ()
    facts_of_steps: list[Facts] = []
    # A sequence is stopped by whatever stops one of its steps.
    for step in steps:
        facts: Facts = {
            **evidence.facts,
            **method_facts(step),
            **_option_facts(evidence, step, rated, suitability, series),
        }
        facts_of_steps.append(facts)
        more, open_ = _apply_rules(step, facts, series)
        stops, questions = (*stops, *more), (*questions, *open_)
    stops = tuple(dict.fromkeys(stops))
    return Option(
        method=code,
        name=", then ".join(
            method_name(step, [layer.soiling for layer in layers]) for step in steps
        ),
        ladder=int(method["ladder"]),
        series=series,
        stops=stops,
        questions=tuple(dict.fromkeys(questions)) if all(one.lifts for one in stops) else (),
        rated=rated,
        suitability=suitability,
        facts_of_steps=tuple(facts_of_steps),
    )


def rating_rows(evidence: ZoneEvidence, method: str, soiling: str) -> tuple[dict[str, str], ...]:
    """
    Rated rows for a method on the zone's substrate and one soiling.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    method, soiling : str
        Codes.

    Returns
    -------
    tuple of dict
        Row of `tables/method_risk.csv`; of the parent substrate where the substrate itself has
        none; empty where nobody rated the pair. A soiling that comes off as another does is looked
        up as that one too, such as an old coating as lead paint: the harm of both counts, but a row
        of its own says whether it comes off.
    """
    return _rating_rows(evidence.zone.substrate, method, soiling)


@cache
def _rating_rows(substrate: str, method: str, soiling: str) -> tuple[dict[str, str], ...]:
    """Rated rows for a method on a substrate and one soiling, whatever the zone."""
    names = {soiling, keyed("soilings", "soiling")[soiling]["rated_as"] or soiling}
    index = risk_index()
    for stone in (substrate, keyed("substrates", "substrate")[substrate]["parent"]):
        found = {
            name: index[method, stone, name]
            for name in sorted(names)
            if (method, stone, name) in index
        }
        if own := found.get(soiling):
            return tuple(row | {"suitability": own["suitability"]} for row in found.values())
        if found:
            return tuple(found.values())
    return ()


def risk_of(row: dict[str, str], evidence: ZoneEvidence) -> float:
    """
    Rated harm of a row to the fabric of a zone.

    Parameters
    ----------
    row : dict
        Row of `tables/method_risk.csv`.
    evidence : ZoneEvidence
        Evidence of the zone.

    Returns
    -------
    float
        Risk, more where the row speaks of the sound stone and the zone is of its weathered kind.
        [0 to 10]
    """
    taken_over = row["substrate"] != evidence.zone.substrate
    extra = float(evidence.substrate["parent_extra"]) if taken_over else 0.0
    return min(float(row["risk"]) + extra, 10.0)


def best_suitability(rated: Iterable[dict[str, str]]) -> str:
    """
    Best suitability among rated rows.

    Parameters
    ----------
    rated : iterable of dict
        Rows of `tables/method_risk.csv`.

    Returns
    -------
    str
        ``"effective"``, ``"partly"``, ``"ineffective"`` or, where nothing is rated, ``"unrated"``.
    """
    found = {row["suitability"] for row in rated}
    return next(
        (word for word in ("effective", "partly", "ineffective") if word in found), "unrated"
    )


def _option_facts(
    evidence: ZoneEvidence,
    method: str,
    rated: tuple[dict[str, str], ...],
    suitability: str,
    series: PanelSeries | None,
) -> dict[str, frozenset[str] | None]:
    """What rules ask about a method on this zone."""
    shown = series is not None and series.shown_sound
    severe = any(risk_of(row, evidence) >= threshold("rated_severe") for row in rated)
    margin = None if series is None else series.margin_high
    return {
        "margin_below_1": _yes(margin is not None and margin < 1),
        "takes_valued": _takes_valued(evidence, method),
        "joint_tried": _joint_tried(series),
        "removes": _yes(suitability != "ineffective"),
        "target_kinds": _kinds_of_targets(evidence),
        "rated": _yes(bool(rated) or shown),
        "rated_severe": _yes(severe and not shown),
    }


def _joint_tried(series: PanelSeries | None) -> frozenset[str] | None:
    """Whether panels took in the joint and what stands beside it; not known where none did."""
    if series is None or not series.joint_included:
        return None
    return _yes(series.shown_sound)


def _kinds_of_targets(evidence: ZoneEvidence) -> frozenset[str]:
    """Kinds of what would be removed, such as growth; of all that is seen where no layer says."""
    seen = [layer.soiling for layer in evidence.targets] or list(evidence.zone.soiling_codes)
    return frozenset(keyed("soilings", "soiling")[code]["kind"] for code in seen)


def _yes(value: bool) -> frozenset[str]:
    """Give a fact that is always known."""
    return frozenset({"yes" if value else "no"})


def _takes_valued(evidence: ZoneEvidence, method: str) -> frozenset[str] | None:
    """Whether a method acts on a layer that is of value; not known where value or rating is not."""
    at_stake = [
        (layer, _takes(evidence, method, layer))
        for layer in evidence.layers
        if layer.value in WHOLLY_VALUED or layer.value == "not_assessed"
    ]
    if any(acts and layer.value in WHOLLY_VALUED for layer, acts in at_stake):
        return frozenset({"yes"})
    unknown = not evidence.layers_complete or any(acts is not False for _, acts in at_stake)
    return None if unknown else frozenset({"no"})


def acts_on(evidence: ZoneEvidence, method: str, layer: Layer) -> bool | None:
    """
    Whether a method removes a layer, wholly or in part.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    method : str
        Code of the method.
    layer : Layer
        One of its layers.

    Returns
    -------
    bool or None
        None where nobody rated the pair.
    """
    rated = rating_rows(evidence, method, layer.soiling)
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
        holds(row["when"], evidence.facts)
        for row in rows("material_harm")
        if row["material"] == layer.made_of and speaks_of(row["methods"], method)
    ]
    if not spared or False in spared:
        return True
    return None if None in spared else False


def lasting_stops(option: Option) -> tuple[Stop, ...]:
    """
    Rules that rule a method out for what the zone is, whatever can be put right on it.

    Parameters
    ----------
    option : Option
        The method.

    Returns
    -------
    tuple of Stop
        Those that hold whatever is answered at the wall: open joints are pointed, frost passes.
    """
    stops = [
        stop
        for method, facts in zip(option.methods, option.facts_of_steps, strict=True)
        for stop in _apply_rules(method, lasting(facts), option.series)[0]
    ]
    return (*_pair_stops(option.rated), *stops)


def _apply_rules(
    method: str, facts: Facts, series: PanelSeries | None
) -> tuple[tuple[Stop, ...], tuple[Stop, ...]]:
    """Hold a method against every rule: what stops it, and what can't be told yet."""
    stops: list[Stop] = []
    questions: list[Stop] = []
    for when, stop in rules_of(method):
        applies = holds(when, facts)
        if applies is False:
            continue
        found = replace(stop, records=series.panels) if series and "margin" in when else stop
        (stops if applies else questions).append(found)
    return tuple(stops), tuple(questions)


@cache
def rules_of(method: str) -> tuple[tuple[str, Stop], ...]:
    """Rules that speak of a method, whatever the zone: when each holds, and what it says."""
    return tuple(
        (
            rule["when"],
            Stop(
                rule["rule"],
                rule["stop"] == "hard",
                rule["reason"],
                rule["source_id"],
                rule["lifts"] == "yes",
            ),
        )
        for rule in (*rows("hard_stops"), *rows("contraindications"))
        if speaks_of(rule["methods"], method)
    )


def _pair_stops(rated: Iterable[dict[str, str]]) -> Iterable[Stop]:
    """Stops of pairs that the rated table marks as contraindicated."""
    known = {rule["rule"] for rule in rows("hard_stops")}
    for row in rated:
        if row["rule"] in known:
            yield Stop(row["rule"], True, row["reason"], row["source_id"])


def ruled_out_methods(options: Iterable[Option]) -> dict[str, tuple[Stop, ...]]:
    """
    Methods ruled out on a zone.

    Parameters
    ----------
    options : iterable of Option
        Options of the zone.

    Returns
    -------
    dict
        Method to the rules that rule it out. A method with one option left is not in it.
    """
    grouped: dict[str, list[Option]] = {}
    for option in options:
        grouped.setdefault(option.method, []).append(option)
    return {
        method: tuple(dict.fromkeys(stop for option in group for stop in option.stops))
        for method, group in grouped.items()
        if all(option.ruled_out for option in group)
    }


def option_name(key: str, soilings: Iterable[str] = ()) -> str:
    """
    Name of an option: its method, and its panels where there are some.

    Parameters
    ----------
    key : str
        Key of the option.
    soilings : iterable of str
        Codes of what it takes off.

    Returns
    -------
    str
    """
    method, _, panels = key.partition(", ")
    name = brief_method(method, soilings)
    return f"{name} ({panels.removeprefix('panels ')})" if panels else name

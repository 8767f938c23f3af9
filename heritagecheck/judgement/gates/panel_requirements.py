"""What gate 7 asks of a series beside damage: its layers and area, its age, its setting."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from heritagecheck.evidence.trials.below_x50 import FoundBelow
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.sentences import day_in_words
from heritagecheck.survey.records import Setting
from heritagecheck.survey.records.quantities import Scale, name_of
from heritagecheck.tables import threshold
from heritagecheck.tables.ages import oldest_allowed
from heritagecheck.tables.conditions import Facts, holds
from heritagecheck.tables.row_types import Abrasive, Method, SettingLimit, Soiling

# -- One question and its answer -------------------------------------------------------------------

ASK_UNIT = "Ask whoever measured it which unit is meant; for fluence, peak or mean"
LAY_SPOTS = (
    "Lay spots beside the panels: settings in even steps, from too gentle to clean to two or three "
    "times the setting used"
)
COMPLETE_SPOTS = "Complete the record of the spots, as survey.check() asks; else lay them again"


def in_sentences(words: Iterable[str]) -> str:
    """
    Several findings, each a sentence of its own; the last has no full stop.

    Examples
    --------
    >>> in_sentences(["no control was kept", "late effect: salts"])
    'no control was kept. Late effect: salts'
    """
    first, *others = words
    return ". ".join((first, *(f"{one[0].upper()}{one[1:]}" for one in others)))


@dataclass(frozen=True, slots=True)
class Check:
    """
    One question asked of a series: held, not held, or not known.

    `by_doubt` says that it fails only because so few panels leave much open: more panels may settle
    it. `what_to_do` is what would settle it where it is not known. `below` is the measurement below
    ×50 that it holds against its limit, where it is about one.
    """

    name: str
    holds: bool | None
    words: str
    by_doubt: bool = False
    what_to_do: str = "Read the panels again"
    below: FoundBelow | None = None


# -- How far a series reaches ----------------------------------------------------------------------


def reach_checks(series: PanelSeries, evidence: ZoneEvidence) -> Iterator[Check]:
    """
    Ask whether a series reaches all that would be treated on a zone.

    Layers, steps of a sequence, area, age of the reading; a check that says nothing is left out.
    """
    missing = [
        Soiling.named(layer.soiling).name
        for layer in evidence.targets
        if layer.soiling not in series.treated_in_all
    ]
    if missing:
        yield Check(
            "layers", None, f"no panel shows the removal of {', '.join(missing)}",
            what_to_do="Lay panels that take it off too; name it as another soiling taken off",
        )  # fmt: skip
    steps = [one.series for one in series.before]
    short = [one.series for one in series.before if len(one.panels) < len(series.panels)]
    if short or (series.after is not None and series.after not in steps):
        yield Check(
            "sequence", None,
            f"not every panel had the step before: {', '.join(short) or series.after}",
            what_to_do="Lay every panel of the sequence in all its steps, in their order",
        )  # fmt: skip
    laid, area = len(series.panels), evidence.spoken_m2[series.zone]
    if (needed := panels_for_area(area)) > 1:
        yield Check(
            "area", laid >= needed, f"{laid} panels for {area:,.0f} m² ({needed} required)",
            by_doubt=True,
        )  # fmt: skip
    oldest = oldest_allowed("panels", evidence.survey_date)
    if series.oldest_read is not None and series.oldest_read < oldest:
        yield Check(
            "too old", None,
            f"read on {day_in_words(series.oldest_read)}; what was read before "
            f"{day_in_words(oldest)} is too old to count",
            what_to_do="Read the panels again",
        )  # fmt: skip


def panels_for_area(area_m2: float) -> int:
    """
    How many panels are required for the area that they speak for.

    They grow with the square root of the area: one for 100 m², 15 for 20,000 m².

    Examples
    --------
    >>> panels_for_area(100), panels_for_area(400), panels_for_area(20_000)
    (1, 2, 15)
    """
    return math.ceil(math.sqrt(area_m2 / threshold("panel_area_m2")))


# -- What was dialled is what the name of the method promises --------------------------------------

# What a medium is by itself, where the record names it: `tables/abrasives.csv`.
OF_MEDIUM = {"hardness", "free_silica"}


@dataclass(frozen=True, slots=True)
class _Dialled:
    """One quantity as it was dialled: a span in the unit of the limit, or words."""

    low: float | None
    high: float | None
    words: str


def method_limits(method: str, facts: Facts) -> tuple[SettingLimit, ...]:
    """
    Limits within which a method is what its name says.

    The rows of `tables/setting_limits.csv` for the method or its family; a row that may hold here
    is held.
    """
    family = Method.named(method).family
    found = []
    for limit in SettingLimit.rows():
        if {method, family}.intersection(limit.limit_of) and (
            holds(limit.when, facts) is not False
        ):
            found.append(limit)
    return tuple(found)


def beyond_method(series: PanelSeries, facts: Facts) -> Iterator[str]:
    """Everything dialled for a series that its method does not use."""
    for limit in method_limits(series.method, facts):
        for dialled in _dialled(series, limit):
            said = _against(limit, dialled)
            if said:
                yield f"{said}: record it as the method it is. {limit.why}"


def not_recorded(series: PanelSeries, facts: Facts) -> tuple[str, ...]:
    """Quantities that decide whether a method is what its name says, and are not recorded."""
    return tuple(
        name_of(limit.quantity)
        for limit in method_limits(series.method, facts)
        if not any(_tells(limit, one) for one in _dialled(series, limit))
    )


def _dialled(series: PanelSeries, limit: SettingLimit) -> Iterator[_Dialled]:
    """All that the record of a series says of a quantity: its row, what was varied, the medium."""
    scale = Scale(limit.quantity, limit.unit)
    recorded = {one.quantity: one for one in series.settings}
    own = recorded.get(limit.quantity)
    if own is not None:
        yield _of_row(own, scale)
    if series.cleaning is not None and series.scale.same_quantity(scale):
        low, high = (series.scale.moved(end, scale) for end in series.cleaning)
        yield _Dialled(low, high, "")
    medium = recorded.get("medium")
    if limit.quantity in OF_MEDIUM and medium is not None and medium.words is not None:
        of_medium = Abrasive.named(medium.words)
        value = of_medium.mohs if limit.quantity == "hardness" else of_medium.silica_pct
        if value is not None:
            yield _Dialled(value, value, medium.told)


def _of_row(row: Setting, scale: Scale) -> _Dialled:
    """What one row of settings says, in the unit of a limit."""
    if row.value is None or row.highest is None:
        return _Dialled(None, None, row.words or "")
    own = Scale(row.quantity, row.unit)
    return _Dialled(own.moved(row.value, scale), own.moved(row.highest, scale), "")


def _against(limit: SettingLimit, dialled: _Dialled) -> str:
    """How far what was dialled lies beyond a limit, in words; empty where it does not."""
    name = name_of(limit.quantity)
    uses = f"beyond this method ({_span(limit)})"
    if dialled.low is None or dialled.high is None:
        bare = limit.least is None and limit.most is None
        barred = bare and dialled.words not in limit.allowed
        return f"{name} {dialled.words.replace('_', ' ')} is {uses}" if barred else ""
    of = f" of {dialled.words}" if dialled.words else ""
    unit = f" {Scale(limit.quantity, limit.unit)}"
    if limit.most is not None and dialled.high > limit.most:
        return f"{name}{of} {dialled.high:.3g}{unit} is {uses}"
    if limit.least is not None and dialled.low < limit.least:
        return f"{name}{of} {dialled.low:.3g}{unit} is {uses}"
    return ""


def _span(limit: SettingLimit) -> str:
    """What a method takes of a quantity, in words."""
    ends = [
        f"{word} {end:g} {Scale(limit.quantity, limit.unit)}"
        for word, end in (("from", limit.least), ("up to", limit.most))
        if end is not None
    ]
    said = [" ".join(ends), ", ".join(one.replace("_", " ") for one in limit.allowed)]
    return " or ".join(filter(None, said))


def _tells(limit: SettingLimit, dialled: _Dialled) -> bool:
    """Whether what was dialled can be held against a limit."""
    return dialled.high is not None or dialled.words in limit.allowed or bool(
        dialled.words and limit.least is None and limit.most is None
    )  # fmt: skip

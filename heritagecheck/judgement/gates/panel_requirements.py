"""What gate 7 requires of a series besides damage: layers, area, age and setting."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from heritagecheck.evidence.trials.below_x50 import FoundBelow
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.sentences import day_in_words, upper_first
from heritagecheck.survey.records import Setting
from heritagecheck.survey.records.quantities import Scale, name_of
from heritagecheck.tables import threshold
from heritagecheck.tables.ages import oldest_allowed
from heritagecheck.tables.conditions import Facts, holds
from heritagecheck.tables.row_types import Abrasive, Method, SettingLimit, Soiling

# -- One requirement and its answer ----------------------------------------------------------------

ASK_UNIT = "Ask whoever measured it which unit is meant; for fluence, peak or mean"
LAY_SPOTS = (
    "Lay spots beside the panels: settings in even steps, from too gentle to clean to two or three "
    "times the setting used"
)
COMPLETE_SPOTS = "Complete the record of the spots, as survey.check() asks; else lay them again"


def in_sentences(words: Iterable[str]) -> str:
    """
    Findings joined as sentences; the last has no full stop.

    Examples
    --------
    >>> in_sentences(["no control was kept", "late effect: salts"])
    'no control was kept. Late effect: salts'
    """
    first, *others = words
    return ". ".join((first, *(map(upper_first, others))))


@dataclass(frozen=True, slots=True)
class Check:
    """
    One requirement of a series: met (True), not met (False) or not known (None).

    `too_few` says that it fails only because there are too few panels or spots: more may settle it.
    `what_to_do` would settle it where it is not known. `below` is the measurement below ×50 that is
    compared with its limit, if it is about one.
    """

    name: str
    holds: bool | None
    words: str
    too_few: bool = False
    what_to_do: str = "Read the panels again"
    below: FoundBelow | None = None


# -- What a series covers --------------------------------------------------------------------------


def reach_checks(series: PanelSeries, evidence: ZoneEvidence) -> Iterator[Check]:
    """
    Checks whether a series covers all that would be treated on a zone.

    Layers, steps of a sequence, area, age of the reading; checks that are met may be left out.
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
            too_few=True,
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
    Number of panels required for the area that they represent.

    It grows with the square root of the area: one for 100 m², 15 for 20,000 m².

    Examples
    --------
    >>> panels_for_area(100), panels_for_area(400), panels_for_area(20_000)
    (1, 2, 15)
    """
    return math.ceil(math.sqrt(area_m2 / threshold("panel_area_m2")))


# -- Whether the setting is within the limits of the method ----------------------------------------

# Quantities that follow from the medium: `tables/abrasives.csv`.
OF_MEDIUM = {"hardness", "free_silica"}


@dataclass(frozen=True, slots=True)
class _Dialled:
    """One quantity as recorded for a setting: a range in the unit of the limit, or words."""

    low: float | None
    high: float | None
    words: str


def method_limits(method: str, facts: Facts) -> tuple[SettingLimit, ...]:
    """
    Limits of the settings of a method.

    The rows of `tables/setting_limits.csv` for the method or its family that apply, or may apply.
    """
    names = {method, Method.named(method).family}
    return tuple(
        limit
        for limit in SettingLimit.rows()
        if names.intersection(limit.limit_of) and holds(limit.when, facts) is not False
    )


def beyond_method(series: PanelSeries, facts: Facts) -> Iterator[str]:
    """Recorded settings of a series outside the limits of its method, in words."""
    for limit in method_limits(series.method, facts):
        for dialled in _dialled(series, limit):
            if said := _against(limit, dialled):
                yield f"{said}: record it as the method it is. {limit.why}"


def not_recorded(series: PanelSeries, facts: Facts) -> tuple[str, ...]:
    """Quantities with a limit for this method that are not recorded."""
    return tuple(
        name_of(limit.quantity)
        for limit in method_limits(series.method, facts)
        if not any(_comparable(limit, one) for one in _dialled(series, limit))
    )


def _dialled(series: PanelSeries, limit: SettingLimit) -> Iterator[_Dialled]:
    """All records of a quantity: its own row, the range that cleaned, what the medium implies."""
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
    """One row of settings, in the unit of a limit."""
    if row.value is None or row.highest is None:
        return _Dialled(None, None, row.words or "")
    own = Scale(row.quantity, row.unit)
    return _Dialled(own.moved(row.value, scale), own.moved(row.highest, scale), "")


def _against(limit: SettingLimit, dialled: _Dialled) -> str:
    """What lies beyond a limit, in words; empty where nothing does."""
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
    """Range or terms that a limit allows, in words."""
    ends = [
        f"{word} {end:g} {Scale(limit.quantity, limit.unit)}"
        for word, end in (("from", limit.least), ("up to", limit.most))
        if end is not None
    ]
    said = [" ".join(ends), ", ".join(one.replace("_", " ") for one in limit.allowed)]
    return " or ".join(filter(None, said))


def _comparable(limit: SettingLimit, dialled: _Dialled) -> bool:
    """Whether a recorded quantity can be compared with a limit."""
    return dialled.high is not None or dialled.words in limit.allowed or bool(
        dialled.words and limit.least is None and limit.most is None
    )  # fmt: skip

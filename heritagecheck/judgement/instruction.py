"""What a contractor needs: limits of the setting, forbidden methods, start panel, stop rules."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from heritagecheck import tables
from heritagecheck.evidence.gather import ZoneEvidence
from heritagecheck.evidence.panel_series import PanelSeries
from heritagecheck.evidence.rounding import rounded_down, rounded_up
from heritagecheck.judgement.options import Option, Stop, brief_method, speaks_of
from heritagecheck.tables.cautions import Caution, in_words
from heritagecheck.tables.conditions import Facts, holds

LONGEST_SYMBOL = 3  # such as bar
NO_LIMITS = (
    "Trial spots show no setting that cleans and keeps damage within what was agreed: no work "
    "before the conservator sets one"
)
# A number printed beside that would be dialled.
NO_SETTING = "None: that of the panels lies above the window of their spots"


@dataclass(frozen=True, slots=True)
class Instruction:
    """Draft for the contractor of one zone; a contract and an approval stand above it."""

    method: str
    setting: str
    limits: str
    forbidden: tuple[str, ...]
    then: tuple[str, ...]
    start_panel: tuple[str, ...]
    hold_points: tuple[str, ...]
    stop_rules: tuple[str, ...]
    log: tuple[str, ...]
    cautions: tuple[Caution, ...]

    def __str__(self) -> str:
        """Say it in the order in which the contractor needs it, never without its cautions."""
        parts = (
            ("Method", (self.method,)), ("Setting", (self.setting,)), ("Limits", (self.limits,)),
            ("Then, where too much soiling stays", self.then),
            ("Never here", self.forbidden), ("Start panel", self.start_panel),
            ("Stop", self.stop_rules), ("Hold points", self.hold_points), ("Log", self.log),
        )  # fmt: skip
        lines = [f"{name}: {'; '.join(words)}." for name, words in parts if words]
        return "\n".join((*lines, in_words(self.cautions)))


def instruction_for(
    outcome: str,
    option: Option,
    evidence: ZoneEvidence,
    ruled_out: Mapping[str, tuple[Stop, ...]],
    then: Sequence[str] = (),
    *,
    cautions: tuple[Caution, ...],
) -> Instruction:
    """
    Draft the instruction for the method recommended, or to be tried.

    Parameters
    ----------
    outcome : str
        Outcome of the zone: rules for a trial are others than those for the whole of it.
    option : Option
        The method.
    evidence : ZoneEvidence
        Evidence of the zone.
    ruled_out : mapping of str to tuple of Stop
        Methods ruled out there.
    then : sequence of str
        Codes of the methods to be tried after it, in this order, where it leaves too much.
    cautions : tuple of Caution
        Those of the zone, and of every method that is named.

    Returns
    -------
    Instruction
    """
    facts = {**evidence.facts, "outcome": frozenset({outcome})}
    limits = setting_limits(option.series)
    return Instruction(
        method=option.name,
        setting=NO_SETTING if limits == NO_LIMITS else option.setting,
        limits=limits,
        forbidden=(
            *_rules("never", facts, option),
            *(
                brief_method(method)
                for method, stops in ruled_out.items()
                if any(stop.hard for stop in stops)
            ),
        ),
        then=tuple(brief_method(method) for method in then),
        start_panel=tuple(_rules("start panel", facts, option)),
        hold_points=tuple(_rules("hold point", facts, option)),
        stop_rules=tuple(_rules("stop rule", facts, option)),
        log=tuple(_rules("record", facts, option)),
        cautions=cautions,
    )


def setting_limits(series: PanelSeries | None) -> str:
    """
    Limits of a setting as the panels show them.

    Parameters
    ----------
    series : PanelSeries or None
        The panels; None where there are none.

    Returns
    -------
    str
        From the lowest to the highest setting that cleaned, never above what trial spots show; how
        many fields of the panels were damaged, and where damage began. Where nothing was tried,
        that is said instead.
    """
    if series is None:
        return "No setting was tried here: the conservator sets the first, below the usual range"
    if series.unit_doubt:
        return f"As on the panels; no span is given, since {series.unit_doubt}"
    if series.cleaning is None:
        return "As on the panels; no other setting was tried"
    spots, (low, high) = series.spots, series.cleaning
    if spots is not None and spots.used is None:
        return "As on the panels; no span is given, since their spots can't be held against it"
    if spots is not None and spots.window is not None:
        high = min(high, spots.window.high)
    if high < low:
        return NO_LIMITS
    unit = str(series.scale)
    # What is merely counted, such as passes, stands before its number.
    counted = unit.isalpha() and unit.islower() and len(unit) > LONGEST_SYMBOL
    before, after = (f"{unit}: ", "") if counted else ("", f" {unit}" if unit else "")
    least, most = f"{rounded_up(low, 3):.3g}", f"{rounded_down(high, 3):.3g}"
    span = before + (most if low == high else f"{least} to {most}") + after
    # A few damaged fields may pass gate 7: who works by these limits is told of them.
    seen = f"fields damaged on the panels: {series.damaged}; beside that, "
    return f"{span}; {seen if series.damaged else ''}{_where_damage_begins(series, high, after)}"


def _where_damage_begins(series: PanelSeries, high: float, unit: str) -> str:
    """What panels and spots show of damage, for settings up to one."""
    spots = series.spots
    on_spots = math.inf if spots is None or spots.first_damage is None else spots.first_damage
    if series.damage is None and math.isinf(on_spots):
        return "where damage begins was not sought on every panel"
    first, last = series.damage or (math.inf, None)
    begins = min(on_spots, math.inf if last is None else first)
    if math.isinf(begins):
        most = f"{rounded_down(high, 3):.3g}{unit}"
        return f"no damage seen up to {first:g}{unit}, but do not go beyond {most}"
    return f"damage was seen from {begins:g}{unit}"


def _rules(kind: str, facts: Facts, option: Option) -> Iterable[str]:
    """Rules of the site that apply."""
    for row in tables.rows("site_rules"):
        if (
            row["kind"] == kind
            and any(speaks_of(row["methods"], method) for method in option.methods)
            and holds(row["when"], facts)
        ):
            yield row["words"]

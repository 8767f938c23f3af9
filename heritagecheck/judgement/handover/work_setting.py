"""The setting a contractor works at: one start and one range, or why there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass

from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.judgement.gates.panel_requirements import Check
from heritagecheck.judgement.gates.series_verdict import TrialVerdict
from heritagecheck.judgement.options import Option
from heritagecheck.sentences import count_of, rounded_down, rounded_up, upper_first
from heritagecheck.survey.records.old_settings import NOT_READ
from heritagecheck.survey.records.quantities import name_of
from heritagecheck.tables.cautions import WITH_CAUTIONS
from heritagecheck.tables.row_types import Method, SourceGrade

MOST_DIGITS = 15  # of a number that is printed
# A number printed with any of these would be used.
CONTRADICT = "None. The records of the panels contradict one another"
ABOVE_WINDOW = "None. The setting of the panels lies above the window of their spots"
HARMED = "None. The panels were damaged at settings that cleaned others"
NOT_SHOWN = "None. The panels came clean only beyond the settings shown to be sound"
NOT_COMPARED = "None. The setting of the panels can't be compared with their spots"
FAILED = "None. The panels do not show that their setting is fit"
NOT_TRIED = "None was tried here"
BY_CONSERVATOR = "the conservator sets the first, at the gentle end, and watches it"
# Time and further panels settle these; whatever else fails puts the setting itself in question.
WAITS = {"ageing", "winter", "replicates"}
# Not known, these leave open what was dialled or what it does.
OPEN = {"method", "other panels", "kind of damage", "damage on spots"}


@dataclass(frozen=True, slots=True)
class Step:
    """
    One step of the work: what is varied, from where to where, and all that is held.

    `start`, `least` and `most` are in `unit`, rounded to the side on which they still hold; all
    three are None where the panels were laid at one setting only, which `held` gives in words.
    """

    method: str
    start: float | None
    least: float | None
    most: float | None
    unit: str
    held: str
    damage: str
    varied: str = ""

    @property
    def holding(self) -> str:
        """Name of what is held: all but the quantity that has a range."""
        return f"Keep as on the panels{f', except the {self.varied}' if self.varied else ''}"

    @property
    def begin(self) -> str:
        """Setting at which work begins, in words."""
        return "as on the panels" if self.start is None else _written(self.start, self.unit)

    @property
    def span(self) -> str:
        """Settings within which work stays, in words."""
        if self.least is None or self.most is None:
            return "none recorded, so keep every number as on the panels"
        if self.least == self.most:
            return f"{_written(self.most, self.unit)} only"
        return f"{_number(self.least)} to {_written(self.most, self.unit)}"


@dataclass(frozen=True, slots=True)
class WorkSetting:
    """
    One start and one range for each step, from which box, card, sheet and conditions are printed.

    Without steps no setting is given, and `why_none` says why; of a method that was not tried here
    `usual` is the range in which it is commonly used, with the grade of its source.
    """

    steps: tuple[Step, ...]
    why_none: str
    usual: str = ""
    hazards: tuple[str, ...] = (WITH_CAUTIONS,)

    @property
    def lines(self) -> tuple[tuple[str, str], ...]:
        """What is printed of it, the same everywhere: a name and words."""
        found = [("Setting", self.why_none), ("Usual range", self.usual)]
        for number, step in enumerate(self.steps, start=1):
            if len(self.steps) > 1:
                found.append((f"Step {number}", step.method))
            found += [
                ("Start", step.begin), ("Range", step.span), (step.holding, step.held),
                ("Damage", step.damage),
            ]  # fmt: skip
        return tuple((name, words) for name, words in found if words)


def work_setting(option: Option, verdict: TrialVerdict | None) -> WorkSetting:
    """
    Give start and range of an option, or why there are none.

    A range runs from the lowest to the highest setting that cleaned on every panel, never above
    what trial spots show, nor to where damage was seen on a panel, or was not sought. The start is
    what was dialled for the panels, or the gentlest of the range where that is not recorded. No
    setting is given where records contradict one another, where panels or spots show none, or where
    gate 7 holds more against it than time or too few panels.
    """
    series = option.series
    if series is None:
        return _untried(option)
    steps = (*series.before, series)
    doubt = next((one.setting_contradiction for one in steps if one.setting_contradiction), "")
    if doubt:
        return WorkSetting((), f"{CONTRADICT}; {BY_CONSERVATOR}")
    if verdict is not None and any(map(_against_setting, verdict.checks)):
        return WorkSetting((), f"{FAILED}; {BY_CONSERVATOR}")
    found = [_step(one) for one in steps]
    none = next((one for one in found if isinstance(one, str)), "")
    if none:
        return WorkSetting((), f"{none}; {BY_CONSERVATOR}")
    return WorkSetting(tuple(one for one in found if isinstance(one, Step)), "")


def _against_setting(check: Check) -> bool:
    """Whether a check of gate 7 fails because of the setting itself, or leaves it open."""
    if check.holds is None:
        return check.name in OPEN
    return not check.holds and check.name not in WAITS and not check.too_few


def _untried(option: Option) -> WorkSetting:
    """Setting without panels: for listed work how it is done, otherwise the usual range."""
    if option.listed is not None:
        return WorkSetting((), f"As listed housekeeping. {option.listed.note}")
    row = Method.named(option.method)
    usual = f"{row.window} ({SourceGrade.named(row.evidence).in_words})"
    return WorkSetting((), f"{NOT_TRIED}; {BY_CONSERVATOR}", usual)


def _step(series: PanelSeries) -> Step | str:
    """One step; or why it has no setting."""
    unit, spots, span = str(series.scale), series.spots, series.cleaning
    if series.unit_doubt:
        return f"None. {upper_first(series.unit_doubt)}"
    if spots is not None and spots.used is None:
        return NOT_COMPARED
    if span is None:
        held = _held(series)
        return Step(series.named, None, None, None, "", held, _on_fields(series))
    found = _range(series, span)
    if isinstance(found, str):
        return found
    low, start, high = found
    least, most = _rounded(low, high)
    return Step(
        method=series.named,
        start=min(max(_short(start), least), most),
        least=least,
        most=most,
        unit=unit,
        held=_held(series),
        damage=_damage(series, unit),
        varied="" if series.scale.quantity is None else name_of(series.scale.quantity),
    )


def _range(series: PanelSeries, span: tuple[float, float]) -> tuple[float, float, float] | str:
    """Gentlest setting, start and harshest of what cleaned; or why there is no range."""
    low, high = span
    spots = series.spots
    if spots is not None and spots.window is not None:
        high = min(high, spots.scale.moved(spots.window.high, series.scale))
    dialled = series.dialled
    start = low if dialled is None else max(low, dialled[0])
    if start > high:
        return ABOVE_WINDOW
    first, last = series.damage or (math.inf, None)
    if last is not None and first <= high:
        return HARMED
    # Without damage, `first` is how far it was sought: nobody works beyond.
    high = min(high, first)
    return (low, start, high) if start <= high else NOT_SHOWN


def _held(series: PanelSeries) -> str:
    """All that was dialled, in the words of the record; by its fields where the words differ."""
    told = [series.setting]
    if series.words_differ:
        # Nobody dials a number that the fields give otherwise.
        told = [
            one.in_words
            for one in series.settings
            if one.quantity not in {series.scale.quantity, NOT_READ}
        ]
        told.append("the words beside the panels say otherwise, so ask whoever laid them")
    # The varied quantity is already in the range.
    if series.passes is not None and series.scale.quantity != "passes":
        told.append(count_of(series.passes, "pulse or pass", "pulses or passes"))
    if series.wetted is not None:
        told.append("surface wetted first" if series.wetted else "surface dry")
    return "; ".join(told)


def _damage(series: PanelSeries, unit: str) -> str:
    """What panels and spots show of damage: how many fields, and from where on."""
    # A few damaged fields may pass gate 7, so the range mentions them.
    seen = list(filter(None, [_on_fields(series)]))
    on_spots, spots = math.inf, series.spots
    if spots is not None and spots.first_damage is not None and math.isfinite(spots.first_damage):
        on_spots = spots.scale.moved(spots.first_damage, series.scale)
    if series.damage is None and math.isinf(on_spots):
        return ". ".join([*seen, "Where it begins was not sought on every panel"])
    first, last = series.damage or (math.inf, None)
    begins = min(on_spots, math.inf if last is None else first)
    if math.isfinite(begins):
        what = "Other damage was seen" if seen else "Seen"
        return ". ".join([*seen, f"{what} from {_written(begins, unit)} upwards"])
    if spots is None or spots.first_damage is None:
        tried, what = first, "No other damage was seen" if seen else "None was seen"
    else:
        highest = spots.scale.moved(max(row.dose for row in spots.rows), series.scale)
        tried, what = min(first, _short(highest)), "No trial spot was damaged"
    return ". ".join([*seen, f"{what} up to {_written(tried, unit)}", "Stay in the range"])


def _on_fields(series: PanelSeries) -> str:
    """How many fields of the panels are damaged, and at which setting; empty where none is."""
    if not series.damaged:
        return ""
    read = "" if series.fields is None else f" of {sum(series.fields)}"
    fields = "field" if series.damaged == 1 and not read else "fields"
    was = "was" if series.damaged == 1 else "were"
    low, high = series.dialled or (None, None)
    at = (
        "on the panels"
        if low is None or low != high
        else f"at {_written(_short(low), str(series.scale))}"
    )
    return f"{series.damaged}{read} {fields} {was} damaged {at}"


def _rounded(low: float, high: float) -> tuple[float, float]:
    """Both ends rounded into the range, by as few digits as leave any of it."""
    for digits in range(3, MOST_DIGITS):
        least, most = rounded_up(low, digits), rounded_down(high, digits)
        if least <= most:
            return least, most
    return low, high


def _short(value: float) -> float:
    """A number with as many digits as a dial has."""
    return float(f"{value:.3g}")


def _written(value: float, unit: str) -> str:
    """A number with its unit, such as 1 pass or 40 min a day."""
    unit = "pass" if (value, unit) == (1, "passes") else unit
    return f"{_number(value)} {unit}".rstrip()


def _number(value: float) -> str:
    """A number as it is printed."""
    return f"{value:.{MOST_DIGITS}g}"

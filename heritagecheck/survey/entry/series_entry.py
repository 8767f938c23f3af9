"""A series of trial panels as it is typed: what its setting must state, and its records."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from string import ascii_lowercase

from heritagecheck import tables
from heritagecheck.sentences import count_of, upper_first
from heritagecheck.survey.checks.series_setting import required_settings
from heritagecheck.survey.entry.codes import ever_used, next_codes, next_name
from heritagecheck.survey.entry.typed_values import NotTakenError, read_typed, shown
from heritagecheck.survey.records import Panel, Setting, SiteTest, Zone, quantities
from heritagecheck.survey.records.old_settings import NOT_READ
from heritagecheck.survey.survey import Survey

LAID_NOT_READ = "not read yet"
# Written on the panels themselves, because all panels of a series share them.
ON_PANELS = ("passes", "wetted")
NOT_RECORDED = "not recorded"
# Fields that panels of a series often share. Results are not among them: they are seen on each.
AS_LAST_PANEL = (
    "done_on", "read_on", "read_by", "reader_blind", "control_kept", "winter_included",
    "joint_included", "x50_fields", "before_on", "required_adhesion_mpa",
    "required_profile_low_um", "required_profile_high_um",
)  # fmt: skip
# These are the same on all panels of a series.
OF_SERIES = (
    "soiling", "also_treated", "method", "setting", "after_series", "setting_quantity",
    "setting_unit", "passes", "wetted",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One line of the form of a setting: its name, the reason, and the quantities that fit it."""

    name: str
    unit: str
    why: str
    quantities: tuple[str, ...]


def setting_lines(method: str, kind: str) -> tuple[SettingLine, ...]:
    """
    Lines of the form of a method's setting, each quantity once.

    Passes and wetting are not among them: they are fields of the panels.
    """
    found: list[SettingLine] = []
    used: set[str] = set()
    for one in required_settings(method, kind):
        left = (name for name in one.quantities if name not in {*used, *ON_PANELS})
        fresh = tuple(name for name in left if quantities.has(method, name))
        if fresh:
            found.append(SettingLine(one.setting, one.unit, one.why, fresh))
            used.update(fresh)
    return tuple(found)


def required_on_panels(method: str, kind: str) -> tuple[str, ...]:
    """Which of `ON_PANELS` the setting of a method requires."""
    required = {name for one in required_settings(method, kind) for name in one.quantities}
    return tuple(name for name in ON_PANELS if name in required)


def further_quantities(method: str, named: Collection[str]) -> tuple[str, ...]:
    """Other quantities that a method can have."""
    known = {*named, *ON_PANELS, NOT_READ}
    every = tables.codes("setting_quantities")
    return tuple(one for one in every if one not in known and quantities.has(method, one))


def setting_in_words(
    settings: Sequence[Setting], passes: int | None = None, wetted: str | None = None
) -> str:
    """
    The setting of a series as one sentence for people.

    Examples
    --------
    >>> pressure = Setting(series="A", zone="N09", quantity="pressure", value=3, unit="bar")
    >>> setting_in_words([pressure], passes=2, wetted="no")
    'Pressure 3 bar; 2 pulses or passes; not wetted before'
    """
    parts = [one.in_words for one in settings]
    if passes is not None:
        parts.append(count_of(passes, "pulse or pass", "pulses or passes"))
    if wetted is not None:
        parts.append("wetted before" if wetted == "yes" else "not wetted before")
    return upper_first("; ".join(parts) or NOT_RECORDED)


def series_name(survey: Survey, zone: str, method: str) -> str:
    """
    An unused name for a new series, such as ``"N09-laser"``, then ``"N09-laser-b"``.

    A number at the end would look like a panel's.
    """
    used = {name.casefold() for name in ever_used(survey, "panels", "series")}
    stem = f"{zone}-{method.partition('_')[0]}"
    letters = ("", *(f"-{letter}" for letter in ascii_lowercase[1:]))
    names = (f"{stem}{first}{second}" for first in letters for second in letters)
    return next(name for name in names if name.casefold() not in used)


def laid_panels(survey: Survey, like: Panel, how_many: int) -> tuple[Panel, ...]:
    """All panels of a series once `how_many` more like `like` were laid, to be saved together."""
    known = [one for one in survey.of_zone(like.zone, Panel) if one.series == like.series]
    codes = next_codes(survey, "panels", how_many, series=like.series)
    size = len(known) + how_many
    fresh = (like.changed(panel=code) for code in codes)
    return tuple(one.changed(panels_in_series=size) for one in (*known, *fresh))


def laid_like(panel: Panel, done_on: date) -> Panel:
    """A further panel of a series that was laid and not read."""
    shared = {field: getattr(panel, field) for field in OF_SERIES}
    return Panel.model_validate(
        {
            **shared, "panel": panel.panel, "zone": panel.zone, "series": panel.series,
            "panels_in_series": panel.panels_in_series, "done_on": done_on,
            "not_read_because": LAID_NOT_READ,
        }
    )  # fmt: skip


def with_panels(zone: Zone, recorded: int) -> tuple[Zone, ...]:
    """
    The zone with its number of panels raised to those recorded; empty if it stays.

    A number that nobody gave stays open: there may be earlier panels without a record.
    """
    if zone.panels_laid is None or zone.panels_laid >= recorded:
        return ()
    return (zone.changed(panels_laid=recorded),)


def as_last_panel(panels: Iterable[Panel], panel: str) -> tuple[str, dict[str, object]]:
    """
    Code of the last panel read before this one, and values that both may share.

    The code is empty if there is none. Results of a panel are never offered for another.
    """
    before: Panel | None = None
    for one in panels:
        if one.panel == panel:
            break
        before = one if one.read_on is not None else before
    if before is None:
        return "", {}
    values = {field: getattr(before, field) for field in AS_LAST_PANEL}
    return before.panel, {field: value for field, value in values.items() if value is not None}


# -- What is measured on a panel of steel ----------------------------------------------------------

# What the coating asks of a panel of steel, in the order of measuring.
ON_STEEL = ("chloride_ug_cm2", "profile_um", "adhesion_mpa")


def tests_on(survey: Survey, panel: Panel, quantity: str) -> list[SiteTest]:
    """Saved tests of one quantity on a panel."""
    tests = survey.of_zone(panel.zone, SiteTest)
    return [one for one in tests if (one.panel, one.quantity) == (panel.panel, quantity)]


def values_typed(tests: Sequence[SiteTest]) -> str:
    """Form field of saved tests."""
    return "; ".join(shown(one.value) for one in tests if one.value is not None)


def read_values(quantity: str, text: str) -> list[float]:
    """
    Numbers of one line, separated by semicolons, blanks or line breaks.

    Examples
    --------
    >>> read_values("adhesion_mpa", "3,1; 2.8 3")
    [3.1, 2.8, 3.0]
    """
    found = []
    for part in filter(None, re.split(r"[;\s]+", text)):
        value = read_typed(SiteTest, "value", part, beside={"quantity": quantity})
        if not isinstance(value, float):
            raise NotTakenError("Write numbers, separated by semicolons.")
        found.append(value)
    return found


def panel_tests(
    survey: Survey, panel: Panel, quantity: str, values: Sequence[float], *,
    method: str, tested_on: date, tested_by: str,
) -> tuple[tuple[SiteTest, ...], tuple[SiteTest, ...]]:  # fmt: skip
    """
    Tests of one quantity on a panel: those to save, and saved ones that were removed.

    Method, date and role are those of tests that are not saved yet.
    """
    kept = tests_on(survey, panel, quantity)
    beside = {"panel": panel.panel, "quantity": quantity}
    fresh = max(0, len(values) - len(kept))
    codes = next_codes(survey, "site_tests", fresh, **beside)
    name = f"{panel.panel}-{quantity}"
    set_name = kept[0].set_name if kept else next_name(survey, "site_tests", "set_name", name)
    changed = [
        one.changed(value=value, not_measured_because=None, set_size=len(values))
        for one, value in zip(kept, values, strict=False)
    ]
    new = [
        SiteTest(
            site_test=code, zone=panel.zone, set_name=set_name, set_size=len(values), value=value,
            method=method, tested_on=tested_on, tested_by=tested_by, panel=panel.panel,
            quantity=quantity,
        )
        for code, value in zip(codes, values[len(kept) :], strict=True)
    ]  # fmt: skip
    return (*changed, *new), tuple(kept[len(values) :])

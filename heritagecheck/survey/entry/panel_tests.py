"""What is measured on a panel of steel: several values of one quantity, typed in one line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from heritagecheck.survey.entry.codes import next_codes, next_name
from heritagecheck.survey.entry.typed_values import NotTakenError, read_typed, shown
from heritagecheck.survey.records import Panel, SiteTest
from heritagecheck.survey.survey import Survey

# What the coating asks of a panel of steel, in the order of measuring.
ON_STEEL = ("chloride_ug_cm2", "profile_um", "adhesion_mpa")


def tests_on(survey: Survey, panel: Panel, quantity: str) -> list[SiteTest]:
    """Tests of one quantity on a panel, as they are saved."""
    tests = survey.of_zone(panel.zone, SiteTest)
    return [one for one in tests if (one.panel, one.quantity) == (panel.panel, quantity)]


def values_typed(tests: Sequence[SiteTest]) -> str:
    """What would have to be typed for tests that are saved."""
    return "; ".join(shown(one.value) for one in tests if one.value is not None)


def read_values(quantity: str, text: str) -> list[float]:
    """
    The values that were typed in one line.

    Parameters
    ----------
    quantity : str
        Code of the quantity.
    text : str
        Numbers with comma or point, separated by semicolons, blanks or line breaks.

    Returns
    -------
    list of float

    Raises
    ------
    NotTakenError
        One of them can't be taken.

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
    The tests of one quantity on a panel, as values were typed.

    Parameters
    ----------
    survey : Survey
        The survey.
    panel : Panel
        The panel.
    quantity : str
        Code of the quantity.
    values : sequence of float
        All values measured on it.
    method, tested_on, tested_by : str, date, str
        How, when and by whom those were measured that are not saved yet.

    Returns
    -------
    two tuples of SiteTest
        Tests to be saved, which carry the size of their set; and saved ones that are no longer
        among the values.
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

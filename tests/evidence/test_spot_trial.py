"""Spots of a series read together: what they show, and what hinders that they are read."""

from __future__ import annotations

from typing import Any

import pytest

from heritagecheck.evidence import trials
from heritagecheck.survey.records import Panel, Spot

DOSES = (0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.2)


def panel(number: int, **values: Any) -> Panel:
    """One of two panels of a series, with eight spots and a margin of its own of 2 to 3."""
    return Panel(**{
        "panel": f"P{number}", "zone": "Z1", "series": "S", "panels_in_series": 2,
        "soiling": "general_soiling", "method": "laser_ns_1064", "setting": "as the spots say",
        "done_on": "2026-05-01", "read_on": "2026-06-01", "spots_laid": 8,
        "cleaning_low": 0.5, "cleaning_high": 0.5, "damage_low": 1.0, "damage_high": 1.5, **values,
    })  # fmt: skip


def spots(number: int, *, cleans: float = 0.35, harms: float = 9.0, **values: Any) -> list[Spot]:
    """Spots of one panel: clean from one dose on, damaged from another."""
    return [
        Spot(**{
            "spot": f"P{number}-{place}", "panel": f"P{number}", "zone": "Z1", "spots_on_panel": 8,
            "dose": dose, "dose_unit": "J/cm²", "cleaned": "yes" if dose > cleans else "no",
            "damaged": "yes" if dose > harms else "no", "read_on": "2026-06-01",
            "component": "biotite", **values,
        })
        for place, dose in enumerate(DOSES)
    ]  # fmt: skip


PANELS = [panel(1), panel(2)]
SPOTS = [*spots(1, harms=0.9), *spots(2, harms=1.1)]


def margins(panels: list[Panel], laid: list[Spot]) -> tuple[float | None, float | None]:
    """Margin of the series that panels and spots make."""
    (series,) = trials.panel_series(panels, (), laid)
    return series.margin_low, series.margin_high


def test_the_smaller_margin_counts() -> None:
    """The panels state 2 to 3; sixteen spots on two panels can't show that much."""
    without = margins([panel(1, spots_laid=None), panel(2, spots_laid=None)], [])
    low, high = margins(PANELS, SPOTS)

    assert without == (2.0, 3.0)
    assert 0 < low < 2.0
    assert high <= 3.0


def test_a_mineral_that_fails_first_sets_the_limit() -> None:
    """Spots on mica damaged from half the dose on: the limit is the mica's, not an average."""
    mica = spots(1, harms=0.45)
    quartz = spots(2, harms=9.0, component="quartz")

    found = trials.spot_trial(PANELS, [*mica, *quartz])

    assert found.damage.weakest == "biotite"
    assert found.window.high < 0.45 + 0.06


@pytest.mark.parametrize(
    ("panels", "laid", "why"),
    [
        (PANELS[:1], SPOTS[:8], "1 of 2 panels are on record"),
        ([panel(1), panel(2, spots_laid=None)], SPOTS, "panel P2 does not say how many spots"),
        (PANELS, SPOTS[1:], "panel P1 carries 8 spots, 7 are on record"),
        (PANELS, [], "panel P1 carries 8 spots, 0 are on record"),
        (
            PANELS, [*SPOTS[:8], *spots(2, dose_unit="bar")], "doses stand in J/cm² and in bar",
        ),
        (
            PANELS,
            [*SPOTS[:15], SPOTS[15].changed(cleaned=None, damaged=None, read_on=None)],
            "spot P2-7 was not read",
        ),
    ],
    ids=["a panel gone", "not counted", "a spot gone", "all gone", "two units", "one unread"],
)  # fmt: skip
def test_spots_that_are_not_all_there_leave_the_margin_unknown(
    panels: list[Panel], laid: list[Spot], why: str
) -> None:
    """So a lost spot never makes a window look wider, nor the panels' own margin come back."""
    found = trials.spot_trial(panels, laid)

    assert found.window is None
    assert found.why_not.startswith(why)
    assert margins(panels, laid) == (None, None)


def test_spots_that_no_panel_counts_are_left_aside() -> None:
    """Before anybody writes how many were laid, the panels' own margin stands as it did."""
    uncounted = [panel(1, spots_laid=None), panel(2, spots_laid=None)]

    assert trials.spot_trial(uncounted, SPOTS) is None
    assert margins(uncounted, SPOTS) == margins(uncounted, [])

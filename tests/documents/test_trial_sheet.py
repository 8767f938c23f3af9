"""The sheet of one series of trial panels: in the notebook's card and in the report."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

import heritagecheck as hc
from heritagecheck.documents.contents import plain_text
from heritagecheck.documents.trial_sheet import series_of, trial_sheet
from heritagecheck.judgement.recommendation import Assessment

# In the order of the survey, all of those on the zones below.
SERIES = ("N09-mist", "N06-powder", "N06-pulse", "N13-lift", "N15-pulse", "T06-pulse")


@cache
def tried() -> Assessment:
    """Zones on which panels were laid, judged."""
    return hc.assess(hc.demo_survey(), zones=["N06", "N09", "N13", "N15", "T06"])


@cache
def html_of(series: str) -> str:
    """Sheet of a series."""
    return trial_sheet(tried(), series).html


@cache
def words(series: str) -> str:
    """Words of that sheet."""
    return plain_text(html_of(series))


def test_every_series_of_the_zones_assessed_has_its_sheet() -> None:
    """In the order of the survey, and no other."""
    assert series_of(tried()) == SERIES


def test_a_sheet_says_window_margin_setting_and_what_is_asked() -> None:
    """All of what was found stands there, each check with its words."""
    trial = hc.trials.read_series(tried().survey, "N06-pulse")
    verdict = tried().zone("N06").trials["laser_ns_1064", "N06-pulse"]
    said = words("N06-pulse")

    assert trial.window.reason in said
    assert f"Laid at: {trial.panels.setting}. As recorded: peak fluence 0.6 J/cm² peak" in said
    assert f"Damage margin: {trial.window.margin:.2g} by estimate" in said
    for check in verdict.checks:
        assert (check.below.result if check.below else check.words) in said
    assert "Reader noted blind to the setting" in said
    assert "for 60 pulses or passes a spot, dry surface" in said


def test_the_verdict_stands_before_the_window() -> None:
    """Nobody reads a setting without reading first that it is none for work."""
    said = words("N06-pulse")

    assert said.index("Gate 7: not passed.") < said.index("Not a setting for work.")
    assert said.index("Not a setting for work.") < said.index("expected to come clean")
    assert "Gate 7: passed at the setting of the panels." in words("T06-pulse")
    assert "Least harm (gate 8) would not pass either" in said


@pytest.mark.parametrize("series", SERIES)
def test_cautions_stand_beside_every_setting(series: str) -> None:
    """Whatever was tried, its cautions are on the sheet, and that none of it is permission."""
    trial = hc.trials.read_series(tried().survey, series)
    said = words(series)

    assert trial.cautions
    for caution in trial.cautions:
        assert caution.words in said
    assert "it is not permission to work" in said


def test_what_the_setting_does_not_tell_is_asked_for() -> None:
    """Hardness and flow of an abrasive; nothing where all is told."""
    assert "Not recorded: hardness of the medium [Mohs or HRC]" in words("N06-powder")
    assert "Not recorded" not in words("N06-pulse")


def test_zones_are_named_with_their_outcome_or_the_reason() -> None:
    """Whoever stands before another zone reads why the trial does not speak for it."""
    said = words("N06-pulse")

    assert "N06 (trial first)." in said
    assert re.search(
        r"They do not apply to [^.]*N15[^.]*\(soiled by something that was not tried\)", said
    )


def test_a_series_without_hope_plans_no_next_trial() -> None:
    """No ladder where what damages lies below what cleans."""
    said = words("N15-pulse")

    assert "No next trial of this series is planned: No setting does both" in said
    assert "Begin with the gentlest setting" not in said
    assert "Begin with the gentlest setting" in words("N06-pulse")


def test_counts_part_spots_by_passes_where_they_differ() -> None:
    """Ten, twenty and forty times at one setting are three lines."""
    html = html_of("T06-pulse")

    for name in ("0.8, 10 pulses", "0.8, 20 pulses", "0.8, 40 pulses"):
        assert f'<th scope="row" class="num">{name} or passes</th>' in html


def test_the_report_holds_every_sheet(assessment: Assessment, report: tuple[Path, ...]) -> None:
    """Under a part of its own, which the bar at the top leads to."""
    html = report[0].read_text(encoding="utf-8")
    found = series_of(assessment)

    assert {"N09-mist", "N06-powder", "N06-pulse"} <= set(found)
    assert '<a href="#trials">Trials</a>' in html
    assert re.findall(r'id="trial-(\w+-\w+)"', html) == list(found)


def test_where_gate_7_passes_without_the_panels_they_stop_nothing() -> None:
    """Fresh guano is listed housekeeping: its one young panel is no reason against it."""
    said = words("N13-lift")

    assert "Gate 7 passes without these panels: no panels required, " in said
    assert "Not a setting for work" not in said


def test_cautions_stand_before_the_picture() -> None:
    """Where there is no room beside it, as on paper, they are read first."""
    html = html_of("N06-pulse")

    assert html.index("Cautions at any setting") < html.index("tested window")

"""What the next trial of a series would have to be."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

import heritagecheck as hc
from heritagecheck.evidence.zone_evidence import gather
from heritagecheck.judgement.gates.next_trial import (
    NextTrial,
    fields_of_trial,
    first_trial,
    next_trial,
)
from heritagecheck.judgement.options import options_for
from heritagecheck.judgement.policy import agreed_policy
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Zone

Rows = dict[str, list[dict[str, Any]]]
SURVEY = hc.demo_survey()
POLICY = agreed_policy(SURVEY)


def planned(series: str) -> NextTrial:
    """Next trial of a series of the example."""
    return next_trial(hc.trials.read_series(SURVEY, series), POLICY)


def test_a_window_that_is_not_shown_yet_gets_a_ladder_and_a_number_of_panels() -> None:
    """The ladder lies about the window; the confirmation shows the share that was agreed."""
    trial = hc.trials.read_series(SURVEY, "N06-pulse")
    found = planned("N06-pulse")

    assert found.plan is not None
    assert found.plan.limit == POLICY.damage_limit["medium"]
    assert found.plan.shows <= POLICY.damage_limit["medium"]
    assert found.plan.settings[0] < trial.window.low < found.plan.settings[-1]
    assert found.margin_asked == 1.3
    assert found.panels_in_all is not None
    assert found.panels_in_all >= len(trial.panels.panels)
    assert str(found).endswith(
        f"If new panels behave as these did, {found.panels_in_all} panels in all would show a "
        "margin of 1.3. About half of real trials would show less."
    )


def test_where_no_setting_does_both_no_trial_is_planned() -> None:
    """Another method, not another trial of this one."""
    found = planned("N15-pulse")

    assert found.plan is None
    assert str(found).startswith("No next trial of this series is planned: No setting does both")


def test_on_steel_no_margin_is_asked() -> None:
    """Grade, chloride, adhesion and profile stand in its place."""
    found = planned("T06-pulse")

    assert found.margin_asked is None
    assert found.margin_hope == ""
    assert "margin" not in str(found)


def test_without_spots_there_is_nothing_to_plan_from() -> None:
    """Panels alone give no curve."""
    assert planned("N13-lift").why_none == "no spots were laid"


@pytest.mark.parametrize(
    ("code", "effort"),
    [
        ("N03", "4 panels with 25 fields at ×50 on each, if no field is damaged. Or 6 such"),
        ("E11", "4 panels with 10 fields at ×50 on each, if no field is damaged. Or 5 such"),
        ("N06", ""),
        ("E09", ""),
        ("N09", ""),
    ],
)
def test_a_first_trial_says_its_effort(code: str, effort: str) -> None:
    """Where a method is to be tried without panels; not where panels lie, or nothing is tried."""
    found = hc.assess(SURVEY, zones=[code]).zone(code)

    assert found.effort.startswith(effort)
    assert bool(found.effort) is bool(effort)


@pytest.mark.parametrize(
    ("code", "ends"),
    [
        (
            "N03",
            "10 spots on each of 7 panels at the setting chosen, and 10 at 2 times that setting",
        ),
        (
            "N15",
            "10 spots on each of 5 panels at the setting chosen, and 10 at 1.3 times that setting",
        ),
        ("E11", "10 spots on each of 5 panels at the setting chosen"),
    ],
)
def test_a_first_trial_says_its_spots(code: str, ends: str) -> None:
    """As many as show the limit with 97.5 %, and the margin where one is asked: not of steel."""
    found = hc.assess(SURVEY, zones=[code]).zone(code)

    assert found.effort.endswith(ends)


def test_a_large_area_or_a_harsh_method_takes_more_panels(rows: Callable[..., Rows]) -> None:
    """Nine panels for 8,100 m²; a pair rated 8.5 is expected to damage, which panels outweigh."""
    small, large, harsh = (
        effort_of(rows("G03", panels={}, **changes), method)
        for changes, method in (
            ({}, "nebulised_water"),
            ({"area_m2": "8100"}, "nebulised_water"),
            ({"significance": "medium"}, "acidic"),
        )
    )  # fmt: skip

    assert small.startswith("4 panels with 25 fields")
    assert large.startswith("9 panels with 25 fields")
    assert int(harsh.split()[0]) > 4


def effort_of(raw: Rows, method: str) -> str:
    """Effort of the first trial of one method on a case without panels."""
    survey = build(raw)
    zone = survey.all(Zone)[0]
    policy = agreed_policy(survey)
    evidence = gather(survey, zone, limits=policy.damage(zone.significance))
    [option] = [one for one in options_for(evidence) if one.method == method]
    return first_trial(evidence, fields_of_trial(evidence, option, policy), policy)

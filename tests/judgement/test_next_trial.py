"""What the next trial of a series would have to be."""

from __future__ import annotations

import heritagecheck as hc
from heritagecheck.judgement.next_trial import NextTrial, next_trial
from heritagecheck.judgement.policy import agreed_policy

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
    assert found.panels_in_all > len(trial.panels.panels)
    assert str(found).endswith(
        f"If further panels show what these do, {found.panels_in_all} in all show a margin of "
        "1.3; of real trials about half show less."
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

"""Beside the outcome: what is to be tried, the gaps, the watch, how long advice holds."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

import heritagecheck as hc
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.survey.survey import Survey

Judged = Callable[..., Recommendation]
WORK = ("Consent for the work", "Controlled area, waste route")


@pytest.fixture(scope="module")
def example() -> Assessment:
    """Judge the example survey."""
    return hc.assess(hc.demo_survey())


def about_work(one: Recommendation) -> list[str]:
    """Gaps that only work would raise."""
    return [gap.what for gap in one.gaps if gap.what.startswith(WORK)]


def test_nothing_is_tried_before_a_hazard_or_the_fabric_is_known(example: Assessment) -> None:
    """Where gates 3 to 6 are open, no method, setting or instruction is written out."""
    found = [
        one
        for one in example.recommendations
        if one.outcome == "trial first" and one.deciding_gate and one.deciding_gate.number < 7
    ]

    assert {one.zone for one in found} >= {"C01", "T10", "E09"}
    for one in found:
        assert one.method is None
        assert one.instruction is None
        assert one.settings == {}


def test_a_series_that_waits_is_finished_before_another_is_begun(example: Assessment) -> None:
    """E16's gel lacks only its winter, T07's laser one reading; other methods do less harm."""
    for zone, method in (("E16", "solvent_gel_stripper"), ("T07", "laser_ns_1064")):
        one = example.zone(zone)
        best = one.weighed[0].option.method

        assert one.method == method
        assert best != method
        assert any(verdict.pending for verdict in one.trials.values())


def test_a_method_whose_panels_failed_is_not_the_one_to_try_next(example: Assessment) -> None:
    """N06's powder plucked biotite and T03's grit left chloride: both come after all others."""
    for zone, failed in (("N06", "micro_abrasive_dry"), ("T03", "dry_grit_blast")):
        one = example.zone(zone)

        assert failed in {key.method for key in one.trials}
        assert not any(verdict.pending for verdict in one.trials.values())
        assert one.method not in {None, failed}


def test_leaving_needs_no_consent_and_no_controls(example: Assessment) -> None:
    """Where no work is meant, what only work asks for is no gap; where it is, it is one."""
    assert about_work(example.zone("N04")) == []
    assert about_work(example.zone("T08")) == []
    assert about_work(example.zone("N03")) != []


def test_a_series_with_a_gap_is_one_gap(example: Assessment) -> None:
    """One panel that was not read is one thing to do, however many questions it leaves open."""
    found = [gap for gap in example.zone("T07").gaps if gap.what.startswith("Trial series")]

    assert len(found) == 1
    assert "T07-pulse-3" in found[0].why


def test_what_was_taken_off_is_not_watched(example: Assessment) -> None:
    """After cleaning the surface is watched; a crust that stays is tapped."""
    assert example.zone("N09").monitoring.indicator == "cleaned surface"
    assert example.zone("N06").monitoring.indicator == "lift of the crust"


def test_advice_holds_for_whole_years(example: Assessment) -> None:
    """One year to act, two to watch, five to leave, to the day on which the survey closed."""
    ends = {one.outcome: one.valid_until for one in example.recommendations}

    assert ends == {
        "clean": date(2027, 9, 18), "trial first": date(2027, 9, 18),
        "leave and monitor": date(2028, 9, 18), "leave": date(2031, 9, 18),
    }  # fmt: skip


def test_who_returns_in_two_years_comes_on_the_day_on_which_the_advice_ends(
    example: Assessment,
) -> None:
    """2028 has a leap day: 730 days from 18 September 2026 end a day too early."""
    watched = example.zone("N07"), example.zone("N12")

    assert {one.valid_until for one in watched} == {date(2028, 9, 18)}
    assert example.zone("N12").monitoring.return_on == date(2028, 9, 18)
    assert example.zone("N07").monitoring.return_on == date(2027, 3, 17)  # after 180 days


def test_advice_from_a_leap_day_ends_on_the_28th(judged: Judged, rows: Callable[..., Any]) -> None:
    """A year later there is no 29 February."""
    raw = rows("G01")
    raw["structure"][0]["survey_date"] = date(2024, 2, 29)

    assert judged(raw).valid_until == date(2029, 2, 28)


def test_rules_for_trials_are_not_those_for_the_whole(example: Assessment) -> None:
    """A trial is begun by the conservator and has no first tenth; cleaning has one."""
    trial, whole = example.zone("N06").instruction, example.zone("N09").instruction
    assert trial is not None
    assert whole is not None

    assert any("the conservator agrees the first setting" in rule for rule in trial.hold_points)
    assert not any("first tenth" in rule for rule in trial.hold_points)
    assert any("first tenth" in rule for rule in whole.hold_points)


def test_lead_between_the_limits_says_so(example: Assessment) -> None:
    """XRF that settles nothing is no missing test: the laboratory is asked."""
    said = example.zone("E09").gates[4].reason

    assert "between 0.4 and 1.2" in said
    assert "have chips tested" in said
    assert "untested" in example.zone("T10").gates[4].reason


def test_fingerprint_names_the_records(example: Assessment) -> None:
    """The same records give the same digits; one value changed gives others."""
    survey = hc.demo_survey()
    assert survey.fingerprint == example.survey.fingerprint

    zones = survey.records["zones"]
    changed = zones[0].model_copy(update={"area_m2": zones[0].area_m2 + 0.01})  # type: ignore[attr-defined]
    other = Survey({**survey.records, "zones": (changed, *zones[1:])})
    assert other.fingerprint != survey.fingerprint


def test_silence_is_not_taken_for_nothing_urgent(judged: Judged) -> None:
    """A question of danger that nobody answered is named; an answer takes it off the list."""
    silent = judged("G17", findings={"lead_shedding": None})
    asked = judged("G17", findings={"lead_shedding": "no"})

    assert "Is lead paint coming off?" in silent.urgency_not_looked_at
    assert "Is lead paint coming off?" not in asked.urgency_not_looked_at


def test_trigger_of_growth_is_not_met_on_the_day_it_is_written(example: Assessment) -> None:
    """E04 is green on 60 % of its area: a trigger at 20 % of cover would call at once."""
    [layer] = example.zone("E04").evidence.layers

    assert layer.cover_pct == 60
    assert "growth on 20 % more of the area" in example.zone("E04").monitoring.trigger

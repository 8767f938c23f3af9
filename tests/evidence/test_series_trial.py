"""One series of trial panels by itself: what it shows, for which zones, what it leaves open."""

from __future__ import annotations

import pytest

import heritagecheck as hc
from heritagecheck.evidence.trials.series import SeriesTrial
from heritagecheck.survey.places import build
from heritagecheck.survey.records import TABLES, AgreedPolicy, Zone
from heritagecheck.survey.survey import Survey

SURVEY = hc.demo_survey()


def read(series: str) -> SeriesTrial:
    """Read a series of the example."""
    assert isinstance(SURVEY, Survey)
    return hc.trials.read_series(SURVEY, series)


def test_dark_mica_fails_first_and_sets_the_limit() -> None:
    """Of three minerals the weakest counts, not their average."""
    damage = read("N06-pulse").spots.damage

    assert damage.weakest == "biotite"
    halves = {one.group: damage.dose_at(0.5, group=one.group).estimate for one in damage.groups}
    assert halves["biotite"] < halves["feldspar"] < halves["quartz"]


def test_the_example_holds_a_window_and_a_series_without_one() -> None:
    """A laser on black crust has a window; the same on red paint has none, by any doubt."""
    crust = hc.trials.read_series(SURVEY, "N06-pulse", damage_limit=0.25)
    paint, steel = read("N15-pulse"), read("T06-pulse")

    for trial in (crust, steel):
        assert trial.window is not None
        assert not trial.window.empty
        assert trial.window.low < trial.window.setting < trial.window.high
    assert paint.window is not None
    assert paint.window.empty
    assert paint.window.margin_high < 1
    assert (
        "No setting does both: the dose that damages (biotite) lies below the one that cleans, "
        "even if every uncertainty favours the method. Damage margin at least 0.013." in str(paint)
    )


def test_the_damage_share_is_the_one_that_the_survey_agreed() -> None:
    """Without another, the policy's at the zone's significance; a stricter one is narrower."""
    agreed = read("N06-pulse").window
    strict = hc.trials.read_series(SURVEY, "N06-pulse", damage_limit=0.05).window

    assert agreed is not None
    assert strict is not None
    policy = SURVEY.only(AgreedPolicy)
    assert agreed.damage_limit == policy.damage_limit_medium == 0.15
    assert agreed.begins == strict.begins == policy.damage_limit == 0.25
    assert strict.high < agreed.high
    assert strict.margin_low == agreed.margin_low


def test_zones_of_another_bed_get_a_wider_doubt_and_no_word_from_the_trial() -> None:
    """By the factor of the table on either side; and each zone has its reason."""
    trial = read("N06-pulse")

    assert trial.speaks_for == ("N06",)
    assert trial.elsewhere.margin_low == pytest.approx(trial.window.margin_low / 1.5**2)
    assert dict(trial.alike)["N15"] == "soiled by something that was not tried"
    table = trial.zones_table()
    assert list(table["zone"]) == ["N06", *dict(trial.alike)]
    assert set(table["results apply"]) == {"yes", "no"}


def test_a_series_is_never_printed_without_its_cautions() -> None:
    """What says setting and window says the beam too; of mist it would mean nothing."""
    for code in ("N06-pulse", "N09-mist"):
        assert all(f"  {one}" in str(read(code)).splitlines() for one in read(code).cautions)
    assert "laser safety officer; control the area" in str(read("N06-pulse"))
    assert "Class 4" not in str(read("N09-mist"))


def test_a_twentieth_of_the_spots_is_asked_for_beside_the_share_agreed() -> None:
    """The stricter reading of the same spots, for whoever finds the share agreed too large."""
    trial = read("N06-pulse")

    assert trial.strict is not None
    assert trial.strict.damage_limit == 0.05
    assert trial.strict.margin_low < trial.window.margin_low


def test_damage_by_the_same_method_on_the_same_bed_is_named() -> None:
    """Red paint on the very bed of the crust, mica melted from 0.45 on: that must be seen here."""
    beds = [zone.bed_or_system for zone in SURVEY.all(Zone) if zone.zone in {"N06", "N15"}]
    rows = {
        table: [record.model_dump() for record in SURVEY.all(kind)]
        for table, kind in TABLES.items()
    }
    for zone in rows["zones"]:
        if zone["zone"] == "N15":
            zone["bed_or_system"] = beds[0]

    (said,) = hc.trials.read_series(build(rows), "N06-pulse").seen_on_bed

    assert said == "Panels of N15-pulse on N15 show damage from 0.45 J/cm² peak upwards"
    assert read("N06-pulse").seen_on_bed == ()


def test_cautions_of_the_method_stand_beside_every_series() -> None:
    """A class 4 beam, fire, mica for the laser; lead where the paint holds it; never nothing."""
    hazards = {code: {one.hazard for one in read(code).cautions} for code in ("N06-pulse",
               "T06-pulse", "N06-powder", "N09-mist")}  # fmt: skip

    assert {"Class 4 laser", "Sparks, heat and fire", "Dark mica"} <= hazards["N06-pulse"]
    assert {"Class 4 laser", "Lead", "Steel strength"} <= hazards["T06-pulse"]
    assert "Class 4 laser" not in hazards["N06-powder"]
    assert {"Respirable silica", "Noise and vibration"} <= hazards["N06-powder"]
    assert all("Stop work" in found for found in hazards.values())


def test_what_the_setting_does_not_tell_is_asked() -> None:
    """A pressure without flow or hardness does not describe a setting."""
    asked = [one.setting for one in read("N06-powder").questions]

    assert "hardness of the medium" in asked
    assert read("N06-pulse").questions == ()


def test_a_series_without_spots_says_so() -> None:
    """Panels may speak by themselves; then there is no curve to be asked for."""
    trial = read("N13-lift")

    assert trial.window is None
    assert trial.elsewhere is None
    assert "1 of 1 panels. No spots were laid. Damage margin at least 10.\n" in str(trial)
    with pytest.raises(ValueError, match="No panel of N13-lift says that spots were laid"):
        _ = trial.spots


def test_an_unknown_series_is_refused_with_those_that_are_there() -> None:
    """The message names what may be asked for."""
    with pytest.raises(hc.SurveyError, match=r"there is none\. Known: N09-mist, N06") as found:
        read("N99")

    assert found.value.faults.iloc[0]["field"] == "series"


def test_results_show_themselves_as_a_short_card() -> None:
    """Series, spots, curve and window in a notebook: event, unit, interval, never a data dump."""
    trial = read("N06-pulse")
    damage, window = trial.spots.damage, trial.window
    assert damage is not None
    assert window is not None
    cards = [one._repr_html_() for one in (trial, trial.spots, damage, window)]

    assert str(damage).startswith("Damage at 15 of 144 spots; ED50 for biotite ")
    assert "J/cm² peak (95 % CI " in str(damage)
    assert all(len(one) < 9000 for one in cards)
    assert all(one.count("J/cm² peak") >= 1 for one in cards)
    assert "eyes and skin" in cards[0]
    assert "eyes and skin" in cards[3]

"""What is said of the heat of a laser series: only where its setting is complete, never a pass."""

from dataclasses import replace

import pytest

import heritagecheck as hc
from heritagecheck.evidence.laser.heat import setting_heat
from heritagecheck.evidence.laser.heat.heated_surface import NEVER_A_PASS
from heritagecheck.evidence.trials.series_heat import (
    heat_lines,
    heated_surfaces,
    missing_for_heat,
    temperatures,
)


@pytest.fixture(scope="module")
def survey():
    """The example."""
    return hc.demo_survey()


@pytest.fixture(scope="module")
def pulse(survey):
    """A laser on granite: 0.6 J/cm², 8 ns, 10 Hz, spot 4 mm, 60 pulses a spot."""
    return hc.trials.read_series(survey, "N06-pulse")


def without(trial, *quantities):
    """The series with some quantities not recorded."""
    kept = tuple(one for one in trial.panels.settings if one.quantity not in quantities)
    return replace(trial, panels=replace(trial.panels, settings=kept))


def changed(trial, quantity, **fields):
    """The series with one quantity recorded otherwise."""
    settings = tuple(
        one.model_copy(update=fields) if one.quantity == quantity else one
        for one in trial.panels.settings
    )
    return replace(trial, panels=replace(trial.panels, settings=settings))


def test_the_weakest_component_and_the_stone_are_heated(pulse):
    """Dark mica first, then granite: the light meets both once the crust is off."""
    assert heated_surfaces(pulse.zone.substrate) == ("biotite", "granite")


def test_it_is_that_of_the_recorded_setting(pulse):
    """The same as by hand, in the units that the function takes."""
    found, _ = temperatures(pulse)
    by_hand = hc.laser.surface_temperature(
        "biotite", fluence_j_cm2=0.6, pulse_ns=8, radius_um=2000, rate_hz=10, pulses=60
    )

    assert found.peak == by_hand.peak
    assert found.sentences()[0] in " ".join(heat_lines(pulse))


def test_of_a_span_the_hottest_end_counts(pulse):
    """0.5 to 0.9 J/cm² is 0.9, and 5 to 8 ns are 5."""
    span = changed(
        changed(pulse, "peak_fluence", value=0.5, value_to=0.9),
        "pulse_duration", value=5.0, value_to=8.0,
    )  # fmt: skip
    by_hand = hc.laser.surface_temperature(
        "biotite", fluence_j_cm2=0.9, pulse_ns=5, radius_um=2000, rate_hz=10, pulses=60
    )

    assert temperatures(span)[0].peak == by_hand.peak


def test_a_scanned_series_is_heated_along_its_line(survey):
    """20 kHz at 4 m/s over a spot of 0.8 mm: seven pulses reach a place, five of them strong."""
    (found,) = temperatures(hc.trials.read_series(survey, "T06-pulse"))

    assert found.pulses == 7
    assert found.surface.name == "riveted steel"


@pytest.mark.parametrize(
    ("quantity", "name"),
    [
        ("peak_fluence", "peak fluence"), ("pulse_duration", "pulse duration"),
        ("spot_diameter", "spot on the wall"), ("repetition_rate", "pulse rate"),
    ],
)  # fmt: skip
def test_what_is_not_recorded_is_named_and_nothing_is_calculated(pulse, quantity, name):
    """Without it no number is guessed."""
    bare = without(pulse, quantity)

    assert missing_for_heat(bare.panels) == (name,)
    assert heat_lines(bare) == (
        f"The heat of this setting is not calculated: not recorded: {name}.",
    )
    assert temperatures(bare) == ()


def test_an_unknown_number_of_pulses_is_not_one(pulse):
    """A spot that rests takes a number of pulses, and nobody wrote it."""
    bare = replace(pulse, panels=replace(pulse.panels, passes=None))

    assert missing_for_heat(bare.panels) == ("pulses per spot",)


def test_records_that_contradict_give_no_number(pulse):
    """Two fluences for one setting: neither is taken."""
    torn = replace(pulse, panels=replace(pulse.panels, setting_contradiction="two fluences"))

    assert heat_lines(torn) == (
        "The heat of this setting is not calculated: the records of its setting contradict one "
        "another.",
    )


def test_other_methods_have_no_heat(survey):
    """An abrasive brings none that counts."""
    assert heat_lines(hc.trials.read_series(survey, "N06-powder")) == ()


def test_every_word_of_heat_is_a_caution_or_a_reason(pulse):
    """It says what may alter and what the next trial does, and that it is no pass."""
    lines = heat_lines(pulse)

    assert any("Any further trial begins at a lower fluence" in one for one in lines)
    assert lines[-1] == NEVER_A_PASS


def test_heat_enters_no_answer(survey, monkeypatch):
    """The judgement reaches its answers without it, so it can turn none towards cleaning."""

    def refuse(*_, **__):
        raise AssertionError("the judgement asked for a temperature")

    monkeypatch.setattr(setting_heat, "surface_temperature", refuse)
    monkeypatch.setattr(setting_heat.answer_cache, "kept", refuse)
    assessment = hc.assess(survey, zones=["N06", "N15"])

    assert [one.outcome for one in assessment.recommendations] == ["trial first"] * 2
    assert all("temperature" not in gate.reason for zone in assessment.recommendations
               for gate in zone.gates)  # fmt: skip

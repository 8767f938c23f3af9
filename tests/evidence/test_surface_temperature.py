"""What is said of a heated surface: peak, range, heat left, and where no number is given."""

import math
import re

import heat_formulas as exact
import numpy as np
import pytest

from heritagecheck.evidence import laser
from heritagecheck.evidence.laser.heat import surface_temperature as heated
from heritagecheck.evidence.laser.heat.conduction import NotSettledError, passing_beam, scanned
from heritagecheck.evidence.laser.heat.heated_surface import NEVER_A_PASS, OF_ONE_DIMENSION
from heritagecheck.evidence.laser.heat.layers import (
    POSSIBLE,
    Material,
    diffusivity_m2_s,
    material,
    materials,
)
from heritagecheck.evidence.laser.heat.surface_temperature import ALONG_DEPTH

STEEL = {"fluence_j_cm2": 0.3, "pulse_ns": 100, "radius_um": 2000}
# A plain half-space: properties that do not change, all light at the surface.
PLAIN = {
    "conductivity": 2.8, "conductivity_falls": 0, "density": 2650, "heat_capacity": 790,
    "heat_capacity_rises": 0, "absorbed": 1, "absorption_depth": 0, "known_to": 3000,
}  # fmt: skip


def test_the_peak_of_a_gaussian_pulse_is_that_of_the_half_space():
    """Against the integral of plane sources (Carslaw and Jaeger 10.3) over a Gaussian pulse."""
    found = laser.surface_temperature(
        "granite", fluence_j_cm2=0.05, pulse_ns=100, radius_um=2000, measured=PLAIN
    )
    sigma = 1e-7 / math.sqrt(8 * math.log(2))
    d = exact.diffusivity(2.8, 2650, 790)
    # At time x sigma: F/(rho c sqrt(pi D)) of the integral of g(x - s²) 2 ds, with age s².
    s = np.linspace(0, 4, 4001)
    x = np.linspace(0, 2, 401)[:, None]
    shape = np.exp(-((x - s**2) ** 2) / 2) / math.sqrt(2 * math.pi)
    peak = np.trapezoid(2 * shape, s, axis=1).max()
    peak *= 500 / (2650 * 790 * math.sqrt(math.pi * d * sigma))

    assert found.peak.value_c - 20 == pytest.approx(peak, rel=3e-3)
    # Nothing of it has a range.
    assert found.peak.low_c == pytest.approx(found.peak.high_c)


def test_heat_left_before_the_next_pulse_is_the_sum_of_plane_sources():
    """Three pulses at 1 kHz, just before the fourth would come (Carslaw and Jaeger 10.3)."""
    found = laser.surface_temperature(
        "granite", fluence_j_cm2=0.05, pulse_ns=100, radius_um=2000, pulses=3, rate_hz=1000,
        measured=PLAIN,
    )  # fmt: skip
    d = exact.diffusivity(2.8, 2650, 790)

    assert found.followed == 3
    assert found.left.value_c - 20 == pytest.approx(
        exact.heat_left(500, 3, 1000, 2650 * 790, d), rel=5e-3
    )


def test_the_range_comes_of_the_ends_of_the_properties():
    """Least where the least is absorbed and heat spreads most; most where it is the other way."""
    table = material("riveted_steel")
    found = laser.surface_temperature("riveted_steel", **STEEL)
    for end, other, peak in (("low", "high", found.peak.low_c), ("high", "low", found.peak.high_c)):
        spread = ("conductivity", "density", "heat_capacity", "heat_capacity_rises")
        measured = {name: table.get(name, other) for name in spread}
        alone = laser.surface_temperature(
            "riveted_steel", **STEEL, measured={**measured, "absorbed": table.get("absorbed", end)}
        )
        # The cells follow the properties, so the last digits differ.
        assert alone.peak.value_c == pytest.approx(peak, rel=2e-3)

    assert found.peak.low_c < found.peak.value_c < found.peak.high_c


def test_the_sentences_say_what_it_is_and_is_not():
    """Peak with range, limit with source, one dimension, and that it is never a pass."""
    said = str(laser.surface_temperature("riveted_steel", **STEEL))

    assert re.match(
        r"Calculated peak temperature of riveted steel: \d+ °C \(\d+ to \d+ °C over the "
        r"range of its properties\)\. Alteration of riveted steel from 720 °C: its structure "
        r"changes",
        said,
    )
    assert OF_ONE_DIMENSION in said
    assert said.endswith(NEVER_A_PASS)
    assert not re.search(r"\bsafe\b|\bharmless\b", said)


def test_beyond_what_is_known_no_number_is_given():
    """Bare steel under twenty times the fluence: it melts, and the peak is only "more than"."""
    found = laser.surface_temperature("riveted_steel", **{**STEEL, "fluence_j_cm2": 10})

    assert "more than 1,500 °C" in found.sentences()[0]
    assert 0 < found.molten_um[0] < found.molten_um[1]
    assert found.may_alter


def test_molten_depth_is_no_more_than_the_light_could_melt():
    """Absorbed energy over the heat that melting takes, per volume: an upper bound."""
    found = laser.surface_temperature(
        "riveted_steel", **{**STEEL, "fluence_j_cm2": 10}, measured={"absorbed": 0.35}
    )
    least_heat = 7750 * (430 * 1480 + 250e3)

    assert found.molten_um[1] < 1e6 * 0.35 * 1e5 / least_heat


def test_a_front_that_cannot_be_followed_gives_no_number(monkeypatch):
    """The loop says so, and the result has the reason in place of a temperature."""

    def unsettled(*_, **__):
        raise NotSettledError

    monkeypatch.setattr(heated, "conducted", unsettled)
    found = laser.surface_temperature("riveted_steel", **STEEL)

    assert (found.peak, found.course) == (None, None)
    assert "melts and freezes too fast" in str(found)


def test_a_pulse_of_femtoseconds_has_no_peak_but_leaves_heat():
    """Electrons and lattice have no common temperature; what is left is conducted as ever."""
    short = laser.surface_temperature(
        "granite", fluence_j_cm2=0.05, pulse_ns=3e-4, radius_um=2000, pulses=3, rate_hz=1000,
        measured=PLAIN,
    )  # fmt: skip
    d = exact.diffusivity(2.8, 2650, 790)

    assert short.peak is None
    assert short.molten_um is None
    assert "heats the electrons before the lattice" in short.no_number["electrons"]
    assert short.left.value_c - 20 == pytest.approx(
        exact.heat_left(500, 3, 1000, 2650 * 790, d), rel=5e-3
    )


def test_a_single_pulse_of_femtoseconds_gives_no_number_at_all():
    """Nothing comes after it that would find heat left."""
    found = laser.surface_temperature("biotite", fluence_j_cm2=0.5, pulse_ns=3e-4, radius_um=50)

    assert (found.peak, found.left, found.course, found.followed) == (None, None, None, 0)
    assert not found.may_alter


def test_a_spot_smaller_than_its_heat_gives_no_number():
    """Long pulse, small spot: heat leaves sideways while it lasts."""
    found = laser.surface_temperature("riveted_steel", fluence_j_cm2=5, pulse_ns=1e6, radius_um=20)

    assert found.peak is None
    assert "sideways" in found.no_number["spot"]


def test_pulses_are_followed_only_while_heat_moves_into_the_depth():
    """Sixty pulses at 10 Hz on a spot of 4 mm: the first ones have their numbers."""
    found = laser.surface_temperature(
        "biotite", fluence_j_cm2=0.6, pulse_ns=8, radius_um=2000, pulses=60, rate_hz=10
    )
    fast = max(diffusivity_m2_s(material("biotite"), end) for end in ("low", "value", "high"))

    assert found.followed == 1 + math.floor(10 * ALONG_DEPTH * 4e-6 / fast) < 60
    assert found.left is None
    assert f"after {found.followed} pulses of 60" in found.no_number["sideways"]


def test_until_then_the_depth_alone_overstates_by_no_more_than_said():
    """8 %, by the closed form of a Gaussian spot (Carslaw and Jaeger 10.5)."""
    d, radius = 1.3e-6, 2e-3

    assert 1.07 < exact.overstated(d, ALONG_DEPTH * radius**2 / d, radius) <= 1.08


def test_a_layer_shields_what_lies_below_it():
    """Thick opaque scale takes the heat; without it the steel gets all."""
    bare = laser.surface_temperature("riveted_steel", **STEEL)
    below = laser.surface_temperature("riveted_steel", **STEEL, layer="mill_scale", layer_um=10)

    assert below.layer_peak.value_c > bare.peak.value_c > below.peak.value_c
    assert "under mill scale" in below.sentences()[0]


def test_a_passing_beam_is_a_pulse_of_its_own_width():
    """Fluence and width of what one place sees, against a sum over the beam as it passes."""
    train, fluence = passing_beam(100, 500, 200)
    time = np.linspace(-0.02, 0.02, 40_001)
    seen = 2 * 100 / (math.pi * 0.05**2) * np.exp(-2 * (20 * time / 0.05) ** 2)  # W/cm²
    wide = time[seen > seen.max() / 2]

    assert fluence == pytest.approx(np.trapezoid(seen, time), rel=1e-6)
    assert train.width_s == pytest.approx(wide[-1] - wide[0], rel=1e-3)


def test_a_scanned_line_adds_up_to_its_full_pulses():
    """Strengths of pulses along a line: their sum is sqrt(pi/2) w f/v where they overlap well."""
    train = scanned(1e-7, 20_000, 400, 4000)

    assert train.strength.sum() == pytest.approx(math.sqrt(math.pi / 2) * 400 / 200, rel=2e-3)
    assert train.strength.max() == 1


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"measured": {"conductivity": 5300}},
         "measured conductivity = 5300: for a real material it lies from 0.01 to 500"),
        ({"measured": {"absorbed": 55}}, "measured absorbed = 55: for a real material it lies"),
        ({"measured": {"colour": 1}}, "measured names colour: no property is called so"),
        ({"surface": "moonstone"}, "material = 'moonstone': its thermal properties are not in"),
        ({"layer": "rust"}, "A layer has both a name and a thickness"),
        ({"pulses": 2}, "rate_hz is required of several pulses"),
        ({"pulses": 2.5}, "pulses = 2.5: it is a whole number"),
        ({"rate_hz": 1e8}, "run into one another"),
        ({"pulse_ns": None}, "pulse_ns is required"),
        ({"fluence_j_cm2": None}, "Give fluence_j_cm2 and pulse_ns, or power_w"),
        ({"power_w": 20}, "Give fluence_j_cm2 and pulse_ns, or power_w"),
        ({"power_w": 20, "fluence_j_cm2": None}, "A continuous beam has power_w and speed_mm_s"),
        ({"radius_um": 0}, "radius_um = 0: it must be a finite number above 0"),
        ({"contact_m2_k_w": -1}, "contact_m2_k_w = -1: it is 0 or more"),
        ({"contact_m2_k_w": 1e9}, "contact_m2_k_w = 1e+09: it is 0 or more, and at most 1"),
        ({"pulses": 2, "rate_hz": 10, "speed_mm_s": 5}, "pulses is of a spot that rests"),
        ({"pulses": 10**9, "rate_hz": 10}, "pulses = 1000000000: it is a whole number from 1"),
        ({"pulses": True}, "pulses = True: it is a whole number"),
        ({"fluence_j_cm2": 3e5}, "fluence_j_cm2 = 300000: on a wall it lies from 1e-06 to 10000 J"),
        ({"pulse_ns": 1e-9}, "pulse_ns = 1e-09: on a wall it lies from 1e-06 to"),
        ({"pulse_ns": math.nan}, "pulse_ns = nan: it must be a finite number above 0"),
        ({"radius_um": 1e6}, "radius_um = 1e+06: on a wall it lies from 0.1 to 100000 µm"),
        ({"rate_hz": 1e-9}, "rate_hz = 1e-09: on a wall it lies from 0.001"),
        ({"layer": "rust", "layer_um": 1e-9}, "layer_um = 1e-09: on a wall it lies from 0.01"),
        ({"rate_hz": 2e4, "speed_mm_s": 1e-3}, "more than 1,000,000 pulses reach each place"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words(given, says):
    """The value, and what is allowed."""
    asked = {"surface": "riveted_steel", **STEEL, **given}
    with pytest.raises(ValueError, match=re.escape(says)):
        laser.surface_temperature(asked.pop("surface"), **asked)


def test_every_material_of_the_table_is_complete_and_possible():
    """Each has all it needs, within its own range and that of real materials."""
    assert {"biotite", "quartz", "feldspar", "limestone", "riveted_steel", "cast_iron", "rust",
            "lead_paint", "black_gypsum_crust"} <= set(materials())  # fmt: skip
    for one in materials().values():
        assert one.properties["alters_from"]
        assert ("melts_at" in one.properties) == ("latent_heat" in one.properties)


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("density", (7.85, 7.85, 7.85), r"invented, density = 7.85 \(7.85 to 7.85\) kg/m³"),
        ("absorbed", (0.5, 0.6, 0.9), r"it must lie within its own range"),
    ],
)
def test_a_row_of_the_table_that_cannot_be_is_refused(name, value, says):
    """Grams per cubic centimetre, and a value outside its own range."""
    whole = {each: (least, least, least) for each, (least, _, _) in POSSIBLE.items()}
    with pytest.raises(ValueError, match=says):
        Material("invented", {**whole, name: value}, "", "")


def test_a_row_that_is_missing_is_named():
    """Without its heat capacity nothing can be calculated."""
    whole = {each: (least, least, least) for each, (least, _, _) in POSSIBLE.items()}
    del whole["heat_capacity"]
    with pytest.raises(
        ValueError, match=r"invented: its heat_capacity \[J/\(kg·K\)\] is not known"
    ):
        Material("invented", whole, "", "")

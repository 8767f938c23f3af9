"""Laser: what holds of every beam and crater, what is refused, and that peak is never mean."""

import math

import laser_formulas as formulas
import numpy as np
import pytest
from scipy import integrate, optimize, stats

from heritagecheck import tables
from heritagecheck.evidence import laser
from heritagecheck.evidence.laser import beam, scan
from heritagecheck.evidence.laser.thresholds import published_thresholds

# Invented craters of a spot of 40 µm and a threshold near 0.5 J/cm², with reading errors.
ENERGY_UJ = np.array([15.0, 20, 30, 45, 70, 110, 160])
DIAMETER_UM = np.array([24.2, 38.2, 52.9, 64.1, 73.9, 83.4, 90.2])


def refused(call, said):
    """Check that a call is refused in these words."""
    with pytest.raises(ValueError, match=said):
        call()


# -- One pulse ----------------------------------------------------------------------------------


def test_the_fluence_over_the_whole_wall_adds_up_to_the_pulse_energy() -> None:
    """Radial quadrature of the fluence returns the 180 mJ that were put in."""
    joules, _ = integrate.quad(
        lambda cm: 2 * math.pi * cm * float(formulas.fluence_at_radius(180, 3500, 1e4 * cm)),
        1e-9, 3,
    )  # fmt: skip

    assert 1000 * joules == pytest.approx(180, rel=1e-8)


def test_the_peak_is_twice_the_mean_over_the_spot() -> None:
    """For every spot and energy (ISO 21254-1: effective area pi w²/2)."""
    energy, radius = np.meshgrid([0.05, 1, 200], [30, 60, 3500])

    assert laser.peak_fluence(energy, radius).shape == (3, 3)
    assert np.allclose(
        laser.peak_fluence(energy, radius) / beam.mean_fluence(energy, radius), 2, rtol=1e-14
    )


def test_the_edge_of_a_crater_lies_where_the_fluence_meets_the_threshold() -> None:
    """The fluence at half the diameter is the threshold; below it there is no crater."""
    half = formulas.crater_diameter(0.05, 30, 1.1) / 2

    assert formulas.fluence_at_radius(0.05, 30, half) == pytest.approx(1.1)
    assert formulas.crater_diameter(0.05, 30, [3.6, 4.0, 50]).tolist() == [0, 0, 0]


def test_a_pulse_of_the_threshold_energy_peaks_at_the_threshold() -> None:
    """Energy and peak fluence lead back to one another."""
    assert laser.peak_fluence(formulas.threshold_pulse_energy(0.5, 2000), 2000) == pytest.approx(
        0.5
    )


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf, "much", None])
def test_what_is_no_positive_number_is_refused_by_name(bad: object) -> None:
    """Energy, radius, threshold: the message says which and what came."""
    refused(lambda: laser.peak_fluence(bad, 30), "energy_mj = .*number above 0")
    refused(lambda: beam.mean_fluence(1, bad), "radius_um = .*number above 0")
    refused(lambda: laser.ablation_depth(1, bad, 0.2), "threshold_j_cm2 = .*number above 0")
    refused(lambda: laser.pulses_per_spot(30, bad, 10), "rate_hz = .*number above 0")


@pytest.mark.parametrize("bad", ["30", True, ["30", 40], [30, [40]], 1j])
def test_text_and_yes_or_no_are_no_numbers(bad: object) -> None:
    """Numpy would read "30" and True as numbers: a cell of a form that was not read is refused."""
    refused(lambda: laser.peak_fluence(1, bad), "radius_um = .*it must be a number above 0")
    refused(lambda: laser.peak_fluence(1, 30, incidence_deg=bad), "incidence_deg = .*degrees")
    refused(lambda: laser.settings(power_w=bad, rate_hz=10, radius_um=60), "power_w = .*a single")
    refused(lambda: laser.incubated_threshold(1, 10, bad), "s = .*a single number")
    refused(
        lambda: laser.settings(power_w=1, rate_hz=10, radius_um=60, tolerance=bad), "tolerance = "
    )


def test_what_takes_one_value_refuses_a_row() -> None:
    """The message names the value; nothing fails in a sum further on."""
    row = np.array([20.0, 30])

    refused(
        lambda: laser.settings(power_w=row, rate_hz=10, radius_um=60),
        "power_w = .*a single number, not a row",
    )
    refused(lambda: laser.hazard_distance(row, 0.0016, reflectance=1), "power_w = .*not a row")
    refused(
        lambda: laser.hazard_distance(1, 0.0016, viewing_deg=row, reflectance=1),
        "viewing_deg = .*a row",
    )
    refused(lambda: laser.optical_density(row, 1), "exposure = .*not a row")
    refused(
        lambda: laser.incubated_threshold(1.1, 10, 0.8, threshold_inf_j_cm2=row / 100),
        "threshold_inf_j_cm2 = .*not a row",
    )
    refused(lambda: laser.crater_threshold(ENERGY_UJ, DIAMETER_UM, row), "level = .*not a row")


def test_rows_of_different_length_are_refused() -> None:
    """The message names the shapes."""
    refused(
        lambda: laser.peak_fluence([1, 2, 3], [30, 40]),
        r"energy_mj \(3,\), radius_um \(2,\)\. Give single values",
    )


@pytest.mark.parametrize("angle", [-1, 90, 120, math.nan])
def test_an_angle_beyond_grazing_is_refused(angle: float) -> None:
    """From 0 to below 90 degrees."""
    refused(lambda: laser.peak_fluence(1, 30, incidence_deg=angle), "0 .square to the wall. to be")


# -- Thresholds from craters --------------------------------------------------------------------


def fieller(energy, diameter, level):
    """Ends of the threshold energy by Fieller's closed form (1954), for a line through D²."""
    x, y = np.log(energy), diameter**2
    fit = stats.linregress(x, y)
    reach = stats.t.ppf((1 + level) / 2, x.size - 2)
    s2 = ((y - fit.intercept - fit.slope * x) ** 2).sum() / (x.size - 2)
    spread = ((x - x.mean()) ** 2).sum()
    # Roots of (mean y + b u)² = t² s² (1/n + u²/Sxx), u counted from the mean of ln E.
    roots = np.roots(
        [
            fit.slope**2 - reach**2 * s2 / spread,
            2 * fit.slope * y.mean(),
            y.mean() ** 2 - reach**2 * s2 / x.size,
        ]
    )
    return np.exp(x.mean() + np.sort(roots))


@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_the_threshold_energy_has_fiellers_interval(level: float) -> None:
    """And the radius that of the slope, from scipy's regression and Student's t."""
    found = laser.crater_threshold(ENERGY_UJ, DIAMETER_UM, level)
    fit = stats.linregress(np.log(ENERGY_UJ), DIAMETER_UM**2)
    reach = stats.t.ppf((1 + level) / 2, 5) * fit.stderr

    assert (found.threshold_energy_low_uj, found.threshold_energy_high_uj) == pytest.approx(
        fieller(ENERGY_UJ, DIAMETER_UM, level), rel=1e-7
    )
    assert found.slope_um2 == pytest.approx(fit.slope, rel=1e-12)
    assert found.slope_se_um2 == pytest.approx(fit.stderr, rel=1e-10)
    assert (found.radius_low_um, found.radius_high_um) == pytest.approx(
        (math.sqrt((fit.slope - reach) / 2), math.sqrt((fit.slope + reach) / 2)), rel=1e-10
    )


def test_the_peak_threshold_has_the_interval_of_its_profile() -> None:
    """At each end the best line with that threshold is just t² residual variances worse."""
    found = laser.crater_threshold(ENERGY_UJ, DIAMETER_UM)
    x, y = np.log(ENERGY_UJ), DIAMETER_UM**2

    def misfit(slope: float, peak: float) -> float:
        foot = math.log(peak * math.pi * slope / 400)  # µJ, from F = 2 E / (pi w²), w² = slope/2
        return float(((y - slope * (x - foot)) ** 2).sum())

    least = misfit(found.slope_um2, found.threshold_peak_j_cm2)
    allowed = least * (1 + stats.t.ppf(0.975, 5) ** 2 / 5)
    for peak in (found.threshold_peak_low_j_cm2, found.threshold_peak_high_j_cm2):
        best = optimize.minimize_scalar(
            misfit, bounds=(1000, 9000), args=(peak,), method="bounded", options={"xatol": 1e-6}
        )
        assert best.fun == pytest.approx(allowed, rel=1e-6)


def test_the_interval_of_the_peak_threshold_covers_it_as_often_as_it_says() -> None:
    """1000 seeded series of six craters: 90 % of the intervals hold the true 0.5 J/cm²."""
    rng = np.random.default_rng(1982)
    energy = np.geomspace(15, 160, 6)
    true = formulas.squared_crater_diameter(energy / 1000, 40, 0.5)
    held = 0
    for _ in range(1000):
        read = np.sqrt(np.maximum(true + rng.normal(0, 120, 6), 1))
        found = laser.crater_threshold(energy, read, 0.9)
        held += found.threshold_peak_low_j_cm2 <= 0.5 <= found.threshold_peak_high_j_cm2

    assert abs(held / 1000 - 0.9) < 3 * math.sqrt(0.9 * 0.1 / 1000)


def test_craters_that_lie_on_the_line_give_back_spot_and_threshold() -> None:
    """Without reading errors the interval closes on the truth and nothing bends."""
    energy = np.array([12.0, 16, 22, 30, 45, 70])
    found = laser.crater_threshold(energy, formulas.crater_diameter(energy / 1000, 25, 1.1))

    assert found.radius_um == pytest.approx(25)
    assert found.threshold_peak_low_j_cm2 == pytest.approx(1.1)
    assert found.threshold_peak_high_j_cm2 == pytest.approx(1.1)
    assert len(found.cautions) == 1
    assert str(found).startswith(
        "Threshold 1.1 J/cm² peak fluence (95 % confidence interval 1.1 to"
    )
    assert str(found).endswith("it is not a working setting.")


def test_craters_that_hardly_tell_give_open_limits() -> None:
    """Where the line may be flat, the threshold may be anything, and the caution says so."""
    found = laser.crater_threshold([20, 30, 40], [40, 62, 45])

    assert found.threshold_peak_low_j_cm2 == found.threshold_energy_low_uj == 0
    assert found.threshold_peak_high_j_cm2 == found.threshold_energy_high_uj == math.inf
    assert found.radius_low_um == 0
    assert any("give no limits" in words for words in found.cautions)
    assert any("Only 3 craters" in words for words in found.cautions)
    assert all(words in str(found) for words in found.cautions)


@pytest.mark.parametrize("last", np.linspace(46, 56, 41))
def test_limits_widen_without_a_break_until_they_are_open(last: float) -> None:
    """However flat the flattest allowed line is, the limits hold the estimate between them."""
    found = laser.crater_threshold([20, 30, 40], [40, 48, last])

    assert (
        0
        <= found.threshold_peak_low_j_cm2
        <= found.threshold_peak_j_cm2
        <= found.threshold_peak_high_j_cm2
    )


def test_craters_of_two_ways_of_removal_are_told_from_a_line() -> None:
    """Above 60 µJ heat takes over and the line turns up: the caution speaks of a bend."""
    energy = np.geomspace(12, 400, 10)
    square = 2000 * np.log(energy / 10) + 3000 * np.maximum(np.log(energy / 60), 0)
    found = laser.crater_threshold(energy, np.sqrt(square))

    assert any("bend away" in words for words in found.cautions)
    assert any("below the threshold energy" in words for words in found.cautions)


@pytest.mark.parametrize(
    ("energy", "diameter", "said"),
    [
        ([20, 30], [10, 20], "2 craters: at least 3"),
        ([20, 20, 20], [10, 11, 12], "same pulse energy"),
        ([20, 30, 40], [30, 20, 10], "no wider craters"),
        ([20, 30, 40], [0, 20, 30], "a pulse without a crater is not a point of the D² line"),
        ([20, 30, 40], [-5, 20, 30], "diameter_um = -5"),
        ([20, 30, math.nan], [10, 20, 30], "pulse_energy_uj = nan"),
        ([0, 30, 40], [10, 20, 30], "pulse_energy_uj = 0"),
        ([20, 30, 40], [10], "one energy and one diameter for each crater"),
        (20, 10, "one energy and one diameter for each crater"),
    ],
)
def test_craters_that_make_no_line_are_refused(
    energy: list[float], diameter: list[float], said: str
) -> None:
    """Too few, one energy, the wrong way round, no crater, no number."""
    refused(lambda: laser.crater_threshold(energy, diameter), said)


@pytest.mark.parametrize("level", [0, 1, 95, math.nan])
def test_a_confidence_outside_0_to_1_is_refused(level: float) -> None:
    """95 % is 0.95."""
    refused(lambda: laser.crater_threshold(ENERGY_UJ, DIAMETER_UM, level), "between 0 and 1")


# -- Many pulses, depth, volume -----------------------------------------------------------------


def test_incubation_leads_back_to_the_threshold_it_came_from() -> None:
    """S of two thresholds gives the second again."""
    s = formulas.incubation(1.1, 0.62, 50)

    assert laser.incubated_threshold(1.1, 50, s) == pytest.approx(0.62)
    assert laser.incubated_threshold(1.1, 1e12, s, threshold_inf_j_cm2=0.4) > 0.4


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: laser.incubated_threshold(1.1, 0.5, 0.85), "one pulse or more"),
        (lambda: laser.incubated_threshold(1.1, 10, 1.2), "rises with pulses, use 1"),
        (lambda: laser.incubated_threshold(1.1, 10, 0), "s = 0: the incubation coefficient"),
        (lambda: laser.incubated_threshold(1.1, 10, math.nan), "s = nan"),
        (
            lambda: laser.incubated_threshold(1.1, 10, 0.8, threshold_inf_j_cm2=1.2),
            "more pulses can only lower it",
        ),
        (
            lambda: laser.incubated_threshold(1.1, 10, 0.8, threshold_inf_j_cm2=math.nan),
            "threshold_inf_j_cm2 = nan",
        ),
    ],
)
def test_thresholds_and_pulses_that_contradict_are_refused(call, said: str) -> None:
    """More pulses never raise a threshold, nor lower it by more than their number."""
    refused(call, said)


def test_the_volume_is_the_depth_summed_over_the_spot() -> None:
    """Radial quadrature of the depth (Nolte 1997) meets the closed form (Neuenschwander 2010)."""
    peak, threshold, penetration, radius = 6.0, 1.1, 0.2, 30.0

    def ring(um: float) -> float:
        fluence = peak * math.exp(-2 * (um / radius) ** 2)
        return 2 * math.pi * um * float(laser.ablation_depth(fluence, threshold, penetration))

    edge = radius * math.sqrt(math.log(peak / threshold) / 2)
    volume, _ = integrate.quad(ring, 0, edge)

    assert formulas.crater_volume(peak, threshold, penetration, radius) == pytest.approx(volume)


def test_below_the_threshold_nothing_is_removed() -> None:
    """The depth is 0 there, never negative."""
    assert laser.ablation_depth([0.2, 1.1], 1.1, 0.2).tolist() == [0, 0]


# -- Scanning and the dial ----------------------------------------------------------------------


def test_spots_and_lines_that_do_not_meet_share_nothing() -> None:
    """The overlap is 0 there, never negative."""
    assert scan.pulse_overlap(30, 1000, [30, 60, 600]).tolist() == [0.5, 0, 0]
    assert scan.hatch_overlap(30, [30, 60, 600]).tolist() == [0.5, 0, 0]


def test_area_rate_by_hand() -> None:
    """1000 mm/s by 0.1 mm is 100 mm²/s or 60 cm²/min; half the distance of lines is half of it."""
    assert scan.area_rate(1000, [100, 50]).tolist() == pytest.approx([60, 30])


WORKED = {"rate_hz": 20_000, "diameter_um": 120, "speed_mm_s": 1200, "hatch_um": 30}


def test_a_dialled_setting_by_hand() -> None:
    """20 W at 20 kHz: 1 mJ on 2 × 10⁻³ J/(pi (60 µm)²); 20 W over 36 mm²/s is 55.6 J/cm²."""
    dial = laser.settings(power_w=20, pulse_ns=100, **WORKED)

    assert dial.pulse_energy_mj == pytest.approx(1)
    assert dial.peak_fluence_j_cm2 == pytest.approx(2e-3 / (math.pi * 0.006**2))
    assert dial.mean_fluence_j_cm2 == pytest.approx(1e-3 / (math.pi * 0.006**2))
    assert dial.peak_irradiance_w_cm2 == pytest.approx(dial.peak_fluence_j_cm2 / 1e-7)
    assert (dial.pulses_per_spot, dial.pulse_overlap) == pytest.approx((2, 0.5))
    assert dial.hatch_overlap == pytest.approx(0.75)
    assert dial.energy_per_area_j_cm2 == pytest.approx(20 / 0.36)
    assert dial.area_rate_cm2_min == pytest.approx(0.36 * 60)


def test_the_third_of_power_rate_and_energy_follows_from_two() -> None:
    """Whichever two were dialled, the setting is the same."""
    spot = {"radius_um": 3500}
    found = [
        laser.settings(power_w=1.8, rate_hz=10, **spot),
        laser.settings(pulse_energy_mj=180, rate_hz=10, **spot),
        laser.settings(power_w=1.8, pulse_energy_mj=180, **spot),
        laser.settings(power_w=1.8, rate_hz=10, pulse_energy_mj=180, **spot),
    ]

    assert {(dial.power_w, dial.rate_hz, dial.pulse_energy_mj) for dial in found} == {
        (1.8, 10, 180)
    }


def test_peak_and_mean_are_called_by_their_names() -> None:
    """In the sentence and in the table, and what was not dialled is in neither."""
    dial = laser.settings(power_w=1.8, rate_hz=10, radius_um=3500)
    shown = dial.table().set_index("quantity")

    assert str(dial) == (
        "A pulse of 180 mJ brings a peak fluence of 0.935 J/cm² to the middle of the spot "
        "(mean fluence over its 1/e² circle 0.468 J/cm²). " + " ".join(dial.cautions)
    )
    assert "control the area without a public sightline. Use eyewear" in str(dial)
    assert shown.loc["Peak fluence of one pulse", "unit"] == "J/cm²"
    assert shown.loc["Peak fluence of one pulse", "value"] == pytest.approx(0.935, abs=5e-4)
    assert not [name for name in shown.index if "hatch" in name or "Overlap" in name]
    assert shown["value"].notna().all()


def test_what_one_pass_adds_up_to_is_told() -> None:
    """A spot 0.8 mm wide at 20 kHz and 4 m/s, lines 0.2 mm apart: pi w² / (2 pitch hatch)."""
    dial = laser.settings(
        power_w=160, rate_hz=20_000, diameter_um=800, speed_mm_s=4000, hatch_um=200
    )

    assert dial.full_pulses_per_pass == pytest.approx(math.pi * 0.4**2 / (2 * 0.2 * 0.2))
    assert "in one pass 6.28 full pulses in the middle of a spot" in str(dial)
    assert any("6.28 full pulses in the middle of a spot" in one for one in dial.cautions)
    assert laser.settings(power_w=1.8, rate_hz=10, radius_um=3500).full_pulses_per_pass is None


@pytest.mark.parametrize("pitch", [0.02, 0.3, 0.4999, 0.5, 0.8, 1, 1.5, 1.9, 2.5, 40])
@pytest.mark.parametrize("hatch", [0.1, 0.5, 1.5, 3])
def test_full_pulses_are_those_of_the_place_where_most_fall(pitch: float, hatch: float) -> None:
    """Direct sum over the spots of the area (steps in radii) in the middle of one: 1 or more."""
    x, y = np.meshgrid(np.arange(-250, 251) * pitch, np.arange(-50, 51) * hatch)
    in_the_middle = np.exp(-2 * (x**2 + y**2)).sum()
    dial = laser.settings(
        pulse_energy_mj=8, rate_hz=20_000, radius_um=400,
        speed_mm_s=8000 * pitch, hatch_um=400 * hatch,
    )  # fmt: skip

    assert dial.full_pulses_per_pass == pytest.approx(in_the_middle, rel=1e-7)
    assert dial.full_pulses_per_pass >= 1


def test_no_place_receives_more_than_the_full_pulses_that_are_told() -> None:
    """Spots 1.2 w, lines 1.5 w apart, side by side or staggered by half: direct sum on a raster."""
    dial = laser.settings(
        pulse_energy_mj=8, rate_hz=20_000, radius_um=400, speed_mm_s=9600, hatch_um=600
    )
    across, along = np.meshgrid(np.linspace(0, 1.5, 31), np.linspace(0, 1.2, 31))
    most = []
    for stagger in (0, 0.6):
        received = sum(
            np.exp(-2 * ((along - 1.2 * i - stagger * (j % 2)) ** 2 + (across - 1.5 * j) ** 2))
            for i in range(-8, 9) for j in range(-8, 9)
        )  # fmt: skip
        most.append(received.max())

    assert dial.full_pulses_per_pass == pytest.approx(most[0])
    assert most[1] < most[0]


def test_full_pulses_are_more_than_the_average_where_spots_lie_apart() -> None:
    """8 mJ, 0.4 mm, 15.2 m/s, lines 0.76 mm apart (1.9 w): 1.003 by hand, 0.435 on average."""
    spread = {"radius_um": 400, "rate_hz": 20_000, "speed_mm_s": 15_200, "hatch_um": 760}
    dial = laser.settings(pulse_energy_mj=8, **spread)
    by_hand = (1 + 2 * math.exp(-2 * 1.9**2)) ** 2

    assert dial.full_pulses_per_pass == pytest.approx(by_hand)
    assert "in one pass 1 full pulse in the middle of a spot" in str(dial)
    assert formulas.weighted_pulses_area(**spread) == pytest.approx(math.pi / 2 / 1.9**2)


def test_a_line_alone_and_a_spot_held_still_tell_how_pulses_add_up() -> None:
    """7 mm at 10 Hz: 20 mm/s bring sqrt(pi/2) 3.5/2 = 2.19 full pulses, held still 10 a second."""
    line = laser.settings(power_w=1.8, rate_hz=10, radius_um=3500, speed_mm_s=20)
    still = laser.settings(power_w=1.8, rate_hz=10, radius_um=3500)

    assert line.full_pulses_per_pass is None
    assert any("One line alone adds up to 2.19 full pulses" in one for one in line.cautions)
    assert any("receives all 10 pulses of a second" in one for one in still.cautions)


def test_large_numbers_are_told_without_powers_of_ten() -> None:
    """20 W at 1 Hz, a rate likely read in kHz: 20 J a pulse stand there as 20000 mJ."""
    told = str(laser.settings(power_w=20, rate_hz=1, radius_um=60))

    assert told.startswith("A pulse of 20000 mJ brings a peak fluence of 354000 J/cm²")


def test_a_setting_always_carries_the_cautions_of_the_beam() -> None:
    """Class 4, lead not known, heat and fire from the table; and those of a sparse scan."""
    words = tables.keyed("cautions", "caution")
    always = {words[code]["words"] for code in ("CA04", "CA02", "CA12")}
    held = laser.settings(power_w=1.8, rate_hz=10, radius_um=3500)
    sparse = laser.settings(power_w=20, rate_hz=1000, radius_um=60, speed_mm_s=1200, hatch_um=200)

    assert always < set(held.cautions)
    assert always < set(sparse.cautions)
    assert not any("do not meet" in caution for caution in held.cautions)
    assert sum("do not meet" in caution for caution in sparse.cautions) == 2


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (
            {"power_w": 20, "rate_hz": 20_000, "pulse_energy_mj": 1.5, "radius_um": 60},
            "power_w = 20 at rate_hz = 20000 gives 1 mJ a pulse, but pulse_energy_mj = 1.5 was "
            "given: 50 % apart, 5 % is allowed",
        ),
        ({"power_w": 20, "radius_um": 60}, "Give two of power_w, rate_hz and pulse_energy_mj"),
        ({"radius_um": 60}, "Give two of"),
        ({"power_w": 20, "rate_hz": 1000}, "neither came"),
        (
            {"power_w": 20, "rate_hz": 1000, "radius_um": 60, "diameter_um": 120},
            "both came. A radius taken for a diameter",
        ),
        ({"power_w": 0, "rate_hz": 1000, "radius_um": 60}, "power_w = 0"),
        ({"power_w": 20, "rate_hz": -5, "radius_um": 60}, "rate_hz = -5"),
        ({"power_w": 20, "rate_hz": 5, "radius_um": 60, "hatch_um": 0}, "hatch_um = 0"),
        ({"power_w": 20, "rate_hz": 5, "radius_um": 60, "tolerance": 5}, "tolerance = 5"),
    ],
)
def test_settings_that_contradict_or_do_not_suffice_are_refused(
    given: dict[str, float], said: str
) -> None:
    """The message names what contradicts what, and by how much."""
    refused(lambda: laser.settings(**given), said)


def test_what_the_power_meter_may_err_by_is_borne() -> None:
    """4 % apart is within the 5 % allowed; a narrower tolerance refuses it."""
    given = {"power_w": 20, "rate_hz": 20_000, "pulse_energy_mj": 1.04, "radius_um": 60}

    assert laser.settings(**given).pulse_energy_mj == 1.04
    refused(lambda: laser.settings(**given, tolerance=0.02), "4 % apart, 2 % is allowed")


# -- Hazard -------------------------------------------------------------------------------------


BEAM = {"divergence_rad": 0.002, "aperture_cm": 0.2}
LENS = {"focal_length_cm": 16, "beam_at_lens_cm": 0.8}


def in_the_middle(power_w: float, diameter_cm: float, edge: str) -> float:
    """Irradiance on the axis of a Gaussian beam: I0 of exp(-k r²/R²) is k P / (pi R²)."""
    return {"1/e": 1, "1/e2": 2}[edge] * power_w / (math.pi * (diameter_cm / 2) ** 2)


@pytest.mark.parametrize("edge", ["1/e", "1/e2"])
def test_at_the_hazard_distance_the_middle_of_the_beam_meets_the_limit(edge: str) -> None:
    """Direct and beyond a lens, with diameter and divergence to either edge."""
    direct = laser.hazard_distance(100, 0.0016, edge=edge, **BEAM)
    lens = laser.hazard_distance(100, 0.0016, edge=edge, **LENS)

    assert in_the_middle(100, 0.2 + 0.002 * 100 * direct.distance_m, edge) == pytest.approx(0.0016)
    assert in_the_middle(100, 0.8 / 16 * 100 * lens.distance_m, edge) == pytest.approx(0.0016)


def test_one_gaussian_beam_has_one_hazard_distance_whichever_edge_it_is_given_by() -> None:
    """Its widths and angles at 1/e² are sqrt(2) times those at 1/e (ln 2 of exp(-2 r²/w²))."""
    wide = {name: math.sqrt(2) * value for name, value in BEAM.items()}
    lens = {**LENS, "beam_at_lens_cm": math.sqrt(2) * 0.8}

    assert laser.hazard_distance(100, 0.0016, edge="1/e2", **wide).distance_m == pytest.approx(
        laser.hazard_distance(100, 0.0016, edge="1/e", **BEAM).distance_m
    )
    assert laser.hazard_distance(100, 0.0016, edge="1/e2", **lens).distance_m == pytest.approx(
        laser.hazard_distance(100, 0.0016, edge="1/e", **LENS).distance_m
    )


def test_where_no_edge_is_given_the_longer_distance_stands_and_names_it() -> None:
    """100 W, 2 mrad, 2 mm, 1.6 mW/cm²: (sqrt(8 P / (pi MPE)) - a) / phi is 1994 m, not 1409 m."""
    found = laser.hazard_distance(100, 0.0016, **BEAM)

    assert found.distance_m == pytest.approx(
        (math.sqrt(8 * 100 / (math.pi * 0.0016)) - 0.2) / 0.002 / 100
    )
    assert str(found).startswith(
        "Direct beam (100 W mean power; 0.2 cm wide at its exit, spreading by a full angle of 2 "
        "mrad, to 1/e² (13.5 %) of the peak): up to 1994 m the beam may exceed the supplied limit "
        "of 0.0016 W/cm² (16 W/m²). If the beam is narrowest at its exit, add up to 1 m"
    )
    assert "to 1/e (37 %) of the peak" in str(
        laser.hazard_distance(100, 0.0016, edge="1/e", **BEAM)
    )
    assert str(laser.hazard_distance(100, 0.0016, **LENS)).startswith(
        "Beam beyond the focus of a lens, 16 cm from the lens (100 W mean power; 0.8 cm wide at "
        "the lens, to 1/e² (13.5 %) of the peak): up to 79.8 m"
    )


@pytest.mark.parametrize("power_w", [0.001, 0.5, 100])
def test_a_beam_that_is_narrowest_at_its_exit_reaches_no_farther_than_the_caution_adds(
    power_w: float,
) -> None:
    """Gaussian beam, waist 2 cm at the exit: d² = a² + (phi z)² (ISO 11146-1)."""
    found = laser.hazard_distance(power_w, 0.0002, divergence_rad=0.001, aperture_cm=2)
    waist_m = math.sqrt(8 * power_w / (math.pi * 0.0002) - 4) / 0.001 / 100

    assert found.distance_m < waist_m <= found.distance_m + 20
    assert "add up to 20 m" in found.caution


def test_at_the_diffuse_distance_a_matt_wall_sends_the_limit() -> None:
    """Lambert: the hemisphere of that irradiance, weighted by the cosine, holds all the power."""
    found = laser.hazard_distance(50, 0.0016, reflectance=0.6, viewing_deg=60)

    # Irradiance at r and angle is rho P cos / (pi r²).
    assert 0.6 * 50 * 0.5 / (math.pi * (100 * found.distance_m) ** 2) == pytest.approx(0.0016)


def test_a_beam_below_the_limit_has_no_hazard_distance_but_the_caution_stays() -> None:
    """0 m, never negative; no result comes without the safety officer and the class 4 words."""
    found = [
        laser.hazard_distance(0.0001, 0.0016, divergence_rad=0.002, aperture_cm=0.7),
        laser.hazard_distance(100, 0.0016, focal_length_cm=10, beam_at_lens_cm=0.6),
        laser.hazard_distance(100, 0.0016, reflectance=1),
        laser.optical_density(0.001, 0.0016),
    ]

    assert found[0].distance_m == found[3].density == 0
    assert "at no distance does the mean power exceed the supplied limit" in str(found[0])
    for each in found:
        assert "laser safety officer supplies the exposure limit" in str(each)
        assert "class 4 beam" in each.caution
    for each in found[:3]:
        assert "the single pulses of a pulsed laser may reach many times farther" in str(each)


def test_a_distance_is_shown_rounded_up() -> None:
    """1.4105 m are told as 1.5 m, 1409.47 m as 1410 m, a density of 3.398 as 3.4."""
    assert "up to 1.5 m" in str(laser.hazard_distance(100, 0.0016, reflectance=1))
    assert "up to 1410 m" in str(laser.hazard_distance(100, 0.0016, edge="1/e", **BEAM))
    assert str(laser.optical_density(4, 0.0016)).startswith(
        "Optical density 3.4 or more at the wavelength of the laser, for 2500 times the supplied "
        "limit."
    )


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (
            lambda: laser.hazard_distance(100, 0, divergence_rad=0.002, aperture_cm=0.2),
            "mpe_w_cm2 = 0",
        ),
        (
            lambda: laser.hazard_distance(100, 0.0016, divergence_rad=2, aperture_cm=0.2),
            "given in mrad",
        ),
        (
            lambda: laser.hazard_distance(100, 0.0016, divergence_rad=0.5, aperture_cm=0.2),
            "given in mrad",
        ),
        (
            lambda: laser.hazard_distance(100, 0.0016, edge="1/e²", **BEAM),
            'edge = .1/e².: it is "1/e2" .13.5 % of the peak',
        ),
        (lambda: laser.hazard_distance(100, 0.0016, edge=None, **LENS), "edge = None"),
        (
            lambda: laser.hazard_distance(100, 16, **BEAM),
            r"mpe_w_cm2 = 16: .*W/m² \(divide by 10 000\)",
        ),
        (lambda: laser.hazard_distance(100, 1.6, **LENS), "in mW/cm² .divide by 1000."),
        (lambda: laser.hazard_distance(100, 50, reflectance=1), "W/m²"),
        (lambda: laser.hazard_distance("100", 0.0016, **BEAM), "power_w = '100'"),
        (
            lambda: laser.hazard_distance(100, 0.0016, focal_length_cm=-1, beam_at_lens_cm=0.6),
            "focal_length_cm = -1",
        ),
        (lambda: laser.hazard_distance(100, 0.0016, reflectance=60), "given in %"),
        (
            lambda: laser.hazard_distance(100, 0.0016, viewing_deg=90, reflectance=1),
            "viewing_deg = 90",
        ),
        (lambda: laser.hazard_distance(100, 0.0016), "No setting given: .*one path of the light"),
        (
            lambda: laser.hazard_distance(100, 0.0016, **BEAM, **LENS),
            "aperture_cm, focal_length_cm, .*not one path",
        ),
        (
            lambda: laser.hazard_distance(100, 0.0016, divergence_rad=0.002),
            "divergence_rad given: that is not one path .*Give divergence_rad and aperture_cm",
        ),
        (
            lambda: laser.hazard_distance(100, 0.0016, reflectance=1, edge="1/e3"),
            "edge = '1/e3'",
        ),
        (lambda: laser.optical_density(math.nan, 1), "exposure = nan"),
    ],
)
def test_hazard_inputs_that_can_not_be_are_refused(call, said: str) -> None:
    """No default limit stands in for the officer's."""
    refused(call, said)


# -- Published thresholds -----------------------------------------------------------------------


def test_published_thresholds_name_their_paper_and_which_mineral_is_weakest() -> None:
    """Dark mica fails first (Brand 2022: 1.1, 1.3, 1.4, 1.6 J/cm², each ± 0.1)."""
    found = published_thresholds()
    minerals = found[found["material"].isin(["biotite", "hornblende", "plagioclase", "quartz"])]

    assert minerals["value"].tolist() == [1.1, 1.3, 1.4, 1.6]
    assert set(minerals["plus_minus"]) == {0.1}
    assert (found["source"].str.len() > 20).all()
    assert found["row"].is_unique
    assert (found.loc[found["unit"] == "J/cm²", "fluence_is"] != "").all()


def test_reading_the_published_thresholds_changes_nothing_for_the_next_reader() -> None:
    """Each call hands out a table of its own."""
    found = published_thresholds()
    found.loc[0, "value"] = 99

    assert published_thresholds().loc[0, "value"] == 1.1

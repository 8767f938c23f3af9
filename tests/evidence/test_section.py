"""Cross-sections: grain size, altered layer, residual stress, against tables and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

import heritagecheck as hc
from heritagecheck.evidence.section.grain_size import astm_number
from heritagecheck.evidence.section.lattice_strain import stress_of_three

# -- Grain size ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "mean_um"),
    [(0, 320.0), (2, 160.0), (5, 56.6), (7, 28.3), (8, 20.0), (10, 10.0), (12, 5.0)],
)
def test_grain_size_numbers_are_those_of_the_standard(number: int, mean_um: float) -> None:
    """ASTM E112, table in µm (from memory), and its formula as open programs write it out."""
    assert astm_number(mean_um) == pytest.approx(number, abs=0.01)
    printed = -6.643856 * math.log10(mean_um / 1000) - 3.288
    assert astm_number(mean_um) == pytest.approx(printed, abs=0.001)


def test_grain_size_has_the_t_interval_of_its_fields() -> None:
    """
    Intercepts 20, 25 and 40 µm: mean 28.333, s 10.408, t(2) 4.303, so half-width 25.86 µm.

    t s/sqrt(n), and a hundred times that over the mean (ASTM E112-13, 15, as reprinted).
    """
    found = hc.section.grain_size([50, 40, 25], 1.0)

    assert found.mean_um == pytest.approx(28.333, abs=0.001)
    assert found.high_um - found.mean_um == pytest.approx(25.86, abs=0.01)
    assert found.accuracy_pct == pytest.approx(91.3, abs=0.1)
    assert found.standard_error_um == pytest.approx(10.408 / math.sqrt(3), abs=0.001)
    assert "count more fields" in str(found)


def test_grain_size_of_one_field_is_refused() -> None:
    """One field has no interval, and a field without a grain no size."""
    with pytest.raises(ValueError, match="at least two fields"):
        hc.section.grain_size([50], 1.0)
    with pytest.raises(ValueError, match=r"intercepts = 0: it must be a finite number above 0"):
        hc.section.grain_size([50, 0], 1.0)


# -- Altered layer ---------------------------------------------------------------------------------

DEPTHS = np.array([5.0, 15.0, 25.0, 35.0, 50.0, 70.0, 100.0, 150.0])
CONTROL = [150.0, 147.0, 153.0, 149.0, 151.0]


def test_a_layer_ends_between_the_readings_that_differ() -> None:
    """Three hard readings, five soft ones: the layer ends between 25 and 35 µm."""
    found = hc.section.altered_depth(DEPTHS, [230, 226, 234, 152, 148, 151, 149, 150], CONTROL)

    assert found.changed
    assert (found.low_um, found.depth_um, found.high_um) == (25.0, 30.0, 35.0)
    # Mean of the layer 230; of core and control together (750 + 750) / 10.
    assert found.change == pytest.approx(80.0)


def test_the_p_value_is_that_of_the_best_t_test_times_the_splits() -> None:
    """Against scipy.stats.ttest_ind, with Bonferroni's factor for eight depths."""
    from scipy.stats import ttest_ind

    values = np.array([156.0, 154, 152, 151, 148, 151, 149, 150])
    every = np.concatenate([values, CONTROL])
    best = min(ttest_ind(every[:i], every[i:]).pvalue for i in range(2, 9))

    found = hc.section.altered_depth(DEPTHS, values, CONTROL)

    assert found.p_value <= 8 * best * (1 + 1e-9)
    first = every[0] - every[1:].mean()
    pooled = math.sqrt(((every[1:] - every[1:].mean()) ** 2).sum() / 11 * (1 + 1 / 12))
    from scipy.stats import t

    alone = 2 * t.sf(abs(first) / pooled, 11)
    assert found.p_value == pytest.approx(8 * min(best, alone), rel=1e-9)


def test_no_change_says_what_could_have_been_measured() -> None:
    """A section like its control: the first reading bounds the layer, the scatter the change."""
    found = hc.section.altered_depth(DEPTHS, [151, 148, 150, 152, 149, 150, 147, 153], CONTROL)

    assert not found.changed
    assert (found.depth_um, found.high_um) == (None, 5.0)
    assert 5 < found.detectable_change < 12
    assert "a layer thinner than 5 µm lies above it" in str(found)


def test_a_section_altered_throughout_has_no_known_end() -> None:
    """All readings differ from the control: the layer reaches beyond them."""
    found = hc.section.altered_depth(DEPTHS, [230, 226, 234, 231, 229, 228, 232, 230], CONTROL)

    assert found.changed
    assert math.isinf(found.high_um)
    assert "beyond all readings" in str(found)


def test_a_layer_that_fades_reaches_to_its_last_reading_outside_the_scatter() -> None:
    """A step fits a fading layer too shallow; the interval reaches to where it is lost."""
    fading = [250, 230, 190, 165, 152, 150, 149, 151]

    found = hc.section.altered_depth(DEPTHS, fading, CONTROL)

    assert found.depth_um is not None
    assert found.depth_um < 35 < found.high_um


def test_a_skin_that_the_control_has_too_is_not_an_effect_of_treatment() -> None:
    """Old plate, decarburised at its surface: both are soft there, and treatment did nothing."""
    skin = np.array([110.0, 112, 131, 149, 151, 150, 148, 152])
    treated = skin + np.array([1, -1, 0.5, -0.5, 1, 0, -1, 0.5])

    alone = hc.section.altered_depth(DEPTHS, treated, CONTROL)
    beside = hc.section.altered_depth(DEPTHS, treated, skin, control_depth_um=DEPTHS)

    assert alone.changed
    assert not beside.changed
    with pytest.raises(ValueError, match="read both at the same depths"):
        hc.section.altered_depth(DEPTHS, treated, skin, control_depth_um=DEPTHS + 3)


def test_the_interval_of_a_layer_holds_the_truth_as_often_as_it_says() -> None:
    """600 simulated layers of known depth and height, noise 1: held in 95 % or more."""
    stream = np.random.default_rng(7)
    held = []
    for _ in range(600):
        true = stream.uniform(12, 90)
        values = 4.0 * (true > DEPTHS) + stream.normal(size=DEPTHS.size)
        found = hc.section.altered_depth(DEPTHS, values, stream.normal(size=6))
        held.append(found.low_um <= true <= found.high_um)

    assert np.mean(held) >= 0.95


def test_where_nothing_was_done_a_change_is_seldom_found() -> None:
    """600 sections without a layer: at most 5 in 100 seem changed."""
    stream = np.random.default_rng(8)
    false = [
        hc.section.altered_depth(DEPTHS, stream.normal(size=8), stream.normal(size=6)).changed
        for _ in range(600)
    ]

    assert np.mean(false) <= 0.05


def test_what_could_have_been_found_is_found_in_eight_of_ten_tries() -> None:
    """A first reading off by the detectable change, 400 times: within the scatter of 400 tries."""
    stream = np.random.default_rng(9)
    found = []
    for _ in range(400):
        values, control = stream.normal(size=8), stream.normal(size=12)
        bound = hc.section.altered_depth(DEPTHS, values, control).detectable_change
        values[0] += bound
        found.append(hc.section.altered_depth(DEPTHS, values, control).p_value < 0.05)

    assert 0.74 <= np.mean(found) <= 0.9


def test_readings_that_say_nothing_are_refused() -> None:
    """One number all over, depths on the surface, rows of two lengths."""
    with pytest.raises(ValueError, match="All readings are the same number"):
        hc.section.altered_depth([1, 2, 3], [5, 5, 5], [5, 5, 5])
    with pytest.raises(ValueError, match=r"depth_um = 0: give the middle"):
        hc.section.altered_depth([0, 2, 3], [5, 6, 5], [5, 5, 5])
    with pytest.raises(ValueError, match="depth_um 3, value 2"):
        hc.section.altered_depth([1, 2, 3], [5, 6], [5, 5, 5])


# -- Residual stress -------------------------------------------------------------------------------

PSI = np.array([-45.0, -37, -27, -16, 0, 16, 27, 37, 45])
FREE_NM, YOUNG_GPA, POISSON = 0.11702, 210.0, 0.28
HALF_S2 = (1 + POISSON) / YOUNG_GPA * 1000  # of an isotropic metal, in 1/TPa


def spacings(stress_mpa: np.ndarray) -> np.ndarray:
    """Spacings that Hooke's law gives along each tilt, in the plane of axes 1 and 3."""
    trace = np.trace(stress_mpa)
    strain = ((1 + POISSON) * stress_mpa - POISSON * trace * np.eye(3)) / (YOUNG_GPA * 1000)
    ways = np.stack([np.sin(np.radians(PSI)), 0 * PSI, np.cos(np.radians(PSI))], axis=1)
    return FREE_NM * (1 + np.einsum("ki,ij,kj->k", ways, strain, ways))


def test_the_stress_that_hookes_law_put_in_comes_out() -> None:
    """Isotropic Hooke's law, -300 and +80 MPa in the surface: ½S2 = (1 + n) / E."""
    put_in = np.diag([-300.0, 80.0, 0.0])

    found = hc.section.residual_stress(PSI, spacings(put_in), half_s2_per_tpa=HALF_S2)

    # The spacing at ψ = 0 stands for the unstressed one: less than a thousandth.
    assert found.stress_mpa == pytest.approx(-300, rel=1e-3)
    assert found.shear_mpa == pytest.approx(0, abs=1e-6)
    assert not any("split" in one for one in found.cautions)


def test_shear_splits_the_sides_and_is_named() -> None:
    """Shear of 40 MPa between surface and depth: both sides differ, the stress stays the same."""
    put_in = np.diag([120.0, 0.0, 0.0])
    put_in[0, 2] = put_in[2, 0] = 40.0

    found = hc.section.residual_stress(PSI, spacings(put_in), half_s2_per_tpa=HALF_S2)

    assert found.stress_mpa == pytest.approx(120, rel=1e-3)
    assert found.shear_mpa == pytest.approx(40, rel=1e-3)
    assert any("The two sides split" in one for one in found.cautions)


def test_slope_and_its_error_are_those_of_a_straight_line() -> None:
    """Against scipy.stats.linregress, tilted to one side; the error of ½S2 adds as a square."""
    from scipy.stats import linregress

    psi = PSI[4:]
    noise = np.array([1, -2, 0.5, 1.5, -1]) * 1e-6
    spacing = spacings(np.diag([200.0, 0, 0]))[4:] + noise * FREE_NM
    line = linregress(np.sin(np.radians(psi)) ** 2, spacing)
    per_mpa = HALF_S2 * 1e-6 * line.intercept
    stress = line.slope / per_mpa

    found = hc.section.residual_stress(
        psi, spacing, half_s2_per_tpa=HALF_S2, half_s2_error_per_tpa=0.05 * HALF_S2
    )

    assert found.stress_mpa == pytest.approx(stress, rel=1e-9)
    expected = math.hypot(line.stderr / per_mpa, 0.05 * stress)
    assert found.standard_error_mpa == pytest.approx(expected, rel=1e-9)
    assert any("one side only" in one for one in found.cautions)


def test_a_bent_line_is_named() -> None:
    """A steep gradient bends the line over sin²ψ."""
    bent = spacings(np.diag([100.0, 0, 0])) + 3e-4 * FREE_NM * np.sin(np.radians(PSI)) ** 4

    found = hc.section.residual_stress(PSI, bent, half_s2_per_tpa=HALF_S2)

    assert any("bends" in one for one in found.cautions)


def test_slips_of_unit_are_refused() -> None:
    """A spacing in ångström among nanometres, tilts in radians, no elastic constant."""
    wrong = spacings(np.diag([100.0, 0, 0]))
    wrong[3] *= 10
    with pytest.raises(ValueError, match="Was a decimal point lost"):
        hc.section.residual_stress(PSI, wrong, half_s2_per_tpa=HALF_S2)
    with pytest.raises(ValueError, match="Fewer than 3 different tilts"):
        hc.section.residual_stress([-45, 45, -45, 45], wrong[:4] / 1, half_s2_per_tpa=5.8)
    with pytest.raises(ValueError, match="half_s2_per_tpa = 0"):
        hc.section.residual_stress(PSI, wrong, half_s2_per_tpa=0)


def test_three_directions_obey_hookes_law() -> None:
    """One pull: strains s/E and -n s/E; even pressure: e = (1 - 2 n) p / E. Closed forms."""
    pull = np.array([1, -POISSON, -POISSON]) * 210 / 210_000 * 1e6
    pressure = np.full(3, -(1 - 2 * POISSON) * 100 / 210_000 * 1e6)

    stress, error = stress_of_three(
        [pull, pressure], youngs_modulus_gpa=210, poisson=POISSON, standard_error_1e6=10.0
    )

    assert stress[0] == pytest.approx([210, 0, 0], abs=1e-9)
    assert stress[1] == pytest.approx([-100, -100, -100])
    # Errors as squares: E / ((1 + n)(1 - 2n)) times the root of (1 - n)² + 2 n², times 10 µε.
    factor = 210e-3 / (1.28 * 0.44)
    assert error[0] == pytest.approx(np.full(3, 10 * factor * math.sqrt(0.72**2 + 2 * 0.28**2)))


def test_three_directions_of_a_plug_in_a_ring_are_one_pressure() -> None:
    """Lamé: a shrunk-in plug bears one pressure in its plane and none along its axis."""
    pressure = 50.0
    in_plane = -(1 - POISSON) * pressure / 210_000 * 1e6
    along = 2 * POISSON * pressure / 210_000 * 1e6

    stress, _ = stress_of_three([in_plane, in_plane, along], youngs_modulus_gpa=210, poisson=0.28)

    assert stress == pytest.approx([-50, -50, 0], abs=1e-9)
    with pytest.raises(ValueError, match=r"poisson = 0\.5"):
        stress_of_three([0, 0, 0], youngs_modulus_gpa=210, poisson=0.5)
    with pytest.raises(ValueError, match="Give microstrains"):
        stress_of_three([0, 0, 5e4], youngs_modulus_gpa=210, poisson=0.3)


# -- Change of stress ------------------------------------------------------------------------------


def compared(after: list[float], **more: object) -> object:
    """Three depths, standard errors 6 before and 8 after, so 10 of each change."""
    return hc.section.compare_stress(
        [10, 30, 60], [0, 0, 0], after, before_error_mpa=[6, 6, 6], after_error_mpa=[8, 8, 8],
        **more,  # type: ignore[arg-type]
    )  # fmt: skip


def test_the_interval_of_a_change_holds_for_all_depths_together() -> None:
    """Half-width 2.394 times 10 MPa: the normal quantile of 1 - 0.05 / 6 (tables)."""
    found = compared([100, 20, 0])

    assert found.changed
    assert (found.change_mpa, found.at_um) == (100, 10)
    assert found.high_mpa - found.change_mpa == pytest.approx(23.94, abs=0.01)
    assert found.detectable_mpa == pytest.approx(10 * (2.394 + 0.8416), abs=0.01)


def test_a_control_that_scatters_widens_what_the_laboratory_states() -> None:
    """Changes 30, -30 and 30 MPa where nothing was done: 30 MPa counts, with t of 3 freedoms."""
    found = compared([100, 20, 0], control_change_mpa=[30, -30, 30])

    assert found.control_scatter_mpa == pytest.approx(30)
    assert not found.changed
    # t of 3 freedoms at 1 - 0.05 / 6: 4.857 (tables).
    assert found.high_mpa - found.change_mpa == pytest.approx(30 * 4.857, abs=0.1)
    assert "No measurable change" in str(found)
    assert "would have been found in 8 of 10 tries" in str(found)


@pytest.mark.parametrize(
    ("after", "within"), [([5, 0, 0], True), ([100, 0, 0], False), ([45, 0, 0], None)]
)
def test_a_change_is_held_against_the_engineers_limit(
    after: list[float], within: bool | None
) -> None:
    """Limit 50 MPa, half-width 24: 5 lies within, 100 beyond, 45 across."""
    assert compared(after, limit_mpa=50.0).within_limit is within


def test_relief_of_stress_is_a_change_too() -> None:
    """-100 MPa against a limit of 50 MPa is beyond it; without a limit nothing is within."""
    found = compared([0, -100, 0], limit_mpa=50.0)

    assert found.within_limit is False
    assert compared([0, 0, 0]).within_limit is None
    assert "No limit of the engineer is recorded" in str(compared([0, 0, 0]))


def test_a_stress_without_an_error_is_refused() -> None:
    """An error of 0 is a gap in the laboratory's sheet, not certainty."""
    with pytest.raises(ValueError, match="A standard error of a stress is 0"):
        hc.section.compare_stress([10], [0], [5], before_error_mpa=[0], after_error_mpa=[8])

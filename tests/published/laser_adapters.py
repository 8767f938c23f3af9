"""How the published laser values and counted shares are asked of the package, picking only."""

from collections.abc import Callable

import heat_formulas as heat
import laser_formulas as formulas
import share_formulas as shares

from heritagecheck.evidence import laser
from heritagecheck.evidence.laser import beam, scan
from heritagecheck.evidence.laser.thresholds import published_thresholds
from heritagecheck.evidence.trials import damaged_fields

Row = dict[str, str]
Adapter = Callable[[Row], object]


def numbers(row: Row, *names: str) -> list[float]:
    """Inputs of a row in the order asked for."""
    return [float(row[name]) for name in names]


def asking(function: Callable[..., object], *names: str) -> Adapter:
    """Adapter that hands the named inputs of a row to a function."""
    return lambda row: function(*numbers(row, *names))


def crater(name: str) -> Adapter:
    """One result of the D² line; the published rows give squared diameters."""

    def found(row: Row) -> object:
        energies = [float(each) for each in row["E_uJ"].split()]
        diameters = [float(each) ** 0.5 for each in row["D2_um2"].split()]
        return getattr(laser.crater_threshold(energies, diameters), name)

    return found


def slanting(row: Row) -> object:
    """Peak fluence at the row's angle."""
    energy, radius, angle = numbers(row, "E_mJ", "w_um", "angle_deg")
    return laser.peak_fluence(energy, radius, incidence_deg=angle)


def saturating(row: Row) -> object:
    """Threshold after many pulses with a final one."""
    first, pulses, s, final = numbers(row, "F1_J_cm2", "N", "S", "Finf_J_cm2")
    return laser.incubated_threshold(first, pulses, s, threshold_inf_j_cm2=final)


def direct(row: Row) -> object:
    """Distance along the direct beam, by the safety standard's formula and so by its 1/e edge."""
    power, limit, divergence, aperture = numbers(row, "P_W", "MPE_W_cm2", "phi_rad", "a_cm")
    return laser.hazard_distance(
        power, limit, divergence_rad=divergence, aperture_cm=aperture, edge="1/e"
    ).distance_m


def through_lens(row: Row) -> object:
    """Distance beyond a lens, by the same formula and edge."""
    power, limit, focal, beam = numbers(row, "P_W", "MPE_W_cm2", "f0_cm", "b_cm")
    return laser.hazard_distance(
        power, limit, focal_length_cm=focal, beam_at_lens_cm=beam, edge="1/e"
    ).distance_m


def scattered(row: Row) -> object:
    """Distance from a matt wall."""
    power, limit, share = numbers(row, "P_W", "MPE_W_cm2", "rho")
    return laser.hazard_distance(power, limit, reflectance=share).distance_m


def listed(row: Row) -> object:
    """The one row of the package's own table for the same quantity, material and light."""
    found = published_thresholds()
    for name in ("quantity", "material", "pulse"):
        found = found[found[name] == row[name]]
    if row["wavelength_nm"]:
        found = found[found["wavelength_nm"] == float(row["wavelength_nm"])]
    (value,) = found["value"]
    return value


def spreading(row: Row) -> float:
    """Diffusivity of the row's material."""
    return heat.diffusivity(*numbers(row, "k_W_mK", "rho_kg_m3", "cp_J_kgK"))


def pulse_heat(row: Row) -> object:
    """Rise at the row's depth and time; where they are not given, at the surface and the end."""
    pulse = float(row["tau_s"])
    return heat.square_pulse_rise(
        1e4 * float(row["F_abs_J_cm2"]), pulse, float(row["t_s"] or pulse), float(row["k_W_mK"]),
        spreading(row), 1e-6 * float(row["z_um"] or 0),
    )  # fmt: skip


def heat_left(row: Row) -> object:
    """Rise that is left just before the next pulse of the row."""
    fluence, number, rate, density, capacity = numbers(
        row, "F_abs_J_cm2", "N", "rep_Hz", "rho_kg_m3", "cp_J_kgK"
    )
    return heat.heat_left(1e4 * fluence, int(number), rate, density * capacity, spreading(row))


def exact(end: int) -> Adapter:
    """Lower (0) or upper (1) end of Clopper and Pearson's interval at 95 %: a bound at 97.5 %."""
    bound = (damaged_fields.lower_bound, damaged_fields.upper_bound)[end]
    return lambda row: bound(int(row["k"]), int(row["n"]), 0.975)


def interval(function: Callable[..., tuple[float, float]], end: int) -> Adapter:
    """Lower (0) or upper (1) end of an interval of a share at 95 %."""
    return lambda row: function(int(row["k"]), int(row["n"]), 0.95)[end]


# file → quantity → adapter, as in adapters.py.
ADAPTERS: dict[str, dict[str, Adapter]] = {
    "laser_fluence.csv": {
        "peak_fluence": asking(laser.peak_fluence, "E_mJ", "w_um"),
        "mean_fluence_over_1_e2_area": asking(beam.mean_fluence, "E_mJ", "w_um"),
        "effective_area_Gaussian": asking(formulas.effective_area, "w_um"),
        "fluence_at_radius": asking(formulas.fluence_at_radius, "E_mJ", "w_um", "r_um"),
        "energy_fraction_inside_radius": asking(formulas.energy_inside_radius, "w_um", "r_um"),
        "squared_ablated_diameter": asking(
            formulas.squared_crater_diameter, "E_mJ", "w_um", "Fth_J_cm2"
        ),
        "ablated_diameter": asking(formulas.crater_diameter, "E_mJ", "w_um", "Fth_J_cm2"),
        "threshold_pulse_energy": asking(formulas.threshold_pulse_energy, "Fth_J_cm2", "w_um"),
        "peak_irradiance_square_pulse": asking(beam.peak_irradiance, "E_mJ", "w_um", "tau_ns"),
        "pulses_per_1_e2_diameter": asking(laser.pulses_per_spot, "w_um", "rep_Hz", "v_mm_s"),
        "linear_overlap": asking(scan.pulse_overlap, "w_um", "rep_Hz", "v_mm_s"),
        "Gaussian_weighted_pulses_line": asking(
            formulas.weighted_pulses_line, "w_um", "rep_Hz", "v_mm_s"
        ),
        "Gaussian_weighted_pulses_area_scan": asking(
            formulas.weighted_pulses_area, "w_um", "rep_Hz", "v_mm_s", "hatch_um"
        ),
        "peak_fluence_at_incidence_angle": slanting,
    },
    "laser_d2_fit.csv": {
        "slope_dD2_dlnE": crater("slope_um2"),
        "beam_radius_w0": crater("radius_um"),
        "threshold_energy": crater("threshold_energy_uj"),
        "threshold_peak_fluence": crater("threshold_peak_j_cm2"),
        "se_slope": crater("slope_se_um2"),
    },
    "laser_incubation.csv": {
        "Fth_N": asking(laser.incubated_threshold, "F1_J_cm2", "N", "S"),
        "S_from_two_thresholds": asking(formulas.incubation, "F1_J_cm2", "FN_J_cm2", "N"),
        "Fth_N_with_saturation": saturating,
    },
    "laser_ablation_depth.csv": {
        "depth_per_pulse": asking(laser.ablation_depth, "F0_J_cm2", "Fth_J_cm2", "delta_um"),
        "Gaussian_crater_volume": asking(
            formulas.crater_volume, "F0_J_cm2", "Fth_J_cm2", "delta_um", "w_um"
        ),
        "removal_per_energy": asking(
            formulas.removal_per_energy, "F0_J_cm2", "Fth_J_cm2", "delta_um"
        ),
        "optimum_peak_fluence": asking(formulas.most_efficient_fluence, "Fth_J_cm2"),
        "maximum_removal_per_energy": asking(
            formulas.greatest_removal_per_energy, "Fth_J_cm2", "delta_um"
        ),
    },
    "laser_safety.csv": {
        "NOHD": direct,
        "NOHD (published table)": direct,
        "NHZ_lens_on_laser": through_lens,
        "NHZ_lens_on_laser (published table)": through_lens,
        "NHZ_diffuse": scattered,
        "NHZ_diffuse (published table)": scattered,
        # The row gives the exposure as a multiple of the limit.
        "optical_density_required": lambda row: laser.optical_density(
            float(row["H_over_MPE"]), 1
        ).density,
    },
    "laser_thresholds.csv": dict.fromkeys(
        (
            "ablation_threshold", "maximum_cleaning_fluence", "most_efficient_fluence",
            "ablation_efficiency", "pulse_duration_at_first_cracks", "removal_fluence",
            "mill_scale_thickness_min", "melted_oxide_depth", "removal_threshold",
            "damage_threshold",
        ),
        listed,
    ),
    "laser_heat.csv": {
        "thermal_diffusivity": spreading,
        "diffusion_length_sqrt_4Dt": lambda row: 1e6
        * heat.diffusion_length(spreading(row), float(row["tau_s"])),
        "surface_rise_end_of_pulse": pulse_heat,
        "rise_at_depth_end_of_pulse": pulse_heat,
        "surface_rise_after_pulse": pulse_heat,
        # The rise stands in the name of the quantity.
        "absorbed_fluence_for_1000K_rise": lambda row: 1e-4
        * heat.fluence_for_rise(
            1000, float(row["tau_s"]), float(row["k_W_mK"]), spreading(row)
        ),
        "residual_surface_rise_before_next_pulse": heat_left,
        "steady_centre_rise_Gaussian_CW": lambda row: heat.resting_spot_rise(
            float(row["P_abs_W"]), 1e-6 * float(row["w_um"]), float(row["k_W_mK"])
        ),
        "ierfc": lambda row: heat.ierfc(float(row["material"].removeprefix("x="))),
    },
    "stats_proportions.csv": {
        "two_sigma": lambda row: shares.point_count_two_sigma(
            float(row["p_percent"]), int(row["n"])
        ),
        "clopper_pearson_95_lo": exact(0),
        "clopper_pearson_95_hi": exact(1),
        "wilson_95_lo": interval(shares.wilson, 0),
        "wilson_95_hi": interval(shares.wilson, 1),
        "jeffreys_95_lo": interval(shares.jeffreys, 0),
        "jeffreys_95_hi": interval(shares.jeffreys, 1),
        "upper_95_one_sided_zero_events": lambda row: damaged_fields.upper_bound(
            int(row["k"]), int(row["n"]), 0.95
        ),
    },
}  # fmt: skip

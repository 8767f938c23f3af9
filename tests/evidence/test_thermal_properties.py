"""
Properties of the table against the values and formulas of their sources.

Each source stands in tables/sources.csv with what was read of it. Formulas are for T in K; those in
calories are turned into joules here.
"""

import math

import numpy as np
import pytest

from heritagecheck.evidence import laser
from heritagecheck.evidence.laser.heat.layers import START_C, diffusivity_m2_s, material

START_K = 273.15 + START_C
CAL = 4.184
NEAR_UM = 1.064


def conductivity(code, at_c):
    """K of the table at some temperatures."""
    of = material(code)
    return of.get("conductivity") / (1 + of.get("conductivity_falls") * (at_c - START_C))


def heat_by_capacity(code, up_to_c):
    """Heat from 20 °C on, over the heat capacity at 20 °C, in K."""
    rise = up_to_c - START_C
    return rise + material(code).get("heat_capacity_rises") * rise**2 / 2


def integral(capacity, at):
    """Heat over the heat capacity at the beginning, by the trapezoidal rule, in K."""
    return np.trapezoid(capacity, at) / capacity[0]


def rises(capacity, up_to_c):
    """The straight rise of the heat capacity that holds as much heat as a formula, in 1/K."""
    at = np.linspace(START_K, 273.15 + up_to_c, 2001)
    rise = up_to_c - START_C
    return 2 * (integral(capacity(at), at) - rise) / rise**2


def within(code, name, value, slack=0.01):
    """Whether a value lies in the range of the table, or beside it by a share of itself."""
    low, high = (material(code).get(name, end) for end in ("low", "high"))
    return low * (1 - slack) <= value <= high * (1 + slack)


# -- Steel by the standard -------------------------------------------------------------------------


def test_steel_conducts_as_the_standard_says():
    """EN 1993-1-2, 3.4.1.3: 54 - 0.0333 T below 800 °C, 27.3 above."""
    at = np.linspace(20, 1200, 60)
    printed = np.where(at < 800, 54 - 0.0333 * at, 27.3)

    np.testing.assert_allclose(conductivity("riveted_steel", at), printed, rtol=0.11)


def test_steel_takes_up_the_heat_that_the_standard_says():
    """EN 1993-1-2, 3.4.1.2, with its peak at 735 °C; the low end is that without a peak."""
    at = np.linspace(20, 1200, 100_001)
    printed = np.piecewise(
        at,
        [at < 600, (at >= 600) & (at < 735), (at >= 735) & (at < 900), at >= 900],
        [
            lambda t: 425 + 0.773 * t - 1.69e-3 * t**2 + 2.22e-6 * t**3,
            lambda t: 666 + 13002 / (738 - t),
            lambda t: 545 + 17820 / (t - 731),
            650,
        ],
    )
    low, _ = material("riveted_steel").properties["heat_capacity_rises"][1:]
    without_peak = (650 - printed[0]) / printed[0] / 1180

    assert printed[0] == pytest.approx(material("riveted_steel").get("heat_capacity"), rel=1e-3)
    assert heat_by_capacity("riveted_steel", 1200) == pytest.approx(integral(printed, at), rel=0.01)
    assert low == pytest.approx(without_peak, rel=0.3)


# -- Heat capacity ---------------------------------------------------------------------------------


def berman(k0, k1, k2, k3):
    """Heat capacity k0 + k1/sqrt(T) + k2/T² + k3/T³, in J/(mol K) (BERMAN-88)."""
    return lambda t: k0 + k1 * t**-0.5 + k2 * t**-2 + k3 * t**-3


def helgeson(*parts):
    """Heat capacity a + b T + c/T² in parts that end at a temperature, in cal/(mol K)."""

    def capacity(t):
        found = np.empty_like(t)
        for a, b, c, end in reversed(parts):
            found[t <= end] = CAL * (a + b * t + c * t**-2)[t <= end]
        return found

    return capacity


ALBITE = berman(393.64, -2415.5, -7892800, 1.07064e9)
POTASH_FELDSPAR = berman(381.37, -1941, -12037300, 1.83643e9)
ANNITE = berman(727.21, -4775.04, -13831900, 2.11906e9)
QUARTZ = helgeson((11.22, 8.2e-3, -2.7e5, 848), (14.41, 1.94e-3, 0, 2000))
HAEMATITE = helgeson(
    (23.49, 0.0186, -3.55e5, 950), (36, 0, 0, 1050), (31.71, 0.00176, 0, 1800)
)  # fmt: skip
# Formulas with their molar mass, and the temperature up to which they are compared.
FORMULAS = [
    ("quartz", QUARTZ, 60.084, 1400),
    ("feldspar", ALBITE, 262.22, 1100),
    ("limestone", berman(178.19, -1657.7, -482700, 1.666e8), 100.087, 650),  # calcite
    # Iron of RHF78 and Kelley 1960, with its changes at 760, 910 and 1400 °C.
    ("wrought_iron", helgeson((3.04, 7.58e-3, 6e4, 1033), (11.13, 0, 0, 1183),
                              (5.8, 1.98e-3, 0, 1673)), 55.845, 1200),
    ("rust", HAEMATITE, 159.69, 250),
    ("black_gypsum_crust", helgeson((21.84, 0.076, 0, 400)), 172.17, 100),  # ROBIE-95
]  # fmt: skip


@pytest.mark.parametrize(("code", "formula", "molar", "up_to_c"), FORMULAS)
def test_what_lies_on_the_wall_takes_up_the_heat_of_its_minerals(code, formula, molar, up_to_c):
    """Heat capacity at 20 °C and heat up to a temperature: BERMAN-88 and HELGESON-78."""
    at_20 = 1e3 * float(formula(np.array([START_K]))[0]) / molar
    straight = rises(formula, up_to_c)

    assert within(code, "heat_capacity", at_20)
    assert within(code, "heat_capacity_rises", straight)
    assert heat_by_capacity(code, up_to_c) == pytest.approx(
        up_to_c - START_C + straight * (up_to_c - START_C) ** 2 / 2, rel=0.04
    )


def test_granite_takes_up_the_heat_of_its_minerals():
    """30 % quartz, 35 % albite, 30 % potash feldspar and 5 % annite by mass."""

    def mixed(t):
        parts = ((0.3, QUARTZ, 60.084), (0.35, ALBITE, 262.22),
                 (0.3, POTASH_FELDSPAR, 278.33), (0.05, ANNITE, 511.88))  # fmt: skip
        return sum(1e3 * share * formula(t) / molar for share, formula, molar in parts)

    of = material("granite")
    assert mixed(np.array([START_K]))[0] == pytest.approx(of.get("heat_capacity"), rel=0.03)
    assert rises(mixed, 900) == pytest.approx(of.get("heat_capacity_rises"), rel=0.03)


def test_scale_takes_up_the_heat_of_its_oxides():
    """Ferrous oxide and magnetite up to 1370 °C (HELGESON-78): the scale lies between them."""
    ferrous = helgeson((12.122, 2.072e-3, -75000, 1650))
    magnetite = helgeson((21.88, 0.0482, 0, 900), (48, 0, 0, 1800))
    for formula, molar in ((ferrous, 71.844), (magnetite, 231.53)):
        assert within("mill_scale", "heat_capacity", 1e3 * formula(np.array([START_K]))[0] / molar)
        assert within("mill_scale", "heat_capacity_rises", rises(formula, 1370))
    assert rises(ferrous, 1370) < material("mill_scale").get("heat_capacity_rises")
    assert material("mill_scale").get("heat_capacity_rises") < rises(magnetite, 1370)


def test_rust_reaches_to_goethite():
    """Goethite, 88.85 g/mol, measured up to 102 °C (MAJZLAN-03)."""
    goethite = helgeson((0.298, 0.055736, 75000, 375.2))

    assert within("rust", "heat_capacity", 1e3 * goethite(np.array([START_K]))[0] / 88.85)
    assert within("rust", "heat_capacity_rises", rises(goethite, 102))


def test_dark_mica_takes_up_the_heat_of_its_end_members():
    """Annite of Hemingway and Robie 1990, 511.9 g/mol; phlogopite 355.1 J/(mol K), 417.3 g/mol."""
    kelvin = np.linspace(293.15, 1000, 10_001)
    molar = 583.586 + 0.075246 * kelvin - 3420.60 * kelvin**-0.5 - 4.4551e6 * kelvin**-2
    of = material("biotite")

    assert of.get("heat_capacity", "low") == pytest.approx(molar[0] / 0.5119, rel=0.01)
    assert of.get("heat_capacity", "high") == pytest.approx(355.1 / 0.4173, rel=0.01)
    assert heat_by_capacity("biotite", 726.85) == pytest.approx(integral(molar, kelvin), rel=0.02)
    assert of.known_to_c == pytest.approx(726.85, abs=0.2)


# -- Density ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "end", "gram", "cm3"),
    [
        ("quartz", "value", 60.084, 22.688), ("feldspar", "low", 278.33, 108.87),
        ("feldspar", "high", 278.21, 100.79), ("biotite", "low", 417.26, 149.66),
        ("biotite", "high", 511.88, 154.32), ("limestone", "high", 100.087, 36.934),
        ("rust", "high", 88.85, 20.881), ("black_gypsum_crust", "high", 172.17, 74.69),
    ],
)  # fmt: skip
def test_densities_are_molar_mass_over_molar_volume(code, end, gram, cm3):
    """Volumes of HELGESON-78, goethite of MAJZLAN-03, gypsum of ROBIE-95; pores only take off."""
    assert material(code).get("density", end) == pytest.approx(1e3 * gram / cm3, rel=0.01)


# -- Conductivity ----------------------------------------------------------------------------------


def test_granite_conducts_less_when_it_is_hot():
    """1/(0.24094 + 4.6019e-4 T), T in K: granite of Miao et al. 2014, as tabulated in 2022."""
    at = np.linspace(20, 900, 45)
    printed = 1 / (0.24094 + 4.6019e-4 * (at + 273.15))

    np.testing.assert_allclose(conductivity("granite", at), printed, rtol=0.04)


def test_quartz_conducts_as_its_directions_say():
    """CLAUSER-95, along the axis and twice across it, at 300 and 800 K; GOTO-17 has 7.69."""
    along, across = np.array([13.93, 3.56]), np.array([6.49, 2.79])
    mean = (along + 2 * across) / 3
    of = material("quartz")

    assert of.get("conductivity") == pytest.approx(7.69, abs=0.01)
    assert (of.get("conductivity", "low"), of.get("conductivity", "high")) == pytest.approx(
        (across[0], along[0]), rel=0.01
    )
    assert conductivity("quartz", 526.85) == pytest.approx(mean[1], rel=0.01)


def test_limestone_conducts_as_sedimentary_rock_does():
    """k(T) = k0/(0.99 + T (0.0034 - 0.0039/k0)), T in °C, k0 at 0 °C (VOSTEEN-03)."""
    k0 = 2.25
    at = np.array([20.0, 150, 300])
    law = k0 / (0.99 + at * (0.0034 - 0.0039 / k0))

    np.testing.assert_allclose(conductivity("limestone", at), law, rtol=0.01)


def test_the_lowest_layer_of_scale_conducts_less_when_it_is_hot():
    """2.5 to 1.8 W/(m K) from room temperature to 1164 K (ISIJ-17)."""
    falls = material("mill_scale").get("conductivity_falls")

    assert 2.5 / (1 + falls * (1164 - START_K)) == pytest.approx(1.8, rel=0.05)
    assert within("mill_scale", "conductivity", 1.8)


def test_wrought_iron_conducts_as_iron_does_when_it_is_hot():
    """28.3 W/(m K) at 1200 K (KUTZ-HB)."""
    assert conductivity("wrought_iron", 926.85) == pytest.approx(28.3, rel=0.02)


def test_paint_spreads_heat_as_other_paints_do():
    """1 to 3 × 10⁻³ cm²/s measured on six sprayed films (COELHO-05)."""
    assert 1e-7 < diffusivity_m2_s(material("lead_paint")) < 3e-7


# -- Light -----------------------------------------------------------------------------------------


def enters(n, k):
    """Share that enters a polished face upright: 4 n/((n + 1)² + k²) (Fresnel)."""
    return 4 * n / ((n + 1) ** 2 + k**2)


def depth_um(k):
    """Depth at which light has fallen to 1/e: wavelength/(4 pi k)."""
    return NEAR_UM / (4 * math.pi * k)


@pytest.mark.parametrize(
    ("code", "n", "k"),
    [
        # Iron of Johnson & Christy, Querry, and Ordal; ferritic and austenitic steel of Karlsson.
        ("riveted_steel", 2.958, 3.998), ("riveted_steel", 2.922, 4.361),
        ("wrought_iron", 3.235, 4.322), ("riveted_steel", 2.912, 4.613),
        ("riveted_steel", 3.830, 5.335),
        # Haematite in both directions, magnetite, and graphite of Querry; soot of Dalzell.
        ("rust", 2.503, 0.038), ("rust", 2.754, 0.011), ("mill_scale", 2.111, 0.370),
        ("black_gypsum_crust", 1.683, 0.582), ("cast_iron", 2.922, 4.361),
        # Quartz of Ghosh, albite of Egan & Hilgeman; biotite has from 1.565 to 1.675.
        ("quartz", 1.534, 0), ("feldspar", 1.57, 0), ("biotite", 1.675, 0),
    ],
)  # fmt: skip
def test_what_enters_a_polished_face_lies_in_the_range(code, n, k):
    """At 1064 nm, by the constants of QUERRY-85, DALZELL-69, GHOSH-99, EGAN-79 and MICA-TAB."""
    assert within(code, "absorbed", enters(n, k), slack=0.0)


@pytest.mark.parametrize(
    ("code", "k", "printed_um"),
    [
        ("rust", 0.038, 2.2), ("rust", 0.011, 7.7), ("rust", 0.0042, 20), ("rust", 0.370, 0.23),
        ("mill_scale", 0.370, 0.23), ("mill_scale", 0.011, 7.7), ("feldspar", 3.5e-5, 2400),
    ],
)  # fmt: skip
def test_light_goes_as_deep_as_the_constants_say(code, k, printed_um):
    """Depth to 1/e of haematite, limonite, magnetite and albite at 1064 nm."""
    assert depth_um(k) == pytest.approx(printed_um, rel=0.03)
    assert within(code, "absorption_depth", depth_um(k), slack=0.02)


def test_a_crust_lets_light_as_deep_as_its_soot_does():
    """Soot of Dalzell & Sarofim, and diesel soot, a fifteenth of the crust (a share of ours)."""
    for k in (0.582, 0.321):
        assert within("black_gypsum_crust", "absorption_depth", 15 * depth_um(k))
    assert 15 * depth_um(0.45) == pytest.approx(
        material("black_gypsum_crust").get("absorption_depth"), rel=0.1
    )


def test_iron_takes_light_in_at_its_very_surface():
    """0.02 µm by its constants: a hundredth of what heat goes in 100 ns, so it counts as none."""
    reach_um = 1e6 * math.sqrt(4 * diffusivity_m2_s(material("riveted_steel")) * 1e-7)

    assert depth_um(4.322) == pytest.approx(0.02, abs=0.001)
    assert depth_um(4.322) < reach_um / 100
    assert material("riveted_steel").get("absorption_depth", "high") == 0


def test_dark_mica_that_nanosecond_pulses_melted_is_not_ruled_out():
    """BRAND-COMP: biotite melted at 1.5 J/cm²; its hottest is then beyond what is known of it."""
    found = laser.surface_temperature("biotite", fluence_j_cm2=1.5, pulse_ns=10, radius_um=500)

    assert found.peak.high_c > material("biotite").known_to_c
    assert found.may_alter


# -- Melting ---------------------------------------------------------------------------------------


def test_feldspar_melts_with_the_heat_of_albite():
    """15.0 kcal/mol at 1373 K (Stebbins et al. 1983), 262.22 g/mol; 204.82 J/(mol K) at 25 °C."""
    of = material("feldspar")

    assert of.get("latent_heat") == pytest.approx(15.0 * 4.184 / 0.26222, rel=0.01)
    assert of.get("melts_at") == pytest.approx(1373 - 273.15, abs=1)
    assert of.get("heat_capacity") == pytest.approx(204.82 / 0.26222, rel=0.02)


def test_scale_melts_with_the_heat_of_ferrous_oxide():
    """H/R of solid and melt at 1650 K by their polynomials (NASA-TM4513), 71.844 g/mol."""
    at = 1650.0
    terms = (5.8316489, 1.4275156e-3, -9.3208143e-8, -6.5997763e-12, -2.2512143e-14)
    solid = sum(a * at**n / n for n, a in enumerate(terms, 1)) - 34566.902
    melt = 8.2022482 * at - 33848.615
    of = material("mill_scale")

    assert of.get("latent_heat") == pytest.approx(8.314463 * (melt - solid) / 71.844, rel=0.01)
    assert of.get("melts_at") == pytest.approx(at - 273.15, abs=1)

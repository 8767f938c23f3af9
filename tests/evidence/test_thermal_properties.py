"""Properties of the table against the formulas of their sources, over the temperatures of these."""

import numpy as np
import pytest

from heritagecheck.evidence.laser.heat.materials import START_C, material


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


def test_granite_conducts_less_when_it_is_hot():
    """1/(0.24094 + 4.6019e-4 T), T in K: granite of Miao et al. 2014, as tabulated in 2022."""
    at = np.linspace(20, 900, 45)
    printed = 1 / (0.24094 + 4.6019e-4 * (at + 273.15))

    np.testing.assert_allclose(conductivity("granite", at), printed, rtol=0.04)


def test_dark_mica_takes_up_the_heat_of_its_end_members():
    """Annite of Hemingway and Robie 1990, 511.9 g/mol; phlogopite 355.1 J/(mol K), 417.3 g/mol."""
    kelvin = np.linspace(293.15, 1000, 10_001)
    molar = 583.586 + 0.075246 * kelvin - 3420.60 * kelvin**-0.5 - 4.4551e6 * kelvin**-2
    of = material("biotite")

    assert of.get("heat_capacity", "low") == pytest.approx(molar[0] / 0.5119, rel=0.01)
    assert of.get("heat_capacity", "high") == pytest.approx(355.1 / 0.4173, rel=0.01)
    assert heat_by_capacity("biotite", 726.85) == pytest.approx(integral(molar, kelvin), rel=0.02)


def test_feldspar_melts_with_the_heat_of_albite():
    """15.0 kcal/mol at 1373 K (Stebbins et al. 1983), 262.22 g/mol; 204.82 J/(mol K) at 25 °C."""
    of = material("feldspar")

    assert of.get("latent_heat") == pytest.approx(15.0 * 4.184 / 0.26222, rel=0.01)
    assert of.get("melts_at") == pytest.approx(1373 - 273.15, abs=1)
    assert of.get("heat_capacity") == pytest.approx(204.82 / 0.26222, rel=0.02)

"""How published stresses and grain sizes are asked of the package."""

from collections.abc import Callable

import numpy as np

from heritagecheck.evidence import section
from heritagecheck.evidence.section.grain_size import astm_number
from heritagecheck.evidence.section.lattice_strain import stress_of_three

Row = dict[str, str]
Adapter = Callable[[Row], object]
PSI_DEG = np.array([-45.0, -33, -20, 0, 20, 33, 45])
FREE_NM = 0.11702


def given(row: Row) -> dict[str, str]:
    """Inputs of a row, by name, such as E_gpa=1000."""
    return dict(pair.strip().split("=") for pair in row["inputs"].split(";"))


def of_tilts(row: Row) -> object:
    """Stress of the spacings that a strain gives at some tilts, turned by phi."""
    told = {name: float(value) for name, value in given(row).items()}
    strain = np.diag([told["along"], told["across"], 0.0])
    strain[0, 1] = strain[1, 0] = told["shear"] / 2
    # Across, where nothing presses: Hooke's law.
    strain[2, 2] = -told["nu"] / (1 - told["nu"]) * (told["along"] + told["across"])
    turn, tilt = np.radians(told["phi_deg"]), np.radians(PSI_DEG)
    ways = np.stack(
        [np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)], axis=1
    )
    spacing = FREE_NM * (1 + 1e-6 * np.einsum("ki,ij,kj->k", ways, strain, ways))
    half_s2 = 1000 * (1 + told["nu"]) / told["E_gpa"]
    return section.residual_stress(PSI_DEG, spacing, half_s2_per_tpa=half_s2).stress_mpa


def of_strains(row: Row) -> object:
    """One of the stresses of three strains."""
    told = {name: float(value) for name, value in given(row).items()}
    stress, _ = stress_of_three(
        [told["along"], told["across"], told["normal"]],
        youngs_modulus_gpa=told["E_gpa"], poisson=told["nu"],
    )  # fmt: skip
    return stress[int(told["axis"])]


def error_of_strains(row: Row) -> object:
    """Standard error of one of the stresses of three strains, each with its own."""
    told = {name: float(value) for name, value in given(row).items()}
    ways = ("along", "across", "normal")
    _, error = stress_of_three(
        [told[way] for way in ways],
        youngs_modulus_gpa=told["E_gpa"], poisson=told["nu"],
        standard_error_1e6=[told[f"{way}_error"] for way in ways],
    )  # fmt: skip
    return error[int(told["axis"])]


def intercept(row: Row) -> object:
    """Mean intercept of the counts on lines of a magnified picture."""
    told = given(row)
    counts = [float(count) for count in told["counts"].split()]
    line_mm = float(told["line_mm"]) / float(told["magnification"])
    return section.grain_size(counts, line_mm).mean_um


ADAPTERS: dict[str, dict[str, Adapter]] = {
    "section_values.csv": {
        "stress_of_tilts": of_tilts,
        "stress_of_strains": of_strains,
        "stress_error_of_strains": error_of_strains,
        "mean_intercept": intercept,
        "grain_size_number": lambda row: astm_number(float(given(row)["mean_um"])),
    },
}

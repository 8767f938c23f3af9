"""How each published quantity is asked of the package: one adapter a quantity, picking only."""

import csv
from collections.abc import Callable
from functools import cache
from pathlib import Path

import colour_formulas as formulas
import numpy as np

from heritagecheck.evidence import colour
from heritagecheck.evidence.colour import spectra
from heritagecheck.evidence.colour.colour_difference import components, plain_chroma, plain_hue_deg
from heritagecheck.evidence.colour.comparison import SignedEstimate
from heritagecheck.evidence.colour.reading_sets import readings_needed

Row = dict[str, str]
Adapter = Callable[[Row], object]


def lab(row: Row, number: int) -> list[float]:
    """L*, a*, b* of colour 1 or 2 of a row."""
    return [float(row[f"{channel}{number}"]) for channel in "Lab"]


def pair(row: Row) -> tuple[list[float], list[float]]:
    """Both colours of a row."""
    return lab(row, 1), lab(row, 2)


def ciede2000(row: Row) -> object:
    """CIEDE2000 with the row's kL; the package has no other kC and kH than 1."""
    for name in ("kC", "kH"):
        if float(row[name]) != 1:
            raise NotImplementedError(f"{name} = {row[name]} is an unsupported input: only 1 is.")
    return colour.delta_e(*pair(row), k_l=float(row["kL"]))


@cache
def spectrum(folder: str, patch: str) -> tuple[list[float], list[float]]:
    """Wavelengths [nm] and reflectance of a patch, from `colour_spectra.csv` beside its table."""
    beside = Path(folder) / "colour_spectra.csv"
    path = beside if beside.is_file() else Path(__file__).parent / beside.name
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    return [float(r["wavelength_nm"]) for r in rows], [float(r[patch]) for r in rows]


def light(conditions: str) -> tuple[str, int]:
    """Illuminant and observer of conditions such as D65/10."""
    illuminant, _, observer = conditions.partition("/")
    return illuminant, int(observer)


def from_spectrum(to: Callable[..., object], channel: int) -> Adapter:
    """One channel of what a function makes of the row's patch under the row's light."""
    return lambda row: to(
        *spectrum(row["folder"], row["patch"]), *light(row["observer_illuminant"])
    )[channel]


def lightness(row: Row) -> object:
    """L* of a neutral whose Y stands in the row's condition, as Y=50."""
    share = float(row["condition"].removeprefix("Y=")) / 100
    return spectra.lab_from_xyz(share * spectra.white_point())[0]


def munsell(channel: int) -> Adapter:
    """One of x, y, Y of the row's Munsell notation."""
    return lambda row: spectra.xyy_from_munsell(row["munsell"])[channel]


def table(cell: str) -> np.ndarray:
    """Readings of a cell: a bar between readings, a blank between channels."""
    return np.array([[float(value) for value in one.split()] for one in cell.split("|")])


def of_one(name: str, channel: int | None = None) -> Adapter:
    """A field of the natural variation of the row's readings, or one channel of it."""

    def picked(row: Row) -> object:
        found = getattr(formulas.one_set(table(row["data"])), name)
        return found if channel is None else found[channel]

    return picked


def sides(row: Row) -> list[np.ndarray | formulas.Sample]:
    """Both sets of readings of a row, or their summaries."""
    if row["data1"]:
        return [table(row["data1"]), table(row["data2"])]
    return [
        formulas.Sample(table(row[f"mean{k}"])[0], table(row[f"cov{k}"]), int(row[f"n{k}"]))
        for k in "12"
    ]


def hotelling(row: Row) -> formulas.MeanTest:
    """The test of a row: against a known mean where one is given, else of two sets, pooled."""
    if row["mu0"]:
        return formulas.hotelling_against(table(row["data1"]), table(row["mu0"])[0])
    return formulas.hotelling_pooled(*sides(row))


def unequal(row: Row) -> formulas.MeanTest:
    """The test of two sets whose spreads may differ."""
    return formulas.hotelling_unequal(*sides(row))


def welch(row: Row) -> SignedEstimate:
    """Difference in L* of the row's two sets, as they come: the first minus the second."""
    return colour.compare(*sides(row)).dL


ADJUSTMENTS = {
    "Bonferroni": "Bonferroni",
    "Holm 1979": "Holm",
    "Benjamini-Hochberg": "BH",
    "Benjamini-Yekutieli 2001": "BY",
}


def adjusted(row: Row) -> np.ndarray:
    """The row's p-values, adjusted by its method."""
    return formulas.adjusted_p(table(row["p_values"])[0], ADJUSTMENTS[row["method"]])


def coverage_of_t(row: Row) -> object:
    """How often the t interval of a mean holds the true mean, over 15,000 seeded samples."""
    source = np.random.default_rng(2015)
    n = int(row["n"])
    draw = {"normal": source.standard_normal, "exponential": source.standard_exponential}
    centre = {"normal": 0.0, "exponential": 1.0}[row["distribution"]]
    held = 0
    for _ in range(5_000):
        found = formulas.one_set(draw[row["distribution"]]((n, 3)))
        held += np.sum(np.abs(np.subtract(found.mean, centre)) <= found.half_width)
    return held / 15_000


# file → quantity → adapter; a table without a quantity column takes its file's stem as quantity.
ADAPTERS: dict[str, dict[str, Adapter]] = {
    "colour_ciede2000.csv": {"colour_ciede2000": ciede2000},
    "colour_difference_other.csv": {
        "dE76": lambda row: colour.delta_e(*pair(row), "CIE76"),
        "dE94_graphic_arts": lambda row: colour.delta_e(*pair(row), "CIE94"),
        "dE94_textiles": lambda row: colour.delta_e(*pair(row), "CIE94", textiles=True),
        "dE_CMC_2_1": lambda row: colour.delta_e(*pair(row), "CMC", cmc=(2, 1)),
        "dE_CMC_1_1": lambda row: colour.delta_e(*pair(row), "CMC", cmc=(1, 1)),
        "dE00": lambda row: colour.delta_e(*pair(row)),
        "dE00_kL2": lambda row: colour.delta_e(*pair(row), k_l=2),
        "C_ab_1": lambda row: plain_chroma(np.array(lab(row, 1))),
        "h_ab_1": lambda row: plain_hue_deg(*np.array(lab(row, 1)[1:])),
        "dC_ab": lambda row: components(*pair(row)).dC,
        "dH_ab": lambda row: components(*pair(row)).dH,
    },
    "colour_spectral_to_lab.csv": {
        "X": from_spectrum(spectra.xyz_from_reflectance, 0),
        "Y": from_spectrum(spectra.xyz_from_reflectance, 1),
        "Z": from_spectrum(spectra.xyz_from_reflectance, 2),
        "L*": from_spectrum(colour.lab_from_reflectance, 0),
        "a*": from_spectrum(colour.lab_from_reflectance, 1),
        "b*": from_spectrum(colour.lab_from_reflectance, 2),
    },
    "colour_constants.csv": {
        "white point X": lambda row: spectra.white_point(*light(row["condition"]))[0],
        "white point Y": lambda row: spectra.white_point(*light(row["condition"]))[1],
        "white point Z": lambda row: spectra.white_point(*light(row["condition"]))[2],
        "L* from Y/Yn*100": lightness,
    },
    "colour_munsell.csv": {
        "x": munsell(0),
        "y": munsell(1),
        "Y_ASTM_D1535 (perfect diffuser)": munsell(2),
    },
    "stats_sample_size.csv": {
        "n_t": lambda row: readings_needed(
            float(row["s"]), float(row["half_width"]), float(row["confidence"])
        ),
    },
    "stats_colour_readings.csv": {
        **{f"mean_{name}": of_one("mean", k) for k, name in enumerate("Lab")},
        **{f"sd_{name}": of_one("sd", k) for k, name in enumerate("Lab")},
        **{f"CI95_halfwidth_{name}": of_one("half_width", k) for k, name in enumerate("Lab")},
        "MCDM_dE76": of_one("mcdm_ab"),
        "MCDM_dE00": of_one("mcdm"),
        "max_dE76_from_mean": of_one("largest_ab"),
    },
    "stats_two_sample.csv": {
        "welch_df": lambda row: unequal(row).freedom,
        "welch_p": lambda row: unequal(row).p_value,
        "hotelling_T2_pooled": lambda row: hotelling(row).t_squared,
        "hotelling_T2_one_sample": lambda row: hotelling(row).t_squared,
        "hotelling_F": lambda row: hotelling(row).f,
        "hotelling_p": lambda row: hotelling(row).p_value,
        "critical_T2_alpha_0.05": lambda row: hotelling(row).critical(0.95),
        "critical_T2_alpha_0.10": lambda row: hotelling(row).critical(0.90),
        "hotelling_T2_unequal_cov": lambda row: unequal(row).t_squared,
        "hotelling_p_unequal_cov": lambda row: unequal(row).p_value,
        "KY_df": lambda row: unequal(row).freedom,
        "dE76_of_means": lambda row: colour.compare(*sides(row)).delta_e_ab.value,
        "welch_t_on_L": lambda row: welch(row).value / welch(row).standard_error,
        "welch_df_on_L": lambda row: welch(row).degrees_of_freedom,
    },
    "stats_multiple_testing.csv": {
        "number rejected at 0.05": lambda row: (adjusted(row) <= 0.05).sum(),
        "adjusted p of the 4th smallest": lambda row: np.sort(adjusted(row))[3],
    },
    "stats_bootstrap_coverage.csv": {
        "coverage of 95 % t interval for the mean": coverage_of_t,
    },
}

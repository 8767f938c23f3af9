"""How each published quantity is asked of the package: one adapter a quantity, picking only."""

import csv
from collections.abc import Callable
from functools import cache
from pathlib import Path

from heritagecheck.evidence import colour

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
def spectrum(patch: str) -> tuple[list[float], list[float]]:
    """Wavelengths [nm] and reflectance of a patch, from `colour_spectra.csv`."""
    with (Path(__file__).parent / "colour_spectra.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return [float(r["wavelength_nm"]) for r in rows], [float(r[patch]) for r in rows]


def light(conditions: str) -> tuple[str, int]:
    """Illuminant and observer of conditions such as D65/10."""
    illuminant, _, observer = conditions.partition("/")
    return illuminant, int(observer)


def from_spectrum(to: Callable[..., object], channel: int) -> Adapter:
    """One channel of what a function makes of the row's patch under the row's light."""
    return lambda row: to(*spectrum(row["patch"]), *light(row["observer_illuminant"]))[channel]


def lightness(row: Row) -> object:
    """L* of a neutral whose Y stands in the row's condition, as Y=50."""
    share = float(row["condition"].removeprefix("Y=")) / 100
    return colour.lab_from_xyz(share * colour.white_point())[0]


def munsell(channel: int) -> Adapter:
    """One of x, y, Y of the row's Munsell notation."""
    return lambda row: colour.xyy_from_munsell(row["munsell"])[channel]


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
        "C_ab_1": lambda row: colour.chroma(lab(row, 1)),
        "h_ab_1": lambda row: colour.hue_angle_deg(lab(row, 1)),
        "dC_ab": lambda row: colour.components(*pair(row)).dC,
        "dH_ab": lambda row: colour.components(*pair(row)).dH,
    },
    "colour_spectral_to_lab.csv": {
        "X": from_spectrum(colour.xyz_from_reflectance, 0),
        "Y": from_spectrum(colour.xyz_from_reflectance, 1),
        "Z": from_spectrum(colour.xyz_from_reflectance, 2),
        "L*": from_spectrum(colour.lab_from_reflectance, 0),
        "a*": from_spectrum(colour.lab_from_reflectance, 1),
        "b*": from_spectrum(colour.lab_from_reflectance, 2),
    },
    "colour_constants.csv": {
        "white point X": lambda row: colour.white_point(*light(row["condition"]))[0],
        "white point Y": lambda row: colour.white_point(*light(row["condition"]))[1],
        "white point Z": lambda row: colour.white_point(*light(row["condition"]))[2],
        "L* from Y/Yn*100": lightness,
    },
    "colour_munsell.csv": {
        "x": munsell(0),
        "y": munsell(1),
        "Y_ASTM_D1535 (perfect diffuser)": munsell(2),
    },
    "stats_sample_size.csv": {
        "n_t": lambda row: colour.readings_needed(
            float(row["s"]), float(row["half_width"]), float(row["confidence"])
        ),
    },
}

"""How each published quantity is asked of the package: one adapter a quantity, picking only."""

from collections.abc import Callable

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
    "stats_sample_size.csv": {
        "n_t": lambda row: colour.readings_needed(
            float(row["s"]), float(row["half_width"]), float(row["confidence"])
        ),
    },
}

"""How published damage frequencies are asked of the package; picking only."""

from collections.abc import Callable

from heritagecheck.evidence.trials.curves.likelihood import (
    LikelihoodFit,
    StraightLine,
    iso_21254_threshold,
    likelihood_fit,
)

Row = dict[str, str]
Adapter = Callable[[Row], object]


def classes(row: Row) -> list[list[float]]:
    """Dose, sites and damaged sites of the classes of a row."""
    return [[float(one) for one in row[name].split()] for name in ("F_J_cm2", "sites", "damaged")]


def line(row: Row) -> StraightLine:
    """Straight line of ISO 21254-2."""
    return iso_21254_threshold(*classes(row))


def logistic(row: Row) -> LikelihoodFit:
    """Logistic curve of largest likelihood in the fluence itself."""
    return likelihood_fit(*classes(row), scale="linear")


ADAPTERS: dict[str, dict[str, Adapter]] = {
    "laser_damage_probability.csv": {
        "threshold_linear_extrapolation_p0": lambda row: line(row).threshold,
        "slope_linear": lambda row: line(row).slope,
        "F50_logistic_MLE": lambda row: logistic(row).dose_at(0.5),
        "F01_logistic_MLE": lambda row: logistic(row).dose_at(0.01),
        "logistic_slope": lambda row: logistic(row).slope,
    },
}

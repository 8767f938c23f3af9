"""How published damage frequencies are asked of the package; picking only."""

from collections.abc import Callable

import numpy as np
from scipy.optimize import minimize

from heritagecheck.evidence.trials.curves.curve_weaknesses import StraightLine, straight_line
from heritagecheck.evidence.trials.curves.likelihood import log_likelihoods

Row = dict[str, str]
Adapter = Callable[[Row], object]


def classes(row: Row) -> np.ndarray:
    """Dose, sites and damaged sites of the classes of a row."""
    return np.array([row[name].split() for name in ("F_J_cm2", "sites", "damaged")], dtype=float)


def line(row: Row) -> StraightLine:
    """Straight line of ISO 21254-2, laid through the spots one by one."""
    dose, sites, damaged = classes(row)
    outcome = [np.arange(n) < hit for n, hit in zip(sites.astype(int), damaged, strict=True)]
    found = straight_line(np.repeat(dose, sites.astype(int)), np.concatenate(outcome))
    assert found is not None
    return found


def logistic(row: Row) -> tuple[float, float]:
    """Dose of 50 % and slope where the likelihood of our curves is largest, dose as it is."""
    dose, sites, damaged = classes(row)
    first, group = np.array([0, dose.size]), np.zeros(1, dtype=np.int64)

    def depth(place: np.ndarray) -> float:
        half, spread = place[:1], np.exp(place[1:])
        return -log_likelihoods(
            dose[None], sites, damaged, first, group, half, half[:0], spread, np.zeros(1),
            np.array([[0, 1]]),
        ).item()  # fmt: skip

    found = minimize(
        depth, [dose.mean(), np.log(dose.std())], method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-13, "maxiter": 4000},
    ).x  # fmt: skip
    return float(found[0]), float(np.exp(-found[1]))


def first_percent(row: Row) -> float:
    """Dose of 1 % on that curve."""
    half, slope = logistic(row)
    return half + float(np.log(0.01 / 0.99)) / slope


ADAPTERS: dict[str, dict[str, Adapter]] = {
    "laser_damage_probability.csv": {
        "threshold_linear_extrapolation_p0": lambda row: line(row).threshold,
        "slope_linear": lambda row: line(row).slope,
        "F50_logistic_MLE": lambda row: logistic(row)[0],
        "F01_logistic_MLE": first_percent,
        "logistic_slope": lambda row: logistic(row)[1],
    },
}

"""How published agreement, ranks and comparisons are asked of the package; picking only."""

import re
from collections.abc import Callable

import decision_formulas as formulas
import numpy as np

from heritagecheck.judgement.elicitation import Priorities, priorities
from heritagecheck.judgement.rater_agreement import Level, kendalls_w, krippendorff_alpha
from heritagecheck.judgement.weights_at_stake import share_favouring

Row = dict[str, str]
Adapter = Callable[[Row], object]


def table(cell: str) -> np.ndarray:
    """Rows between bars, values between blanks; * stands for what is missing."""
    rows = cell.split("|")
    return np.array([[float(v.replace("*", "nan")) for v in row.split()] for row in rows])


def alpha(level: Level) -> Adapter:
    """Krippendorff's alpha of a row of observers."""
    return lambda row: krippendorff_alpha(table(row["data"]), level)


def chi2(row: Row) -> object:
    """Chi-squared of Kendall's W of a row of subjects."""
    ratings = table(row["data"]).T
    return formulas.kendalls_chi2(kendalls_w(ratings), *ratings.shape)


def comparisons(row: Row) -> Priorities:
    """What a matrix of comparisons gives."""
    return priorities(table(row["matrix"]))


def weight(place: int) -> Adapter:
    """One weight of a matrix of comparisons."""
    return lambda row: comparisons(row).weights[place - 1]


def which(row: Row) -> int:
    """Place of the option of a row."""
    return int(row["alternative"]) - 1


def acceptability(row: Row) -> object:
    """Share of the weights of two criteria that give an option its rank."""
    return formulas.rank_acceptability(table(row["performance"]), which(row), int(row["rank"]))


def central_weight(row: Row) -> object:
    """Mean first weight of those that put an option first."""
    return formulas.central_weight(table(row["performance"]), which(row))


def first_rank(row: Row) -> object:
    """Share of all weights that put the first of two options first; or of normal criteria."""
    if row["weights"].startswith("fixed w1="):
        share = float(row["weights"].removeprefix("fixed w1="))
        pairs = [
            [float(value) for value in one.split()]
            for one in re.findall(r"\(([^)]+)\)", row["performance"])
        ]
        means, deviations = np.array(pairs[:2]), np.array(pairs[2:])
        return formulas.first_rank_of_normals(means, deviations, np.array([share, 1 - share]))
    first, second = table(row["performance"])
    return share_favouring((first - second)[:, None])


LEVELS: tuple[Level, ...] = ("nominal", "ordinal", "interval")
ADAPTERS: dict[str, dict[str, Adapter]] = {
    "decision_agreement.csv": {
        f"krippendorff_alpha_{level}{digits}": alpha(level)
        for level in LEVELS
        for digits in ("", " (six decimals)")
    }
    | {
        "kendall_W_tie_corrected": lambda row: kendalls_w(table(row["data"]).T),
        "kendall_W_chi2": chi2,
    },
    "decision_ahp.csv": {
        "weight_1": weight(1),
        "weight_2": weight(2),
        "weight_3": weight(3),
        "lambda_max": lambda row: comparisons(row).largest_eigenvalue,
        "consistency_index": lambda row: comparisons(row).consistency_index,
        "consistency_ratio": lambda row: comparisons(row).consistency_ratio,
    },
    "decision_smaa.csv": {
        "rank_acceptability": acceptability,
        "central_weight_w1": central_weight,
        "first_rank_acceptability": first_rank,
    },
}

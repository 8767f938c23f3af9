"""Shares of simulations held against how often treating truly did less harm."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from heritagecheck.judgement.gates.gate import PASSED
from heritagecheck.judgement.gates.series_verdict import TrialVerdict
from heritagecheck.judgement.recommendation import Recommendation
from known_truth.compare import dose_of, markdown
from known_truth.surveyor import Sheet

Array = NDArray[np.float64]
LAST_BEFORE_TRIALS = 6  # gate


def calibration_table(pairs: Sequence[tuple[Sheet, Recommendation]]) -> str:
    """
    Shares of simulations against how often treating truly did less harm.

    Parameters
    ----------
    pairs : sequence of tuple of Sheet and Recommendation
        Zones and last answers. Counted is every option weighed, where gates 1 to 6 pass: what goes
        on whether a zone is treated or not is theirs to stop, and in no share.

    Returns
    -------
    str
        Brier score, and Markdown.
    """
    found = []
    for what in ("whose panels pass gate 7", "whose panels do not", "untried"):
        said, true = [], []
        for sheet, answer in pairs:
            if any(gate.result != "passed" for gate in answer.gates[:LAST_BEFORE_TRIALS]):
                continue
            place = sheet.place
            for key, test in answer.against_leaving.items():
                method, trial = key.method, answer.trials.get(key)
                if what != _kind(trial):
                    continue
                dose = dose_of(answer, key, place.acts[method])
                said.append(float(np.mean(list(test.shares.values()))))
                true.append(place.harm_of_cleaning(method, dose) < place.harm_of_leaving)
        found.append(f"Options {what}: {_calibration(np.array(said), np.array(true))}")
    return "\n\n".join(found)


def _kind(trial: TrialVerdict | None) -> str:
    """What panels say of an option."""
    if trial is None:
        return "untried"
    return "whose panels pass gate 7" if trial.result == PASSED else "whose panels do not"


def _calibration(shares: Array, came: Array) -> str:
    """Brier score and table of some options."""
    if not len(shares):
        return "none was weighed."
    edges = np.array([0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 1.0001])
    lines = []
    for low, high in pairwise(edges):
        inside = (shares >= low) & (shares < high)
        if inside.any():
            lines.append(
                (f"{100 * low:.0f} to {100 * min(high, 1):.0f} %", int(inside.sum()),
                 f"{100 * shares[inside].mean():.0f} %", f"{100 * came[inside].mean():.0f} %")
            )  # fmt: skip
    score = float(np.mean((shares - came) ** 2))
    base = float(came.mean() * (1 - came.mean()))
    return f"Brier score {score:.3f}, against {base:.3f} with one share for all\n\n" + markdown(
        ("share of simulations", "options", "mean share given", "truly less harm"), lines
    )

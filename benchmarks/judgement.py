"""
Holds the answers of an assessment against a simulation whose truth is known.

    .venv/bin/python benchmarks/judgement.py              # 800 zones
    .venv/bin/python benchmarks/judgement.py --zones 80   # some

Prints the tables of docs/judgement.md. `known_truth/truth.py` says what is drawn and why.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from datetime import date, timedelta
from functools import partial

import numpy as np
from known_truth.calibration import calibration_table
from known_truth.campaign import Effort, effort_asked, lay
from known_truth.compare import outcomes_table, regret_table
from known_truth.gate_seven import gate_seven_table
from known_truth.misses import misses_table
from known_truth.surveyor import BEGUN, Sheet, policy_row, sheet, survey_of
from known_truth.truth import place

import heritagecheck as hc
from heritagecheck.evidence.trials.damaged_fields import agreed_damage
from heritagecheck.judgement.gates.panel_damage import damage_prior
from heritagecheck.judgement.options import options_for
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.survey.records import AgreedPolicy
from heritagecheck.tables import threshold

CHUNK = 20  # zones that one process follows from the first visit to the last answer
CAMPAIGNS = 2
BESIDE = 2  # methods that clean, laid side by side in one campaign


def quiet(done: int, of: int) -> None:
    """Tell nothing of how far an assessment is."""


def assessed(sheets: list[Sheet], closed: date) -> list[Recommendation]:
    """Assess zones by the policy of their survey."""
    return list(hc.assess(survey_of(sheets, closed), progress=quiet).recommendations)


def to_be_tried(found: Recommendation) -> list[str]:
    """Methods that an answer names, in order: the one carried on first, then those untried."""
    if found.outcome != "trial first" or found.method is None:
        return []
    tried = {key.method for key in found.trials}
    carried = [
        found.method
        for key, one in found.trials.items()
        if key.method == found.method and one.needs_panels
    ]
    named = [method for method in (found.method, *found.candidates) if method not in tried]
    return list(dict.fromkeys([*carried, *named]))


def promising(one: Sheet, method: str) -> bool:
    """Whether the day's panels clean, are no more damaged than agreed, and fit to be coated."""
    panels = [row for row in one.panels if row["method"] == method]
    names = {row["panel"] for row in panels}
    salts = [
        row["value"] for row in one.tests
        if row["panel"] in names and row["quantity"] == "chloride_ug_cm2"
    ]  # fmt: skip
    fields, damaged, before = (
        sum(row[name] for row in panels)
        for name in ("x50_fields", "damaged_fields", "damaged_before")
    )
    seen = agreed_damage(AgreedPolicy(**policy_row()))[one.place.significance].seen
    return (
        max(row["residual_pct"] for row in panels) <= threshold("residual_soiling_max_pct")
        and all(row.get("grade_reached", "yes") == "yes" for row in panels)
        and max(salts, default=0) <= threshold("chloride_max_ug_cm2")
        # A field too many may be a slip that more panels outweigh.
        and damaged - before <= seen * fields + 1
    )


def planned(found: Recommendation, method: str) -> Effort:
    """Effort that the planner asks for of a method on a zone."""
    evidence = found.evidence
    option = next(one for one in options_for(evidence) if one.method == method)
    return effort_asked(evidence.zone.significance, damage_prior(evidence, option))


def followed(seed: int, numbers: Iterable[int]) -> list[tuple[Sheet, Recommendation]]:
    """Survey some zones, complete the records, and try twice what the answers ask for."""
    draws = [np.random.default_rng([seed, number]) for number in numbers]
    sheets = [
        sheet(rng, place(rng, f"Z{number:04}")) for rng, number in zip(draws, numbers, strict=True)
    ]
    for one in sheets:
        one.second_visit()
    day = BEGUN
    answers = assessed(sheets, day)
    for _ in range(CAMPAIGNS):
        begun, worked = day + timedelta(days=30), []
        for place_at, (one, found) in enumerate(zip(sheets, answers, strict=True)):
            good = 0
            for method in to_be_tried(found):
                effort = planned(found, method)
                read_on = lay(draws[place_at], one, method, begun, effort)
                day = max(day, read_on + timedelta(days=10))
                worked.append(place_at)
                # What fails on the day is followed by the next one named, until two stand.
                good += promising(one, method)
                if good == BESIDE:
                    break
        again = sorted(set(worked))
        for place_at, found in zip(again, assessed([sheets[at] for at in again], day), strict=True):
            answers[place_at] = found
    return list(zip(sheets, answers, strict=True))


def main() -> None:
    """Print everything as Markdown."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--zones", type=int, default=800)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    begun = time.perf_counter()
    chunks = [range(at, min(at + CHUNK, given.zones)) for at in range(0, given.zones, CHUNK)]
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        pairs = [one for part in pool.map(partial(followed, given.seed), chunks) for one in part]
    tables: dict[str, Callable[[], str]] = {
        "Missed and unsafe": lambda: outcomes_table(pairs),
        "Regret": lambda: regret_table(pairs),
        "Shares of simulations": lambda: calibration_table(pairs),
        "Why useful and safe cleaning is missed": lambda: misses_table(pairs),
        "Gate 7": lambda: gate_seven_table(given.seed, max(2, given.zones // 20)),
    }
    for title, words in tables.items():
        print(f"## {title}\n\n{words()}\n", flush=True)
    print(f"{given.zones} zones, seed {given.seed}, {time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()

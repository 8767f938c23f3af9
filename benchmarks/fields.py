"""How often panels and spots of a setting of known harm pass gate 7's questions of damage.

Run: ``python benchmarks/fields.py`` for the tables of docs/damage_evidence.md, seed 1.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize
from scipy.special import expit

from heritagecheck.evidence.trials.curves.dose_response import dose_response
from heritagecheck.evidence.trials.curves.plan import plan_trial
from heritagecheck.evidence.trials.curves.window import tested_window
from heritagecheck.evidence.trials.damaged_fields import (
    NO_PRIOR,
    DamageLimits,
    FieldsRead,
    chance_to_pass,
    most_damaged,
    plan_fields,
)
from heritagecheck.judgement.policy import Policy
from heritagecheck.tables import threshold

SHARES = (0.003, 0.01, 0.03, 0.05)
TIMES = (1, 2, 4)
DOSES = np.geomspace(0.25, 4, 9)
ASKED = 1.3


@dataclass(frozen=True, slots=True)
class World:
    """How panels differ, in logits or in log dose, and how steep removal and damage are."""

    in_logits: float
    in_dose: float
    alike: float  # correlation of removal with damage
    spreads: tuple[float, float]

    def place(self, share: float, spread: float) -> float:
        """Log dose, from the middle, at which a share of spots of all panels is hit."""
        nodes, weights = np.polynomial.hermite_e.hermegauss(80)

        def over(place: float) -> float:
            eta = (place - self.in_dose * nodes) / spread + self.in_logits * nodes
            return float(weights @ expit(eta) / weights.sum() - share)

        return float(optimize.brentq(over, -9, 9))


WORLDS = {
    "as rated": World(0.6, 0.0, 0.0, (0.12, 0.25)),
    "as rated, in opposite ways": World(0.6, 0.0, -1.0, (0.12, 0.25)),
    "by 1.35 in dose": World(0.0, math.log(1.35), 0.0, (0.1, 0.1)),
    "by 1.35 in dose, in opposite ways": World(0.0, math.log(1.35), -1.0, (0.1, 0.1)),
}


def fields(draws: np.random.Generator, trials: int) -> None:
    """Chance to pass bound and share seen, and what is then parted as a place of its own."""
    shares = " | ".join(f"{100 * share:g} %" for share in SHARES)
    print(
        f"| significance | panels × fields | correlation | {shares} | limit | 2 × limit | "
        "apart at 1 % |"
    )
    print("|---|---|---|" + "---|" * (len(SHARES) + 3))
    for grade in ("low", "medium", "high"):
        limits = Policy().damage(grade)
        plan = plan_fields(limits, int(threshold(f"planned_fields_{grade}")))
        for times in TIMES:
            laid = (plan.fields,) * (plan.likely * times)
            for alike in (0.0, threshold("panel_correlation")):
                found = [
                    chance_to_pass(laid, share, limits, correlation=alike)
                    for share in (*SHARES, limits.bound, 2 * limits.bound)
                ]
                apart = parted(draws, laid, limits, alike, trials)
                print(f"| {grade} | {len(laid)} × {plan.fields} | {alike:g} | "
                      + " | ".join(f"{100 * one:.1f}" for one in found)
                      + f" | {100 * apart:.1f} |")  # fmt: skip


def parted(
    draws: np.random.Generator,
    laid: tuple[int, ...],
    limits: DamageLimits,
    alike: float,
    trials: int,
) -> float:
    """Share of passing trials at 1 % in which one panel is parted as a place of its own."""
    share = np.full((trials, len(laid)), 0.01)
    if alike:
        scale = (1 - alike) / alike
        share = draws.beta(0.01 * scale, 0.99 * scale, size=share.shape)
    damaged = draws.binomial(laid, share)
    passing = damaged[damaged.sum(axis=1) <= most_damaged(laid, limits, NO_PRIOR)]
    found = [
        FieldsRead(tuple(row), laid).apart(limits.seen) is not None for row in passing.tolist()
    ]
    return float(np.mean(found))


def spots(draws: np.random.Generator, trials: int) -> None:
    """How often the margin's lower bound lies above the truth, and how often it reaches 1.3."""
    print(
        "\n| panels differ | true margin | laid | lower bound, median | above truth | reaches 1.3 |"
    )
    print("|---|---|---|---|---|---|")
    for name, world in WORLDS.items():
        for margin in (1.3, 2.0, 3.0):
            for panels in (3, 6, None):
                lows = np.array([one_margin(draws, world, margin, panels) for _ in range(trials)])
                laid = "as planned" if panels is None else f"{panels} panels of a ladder"
                shares = " | ".join(f"{100 * np.mean(found):.1f} %"
                                    for found in (lows > margin, lows >= ASKED))  # fmt: skip
                print(f"| {name} | {margin:g} | {laid} | {np.median(lows):.2f} | {shares} |",
                      flush=True)  # fmt: skip


def one_margin(
    draws: np.random.Generator, world: World, margin: float, panels: int | None
) -> float:
    """Lower bound of the margin of one drawn trial, on panels of a ladder or as planned."""
    plan = plan_trial(0.25, 6, confidence=0.975, margin=ASKED, spots_per_panel=10)
    ladder = np.repeat(DOSES if panels else plan.settings, 2 if panels else 5)
    tilt = draws.normal(size=(2, panels or plan.panels))
    tilt[1] = world.alike * tilt[0] + np.sqrt(1 - world.alike**2) * tilt[1]
    # Doses of the ladder lie anywhere about the one that cleans.
    cleans = np.log(0.6) + draws.uniform(-0.17, 0.17) - world.place(0.9, world.spreads[0])
    damages = cleans + world.place(0.9, world.spreads[0]) + np.log(margin)
    damages -= world.place(0.25, world.spreads[1])

    def lay(doses: ArrayLike, on: int) -> list[tuple[float, str, bool, bool]]:
        doses = np.tile(doses, on)
        panel = np.repeat(np.arange(on), doses.size // on)
        hits = [
            draws.random(doses.size) < expit(
                (np.log(doses) - middle - world.in_dose * z[panel]) / spread
                + world.in_logits * z[panel]
            )
            for middle, spread, z in zip((cleans, damages), world.spreads, tilt, strict=True)
        ]  # fmt: skip
        return list(zip(doses, [f"P{one:02}" for one in panel], *hits, strict=True))

    laid = lay(ladder, panels or plan.replicates)
    if panels is None:
        hits = {dose: [one[2:] for one in laid if one[0] == dose] for dose in plan.settings}
        recurs = [dose for dose, each in hits.items() if sum(hit for _, hit in each) > 1]
        laid = [one for one in laid if one[0] <= min(recurs, default=math.inf)]
        cleaned = [dose for dose, each in hits.items() if np.mean([hit for hit, _ in each]) >= 0.9]
        if cleaned and cleaned[0] <= laid[-1][0]:
            chosen = np.repeat([cleaned[0], ASKED * cleaned[0]], plan.spots_per_panel)
            laid += lay(chosen, plan.panels)
    dose, panel, cleaned, damaged = zip(*laid, strict=True)
    curves = [dose_response(dose, hit, panel=panel) for hit in (cleaned, damaged)]
    return tested_window(*curves, damage_limit=0.25).margin_low


def main() -> None:
    """Print both tables."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--trials", type=int, default=2000, help="drawn trials of fields a row")
    asked.add_argument("--spots", type=int, default=12, help="drawn trials of spots a row")
    given = asked.parse_args()
    draws = np.random.default_rng(1)
    fields(draws, given.trials)
    spots(draws, given.spots)


if __name__ == "__main__":
    main()

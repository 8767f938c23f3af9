"""How often panels and spots of a setting of known harm pass gate 7's questions of damage.

Run: ``python benchmarks/fields.py`` for the tables of docs/damage_evidence.md, seed 1.
"""

from __future__ import annotations

import argparse

import numpy as np
from scipy.special import expit, logit

from heritagecheck.evidence._trials.dose import dose_response
from heritagecheck.evidence._trials.window import tested_window
from heritagecheck.evidence.damaged_fields import DamageLimits, FieldsRead
from heritagecheck.evidence.field_effort import NO_PRIOR, chance_to_pass, most_damaged, plan_fields
from heritagecheck.judgement.policy import Policy
from heritagecheck.tables import threshold

SHARES = (0.003, 0.01, 0.03, 0.05)
TIMES = (1, 2, 4)
DOSES = np.geomspace(0.25, 4, 9)
PANEL_SD = 0.6  # of the logits: the rated correlation of 0.1


def fields(draws: np.random.Generator, trials: int) -> None:
    """Chance to pass bound and share seen, and what is then parted as a place of its own."""
    shares = " | ".join(f"{100 * share:g} %" for share in SHARES)
    print(
        f"| significance | panels × fields | alike | {shares} | limit | 2 × limit | apart at 1 % |"
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
    """Chance that the margin's lower bound reaches 1.3, for margins truly above and below it."""
    print("\n| true margin | panels | spots | margin's lower bound, median | reaches 1.3 |")
    print("|---|---|---|---|---|")
    for margin in (1.0, 2.0, 3.0):
        for panels, each in ((2, 2), (4, 2), (4, 4), (6, 4), (10, 4), (16, 4)):
            lows = [one_margin(draws, margin, panels, each) for _ in range(trials)]
            print(f"| {margin:g} | {panels} | {panels * each * DOSES.size} | "
                  f"{np.median(lows):.2f} | {100 * np.mean(np.array(lows) >= 1.3):.0f} |",
                  flush=True)  # fmt: skip


def one_margin(draws: np.random.Generator, margin: float, panels: int, each: int) -> float:
    """Lower bound of the margin of one drawn trial; 90 % come clean at 0.6."""
    dose = np.tile(np.repeat(DOSES, each), panels)
    panel = np.repeat(np.arange(panels), DOSES.size * each)
    shifts = draws.normal(0, PANEL_SD, (2, panels))

    def drawn(place: float, spread: float, shift: np.ndarray) -> np.ndarray:
        return draws.random(dose.size) < expit((np.log(dose) - place) / spread + shift[panel])

    cleaned = drawn(np.log(0.6) - 0.12 * logit(0.9), 0.12, shifts[0])
    damaged = drawn(np.log(0.6 * margin) - 0.25 * logit(0.25), 0.25, shifts[1])
    names = [f"P{one:02}" for one in panel]
    window = tested_window(
        dose_response(dose, cleaned, panel=names), dose_response(dose, damaged, panel=names),
        damage_limit=0.25,
    )  # fmt: skip
    return window.margin_low


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

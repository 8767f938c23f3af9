"""
Times dose-response fits, and counts how often their intervals hold.

    .venv/bin/python benchmarks/trials.py             # times
    .venv/bin/python benchmarks/trials.py --coverage  # minutes; the tables of docs/dose_response.md
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import time
from importlib.metadata import version
from typing import Any

import numpy as np
from scipy import optimize
from scipy.special import expit

from heritagecheck.evidence.trials.curves.dose_response import dose_response

ROUNDS = 5
LADDER = np.geomspace(0.5, 4, 5)
TRIALS = 200
PULSES = (1.0, 10.0, 100.0)
ASKED = (1, 10, 100, 1000)


def trial(
    generator: np.random.Generator, count: int, panels: int, spread: float, sd: float
) -> tuple[Any, float]:
    """One simulated trial, fitted, and its true log dose of 50 %."""
    half = np.log(generator.uniform(0.8, 3))
    dose = np.resize(LADDER, count)
    panel = (np.arange(count) // LADDER.size) % panels
    shift = sd * generator.normal(size=panels)
    p = expit((np.log(dose) - half) / spread + shift[panel])
    happened = generator.random(count) < p
    labels = None if panels == 1 else [f"P{k}" for k in panel]
    return dose_response(dose, happened, panel=labels), float(half)


def marginal(eta: float, sd: float) -> float:
    """Share over panels whose logits scatter by sd."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    return float((weights * expit(eta + sd * nodes)).sum() / weights.sum())


def coverage() -> None:
    """Count how often central intervals of 95 % hold the truth."""
    print(f"{TRIALS} trials a row; standard error about 1.5 % at 95 %")
    names = ("spread", "spots", "panels", "sd of panels", "dose 50 %", "dose 10 %")
    print("|", " | ".join([*names, "P at 0.5", "P at 1.2", "P at 2.4"]), "|")
    print("|---" * 9 + "|")
    designs = [(n, 1, 0.0) for n in (10, 20, 40)]
    designs += [(n, j, sd) for n, j in ((20, 2), (40, 2), (40, 4)) for sd in (0.0, 0.6, 1.2)]
    for spread in (0.1, 0.25, 0.6):
        for count, panels, sd in designs:
            print(row_of(spread, count, panels, sd), flush=True)
    coverage_of_conditions()


def coverage_of_conditions() -> None:
    """Count the same where spots differ in pulses, or in pulses and wetness."""
    names = ("b", "c", "panels", "b, 90 %", "c, 90 %", *(f"dose 50 % at {n}" for n in ASKED))
    print("|", " | ".join([*names, "P at 1.2, 100"]), "|")
    print("|---" * 10 + "|")
    for panels in (1, 3):
        for b in (0.0, 0.2, 0.5, 0.9, None):
            print(row_of_conditions(b, None, panels), flush=True)
    for c in (-0.7, 0.0, 0.7):
        print(row_of_conditions(0.3, c, 1), flush=True)


def varied_trial(
    generator: np.random.Generator, half: float, b: float, c: float | None, panels: int
) -> dict[str, Any]:
    """Spots at all doses and pulses, wet and dry where water acts; each panel carries them all."""
    water = [0, 1] if c is not None else [0]
    one = np.array(np.meshgrid(LADDER, PULSES, water)).reshape(3, -1)
    dose, pulses, wet = np.tile(one, 3)
    panel = np.repeat(np.arange(3), one.shape[1])
    shift = 0.6 * generator.normal(size=3) * (panels > 1)
    eta = (np.log(dose) - half + b * np.log(pulses / 10) + (c or 0.0) * wet) / 0.25
    given = {
        "dose": dose, "happened": generator.random(dose.size) < expit(eta + shift[panel]),
        "panel": [f"P{k}" for k in panel] if panels > 1 else None, "pulses": pulses,
    }  # fmt: skip
    return given if c is None else given | {"wet": wet.astype(bool), "at_wet": False}


def row_of_conditions(b: float | None, c: float | None, panels: int) -> str:
    """One row of the table of coverage under conditions that vary; b even in 0 to 1 for None."""
    generator = np.random.default_rng(1)
    held = np.zeros(7)
    for _ in range(TRIALS):
        power = generator.uniform() if b is None else b
        half = np.log(generator.uniform(0.8, 3))
        given = varied_trial(generator, half, power, c, panels)
        for k, asked in enumerate(ASKED):
            fit = dose_response(**given, at_pulses=asked)
            at, moved = fit.dose_at(0.5), half - power * np.log(asked / 10)
            held[2 + k] += at.low <= np.exp(moved) <= at.high
            if asked == 100:
                share = fit.probability(1.2)
                truth = marginal((np.log(1.2) - moved) / 0.25, 0.6 * (panels > 1))
                held[6] += float(share.low) <= truth <= float(share.high)
        held[0] += fit.pulse_effect.low <= power <= fit.pulse_effect.high
        if c is not None:
            held[1] += fit.wet_effect.low <= c <= fit.wet_effect.high
    cells = [f"{100 * one / TRIALS:.1f}" for one in held]
    cells[1] = "" if c is None else cells[1]
    first = ("even" if b is None else f"{b:g}", "" if c is None else f"{c:g}")
    named = str(panels) if panels > 1 else "not named"
    return f"| {' | '.join([*first, named, *cells])} |"


def row_of(spread: float, count: int, panels: int, sd: float) -> str:
    """One row of the table of coverage."""
    generator = np.random.default_rng(1)
    held = np.zeros(5)
    tenth = optimize.brentq(lambda eta: marginal(eta, sd) - 0.1, -30, 0)
    for _ in range(TRIALS):
        fit, half = trial(generator, count, panels, spread, sd)
        for k, (p, eta) in enumerate(((0.5, 0.0), (0.1, tenth))):
            at = fit.dose_at(p)
            held[k] += at.low <= np.exp(half + spread * eta) <= at.high
        for k, dose in enumerate((0.5, 1.2, 2.4)):
            truth = marginal((np.log(dose) - half) / spread, sd)
            share = fit.probability(dose)
            held[2 + k] += float(share.low) <= truth <= float(share.high)
    cells = " | ".join(f"{100 * one / TRIALS:.1f}" for one in held)
    return f"| {spread:g} | {count} | {panels if panels > 1 else 'not named'} | {sd:g} | {cells} |"


def single_fits() -> None:
    """Seconds of one fit of 40 spots: with panels, groups, and conditions that vary."""
    generator = np.random.default_rng(2)
    dose = np.repeat(np.geomspace(0.5, 4, 8), 5)
    happened = generator.random(40) < expit(np.log(dose / 1.5) / 0.2)
    panel = [f"P{k % 4}" for k in range(40)]
    group = [("biotite", "feldspar", "quartz")[k % 3] for k in range(40)]
    pulses = [(1, 5, 20)[k % 3] for k in range(40)]
    wet = {"wet": [k % 5 > 2 for k in range(40)]}
    for what, settings in (
        ("no panels", {}),
        ("four panels", {"panel": panel}),
        ("four panels, three groups", {"panel": panel, "group": group}),
        ("pulses vary", {"pulses": pulses}),
        ("pulses vary, four panels", {"pulses": pulses, "panel": panel}),
        ("pulses and wetness vary, four panels", {"pulses": pulses, "panel": panel, **wet}),
        ("the same, three groups", {"pulses": pulses, "panel": panel, "group": group, **wet}),
    ):
        dose_response(dose, happened, **settings)
        seconds = []
        for _ in range(ROUNDS):
            begun = time.perf_counter()
            dose_response(dose, happened, **settings)
            seconds.append(time.perf_counter() - begun)
        print(f"fit of 40 spots, {what}: {1e3 * statistics.median(seconds):.0f} ms")


def main() -> None:
    """Print where it runs, then the figures asked for."""
    libraries = ", ".join(f"{k} {version(k)}" for k in ("numpy", "scipy"))
    print(f"Python {platform.python_version()}, {libraries}, {os.cpu_count()} cores")
    print("load before", *(f"{one:.2f}" for one in os.getloadavg()))
    if "--coverage" in sys.argv:
        coverage()
    else:
        single_fits()
    print("load after", *(f"{one:.2f}" for one in os.getloadavg()))


if __name__ == "__main__":
    main()

"""
Times dose-response fits against general-purpose libraries, and counts how often intervals hold.

    .venv/bin/python benchmarks/trials.py             # times; statsmodels only where installed
    .venv/bin/python benchmarks/trials.py --coverage  # minutes; the tables of docs/dose_response.md

statsmodels is no dependency of the package.
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import time
from collections.abc import Callable
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np
from scipy import optimize, stats
from scipy.special import expit

from heritagecheck.evidence.trials.curves.curve import dose_response
from heritagecheck.evidence.trials.curves.likelihood import Link, likelihood_fit, profile_interval

DOSES = np.geomspace(0.2, 8, 8)
SITES = np.full(8, 20)
ROUNDS = 5
LADDER = np.geomspace(0.5, 4, 5)
TRIALS = 200
PULSES = (1.0, 10.0, 100.0)
ASKED = (1, 10, 100, 1000)
LINKS: tuple[Link, ...] = ("logit", "cloglog")


def installed(name: str) -> str:
    """Version of a library, or that it is not there."""
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def counts(panels: int, refits: int, link: Link, seed: int = 0) -> np.ndarray:
    """Damaged spots of parametric bootstrap refits, shape (panels * refits, doses)."""
    generator = np.random.default_rng(seed)
    intercept = generator.normal(-0.5, 0.6, panels)
    slope = generator.uniform(0.9, 2.2, panels)
    eta = intercept[:, None] + slope[:, None] * np.log(DOSES)
    p = expit(eta) if link == "logit" else -np.expm1(-np.exp(eta))
    return generator.binomial(20, p, (refits, panels, DOSES.size)).reshape(-1, DOSES.size)


def in_turn(ours: Callable[[], Any], peer: Callable[[], Any]) -> tuple[list[float], list[float]]:
    """Seconds of both, called in turn after one uncounted call each."""
    ours()
    peer()
    found: tuple[list[float], list[float]] = ([], [])
    for _ in range(ROUNDS):
        for call, seconds in zip((ours, peer), found, strict=True):
            begun = time.perf_counter()
            call()
            seconds.append(time.perf_counter() - begun)
    return found


def report(what: str, ours: list[float], peer: list[float], n_ours: int, n_peer: int) -> None:
    """Print microseconds a fit of both, ratio of medians, and of minimums."""
    a, b = statistics.median(ours) / n_ours, statistics.median(peer) / n_peer
    least = (min(peer) / n_peer) / (min(ours) / n_ours)
    print(
        f"{what}: {1e6 * a:.2f} µs against {1e6 * b:.0f} µs a fit, "
        f"x{b / a:.0f} (of minimums x{least:.0f})"
    )


def refits(link: Link) -> None:
    """Targets 4 and 4b: bootstrap refits against statsmodels, one fit at a time."""
    if installed("statsmodels") == "not installed":
        print(f"refits, {link}: peer not installed (statsmodels)")
        return
    import statsmodels.api as sm

    design = sm.add_constant(np.log(DOSES))
    family = sm.families.Binomial(
        sm.families.links.Logit() if link == "logit" else sm.families.links.CLogLog()
    )

    def peer(rows: np.ndarray, tolerance: float) -> np.ndarray:
        return np.array(
            [
                sm.GLM(np.column_stack([row, SITES - row]), design, family=family)
                .fit(tol=tolerance, tol_criterion="params")
                .params
                for row in rows
            ]
        )

    for what, panels, each in (("many panels", 500, 40), ("one panel x 2000", 1, 2000)):
        rows = counts(panels, each, link)
        some = rows[:: max(1, len(rows) // 100)]
        fit = likelihood_fit(DOSES, SITES, rows, link=link)
        seconds = in_turn(
            lambda rows=rows: likelihood_fit(DOSES, SITES, rows, link=link),
            lambda some=some: peer(some, 1e-8),
        )
        report(f"refits, {link}, {what}", *seconds, len(rows), len(some))
        exact = peer(some, 1e-14)
        mine = likelihood_fit(DOSES, SITES, some, link=link)
        off = np.abs(np.column_stack([mine.intercept, mine.slope]) - exact).max()
        parted = int((fit.state != "fitted").sum())
        print(f"  largest difference {off:.1e}; without a finite fit {parted} of {len(rows)}")


def profiles() -> None:
    """Target 4c: profile interval of the dose of 50 %, against scipy."""
    rows = counts(20, 10, "logit")
    x = np.log(DOSES)
    cut = stats.chi2.ppf(0.95, 1)

    def height(slope: float, place: float, row: np.ndarray) -> float:
        eta = slope * (x - place)
        return float((SITES * np.logaddexp(0, eta) - row * eta).sum())

    def peer(row: np.ndarray) -> tuple[float, float]:
        def held(place: float) -> float:
            return optimize.minimize_scalar(
                height, bounds=(0, 20), args=(place, row), method="bounded",
                options={"xatol": 1e-10},
            ).fun  # fmt: skip

        best = optimize.minimize_scalar(
            held, bounds=(-3, 4), method="bounded", options={"xatol": 1e-10}
        )

        def gap(place: float) -> float:
            return 2 * (held(place) - best.fun) - cut

        return (
            optimize.brentq(gap, best.x - 4, best.x, xtol=1e-11),
            optimize.brentq(gap, best.x, best.x + 4, xtol=1e-11),
        )

    some = rows[:10]
    seconds = in_turn(
        lambda: profile_interval(DOSES, SITES, rows), lambda: [peer(row) for row in some]
    )
    report("profile interval", *seconds, len(rows), len(some))
    mine = np.log(profile_interval(DOSES, SITES, some))[:, 1:]
    off = np.abs(mine - np.array([peer(row) for row in some])).max()
    print(f"  largest difference in log dose {off:.1e} (scipy's own tolerance bounds it)")


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
    libraries = ", ".join(f"{k} {installed(k)}" for k in ("numpy", "scipy", "numba", "statsmodels"))
    print(f"Python {platform.python_version()}, {libraries}, {os.cpu_count()} cores")
    print("load before", *(f"{one:.2f}" for one in os.getloadavg()))
    if "--coverage" in sys.argv:
        coverage()
    else:
        for link in LINKS:
            refits(link)
        profiles()
        single_fits()
    print("load after", *(f"{one:.2f}" for one in os.getloadavg()))


if __name__ == "__main__":
    main()

"""
Speed and accuracy of conducted heat, beside scipy's `solve_ivp` (BDF) and `odeint`.

    .venv/bin/python benchmarks/heat.py            # 64 sets of properties
    .venv/bin/python benchmarks/heat.py --sets 8   # a quick look

Three Gaussian pulses of 10 ns at 10 Hz into 2 mm of stone whose conductivity and heat capacity
change with temperature: 120 cells that grow from 20 nm, the back face at 293 K. All three solve the
same cells. Accuracy is that of the peak rise, against `odeint` at rtol 1e-9, of the worst set.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import time
from collections.abc import Callable
from importlib.metadata import version

import numpy as np
from scipy.integrate import odeint, solve_ivp
from scipy.optimize import brentq
from scipy.sparse import diags

from heritagecheck.evidence.laser.beam import FloatArray
from heritagecheck.evidence.laser.heat.conduction import Cells, conducted, resting
from heritagecheck.evidence.laser.heat.surface_temperature import _peaks

DEPTH_M, CELLS, FIRST_M = 2e-3, 120, 20e-9
PULSE_S, PULSES, RATE_HZ = 10e-9, 3, 10.0
SIGMA_S = PULSE_S / np.sqrt(8 * np.log(2))
ROUNDS = 5
NO_TURN_K = 1e9
DEFAULT_RTOL = 1.49012e-8  # of odeint
# Time of a pulse that the peers resolve, around its middle; their clock begins with it.
REACH_S = 3 * PULSE_S


class Sets:
    """Properties of all sets, seeded."""

    def __init__(self, count: int, seed: int = 6) -> None:
        """Draw k at 293 K, its fall, rho c at 293 K, its rise, and the fluence."""
        source = np.random.default_rng(seed)
        self.k = source.uniform(1.5, 3.5, count)
        self.falls = source.uniform(5e-4, 2e-3, count)
        self.rho_c = source.uniform(1.9e6, 2.6e6, count)
        self.rises = source.uniform(2e-4, 8e-4, count)
        self.fluence_j_m2 = source.uniform(50, 300, count)
        growth = brentq(
            lambda r: FIRST_M * (r**CELLS - 1) / (r - 1) - DEPTH_M, 1.0001, 2, xtol=1e-14
        )
        self.width = FIRST_M * growth ** np.arange(CELLS)


def ours(sets: Sets) -> FloatArray:
    """Peak rise of the first cell of every set."""
    row = np.ones((sets.k.size, CELLS))
    # Light that ends in the first cell, as the peers have it; the second takes in none of it but
    # keeps the surface from being told apart from the middle of the first cell.
    light = 0 * row
    light[:, 0], light[:, 1] = sets.fluence_j_m2, 1e-300
    cells = Cells(
        sets.width, np.zeros(CELLS), row / sets.k[:, None], row * sets.falls[:, None],
        row * sets.rho_c[:, None], row * sets.rises[:, None], row * NO_TURN_K, 0 * row, light,
    )  # fmt: skip
    time_s, shape = resting(PULSE_S, PULSES, RATE_HZ).steps((PULSES - 1) / RATE_HZ)
    course = conducted(cells, time_s, shape)
    return _peaks(time_s, course.surface_k)


def change(sets: Sets, one: int) -> Callable[[float, FloatArray], FloatArray]:
    """How fast each cell of one set warms, in numpy."""
    width, half = sets.width, sets.width / 2
    k, falls, rho_c, rises = (of[one] for of in (sets.k, sets.falls, sets.rho_c, sets.rises))
    strength = sets.fluence_j_m2[one] / (SIGMA_S * np.sqrt(2 * np.pi))
    flux = np.empty(CELLS + 1)

    def found(at: float, u: FloatArray) -> FloatArray:
        r = half * (1 + falls * u) / k
        away = (at - REACH_S - round((at - REACH_S) * RATE_HZ) / RATE_HZ) / SIGMA_S
        flux[0] = strength * np.exp(-(away**2) / 2)
        flux[1:-1] = (u[:-1] - u[1:]) / (r[:-1] + r[1:])
        flux[-1] = u[-1] / r[-1]
        return (flux[:-1] - flux[1:]) / (width * rho_c * (1 + rises * u))

    return found


def spans() -> list[tuple[float, float, bool]]:
    """Stretches of time that the peers solve one after another: each pulse, then what follows."""
    stretches = []
    for number in range(PULSES):
        begin = number / RATE_HZ
        stretches.append((begin, begin + 2 * REACH_S, True))
        if number + 1 < PULSES:
            stretches.append((begin + 2 * REACH_S, (number + 1) / RATE_HZ, False))
    return stretches


def by_solve_ivp(sets: Sets, one: int) -> float:
    """Peak rise by BDF at rtol 1e-5, with the pattern of its Jacobian."""
    pattern = diags([np.ones(CELLS - 1), np.ones(CELLS), np.ones(CELLS - 1)], [-1, 0, 1])
    u, highest = np.zeros(CELLS), 0.0
    for begin, end, lit in spans():
        step = PULSE_S / 4 if lit else np.inf
        found = solve_ivp(
            change(sets, one), (begin, end), u, method="BDF", rtol=1e-5, atol=1e-3,
            jac_sparsity=pattern, max_step=step,
        )  # fmt: skip
        u, highest = found.y[:, -1], max(highest, float(found.y[0].max()))
    return highest


def by_odeint(sets: Sets, one: int, rtol: float, samples: int) -> float:
    """Peak rise by odeint with a banded Jacobian, between the samples by a parabola."""
    u, highest = np.zeros(CELLS), 0.0
    for begin, end, lit in spans():
        at = np.linspace(begin, end, samples if lit else 2)
        # The longest step is that of a pulse, or it would be stepped over.
        course = odeint(
            change(sets, one), u, at, ml=1, mu=1, rtol=rtol, atol=1e-6, tfirst=True,
            hmax=PULSE_S / 4 if lit else 0.0, mxstep=10**6,
        )  # fmt: skip
        u = course[-1]
        if lit:
            highest = max(highest, float(_peaks(at, course[:, 0][None])[0]))
    return highest


def cpu_s(work: Callable[[], object]) -> float:
    """CPU seconds of one call."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def main() -> None:
    """Time ours and both peers in turn, and print ratios and the worst error."""
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[1])
    asked.add_argument("--sets", type=int, default=64)
    count = asked.parse_args().sets
    sets = Sets(count)
    ours(sets)
    times: dict[str, list[float]] = {"ours": [], "solve_ivp": [], "odeint": []}
    some = range(min(count, 8))  # of the peers, whose sets take the same time each
    for _ in range(ROUNDS):
        times["ours"].append(cpu_s(lambda: ours(sets)) / count)
        for name, work in (
            ("solve_ivp", lambda: [by_solve_ivp(sets, one) for one in some]),
            ("odeint", lambda: [by_odeint(sets, one, DEFAULT_RTOL, 121) for one in some]),
        ):
            times[name].append(cpu_s(work) / len(some))
    exact = np.array([by_odeint(sets, one, 1e-9, 1201) for one in range(count)])
    print(f"{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    print(f"numpy {version('numpy')}, scipy {version('scipy')}, numba {version('numba')}")
    for name, found in times.items():
        print(f"{name:10} {1000 * statistics.median(found):8.2f} ms CPU a set, median of {ROUNDS}")
    for name, target in (("solve_ivp", 180), ("odeint", 50)):
        median, least = (of(times[name]) / of(times["ours"]) for of in (statistics.median, min))
        print(f"{name}: x{median:.0f} by medians, x{least:.0f} by minimums (target x{target})")
    print(f"worst error of the peak rise: {np.abs(ours(sets) / exact - 1).max():.1e} (target 1e-4)")


if __name__ == "__main__":
    main()

"""
Speed and coverage of the interval of a colour difference.

    .venv/bin/python benchmarks/colour_interval.py             # speed beside scipy
    .venv/bin/python benchmarks/colour_interval.py --table     # coverage, as in docs/
    .venv/bin/python benchmarks/colour_interval.py --places    # coverage with clustered readings
    .venv/bin/python benchmarks/colour_interval.py --outlying  # limits of clean sets

The bootstrap is timed on some of the zones and scaled by their number; ours does all of them.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import time
import warnings
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path

import numpy as np
from scipy import stats

from heritagecheck.evidence import colour
from heritagecheck.evidence.colour import interval as _interval
from heritagecheck.evidence.colour.colour_difference import FloatArray
from heritagecheck.evidence.colour.reading_sets import by_place, robust_distance
from heritagecheck.survey.records.readings import FEWEST_COMPARED

ZONES, PEER_ZONES, ROUNDS, RESAMPLES = 2000, 40, 5, 2000
STATUS = Path("/proc/self/status")

# Granite as a meter sees it through a small aperture: standard deviations and correlations of
# L*, a*, b*. The soiled side varies somewhat more. Spots of one place are alike by 0.6.
BASE = np.array([62.0, 0.6, 3.5])
SD = np.array([3.5, 0.65, 1.25])
ALIKE = np.array([[1, -0.3, 0.4], [-0.3, 1, 0.3], [0.4, 0.3, 1]])
REFERENCE = SD[:, None] * ALIKE * SD
SOILED = 1.3 * REFERENCE
SAME_SPOT = 0.6
DIRECTIONS = {
    "L*": (-1.0, 0.0, 0.0),
    "b*": (0.0, 0.0, 1.0),
    "hue": (0.0, 1.0, -0.4),
    "mixed": (-1.0, 0.25, 0.6),
}
TRUE = (0, 1, 3, 10)
LEVELS = (0.90, 0.95)
UNPAIRED = ((5, 5), (10, 10), (12, 24), (30, 30), (60, 60))
PAIRED = ((5, 5), (10, 10), (30, 30), (60, 60))


def zones(seed: int = 7) -> list[tuple[FloatArray, FloatArray]]:
    """Soiled and reference samples of zones, as performance targets describe them."""
    source = np.random.default_rng(seed)
    found = []
    for _ in range(ZONES):
        n_soiled, n_reference = source.integers(30, 301, 2)
        mean = np.array([source.uniform(35, 80), 0.5, 4.0])
        shift = source.normal([8, 0, -2], [4, 0.5, 1])
        sd = (3, 0.8, 1.5)
        found.append(
            (
                source.normal(mean - shift, sd, (n_soiled, 3)),
                source.normal(mean, sd, (n_reference, 3)),
            )
        )
    return found


def moments(sides: list[FloatArray]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, covariance and number of each set of samples."""
    counts = np.array([len(side) for side in sides])
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    rows = np.concatenate(sides)
    means = np.add.reduceat(rows, starts) / counts[:, None]
    rows -= np.repeat(means, counts, axis=0)
    products = np.add.reduceat(rows[:, :, None] * rows[:, None, :], starts)
    return means, products / (counts - 1)[:, None, None], counts


def ours(found: list[tuple[FloatArray, FloatArray]]) -> FloatArray:
    """Intervals of all zones by the package."""
    second, of_second, n_second = moments([soiled for soiled, _ in found])
    first, of_first, n_first = moments([reference for _, reference in found])
    pairs = _interval.unpaired(
        first, second,
        of_first / n_first[:, None, None], of_second / n_second[:, None, None],
        (n_first - 1, n_second - 1),
    )  # fmt: skip
    return _interval.intervals(pairs, 0.95)


def peer(found: list[tuple[FloatArray, FloatArray]]) -> list[tuple[float, float]]:
    """Percentile intervals of zones by scipy.stats.bootstrap."""
    ends = []
    for number, (soiled, reference) in enumerate(found):

        def difference(
            rows_1: np.ndarray,
            rows_2: np.ndarray,
            axis: int = -1,
            soiled: FloatArray = soiled,
            reference: FloatArray = reference,
        ) -> FloatArray:
            first = soiled[rows_1].mean(axis=-2)
            return colour.delta_e(first, reference[rows_2].mean(axis=-2))

        result = stats.bootstrap(
            (np.arange(len(soiled)), np.arange(len(reference))), difference,
            n_resamples=RESAMPLES, method="percentile", vectorized=True, rng=number,
        )  # fmt: skip
        ends.append(tuple(result.confidence_interval))
    return ends


def memory_kb(name: str) -> int:
    """One line of the process status, such as the resident peak."""
    line = next(line for line in STATUS.read_text().splitlines() if line.startswith(name))
    return int(line.split()[1])


def speed() -> None:
    """Print both times, their ratios, and memory."""
    found = zones()
    some = found[:PEER_ZONES]
    ours(found)
    peer(some[:2])
    before = memory_kb("VmRSS")
    Path("/proc/self/clear_refs").write_text("5")
    ours(found)
    print(f"memory above what was resident: {(memory_kb('VmHWM') - before) / 1024:.0f} MB")
    times: dict[str, list[float]] = {"ours": [], "peer": []}
    for _ in range(ROUNDS):
        start = time.process_time()
        ours(found)
        times["ours"].append((time.process_time() - start) / ZONES * 1e3)
        start = time.process_time()
        peer(some)
        times["peer"].append((time.process_time() - start) / PEER_ZONES * 1e3)
    for name, one in times.items():
        print(f"{name}: median {statistics.median(one):.3f} CPU ms a zone, least {min(one):.3f}")
    medians = [statistics.median(times[name]) for name in ("peer", "ours")]
    least = [min(times[name]) for name in ("peer", "ours")]
    print(f"ratio of medians {medians[0] / medians[1]:.0f}, of minima {least[0] / least[1]:.0f}")
    start = time.perf_counter()
    for soiled, reference in found[:200]:
        colour.compare(soiled, reference)
    print(f"colour.compare, one zone: {(time.perf_counter() - start) / 200 * 1e3:.2f} ms")


def partner(direction: tuple[float, float, float], true: float) -> FloatArray:
    """Colour at a given CIEDE2000 from the base, in a direction."""
    near, far = 0.0, 60.0
    for _ in range(80):
        middle = (near + far) / 2
        inside = colour.delta_e(BASE, BASE + middle * np.array(direction)) < true
        near, far = (middle, far) if inside else (near, middle)
    return BASE + near * np.array(direction)


def surveys(
    source: np.random.Generator, soiled: FloatArray, numbers: tuple[int, int], paired: bool,
    count: int,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Readings of many surveys, shapes (surveys, n, 3): soiled, reference."""
    n_soiled, n_reference = numbers
    by_soiled = source.standard_normal((count, n_soiled, 3))
    by_reference = source.standard_normal((count, n_reference, 3))
    if paired:
        by_soiled = SAME_SPOT * by_reference + np.sqrt(1 - SAME_SPOT**2) * by_soiled
    return (
        soiled + by_soiled @ np.linalg.cholesky(SOILED).T,
        BASE + by_reference @ np.linalg.cholesky(REFERENCE).T,
    )


def pairs_of(soiled: FloatArray, reference: FloatArray, paired: bool) -> _interval.MeanPairs:
    """Means of many surveys with their errors."""
    second, first = soiled.mean(axis=1), reference.mean(axis=1)
    n_soiled, n_reference = soiled.shape[1], reference.shape[1]
    off_2, off_1 = soiled - second[:, None], reference - first[:, None]
    of_second = np.einsum("sni,snj->sij", off_2, off_2) / (n_soiled - 1) / n_soiled
    of_first = np.einsum("sni,snj->sij", off_1, off_1) / (n_reference - 1) / n_reference
    if paired:
        between = np.einsum("sni,snj->sij", off_1, off_2) / (n_soiled - 1) / n_soiled
        return _interval.paired(first, second, (of_first, of_second, between), n_soiled - 1)
    freedom = (n_reference - 1, n_soiled - 1)
    return _interval.unpaired(first, second, of_first, of_second, freedom)


def bootstrap_coverage(numbers: tuple[int, int], true: float, level: float, count: int) -> float:
    """How often a percentile bootstrap of the readings holds the true difference."""
    source = np.random.default_rng(99)
    soiled, reference = surveys(source, partner(DIRECTIONS["L*"], true), numbers, False, count)
    held = 0
    for one, two in zip(soiled, reference, strict=True):
        means = [
            side[source.integers(0, len(side), (1000, len(side)))].mean(axis=1)
            for side in (one, two)
        ]
        low, high = np.quantile(colour.delta_e(*means), [(1 - level) / 2, (1 + level) / 2])
        held += low <= true + 1e-9 and true <= high
    return held / count


def cases() -> Iterator[tuple[bool, tuple[int, int], float]]:
    """Designs of the table."""
    for paired, numbers in ((False, UNPAIRED), (True, PAIRED)):
        for pair in numbers:
            for level in LEVELS:
                yield paired, pair, level


def table(count: int) -> None:
    """Print the coverage of every case as a table, and that of the percentile bootstrap."""
    columns = [(0, "L*")] + [(true, name) for true in TRUE[1:] for name in DIRECTIONS]
    heads = ["readings", "claimed"] + [
        "ΔE 0" if true == 0 else f"{true} {name}" for true, name in columns
    ]
    print("| " + " | ".join(heads) + " |")
    print("|" + "---|" * len(heads))
    for paired, numbers, level in cases():
        source = np.random.default_rng([11, *numbers, round(1000 * level), paired])
        cells = []
        for true, name in columns:
            means = partner(DIRECTIONS[name], true)
            pairs = pairs_of(*surveys(source, means, numbers, paired, count), paired)
            _, low, high = _interval.intervals(pairs, level).T
            cells.append(f"{100 * np.mean((low <= true + 1e-9) & (true <= high)):.1f}")
        said = f"{numbers[0]} {'paired' if paired else f'+ {numbers[1]}'}"
        print(f"| {said} | {100 * level:g} | " + " | ".join(cells) + " |", flush=True)
    print(f"\n{count} surveys a cell.\n\n| percentile bootstrap, 95 % | ", end="")
    print(" | ".join(f"ΔE {true} L*" for true in TRUE) + " |\n" + "|---" * 5 + "|")
    for numbers in ((5, 5), (10, 10), (30, 30)):
        cells = [f"{100 * bootstrap_coverage(numbers, true, 0.95, 1000):.1f}" for true in TRUE]
        print(f"| {numbers[0]} + {numbers[1]} | " + " | ".join(cells) + " |", flush=True)


def in_places(
    source: np.random.Generator, mean: FloatArray, spread: FloatArray, sizes: tuple[int, ...],
    alike: float, count: int,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Readings of many surveys, (surveys, n, 3), alike within places; and one row a place."""
    which = np.repeat(np.arange(len(sizes)), sizes)
    n = len(which)
    own = source.standard_normal((count, n, 3)) * np.sqrt(1 - alike)
    common = source.standard_normal((count, len(sizes), 3)) * np.sqrt(alike)
    readings = mean + (own + common[:, which]) @ np.linalg.cholesky(spread).T
    names = [str(place) for place in which]
    enough = len(sizes) >= FEWEST_COMPARED
    rows = [by_place(one, names, "readings") if enough else one for one in readings]
    return readings, np.array(rows)


def places(count: int) -> None:
    """Print how often 95 % intervals hold the truth where readings of one place are alike."""
    columns = (0, 3, 10)
    heads = [f"ΔE {true} {how}" for true in columns for how in ("as if independent", "by place")]
    print(f"| readings a side | correlation | {' | '.join(heads)} |")
    print("|" + "---|" * (len(heads) + 2))
    designs = ((4,) * 5, (2,) * 10, (1,) * 20, (1, 1, 2, 4, 4, 8), (20,))
    for sizes in designs:
        for alike in (0.1, 0.3, 0.6) if max(sizes) > 1 else (0.0,):
            cells = []
            for true in columns:
                source = np.random.default_rng([5, *sizes, round(10 * alike), true])
                mean = partner(DIRECTIONS["L*"], true)
                soiled = in_places(source, mean, SOILED, sizes, alike, count)
                spread_out = sizes if len(sizes) > 1 else (1,) * 20
                clean = in_places(source, BASE, REFERENCE, spread_out, alike, count)
                for side in (0, 1):
                    pairs = pairs_of(soiled[side], clean[side], False)
                    _, low, high = _interval.intervals(pairs, 0.95).T
                    cells.append(f"{100 * np.mean((low <= true + 1e-9) & (true <= high)):.1f}")
            if len(sizes) == 1:
                cells[1::2] = ["refused"] * len(columns)
            said = " + ".join(map(str, sizes)) if len(set(sizes)) > 1 else (
                f"{len(sizes)} × {sizes[0]}" if len(sizes) > 1 else "soiled: 1 × 20"
            )  # fmt: skip
            print(f"| {said} | {alike:g} | " + " | ".join(cells) + " |", flush=True)
    print(f"\n{count} surveys a cell.")


def outlying(count: int) -> None:
    """Print the squared robust distance that one clean set in twenty exceeds somewhere."""
    for n in (10, 12, 15, 20, 30, 50, 100, 200):
        source = np.random.default_rng(n)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # few readings: the search says so each time
            largest = [
                robust_distance(source.standard_normal((n, 3))).max() ** 2 for _ in range(count)
            ]
        print(f"({n}, {np.quantile(largest, 0.95):.1f}),", flush=True)


def main() -> None:
    """Run what was asked for, and say on what."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    asked.add_argument("--table", action="store_true")
    asked.add_argument("--places", action="store_true")
    asked.add_argument("--outlying", action="store_true")
    asked.add_argument("--count", type=int, default=0, help="surveys a cell, or sets a number")
    chosen = asked.parse_args()
    if chosen.table:
        table(chosen.count or 5000)
        return
    if chosen.places:
        places(chosen.count or 2000)
        return
    if chosen.outlying:
        outlying(chosen.count or 1000)
        return
    libraries = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy"))
    print(f"Python {platform.python_version()}, {libraries}")
    print(f"{os.cpu_count()} cores; load before {os.getloadavg()}")
    speed()
    print(f"load after {os.getloadavg()}")


if __name__ == "__main__":
    main()

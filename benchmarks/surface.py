"""
Times roughness of height maps against scipy's Gaussian filter on the same heights.

    .venv/bin/python benchmarks/surface.py            # 1 and 16 MP, some five minutes
    .venv/bin/python benchmarks/surface.py --quick    # 1 MP, half a minute

Both take off waves longer than a cut-off and give Sa, Sq and Sz. The peer is
`scipy.ndimage.gaussian_filter(truncate=8, mode="reflect")`, which gives the same surface, with
numpy for the rest. Ours also takes off the form, counts spikes and holes, and gives skewness,
kurtosis, slope and area. Ours and the peer run in turn in one process, after one round that does
not count. Ratios hold for this machine and run.
"""

from __future__ import annotations

import argparse
import math
import os
import platform
from importlib.metadata import version

import numpy as np
from photograph import in_turn, memory_taken, report
from scipy.ndimage import gaussian_filter

import heritagecheck as hc

SEED = 20240531
SD_PER_CUTOFF = math.sqrt(math.log(2) / 2) / math.pi  # of the Gaussian of ISO 16610


def height_map(side: int) -> np.ndarray:
    """Random phases with falling amplitude, marks of 180 pixels, a plane, and 20 pits of 25 µm."""
    rng = np.random.default_rng(SEED)
    waves = np.hypot(np.fft.fftfreq(side)[:, np.newaxis], np.fft.rfftfreq(side))
    waves[0, 0] = np.inf
    spectrum = waves**-1.8 * np.exp(2j * np.pi * rng.random(waves.shape))
    heights = np.fft.irfft2(spectrum, s=(side, side))
    heights *= 12 / heights.std()
    at = np.arange(side)
    heights += 3 * np.sin(2 * np.pi * at / 180) + 0.01 * at[:, np.newaxis]
    for row, column in rng.integers(20, side - 20, (20, 2)):
        heights[row - 4 : row + 5, column - 4 : column + 5] -= 25
    return heights


def peer(heights: np.ndarray, cutoff: float) -> tuple[float, float, float]:
    """Sa, Sq and Sz by scipy and numpy."""
    rough = heights - gaussian_filter(heights, cutoff * SD_PER_CUTOFF, truncate=8, mode="reflect")
    return float(np.abs(rough).mean()), float(rough.std()), float(np.ptp(rough))


def measure(heights: np.ndarray, cutoff: float, name: str, rounds: int) -> None:
    """Time one cut-off in both precisions, with the error against the peer and the memory."""
    exact = np.array(peer(heights, cutoff))
    for dtype in (np.float64, np.float32):
        given = heights.astype(dtype)

        def ours(given: np.ndarray = given) -> object:
            return hc.surface.roughness(given, 1.0, cutoff, form="mean")

        found = hc.surface.roughness(given, 1.0, cutoff, form="mean")
        error = np.abs(np.array([found.Sa, found.Sq, found.Sz]) / exact - 1).max()
        del found
        taken = memory_taken(ours) / (heights.nbytes / 2**20)
        aim = "4.2" if dtype is np.float64 else "2.2"
        times = in_turn(ours, lambda given=given: peer(given, cutoff), rounds)
        report(
            f"{name}, cut-off {cutoff:g} px, {np.dtype(dtype).name}", times, "none",
            f"error {error:.0e}; memory {taken:.1f} x the float64 map (aim {aim})",
        )  # fmt: skip


def main() -> None:
    """Run all sizes, or the small one."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[1])
    parser.add_argument("--quick", action="store_true", help="1 MP alone")
    quick = parser.parse_args().quick
    print(
        f"{platform.python_version()}, numpy {version('numpy')}, scipy {version('scipy')}; "
        f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}"
    )
    small = height_map(1000)
    for cutoff in (80.0, 250.0, 800.0):
        measure(small, cutoff, "1 MP", 5)
    if not quick:
        measure(height_map(4000), 250.0, "16 MP", 2)


if __name__ == "__main__":
    main()

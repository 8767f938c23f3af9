"""
Times difference maps and zone tables against general-purpose libraries on the same pixels.

    .venv/bin/python benchmarks/photograph.py            # all sizes, some twelve minutes
    .venv/bin/python benchmarks/photograph.py --quick    # small sizes, two to four minutes

Ours and the peer run in turn in one process, after one round that does not count; each line gives
the ratio of the medians and of the minima, the ratio aimed at, the error against the peer in the
same run, and the memory taken beyond what was there before. Ratios hold for this machine and run.
"""

from __future__ import annotations

import argparse
import ctypes
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numba
import numpy as np
from scipy import ndimage
from skimage.color import deltaE_ciede2000, rgb2lab, xyz2lab

import heritagecheck as hc
from heritagecheck.evidence.photograph.differences import (
    ColourModel,
    difference_map,
    zone_statistics,
)

SEED = 20240531
STATUS, REFERENCES = Path("/proc/self/status"), Path("/proc/self/clear_refs")
WHITE = np.array([0.95047, 1.0, 1.08883])
CAMERA = np.array([[0.50, 0.33, 0.13], [0.25, 0.70, 0.05], [0.02, 0.12, 0.95]]) / WHITE[:, None]
SIZES = {1: (1000, 1000), 6: (2000, 3000), 24: (4000, 6000)}


@dataclass(frozen=True)
class Calibrated:
    """Stands for what `calibrate` gives."""

    model: ColourModel


def pair(rows: int, columns: int) -> tuple[np.ndarray, np.ndarray]:
    """Make a wall with crust and the same wall after cleaning, with five saturated patches."""
    rng = np.random.default_rng(SEED)
    blocks = (rows // 64 + 1, columns // 64 + 1)
    shade = rng.normal(0, 14, blocks)
    crust = np.maximum(0, rng.normal(0, 1, blocks)) * 45
    images = []
    for share, shift in ((1.0, (0, 0, 0)), (0.3, (2, 1, -2))):
        image = np.empty((rows, columns, 3), np.uint8)
        for channel, (base, part) in enumerate(zip((196, 176, 146), (1, 0.97, 0.9), strict=True)):
            coarse = base + shade - share * part * crust + shift[channel]
            plane = np.repeat(np.repeat(coarse, 64, axis=0), 64, axis=1)[:rows, :columns]
            plane = plane + 3 * rng.standard_normal((rows, columns), np.float32)
            image[..., channel] = np.clip(np.round(plane), 0, 255)
        images.append(image)
    tall, wide = rows // 16, columns // 16
    colours = ((0, 160, 60), (20, 40, 200), (220, 30, 30), (255, 255, 255), (0, 0, 0))
    for number, colour in enumerate(colours):
        top, left = (2 * number + 1) * tall, (2 * number + 2) * wide
        images[0][top : top + tall, left : left + wide] = colour
        images[1][top + 3 : top + 3 + tall, left + 3 : left + 3 + wide] = colour
    return images[0], images[1]


def zone_grid(rows: int, columns: int, zones: int) -> np.ndarray:
    """Label cells with sine-shaped borders; a twentieth of the pixels lie in none."""
    down = int(np.sqrt(zones * rows / columns)) or 1
    while zones % down:
        down -= 1
    across = zones // down
    y, x = np.arange(rows)[:, None], np.arange(columns)[None]
    row = np.clip((y + 0.2 * rows / down * np.sin(x / 90)) * down // rows, 0, down - 1)
    column = np.clip(
        (x + 0.2 * columns / across * np.sin(y / 70)) * across // columns, 0, across - 1
    )
    labels = (row * across + column + 1).astype(np.int32)
    labels[np.random.default_rng(SEED).random((rows, columns), np.float32) < 0.05] = 0
    return labels


def accuracy_pairs(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Random colours and partners within 40 levels; some identical, some grey, some unrelated."""
    rng = np.random.default_rng(SEED)
    first = rng.integers(0, 256, (count, 3))
    second = np.clip(first + rng.integers(-40, 41, first.shape), 0, 255)
    part = count // 20
    second[:part] = first[:part]
    first[part : 2 * part] = first[part : 2 * part, :1]
    second[part : 2 * part] = second[part : 2 * part, :1]
    second[2 * part : 3 * part] = rng.integers(0, 256, (part, 3))
    return tuple(image.astype(np.uint8).reshape(-1, 1000, 3) for image in (first, second))


def resident(name: str) -> float:
    """Megabytes that Linux says this process has (VmRSS) or had at most (VmHWM)."""
    lines = STATUS.read_text(encoding="utf-8").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(name)) / 1024


def memory_taken(call: Callable[[], object]) -> float:
    """Peak of resident megabytes during a call, above what was there before; NaN off Linux."""
    if not REFERENCES.exists():
        return float("nan")
    # What the allocator kept of earlier calls would hide what this one takes.
    ctypes.CDLL(None).malloc_trim(0)
    before = resident("VmRSS")
    REFERENCES.write_text("5", encoding="ascii")
    call()
    return resident("VmHWM") - before


@dataclass(frozen=True)
class Times:
    """Seconds of several rounds: by the clock, and of processor summed over the cores."""

    clock: list[float]
    processor: list[float]

    @property
    def median(self) -> float:
        """Median by the clock."""
        return statistics.median(self.clock)


def in_turn(
    ours: Callable[[], object], peer: Callable[[], object], rounds: int
) -> tuple[Times, Times]:
    """Time both, one after the other, after a first round that does not count."""
    both = (Times([], []), Times([], []))
    for turn in range(rounds + 1):
        for call, found in zip((ours, peer), both, strict=True):
            start, busy = time.perf_counter(), time.process_time()
            call()
            if turn:
                found.clock.append(time.perf_counter() - start)
                found.processor.append(time.process_time() - busy)
    return both


def report(name: str, times: tuple[Times, Times], aim: str, note: str) -> None:
    """Print one line; where other work fills the machine, the ratio a core says more."""
    ours, peer = times
    minima = min(peer.clock) / min(ours.clock)
    a_core = statistics.median(peer.processor) / max(statistics.median(ours.processor), 1e-9)
    print(
        f"{name:<44} x{peer.median / ours.median:6.1f} (minima x{minima:6.1f}, a core "
        f"x{a_core:5.1f}; aim {aim}) {1000 * ours.median:8.1f} ms; {note}",
        flush=True,
    )


def peer_map(image: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Map by scikit-image."""
    return deltaE_ciede2000(rgb2lab(image), rgb2lab(other))


def accuracy() -> None:
    """Error on random colours, in both precisions; hues near to opposite apart."""
    first, second = accuracy_pairs(1_000_000)
    labs = [rgb2lab(first), rgb2lab(second)]
    exact = deltaE_ciede2000(*labs)
    hues = [np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) for lab in labs]
    opposite = np.abs(np.abs((hues[1] - hues[0] + 180) % 360 - 180) - 180) < 1
    for dtype, aim in (("float64", "1e-9"), ("float32", "5e-4, 0.03 near opposite hues")):
        error = np.abs(difference_map(first, second, dtype=dtype) - exact)
        print(
            f"accuracy, 1e6 random colours, {dtype}: {error[~opposite].max():.1e}, near opposite "
            f"hues {error[opposite].max():.1e} (aim {aim})"
        )


def maps(quick: bool) -> None:
    """1a to 1c: a registered pair."""
    for size, aims in ((6 if quick else 24, ("x40", "x85")), (1, ("x18", "x40"))):
        first, second = pair(*SIZES[size])
        for dtype, aim in zip(("float64", "float32"), aims, strict=True):
            map_of_pair(first, second, f"{size} MP, {dtype}", dtype, aim)


def map_of_pair(first: np.ndarray, second: np.ndarray, name: str, dtype: str, aim: str) -> None:
    """Measure one size in one precision."""

    def ours() -> np.ndarray:
        return difference_map(first, second, dtype=dtype)

    times = in_turn(ours, lambda: peer_map(first, second), 2 if first.size > 5e7 else 5)
    error = np.abs(ours() - peer_map(first, second)).max()
    taken = memory_taken(ours) - ours().nbytes / 2**20
    note = f"error {error:.1e}; map + {taken:.0f} MB (aim + 64)"
    report(f"1a-c map of a pair, {name}", times, aim, note)


def one_reference(quick: bool) -> None:
    """1d: against one colour."""
    size = 1 if quick else 6
    image, _ = pair(*SIZES[size])
    lab = np.array([72.0, 2.1, 14.5])
    whole = np.broadcast_to(lab, image.shape)
    exact = deltaE_ciede2000(rgb2lab(image), whole)
    times = in_turn(
        lambda: difference_map(image, lab, dtype="float32"),
        lambda: deltaE_ciede2000(rgb2lab(image), whole),
        5,
    )
    error = np.abs(difference_map(image, lab, dtype="float32") - exact).max()
    report(f"1d map against one colour, {size} MP, float32", times, "x65", f"error {error:.1e}")


def camera_light(quick: bool) -> None:
    """1e: linear light and a 3 x 3 matrix."""
    size = 1 if quick else 6
    images = [(image / 255.0).astype(np.float32) ** 2.2 for image in pair(*SIZES[size])]
    calibration = Calibrated(ColourModel(None, CAMERA))

    def peer() -> np.ndarray:
        return deltaE_ciede2000(*(xyz2lab(image @ (CAMERA.T * WHITE)) for image in images))

    exact = deltaE_ciede2000(*(xyz2lab(i.astype(float) @ (CAMERA.T * WHITE)) for i in images))
    for dtype, aim in (("float64", "x18"), ("float32", "x40")):

        def ours(dtype: str = dtype) -> np.ndarray:
            return difference_map(*images, calibration=calibration, dtype=dtype)

        error = np.abs(ours() - exact).max()
        times = in_turn(ours, peer, 5)
        report(f"1e linear light, {size} MP, {dtype}", times, aim, f"error {error:.1e}")


ORTHOPHOTO = """
import sys, time
import numpy as np
from heritagecheck.evidence.photograph.differences import difference_map
folder, rows, columns, small = sys.argv[1], *map(int, sys.argv[2:])
images = [np.memmap(f"{folder}/{n}", np.uint8, "r", shape=(rows, columns, 3)) for n in "ab"]
out = np.memmap(f"{folder}/map", np.float32, "r+", shape=(rows, columns))
part = [np.array(image[:small]) for image in images]
difference_map(*part, dtype="float32")
best = []
for _ in range(3):
    start = time.perf_counter()
    difference_map(*part, dtype="float32")
    best.append((time.perf_counter() - start) / part[0].size)
del part
open("/proc/self/clear_refs", "w").write("5")
start = time.perf_counter()
difference_map(*images, dtype="float32", out=out)
took = (time.perf_counter() - start) / images[0].size
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(took / sorted(best)[1], int(peak.split()[1]) / 1024)
"""


def orthophoto(folder: str, quick: bool) -> None:
    """1f: a pair of files larger than what may be held."""
    columns, rows, small = 8192, (4096 if quick else 32768), 1024
    first, second = pair(1024, columns)
    for name, tile in (("a", first), ("b", second)):
        with (Path(folder) / name).open("wb") as file:
            for _ in range(rows // 1024):
                file.write(tile.tobytes())
    (Path(folder) / "map").write_bytes(b"")
    with (Path(folder) / "map").open("r+b") as file:
        file.truncate(rows * columns * 4)
    command = [sys.executable, "-c", ORTHOPHOTO, folder, str(rows), str(columns), str(small)]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    ratio, peak = map(float, said.split())
    print(
        f"1f mapped files, {rows * columns / 2**20:.0f} MP, float32: {ratio:.2f} of the time a "
        f"pixel of a map in memory (aim 1.5 at most); {peak:.0f} MB resident (aim 256 at most)"
    )


OURS = """
import sys
import numpy as np
from heritagecheck.evidence.photograph.differences import difference_map
images = [np.load(f"{sys.argv[1]}/{name}.npy") for name in ("first", "second")]
np.save(f"{sys.argv[1]}/ours.npy", difference_map(*images))
"""
PEER = """
import sys
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab
images = [np.load(f"{sys.argv[1]}/{name}.npy") for name in ("first", "second")]
np.save(f"{sys.argv[1]}/peer.npy", deltaE_ciede2000(*map(rgb2lab, images)))
"""
FIRST_MAP = """
import numpy as np
from heritagecheck.evidence.photograph.differences import difference_map
image = np.zeros((100, 100, 3), np.uint8)
difference_map(image, image)
"""


def child(script: str, *words: str) -> tuple[float, float, float]:
    """Seconds, peak megabytes and processor seconds of a script in a process of its own."""
    code = f"{script}\nprint(open('/proc/self/status').read())"
    start, busy = time.perf_counter(), os.times()
    said = subprocess.run(
        [sys.executable, "-c", code, *words], check=True, capture_output=True, text=True
    ).stdout
    took, done = time.perf_counter() - start, os.times()
    peak = next(line for line in said.splitlines() if line.startswith("VmHWM"))
    processor = sum(done[2:4]) - sum(busy[2:4])
    return took, int(peak.split()[1]) / 1024, processor


def whole_process(folder: str, quick: bool) -> None:
    """1g: load a pair, map it, save the map."""
    size = 6 if quick else 24
    for name, image in zip(("first", "second"), pair(*SIZES[size]), strict=True):
        np.save(f"{folder}/{name}.npy", image)
    runs = [[child(script, folder) for script in (OURS, PEER)] for _ in range(3)][1:]
    ours, peer = (
        Times([run[side][0] for run in runs], [run[side][2] for run in runs]) for side in (0, 1)
    )
    share = max(run[0][1] for run in runs) / max(run[1][1] for run in runs)
    error = np.abs(np.load(f"{folder}/ours.npy") - np.load(f"{folder}/peer.npy")).max()
    report(
        f"1g whole process, {size} MP, float64",
        (ours, peer),
        "x11",
        f"error {error:.1e}; memory 1/{1 / share:.1f} of the peer's (aim 1/12 at most)",
    )


def peer_zones(difference: np.ndarray, labels: np.ndarray, zones: np.ndarray) -> np.ndarray:
    """Zone table by scipy.ndimage: five calls, and numpy for each zone's quantiles."""
    columns = [
        ndimage.sum_labels(np.ones_like(difference), labels, zones),
        ndimage.mean(difference, labels, zones),
        ndimage.standard_deviation(difference, labels, zones),
        ndimage.minimum(difference, labels, zones),
        ndimage.maximum(difference, labels, zones),
    ]
    quantiles = np.empty((len(zones), 2))
    turn = iter(quantiles)

    def keep(values: np.ndarray) -> float:
        next(turn)[:] = np.percentile(values, (50, 95))
        return 0.0

    ndimage.labeled_comprehension(difference, labels, zones, keep, float, 0.0)
    return np.column_stack([*columns, quantiles])


def zones(quick: bool) -> None:
    """2: the table of a map."""
    for size, count in (
        ((1, 40), (1, 1000)) if quick else ((6, 40), (6, 5000), (24, 40), (24, 1000))
    ):
        zones_of_map(size, count)
    print("2 has a second peer, polars, which is not among the packages of this project: left out")


def zones_of_map(size: int, count: int) -> None:
    """Measure one size and number of zones."""
    difference = difference_map(*pair(*SIZES[size]))
    labels = zone_grid(*SIZES[size], count)
    present = np.unique(labels)[1:]

    def ours() -> np.ndarray:
        return zone_statistics(difference, labels).to_numpy()[:, 1:8]

    def peer() -> np.ndarray:
        return peer_zones(difference, labels, present)

    times = in_turn(ours, peer, 2 if size == 24 else 3)
    error = np.abs(ours() - peer()).max()
    taken = memory_taken(ours) - difference.nbytes / 2**20
    note = f"error {error:.1e}; map + {taken:.0f} MB"
    report(f"2 zones of a map, {size} MP, {count} zones", times, "x1", note)


def first_map() -> None:
    """9: the first map of a process whose loops were compiled before."""
    child(FIRST_MAP)
    caches = list(Path(hc.__file__).parent.rglob("*.nb[ic]"))
    before = {path: path.stat().st_mtime_ns for path in caches}
    runs = [[child(FIRST_MAP), child("import numpy")] for _ in range(6)][1:]
    first, numpy = (
        [statistics.median(run[side][k] for run in runs) for k in (0, 2)] for side in (0, 1)
    )
    after = {path: path.stat().st_mtime_ns for path in Path(hc.__file__).parent.rglob("*.nb[ic]")}
    print(
        f"9 first map of a process: {1000 * first[0]:.0f} ms, {first[0] / numpy[0]:.1f} times "
        f"import numpy (processor time {first[1] / numpy[1]:.1f}; aim 8 at most); cache files "
        f"written: {'none' if after == before else 'SOME'}"
    )


def main() -> None:
    """Run every line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small sizes")
    quick = parser.parse_args().quick
    peers = ("numpy", "scipy", "scikit-image", "numba", "pandas")
    print(f"heritagecheck {hc.__version__}, {', '.join(f'{n} {version(n)}' for n in peers)}")
    print(
        f"Python {platform.python_version()}, {platform.system()} {platform.machine()}, "
        f"{os.cpu_count()} cores, {numba.get_num_threads()} threads, "
        f"load {os.getloadavg()[0]:.2f}"
    )
    accuracy()
    maps(quick)
    one_reference(quick)
    camera_light(quick)
    zones(quick)
    with tempfile.TemporaryDirectory() as folder:
        whole_process(folder, quick)
        orthophoto(folder, quick)
    first_map()
    print(f"load after {os.getloadavg()[0]:.2f}")


if __name__ == "__main__":
    main()

"""
Times the assessment of the example survey, and of a survey made of ten copies of it.

    .venv/bin/python benchmarks/assess.py

Reading the tables is not timed, nor is the first assessment, which loads the libraries.
"""

from __future__ import annotations

import os
import platform
import statistics
import time
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import heritagecheck as hc
from heritagecheck.survey.validate import build

if TYPE_CHECKING:
    from heritagecheck.survey.store import Survey

COPIES = 10
ROUNDS = 5
LIBRARIES = ("numpy", "scipy", "pandas", "pydantic")
THREAD_LIMITS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
STATUS = Path("/proc/self/status")
# What must differ from copy to copy. The bed is among them, so that no copy's panels speak for
# another copy and each zone costs what it costs in the example.
NAMES = (
    "zone", "bed_or_system", "layer", "observation", "reading", "site_test", "set_name", "panel",
    "series",
)  # fmt: skip


def copies_of(survey: Survey, number: int) -> Survey:
    """Make a survey of several copies of each zone, with all that was recorded there."""
    rows: dict[str, list[dict[str, Any]]] = {}
    for table, records in survey.records.items():
        plain = [record.model_dump() for record in records]
        belongs_to_zones = bool(plain) and "zone" in plain[0]
        rows[table] = (
            [renamed(row, copy) for copy in range(number) for row in plain]
            if belongs_to_zones
            else plain
        )
    return build(rows)


def renamed(row: dict[str, Any], copy: int) -> dict[str, Any]:
    """Give one row the names of its copy."""
    return {
        field: f"{value}/{copy}" if field in NAMES and value is not None else value
        for field, value in row.items()
    }


def seconds(survey: Survey) -> list[float]:
    """Time several assessments of one survey, one after the other."""
    found = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        hc.assess(survey)
        found.append(time.perf_counter() - start)
    return found


def status(name: str) -> str:
    """Read one line of what Linux says of this process; a dash where there is no such thing."""
    lines = STATUS.read_text(encoding="utf-8").splitlines() if STATUS.is_file() else []
    parts = (line.partition(":") for line in lines)
    return next((said.strip() for named, _, said in parts if named == name), "-")


def load() -> str:
    """Give the load of the machine over one, five and fifteen minutes; a dash where unknown."""
    return " ".join(f"{part:.2f}" for part in os.getloadavg()) if hasattr(os, "getloadavg") else "-"


def print_surroundings() -> None:
    """Print what the figures depend on."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    limits = ", ".join(f"{name}={os.environ.get(name, 'not set')}" for name in THREAD_LIMITS)
    print(f"heritagecheck {hc.__version__}, Python {platform.python_version()}, {libraries}")
    print(f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores")
    print(f"threads of this process {status('Threads')}; {limits}")
    print(f"load before {load()}")


def main() -> None:
    """Time both surveys and print the median of five, and the peak of memory so far."""
    example = hc.demo_survey()
    hc.assess(example)
    print_surroundings()
    for survey in (example, copies_of(example, COPIES)):
        times = seconds(survey)
        print(
            f"{len(survey.records['zones']):>4} zones: median of {ROUNDS} "
            f"{statistics.median(times):.2f} s (from {min(times):.2f} to {max(times):.2f} s); "
            f"resident peak {status('VmHWM')}"
        )
    print(f"load after {load()}")


if __name__ == "__main__":
    main()

"""
Times assessments beside their targets, and beside an earlier commit checked out elsewhere.

    .venv/bin/python benchmarks/assess.py
    .venv/bin/python benchmarks/assess.py --base ../earlier   # its own .venv, or else this one

Figures are CPU seconds of one process, so that a busy machine changes them little. What numba
compiled, and what earlier processes kept of trial spots, is looked for in an empty folder first
("never ran it") and in the same folder afterwards.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from store import write_survey

import heritagecheck as hc

if TYPE_CHECKING:
    from collections.abc import Callable

    from heritagecheck.survey.survey import Survey

HERE = Path(__file__).resolve()
COPIES = 10
ROUNDS = 3
TARGETS = {
    "first assessment, machine that never ran it": 7.0,
    "first assessment of a process": 2.0,
    "later ones": 0.5,
    "one changed reading, that zone": 0.2,
    "520 zones, import": 3.0,
    "520 zones, first assessment": None,
    "520 zones, later ones": 5.0,
    "520 zones, report as HTML": 30.0,
    "resident peak [MB]": None,
}


def seconds(survey: Survey, zones: list[str] | None = None) -> float:
    """CPU seconds of the quickest of several assessments."""
    found = []
    for _ in range(ROUNDS):
        start = time.process_time()
        hc.assess(survey, zones=zones)
        found.append(time.process_time() - start)
    return min(found)


def after_a_change(survey: Survey) -> float:
    """CPU seconds from saving one changed reading to the recommendation for its zone."""
    record = next(one for one in survey.records["readings"] if one.L_star is not None)
    start = time.process_time()
    survey.save(record.changed(L_star=record.L_star + 0.1), who="bench", reason="read again")
    hc.assess(survey, zones=[record.zone])
    return time.process_time() - start


def of_many(folder: Path) -> dict[str, float]:
    """
    CPU seconds of ten copies of the example.

    Each bed of a copy is its own, so that no copy's panels speak for another copy and each zone
    costs what it costs in the example.
    """
    write_survey(folder, COPIES)
    found = {}

    def timed(name: str, act: Callable[[], Any]) -> Any:
        start = time.process_time()
        result = act()
        found[f"520 zones, {name}"] = time.process_time() - start
        return result

    survey = timed("import", lambda: hc.import_survey(folder, folder / "survey.db"))
    assessment = timed("first assessment", lambda: hc.assess(survey))
    found["520 zones, later ones"] = seconds(survey)
    timed("report as HTML", lambda: hc.write_report(assessment, folder / "out", ("html",)))
    survey.close()
    return found


def measure(first_only: bool) -> None:
    """Print the figures of this process as JSON; the first assessment only, if so asked."""
    survey = hc.demo_survey()
    start = time.process_time()
    hc.assess(survey)
    found = {"first assessment of a process": time.process_time() - start}
    if not first_only:
        found["later ones"] = seconds(survey)
        found["one changed reading, that zone"] = after_a_change(survey)
        with tempfile.TemporaryDirectory() as folder:
            found |= of_many(Path(folder))
        peak = next(
            line for line in Path("/proc/self/status").read_text().splitlines() if "VmHWM" in line
        )
        found["resident peak [MB]"] = int(peak.split()[1]) / 1024
    print(json.dumps(found))


def figures(checkout: Path) -> dict[str, float]:
    """Figures of one checkout, by its own interpreter where it has one."""
    own = checkout / ".venv" / "bin" / "python"
    python = str(own) if own.is_file() else sys.executable
    with tempfile.TemporaryDirectory() as empty:
        where = {**os.environ, "PYTHONPATH": str(checkout), "NUMBA_CACHE_DIR": empty}
        # Where fits are kept on Linux.
        where["XDG_CACHE_HOME"] = empty

        def run(asked: str) -> dict[str, float]:
            done = subprocess.run(
                [python, str(HERE), asked], env=where, check=True, capture_output=True, text=True
            )
            found: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
            return found

        fresh = run("--first")["first assessment of a process"]
        return {"first assessment, machine that never ran it": fresh, **run("--all")}


def main() -> None:
    """Print each figure beside its target, and the ratio to the earlier commit where one is."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    asked.add_argument("--base", type=Path, help="checkout of an earlier commit")
    asked.add_argument("--first", action="store_true", help="only the first, as JSON")
    asked.add_argument("--all", action="store_true", help="all figures of this process, as JSON")
    chosen = asked.parse_args()
    if chosen.first or chosen.all:
        measure(first_only=chosen.first)
        return
    print(f"heritagecheck {hc.__version__}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    ours = figures(HERE.parents[1])
    base = figures(chosen.base.resolve()) if chosen.base else {}
    for name, target in TARGETS.items():
        line = f"{name:45s} {ours[name]:7.2f}"
        line += f"  target {target:g}" if target else ""
        if name in base:
            line += f"  earlier {base[name]:.2f}, x{base[name] / ours[name]:.1f}"
        print(line)


if __name__ == "__main__":
    main()

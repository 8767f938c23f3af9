"""
Times the first minutes of somebody new: install and demo, both again, first card, report.

    .venv/bin/python benchmarks/first_minutes.py
    .venv/bin/python benchmarks/first_minutes.py --base CHECKOUT

`make demo` runs in a clean clone of what is committed. The rest runs in fresh processes of the
environment beside the checkout (`make setup`); the first of them finds nothing kept from earlier
processes, neither fits of trial spots nor compiled code. With `--base`, another checkout with an
environment of its own is timed as well, and the ratios are printed. CPU seconds are those of all
cores together, also of what a step starts. The peak of `make demo` is that of its largest program;
the others are the program's own and that of the largest it started (which sets the PDF), added up.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
# Wall seconds, CPU seconds, peak of memory so far [MB].
Cost = tuple[float, float, float]
IN_PYTHON = """
import json, os, resource, sys, tempfile, time
import heritagecheck as hc

costs, results = {}, {}

def timed(name, act):
    wall, cpu = time.perf_counter(), sum(os.times()[:4])
    results[name] = act()
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    own, started = (one.ru_utime + one.ru_stime for one in used)
    peak_mb = sum(one.ru_maxrss for one in used) / 1024
    costs[name] = time.perf_counter() - wall, own + started - cpu, peak_mb

survey = hc.demo_survey()
timed("assess, first of a process", lambda: hc.assess(survey))
timed("assess, later", lambda: hc.assess(survey))
assessment = results["assess, later"]
if sys.argv[1] == "all":
    with tempfile.TemporaryDirectory() as folder:
        timed("zone_card, first", lambda: hc.zone_card(assessment, "N06"))
        timed("zone_card, next", lambda: hc.zone_card(assessment, "N09"))
        timed("report, HTML", lambda: hc.write_report(assessment, folder, formats=("html",)))
        timed("report, PDF", lambda: hc.write_report(assessment, folder, formats=("pdf",)))
print(json.dumps(costs))
"""


def command(*words: str | Path, cwd: Path) -> Cost:
    """Cost of one command and all it starts."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([str(word) for word in words], cwd=cwd, check=True, stdout=subprocess.DEVNULL)
    wall_s, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return wall_s, cpu_s, after.ru_maxrss / 1024


def python(checkout: Path, what: str, compiled: Path) -> dict[str, Cost]:
    """Cost of each step in a fresh process that finds kept and compiled work there alone."""
    done = subprocess.run(
        [str(checkout / ".venv" / "bin" / "python"), "-c", IN_PYTHON, what],
        cwd=checkout, check=True, stdout=subprocess.PIPE, text=True,
        env={**os.environ, "NUMBA_CACHE_DIR": str(compiled), "XDG_CACHE_HOME": str(compiled),
             "PYTHONPATH": str(checkout)},
    )  # fmt: skip
    found: dict[str, Cost] = json.loads(done.stdout.splitlines()[-1])
    return found


def costs(checkout: Path) -> dict[str, Cost]:
    """Cost of each of the first minutes of a checkout."""
    with tempfile.TemporaryDirectory() as folder:
        clone, compiled = Path(folder) / "clone", Path(folder) / "compiled"
        subprocess.run(["git", "clone", "--quiet", checkout, clone], check=True)
        found = {"make demo, fresh clone": command("make", "demo", cwd=clone)}
        found["make demo, again"] = command("make", "demo", cwd=clone)
        [first, _] = python(checkout, "assess", compiled).values()
        return found | {"assess, nothing kept": first} | python(checkout, "all", compiled)


def main() -> None:
    """Print a table of costs, and the ratios to another checkout where one is named."""
    parser = argparse.ArgumentParser(description="Times the first minutes of somebody new.")
    parser.add_argument("--base", type=Path, metavar="CHECKOUT", help="another one to compare with")
    base = parser.parse_args().base
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; wall s, CPU s, peak MB")
    here = costs(ROOT)
    there = costs(base.resolve()) if base else {}
    for name, cost in here.items():
        line = f"{name:<28}" + "".join(f"{value:9.1f}" for value in cost)
        if name in there:
            ratio = there[name][1] / cost[1]
            line += "   base" + "".join(f"{value:9.1f}" for value in there[name])
            line += f"   {ratio:.1f} times the CPU seconds"
        print(line)
    print(f"load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()

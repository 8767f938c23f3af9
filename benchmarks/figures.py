"""
Times the pictures of the example survey, kind by kind, and their size.

    .venv/bin/python benchmarks/figures.py
    .venv/bin/python benchmarks/figures.py --base ../another/checkout

With a base, an older checkout with an environment of its own, each time is given as part of that
of the base too. Processor time is counted, so that other work on the machine matters little.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import heritagecheck as hc
from heritagecheck.survey.records import Panel

ROUNDS = 3


def timed(draw: Callable[[Any], Any], given: list[Any]) -> tuple[int, float, int]:
    """How many pictures, the least of a few times for all of them, and the mean of their sizes."""
    seconds = []
    for _ in range(ROUNDS):
        start = time.process_time()
        sizes = [len(draw(one).svg) for one in given]
        seconds.append(time.process_time() - start)
    return len(given), min(seconds), sum(sizes) // len(sizes)


def measured() -> dict[str, tuple[int, float, int]]:
    """Time what the example survey gives to draw."""
    survey = hc.demo_survey()
    found = hc.assess(survey).recommendations
    series = dict.fromkeys(panel.series for panel in survey.all(Panel))
    trials = [hc.trials.read_series(survey, code).panels.spots for code in series]
    return {
        "harm": timed(hc.figures.draw_harm, [one for one in found if one.against_leaving]),
        "colour": timed(hc.figures.draw_colour, [one for one in found if one.evidence.colour]),
        "trial": timed(
            hc.figures.draw_trial, [one for one in trials if one is not None and one.rows]
        ),
    }


def of_base(base: Path) -> dict[str, tuple[int, float, int]]:
    """Let an older checkout time the same, in its own environment."""
    done = subprocess.run(
        [base.resolve() / ".venv" / "bin" / "python", Path(__file__).resolve(), "--json"],
        cwd=base, check=True, stdout=subprocess.PIPE,
    )  # fmt: skip
    return {kind: tuple(row) for kind, row in json.loads(done.stdout).items()}


def main() -> None:
    """Print a line a kind."""
    asked = argparse.ArgumentParser(description="Times the pictures of the example survey.")
    asked.add_argument("--base", type=Path, help="an older checkout, to give the ratio")
    asked.add_argument("--json", action="store_true", help="numbers for a program")
    given = asked.parse_args()
    here = measured()
    if given.json:
        sys.stdout.write(json.dumps(here))
        return
    before = of_base(given.base) if given.base else {}
    for kind, (count, seconds, size) in here.items():
        line = f"{kind:<7} {count:>3} pictures {seconds:8.3f} CPU s, {size / 1000:5.1f} kB each"
        if kind in before:
            _, then, large = before[kind]
            line += f"; before {then:.3f} s, {large / 1000:.1f} kB: {then / seconds:.0f} times"
        print(line)


if __name__ == "__main__":
    main()

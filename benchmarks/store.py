"""
How long a large survey takes to import, to open and to show one zone of, and how large it gets.

    .venv/bin/python benchmarks/store.py [READINGS ...]

Each size has a twentieth as many zones as readings. Targets: time per row flat from 1,000 to
200,000 readings; opening and showing one zone under 200 ms; at most 150 MB for 200,000.
"""

from __future__ import annotations

import csv
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

import heritagecheck as hc
from heritagecheck.survey.carried import example_folder
from heritagecheck.survey.records import TABLES, Reading, Zone

SIZES = (1_000, 10_000, 50_000, 200_000)
PER_ZONE = 20


def write_survey(folder: Path, readings: int) -> None:
    """Write a survey of so many readings, twenty a zone."""
    example = example_folder()
    for table in TABLES:
        text = (example / f"{table}.csv").read_text("utf-8")
        kept = text if table in {"structure", "elevations", "policy", "views"} else _heading(text)
        (folder / f"{table}.csv").write_text(kept, "utf-8")
    with (example / "zones.csv").open(encoding="utf-8", newline="") as file:
        zone = next(csv.DictReader(file))
    with (example / "readings.csv").open(encoding="utf-8", newline="") as file:
        reading = next(csv.DictReader(file))
    draws = np.random.default_rng(0)
    lab = draws.normal((55.0, 1.0, 5.0), (6.0, 0.5, 1.0), (readings, 3)).round(2)
    with (folder / "zones.csv").open("a", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(TABLES["zones"].model_fields))
        for number in range(readings // PER_ZONE):
            writer.writerow({**zone, "zone": f"Z{number:05}", "panels_laid": 0})
    with (folder / "readings.csv").open("a", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(TABLES["readings"].model_fields))
        for number, (L_star, a_star, b_star) in enumerate(lab):
            code = f"Z{number // PER_ZONE:05}"
            writer.writerow(
                {
                    **reading, "reading": f"{code}-R{number % PER_ZONE:02}", "zone": code,
                    "set_name": f"{code}-soiled", "set_size": PER_ZONE, "target": "soiled",
                    "session": "", "L_star": L_star, "a_star": a_star, "b_star": b_star,
                }
            )  # fmt: skip


def _heading(text: str) -> str:
    """The headings of a table alone."""
    return text.partition("\n")[0] + "\n"


def measure(readings: int) -> None:
    """Import, open and show; print one line."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "tables"
        folder.mkdir()
        write_survey(folder, readings)
        kept = Path(name) / "survey.db"
        start = time.perf_counter()
        hc.import_survey(folder, kept).close()
        took = time.perf_counter() - start
        rows = readings + readings // PER_ZONE
        shown = []
        for turn in range(5):
            start = time.perf_counter()
            survey = hc.open_survey(kept)
            code = f"Z{turn * readings // PER_ZONE // 5:05}"
            assert survey.of_zone(code, Zone)
            assert len(survey.of_zone(code, Reading)) == PER_ZONE
            shown.append(time.perf_counter() - start)
            survey.close()
        size = kept.stat().st_size / 1e6
        print(
            f"{readings:>9,} readings  import {took:6.1f} s  {took / rows * 1e6:5.0f} µs a row  "
            f"open and show {sorted(shown)[2] * 1e3:5.1f} ms  {size:6.1f} MB"
        )


if __name__ == "__main__":
    for size in [int(word) for word in sys.argv[1:]] or SIZES:
        measure(size)

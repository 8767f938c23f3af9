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
from collections.abc import Iterable
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
    zone, reading, layer, observation = (
        _first(example, table) for table in ("zones", "readings", "layers", "observations")
    )
    _add(folder, "layers", [{**layer, "zone": "Z00000"}])
    _add(folder, "observations", [{**observation, "zone": "Z00000"}])
    draws = np.random.default_rng(0)
    lab = draws.normal((55.0, 1.0, 5.0), (6.0, 0.5, 1.0), (readings, 3)).round(2)
    zones = range(readings // PER_ZONE)
    _add(folder, "zones", ({**zone, "zone": f"Z{n:05}", "panels_laid": 0} for n in zones))
    _add(folder, "readings", (
        {
            **reading, "reading": f"Z{n // PER_ZONE:05}-R{n % PER_ZONE:02}",
            "zone": f"Z{n // PER_ZONE:05}", "set_name": f"Z{n // PER_ZONE:05}-soiled",
            "set_size": PER_ZONE, "target": "soiled", "session": "",
            "L_star": L_star, "a_star": a_star, "b_star": b_star,
        }
        for n, (L_star, a_star, b_star) in enumerate(lab)
    ))  # fmt: skip


def _first(folder: Path, table: str) -> dict[str, str]:
    """First row of a table of the example."""
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return next(csv.DictReader(file))


def _add(folder: Path, table: str, rows: Iterable[dict[str, object]]) -> None:
    """Add rows to a table."""
    with (folder / f"{table}.csv").open("a", encoding="utf-8", newline="") as file:
        csv.DictWriter(file, list(TABLES[table].model_fields)).writerows(rows)


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

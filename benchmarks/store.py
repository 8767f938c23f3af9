"""
What a large survey costs to import, to open, and to judge one zone of anew: CPU time and memory.

    .venv/bin/python benchmarks/store.py [--base CHECKOUT] [COPIES ...]

The survey is the example, of which each copy has zones, beds and drawings of its own: 1, 10 and 100
copies where none are named. Each size runs in a process of its own; with `--base`, once more with
the package of an earlier checkout, and each figure is told beside how many times that one's it is.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import re
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import heritagecheck as hc
from heritagecheck.survey.entry.zone_progress import zone_progress
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import TABLES, Observation, Reading, Spot
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database_survey import DatabaseSurvey

COPIES = (1, 10, 100)
ROUNDS = 5
ZONE = "N09"
# Lithotypes of a laser's series are fitted each by itself: of all changes the slowest.
ZONE_OF_SPOTS = "N06"
# What is the same for all copies, and what differs from one to another.
SHARED = {
    "structure",
    "attachments",
    "tile_readings",
    "height_maps",
    "policy",
    "views",
    "meetings",
}
NAMES = {
    "elevation", "zone", "bed_or_system", "layer", "observation", "reading", "site_test",
    "set_name", "panel", "series", "spot", "photo", "question", "section_reading", "profile",
}  # fmt: skip
# A structure's list of beds ends at 10,000 signs; zones of further copies name none.
MOST_WITH_BEDS = 20
ZONE_DRAWN = re.compile(r'data-zone="([^"]+)"')
FIGURES = {
    "import": "CPU s", "peak": "MB resident after the import", "open": "CPU s to open and show",
    "first": "CPU s to judge one zone for the first time",
    "judge": "CPU s to save a reading and judge its zone",
    "answer": "CPU s to save an answer and judge its zone",
    "spot": "CPU s to save a spot's dose and judge its zone",
    "needs": "CPU s to say what each zone still needs", "file": "MB of the database",
}  # fmt: skip
# For 520 and for 5,200 zones; the import is to take ten times as long for ten times as many.
TARGETS = {
    1: {"judge": 0.2, "answer": 0.2, "spot": 0.2, "needs": 0.05},
    10: {"import": 3.0, "open": 0.2, "judge": 0.2, "answer": 0.2, "spot": 0.2, "needs": 0.5},
    100: {"import": 30.0, "peak": 400.0, "open": 0.2, "judge": 0.2, "answer": 0.2, "spot": 0.2},
}


def write_survey(folder: Path, copies: int) -> None:
    """Write so many copies of the example as tables, with its files beside them."""
    for table in TABLES:
        with (example_folder() / f"{table}.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        for row in rows:
            if "beds" in row:
                beds = row["beds"].split("; ")
                row["beds"] = "; ".join(
                    of_copy("bed_or_system", bed, copy)
                    for copy in range(min(copies, MOST_WITH_BEDS))
                    for bed in beds
                )
        with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(TABLES[table].model_fields))
            writer.writeheader()
            for copy in range(1 if table in SHARED else copies):
                writer.writerows(
                    {name: of_copy(name, cell, copy) if cell else cell
                     for name, cell in row.items()}
                    for row in rows
                )  # fmt: skip
    for name in ("drawings", "instruments", "photographs"):
        shutil.copytree(example_folder() / name, folder / name)
    for drawing in [*(folder / "drawings").iterdir()]:
        svg = drawing.read_text(encoding="utf-8")
        for copy in range(1, copies):
            path = folder / of_copy("drawing", f"drawings/{drawing.name}", copy)
            path.write_text(ZONE_DRAWN.sub(rf'data-zone="\1/{copy}"', svg), encoding="utf-8")


def of_copy(name: str, cell: str, copy: int) -> str:
    """Give a cell as it stands in a copy: the first is the example itself."""
    if not copy or name not in {*NAMES, "drawing"}:
        return cell
    if name == "bed_or_system" and copy >= MOST_WITH_BEDS:
        return ""
    return cell.replace(".svg", f"-{copy}.svg") if name == "drawing" else f"{cell}/{copy}"


def measured(tables: Path) -> dict[str, float]:
    """Import a survey, open it, and judge one of its zones again and again."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name) / "survey.db"
        start = time.process_time()
        hc.import_survey(tables, place).close()
        found = {"import": time.process_time() - start}
        kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        found |= {"peak": kib / 1024, "file": place.stat().st_size / 1e6}

        start = time.process_time()
        survey = hc.open_survey(place)
        reading = next(one for one in survey.of_zone(ZONE, Reading) if one.L_star is not None)
        found["open"] = time.process_time() - start

        start = time.process_time()
        hc.assess(survey, zones=[ZONE])
        found["first"] = time.process_time() - start
        answer = next(
            one for one in survey.of_zone(ZONE, Observation) if one.topic == "detail_hidden"
        )
        spot = next(one for one in survey.of_zone(ZONE_OF_SPOTS, Spot) if one.dose is not None)
        found["judge"] = judged_again(
            survey, ZONE, lambda turn: reading.changed(L_star=reading.L_star + turn / 100)
        )
        found["answer"] = judged_again(
            survey, ZONE, lambda turn: answer.changed(finding=("yes", "no")[turn % 2])
        )
        found["spot"] = judged_again(
            survey, ZONE_OF_SPOTS, lambda turn: spot.changed(dose=spot.dose * (1 + turn / 100))
        )
        start = time.process_time()
        zone_progress(survey)
        found["needs"] = time.process_time() - start
        survey.close()
    return found


def judged_again(survey: DatabaseSurvey, zone: str, changed: Callable[[int], Record]) -> float:
    """Save a changed record and judge its zone, several times; the median. [CPU s]."""
    hc.assess(survey, zones=[zone])
    took = []
    for turn in range(1, ROUNDS + 1):
        start = time.process_time()
        survey.save(changed(turn))
        hc.assess(survey, zones=[zone])
        took.append(time.process_time() - start)
    return statistics.median(took)


def in_its_own_process(tables: Path, checkout: Path | None) -> dict[str, float]:
    """Measure with the package of this checkout or another, on the same libraries."""
    paths = {} if checkout is None else {"PYTHONPATH": str(checkout.resolve())}
    # Fits that an earlier run kept would answer for this one.
    with tempfile.TemporaryDirectory() as empty:
        done = subprocess.run(
            [sys.executable, __file__, "--measure", str(tables)],
            env=os.environ | paths | {"XDG_CACHE_HOME": empty},
            check=True, capture_output=True, text=True,
        )  # fmt: skip
    found: dict[str, float] = json.loads(done.stdout)
    return found


def main() -> None:
    """Measure each size, and print each figure beside its target and the earlier one."""
    parser = argparse.ArgumentParser(description=__doc__.strip().partition("\n")[0])
    parser.add_argument("copies", nargs="*", type=int, default=COPIES)
    parser.add_argument("--base", type=Path, help="an earlier checkout")
    parser.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.measure:
        print(json.dumps(measured(given.measure)))
        return
    for copies in given.copies:
        with tempfile.TemporaryDirectory() as name:
            write_survey(Path(name), copies)
            found = in_its_own_process(Path(name), None)
            before = in_its_own_process(Path(name), given.base) if given.base else {}
        print(f"{52 * copies:,} zones")
        for figure, words in FIGURES.items():
            target = TARGETS.get(copies, {}).get(figure)
            print(
                f"  {figure:>6} {found[figure]:8.2f} {words:47}"
                + (f"target {target:6.1f}  " if target else " " * 15)
                + (
                    f"{found[figure] / before[figure]:.2f} times {before[figure]:.2f}"
                    if before
                    else ""
                )
            )


if __name__ == "__main__":
    main()

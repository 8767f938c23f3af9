"""
Empty the notebooks, so that a change to one reads as a change to its words.

Outputs, counters, widget state and time stamps go; cell ids stay. A cell with
the tag `nbval-check-output` keeps its words, because those are what `make test` compares. The code
of a cell is folded, and unfolds at a click. Run twice, it changes nothing the second time.

    python tools/tidy_notebooks.py notebooks
"""

from __future__ import annotations

import hashlib
import json
import sys
from pathlib import Path
from typing import Any

CHECKED = "nbval-check-output"
RUN = (
    1  # nbval takes a cell's output as seen only where a counter stands; which one is all the same
)
NOTEBOOK_METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}


def tidy(notebook: dict[str, Any]) -> dict[str, Any]:
    """Return the notebook with nothing in it but what somebody wrote or checks."""
    cells: list[dict[str, Any]] = []
    for cell in notebook["cells"]:
        taken = {before["id"] for before in cells}
        cells.append(_tidy_cell(cell, taken))
    return {
        "cells": cells,
        "metadata": NOTEBOOK_METADATA,
        "nbformat": 4,
        "nbformat_minor": 5,
    }


def as_text(notebook: dict[str, Any]) -> str:
    """Return the notebook as Jupyter itself would write it: keys sorted, one space deep."""
    return json.dumps(notebook, ensure_ascii=False, indent=1, sort_keys=True) + "\n"


def _tidy_cell(cell: dict[str, Any], taken: set[str]) -> dict[str, Any]:
    source = _text(cell["source"]).strip("\n")
    kept: dict[str, Any] = {
        "cell_type": cell["cell_type"],
        "id": _free_id(cell.get("id"), source, taken),
        "metadata": {key: cell["metadata"][key] for key in ("tags",) if cell["metadata"].get(key)},
        "source": source.splitlines(keepends=True),
    }
    if cell.get("attachments"):
        kept["attachments"] = cell["attachments"]
    if cell["cell_type"] == "code":
        kept["metadata"]["jupyter"] = {"source_hidden": True}
        outputs = cell["outputs"] if CHECKED in cell["metadata"].get("tags", []) else []
        kept["outputs"] = [_tidy_output(output) for output in outputs]
        kept["execution_count"] = RUN if outputs else None
    return kept


def _tidy_output(output: dict[str, Any]) -> dict[str, Any]:
    kept = dict(output)
    if "execution_count" in kept:
        kept["execution_count"] = RUN
    if "metadata" in kept:
        kept["metadata"] = {}
    if "data" in kept:
        kept["data"] = {"text/plain": kept["data"]["text/plain"]}
    return kept


def _free_id(wanted: str | None, source: str, taken: set[str]) -> str:
    """Keep the cell's id; where it has none, or shares one, make it from the words."""
    turn = 0
    while wanted is None or wanted in taken:
        wanted = hashlib.sha256(f"{turn} {source}".encode()).hexdigest()[:8]
        turn += 1
    return wanted


def _text(lines: str | list[str]) -> str:
    return lines if isinstance(lines, str) else "".join(lines)


def main(folders: list[str]) -> None:
    """Tidy every notebook of the folders in place and name those that changed."""
    for path in sorted(found for folder in folders for found in Path(folder).glob("*.ipynb")):
        before = path.read_text(encoding="utf-8")
        after = as_text(tidy(json.loads(before)))
        if after != before:
            path.write_text(after, encoding="utf-8", newline="\n")
            print(f"tidied {path}")


if __name__ == "__main__":
    main(sys.argv[1:] or ["notebooks"])

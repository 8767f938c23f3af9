"""The notebooks beside a survey of one's own that holds almost nothing: every cell runs."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from bare_survey import bare_rows, keep

# Each notebook is a kernel; the steps themselves are tried without one in tests/screens.
pytestmark = pytest.mark.long

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
CHECKED = "nbval-check-output"


def unchecked(notebook: dict[str, Any]) -> dict[str, Any]:
    """A notebook whose words may be other ones: those kept are of the example."""
    for cell in notebook["cells"]:
        tags = cell["metadata"].get("tags", [])
        cell["metadata"]["tags"] = [tag for tag in tags if tag != CHECKED]
    return notebook


def test_notebooks_run_on_a_survey_without_zones(tmp_path: Path) -> None:
    """
    With no zone, no cell of any notebook fails.

    On three zones without records they run as pages, in tests/browser/test_notebooks_as_pages.py.
    """
    rows = bare_rows()
    rows["zones"] = []
    keep(rows, tmp_path / "survey.db")
    folder = tmp_path / "notebooks"
    folder.mkdir()
    paths = sorted(NOTEBOOKS.glob("*.ipynb"))
    for path in paths:
        notebook = unchecked(json.loads(path.read_text(encoding="utf-8")))
        (folder / path.name).write_text(json.dumps(notebook), encoding="utf-8")
    command = ["-m", "pytest", "-q", "--nbval-lax", "--nbval-current-env", "-p", "no:cacheprovider"]
    ran = subprocess.run(
        [sys.executable, *command, "--rootdir", str(tmp_path), str(folder)],
        cwd=folder, capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert ran.returncode == 0, ran.stdout[-3000:] + ran.stderr[-1000:]
    assert len(paths) >= 7
    assert " passed" in ran.stdout
    assert "failed" not in ran.stdout

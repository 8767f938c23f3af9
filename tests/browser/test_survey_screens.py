"""The survey's pages as their users meet them: real server, real browser, from an empty folder."""

from __future__ import annotations

import importlib.util
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import TABLET, survey_pages, window
from pictured_wall import saved, wall
from visitor import PROGRAM_FAULTS, Visitor

from heritagecheck.cli import main


@pytest.fixture(scope="module")
def axe() -> str:
    """Give the checks of accessibility by axe, as a script; a change is never checked without."""
    found = importlib.util.find_spec("axe_playwright_python")
    if found is None or found.origin is None:
        missing = "axe is missing: pip install -c constraints.txt -e '.[dev]'."
        if os.environ.get("CI"):
            pytest.fail(missing, pytrace=False)
        pytest.skip(missing)
    return (Path(found.origin).parent / "axe.min.js").read_text("utf-8")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as start makes it, with nothing in it, and a photograph of a wall beside it."""
    made = tmp_path_factory.mktemp("screens")
    assert main(["start", str(made / "sluice"), "--folder-only"]) == 0
    (made / "wall.jpg").write_bytes(saved(wall()))
    (made / "pictures").mkdir()
    return made


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    """The address that heritagecheck lab tells."""
    with survey_pages(folder / "sluice", folder / "home") as (told, _):
        yield told


def test_zone_is_surveyed_from_an_empty_folder_to_the_report(
    address: str, folder: Path, browser: Any, axe: str
) -> None:
    """A person who knows no code names, pictures, outlines, fills in, asks and reports."""
    pictures = folder / "pictures"
    with window(browser, TABLET) as opened:
        she = Visitor(opened, axe)
        she.arrive(address, "conservator")
        she.look(pictures, "start")

        she.press("Go on: The structure")
        for label, text in (
            ("Name of the structure", "Quillmere Sluice"),
            ("Question of the survey", "Which zones can be cleaned"),
            ("Why it matters", "The last sluice of its kind"),
            ("Who surveyed", "conservator"),
            ("Survey closed on", "2026-11-30"),
        ):
            she.write(label, text)
        she.look(pictures, "structure")
        she.press("Save the structure")

        she.press("Go on: Elevations")
        she.write("Which side is it", "North front", enter=True)
        she.page.locator("input[type=file]").set_input_files(folder / "wall.jpg")
        she.page.get_by_text("Put the picture in place").wait_for()
        she.press("The two points lie level")
        she.tap(0.0833, 0.5)
        she.tap(0.9167, 0.5)
        she.press("Next: the known length")
        she.tap(0.0833, 0.5)
        she.tap(0.9167, 0.5)
        she.write("Length between", "10,0")
        she.look(pictures, "placing")
        she.press("Look at it in place")
        assert re.search(r"shows 1[12]\.\d\d m by [78]\.\d\d m", she.text), she.text
        she.press("Use this picture")

        she.press("Start")
        she.press("What the team agrees")
        she.look(pictures, "policy")
        she.press("Agree to all of these values")
        assert she.sees("Saved: the agreed values")

        she.press("Start")
        she.press("Zones")
        she.write("What is it, in a few words", "Left plinth")
        she.press("New zone: draw its outline")
        for across, down in ((0.1, 0.6), (0.35, 0.6), (0.35, 0.9), (0.1, 0.9)):
            she.tap(across, down)
        she.look(pictures, "outline")
        she.press("Save the outline")
        she.press("To the form of N01")
        for term in ("granite", "tooled", "sound", "rain-washed", "ground", "medium"):
            she.press(term, exact=True)
        she.write("Reason for the significance", "Seen from the bridge")
        she.look(pictures, "what")
        she.press("Save zone N01")
        she.press("algae", exact=True)
        she.press("not valued", exact=True)
        she.write("Cover", "82,5")
        she.look(pictures, "soiling")
        she.press("Save zone N01")
        assert she.sees("Saved: zone N01")
        assert not re.search(PROGRAM_FAULTS, she.text)

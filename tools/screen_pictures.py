"""
Take the guide's pictures: a survey walked from an empty folder on, then screens of the example.

Everything is pressed and typed in the real browser, on a screen as wide as a tablet.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from browsing import ROOT, TABLET, survey_pages, window
from PIL import ImageFilter

from heritagecheck.cli import main as run

# What the tests in the browser walk with: a wall that is drawn, and a person at the page.
sys.path.append(str(ROOT / "tests" / "support"))
from pictured_wall import saved, wall
from visitor import Visitor

if TYPE_CHECKING:
    from playwright.sync_api import Browser

WALL = "wall.jpg"
NO_CHECKS = "0"  # a script that does nothing
# Grain would take most of a picture's bytes.
SMOOTHED_PX = 1.5
FIRST_LENGTH = ((0.0833, 0.5), (0.9167, 0.5))
CORNERS = ((0.1, 0.6), (0.35, 0.6), (0.35, 0.9), (0.1, 0.9))
# Screens of the example: name, route, the words at which the picture begins, and its height.
EXAMPLES = (
    ("colour", "zone/N06/colour", "", 1000),
    ("spots", "zone/N06/series/N06-pulse/spots/N06-pulse-3", "The spots", 800),
    ("below", "zone/T06/below", "What the panels show", 860),
    ("answer", "zone/N06/answer", "", 1180),
)


def screen_pictures(browser: Browser, folder: Path) -> Iterator[tuple[str, bytes]]:
    """Name and picture of each screen that the guide shows."""
    yield from _from_an_empty_folder(browser, folder)
    yield from _of_the_example(browser, folder)


def _from_an_empty_folder(browser: Browser, folder: Path) -> Iterator[tuple[str, bytes]]:
    """Walk to the first zone of an own survey."""
    survey = folder / "sluice"
    run(["start", str(survey), "--folder-only"])
    (folder / WALL).write_bytes(saved(wall().filter(ImageFilter.GaussianBlur(SMOOTHED_PX))))
    with (
        survey_pages(survey, folder / "at-home") as (address, _),
        window(browser, TABLET) as opened,
    ):
        she = Visitor(opened, NO_CHECKS)
        she.arrive(address, "conservator")
        yield "start", _seen(she, 960)

        she.press("Go on: The structure")
        she.write("Name of the structure", "Quillmere Sluice")
        she.press("Save the structure")
        she.press("Go on: Elevations")
        she.write("Which side is it", "North front", enter=True)
        she.page.locator("input[type=file]").set_input_files(folder / WALL)
        she.page.get_by_text("Put the picture in place").wait_for()
        she.press("The two points lie level")
        for place in FIRST_LENGTH:
            she.tap(*place)
        she.press("Next: the known length")
        for place in FIRST_LENGTH:
            she.tap(*place)
        she.write("Length between", "10,0")
        yield "placing", _seen(she, 1240)

        she.press("Look at it in place")
        she.press("Use this picture")
        she.press("Your survey")
        she.press("What the team agrees")
        yield "policy", _seen(she, 760)

        she.press("Agree to all of these values")
        she.press("Your survey")
        she.press("Zones")
        she.write("What is it, in a few words", "Left plinth")
        she.press("New zone: draw its outline")
        for place in CORNERS:
            she.tap(*place)
        yield "outline", _seen(she, 1140)

        she.press("Save the outline")
        she.press("To the form of N01")
        for term in ("granite", "tooled", "sound", "rain-washed", "ground", "medium"):
            she.press(term, exact=True)
        yield "what", _seen(she, 920)


def _of_the_example(browser: Browser, folder: Path) -> Iterator[tuple[str, bytes]]:
    """Look at screens of the example survey, which is full."""
    survey = folder / "quillmere"
    run(["import", str(ROOT / "data" / "quillmere"), str(survey / "survey.db")])
    with (
        survey_pages(survey, folder / "at-home") as (address, _),
        window(browser, TABLET) as opened,
    ):
        she = Visitor(opened, NO_CHECKS)
        she.arrive(address, "conservator")
        for name, route, begins, height in EXAMPLES:
            _go(she, route)
            yield name, _seen(she, height, begins)
        _go(she, "zone/E05/photographs")
        she.press("Measure P3", exact=True)
        she.page.locator("svg.plate image[href]").first.wait_for()
        yield "photographs", _seen(she, 560, "Measure P3")
        she.press("All zones")
        she.press("Show the outcomes")
        she.page.get_by_role("button", name="Show the progress of the survey").wait_for()
        she.settle()
        yield "zones", _seen(she, 1080)


def _go(she: Visitor, route: str) -> None:
    """Open one task of a zone by its address."""
    she.page.evaluate("route => { location.hash = encodeURIComponent(route) }", route)
    zone = route.split("/")[1]
    she.page.get_by_role("heading", name=re.compile(rf"^{zone}\b"), level=1).wait_for()
    she.settle()


def _seen(she: Visitor, height_px: int, begins: str = "") -> bytes:
    """What the tablet shows from its head, or from a heading, down."""
    she.page.set_viewport_size({"width": TABLET.width_px, "height": height_px})
    she.page.wait_for_function("height => innerHeight === height", arg=height_px)
    heading = she.page.get_by_role("heading", name=begins, exact=True) if begins else None
    (heading or she.page.locator("header")).first.evaluate("one => one.scrollIntoView()")
    she.page.wait_for_timeout(500)
    picture = she.page.screenshot()
    she.page.set_viewport_size({"width": TABLET.width_px, "height": TABLET.height_px})
    return picture

"""
Take the pictures of README and guide from the real thing: drawing, report, PDF, notebook, screens.

They show nothing that changes by itself, such as where something lies (only the screen of colour
names the day), so a picture that looks different tells of a change in the package.

    python tools/take_pictures.py docs/pictures
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from browsing import (
    ROOT,
    MissingToolError,
    Size,
    chromium,
    survey_pages,
    window,
)
from meeting_pictures import meeting_pictures
from screen_pictures import screen_pictures

import heritagecheck as hc
from heritagecheck.documents.field_sheet import write_field_sheets
from heritagecheck.figures.elevation import draw_key
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ELEVATION = "north"
ON_SCREEN = "N06"
ON_PAPER = "N13"
PHOTOGRAPHED = "P3"
TRIED = "N06-pulse"
SCREEN = Size("screen", 1280, 900)
PAGE = Size("page", 1100, 1250)
TO_RUN_MS = 180_000
DRAWING = Size("drawing", 1180, 900)
PAGE_DPI = 110
# Enough for hatches and soft edges, and small enough for a repository.
COLOURS = 200
LARGEST_BYTES = 250_000
LARGEST_SCREEN_BYTES = 120_000
ZONE_NOTEBOOK = "*_zone_by_zone.ipynb"


def elevation_picture(browser: Browser, assessment: Assessment) -> bytes:
    """Take one elevation with the key of its colours and hatches."""
    drawn = hc.figures.draw_elevation(assessment, ELEVATION)
    keys = "".join(
        f'<span style="margin-right:2rem">{draw_key(outcome).svg} {outcome}</span>'
        for outcome in OUTCOMES
    )
    return _taken(browser, f'<p style="margin:0 0 12px">{keys}</p>{drawn.svg}')


def _taken(browser: Browser, inner: str) -> bytes:
    """Take a drawing on the ground of our pages."""
    with window(browser, DRAWING) as shown:
        shown.page.set_content(
            '<body style="margin:0;background:#fffdf8;font:18px sans-serif"><main '
            f'style="padding:16px;width:fit-content">{inner}</main>'
        )
        return shown.page.locator("main").screenshot()


def photograph_picture(browser: Browser) -> bytes:
    """Take what a photograph of the example says of its zone."""
    found = hc.photograph.measure(hc.demo_survey(), PHOTOGRAPHED)
    return _taken(browser, hc.figures.draw_photographed(found).svg)


def trial_picture(browser: Browser) -> bytes:
    """Take what the spots of one series of the example show."""
    spots = hc.trials.read_series(hc.demo_survey(), TRIED).spots
    return _taken(browser, hc.figures.draw_trial(spots).svg)


def zone_picture(browser: Browser, report: Path) -> bytes:
    """Take what one sees on a screen that stands at one zone of the report."""
    with window(browser, SCREEN) as shown:
        shown.page.goto(f"{report.as_uri()}#sheet-{ON_SCREEN}")
        shown.page.locator(f"#sheet-{ON_SCREEN} .answer .outcome").wait_for()
        return shown.page.screenshot()


def page_picture(report: Path) -> bytes:
    """Take the page of one zone in the PDF, as it would be printed."""
    number = str(page_of(report, ON_PAPER))
    return _poppler(
        *("pdftoppm", "-png", "-singlefile", "-r", str(PAGE_DPI)),
        *("-f", number, "-l", number, str(report)),
    )


def sheet_picture(folder: Path) -> bytes:
    """Take the first page of one zone's empty sheet, as it would be printed."""
    sheets = write_field_sheets(hc.demo_survey(), folder / "sheets.pdf", zones=[ON_SCREEN])
    return _poppler("pdftoppm", "-png", "-singlefile", "-r", str(PAGE_DPI), "-l", "1", str(sheets))


def page_of(report: Path, zone: str) -> int:
    """Number of the page to which the first bookmark of a zone leads."""
    outline = _poppler("pdftohtml", "-xml", "-i", "-stdout", str(report)).decode("utf-8")
    found = re.search(rf'<item page="(\d+)">{re.escape(zone)}\b', outline)
    if found is None:
        raise LookupError(f"The PDF has no bookmark for {zone}.")
    return int(found[1])


def _poppler(tool: str, *arguments: str) -> bytes:
    if shutil.which(tool) is None:
        raise MissingToolError(f"{tool} is missing: apt install poppler-utils.")
    return subprocess.run([tool, *arguments], capture_output=True, check=True).stdout


def notebook_picture(browser: Browser, folder: Path) -> bytes:
    """Take the notebook of the zones as a page without code, from the list of surveys on."""
    pages = folder / "pages"
    left_out = shutil.ignore_patterns(".ipynb_checkpoints", "report", ".chosen.json")
    # Two folders down: one's own survey would come before the example if it were found.
    shutil.copytree(ROOT / "notebooks", pages / "course" / "example", ignore=left_out)
    hc.open_survey(pages / "survey.db").close()
    name = next((ROOT / "notebooks").glob(ZONE_NOTEBOOK)).name
    with survey_pages(pages, folder / "home") as (address, _), window(browser, PAGE) as shown:
        page = shown.page
        page.goto(address.replace("start.ipynb", f"course/example/{name}"), timeout=TO_RUN_MS)
        page.locator(".hc-part .hc").first.wait_for(timeout=TO_RUN_MS)
        page.locator(".hc-live", has=page.locator(".picker")).first.scroll_into_view_if_needed()
        page.evaluate("document.querySelector('.picker').scrollIntoView({block: 'start'})")
        page.wait_for_timeout(500)
        return page.screenshot()


def save(picture: bytes, path: Path, largest: int = LARGEST_BYTES) -> None:
    """Write a picture with few colours, without a date or the like."""
    from PIL import Image

    with Image.open(BytesIO(picture)) as taken:
        # By the octree: other ways count pixels, and take the few that carry colour for grey.
        few = taken.convert("RGB").quantize(
            COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE
        )
    few.save(path, optimize=True)
    size = path.stat().st_size
    if size > largest:
        raise ValueError(f"{path} takes {size} bytes, more than the {largest} agreed.")
    print(f"{path}  {few.width} x {few.height}  {size // 1000} kB")


def take_all(target: Path) -> None:
    """Take all pictures of the example survey into a folder."""
    target.mkdir(parents=True, exist_ok=True)
    assessment = hc.assess(hc.demo_survey())
    with tempfile.TemporaryDirectory() as made, chromium() as browser:
        folder = Path(made)
        save(elevation_picture(browser, assessment), target / "north.png")
        save(photograph_picture(browser), target / "photograph.png")
        save(trial_picture(browser), target / "trial.png")
        save(notebook_picture(browser, folder), target / "notebook.png")
        (html,) = hc.write_report(assessment, folder, formats=("html",))
        save(zone_picture(browser, html), target / "zone.png")
        pdf, _annexe = hc.write_report(assessment, folder, formats=("pdf",))
        save(page_picture(pdf), target / "page.png")
        save(sheet_picture(folder), target / "sheet.png")
        for name, taken in screen_pictures(browser, folder):
            save(taken, target / f"screen-{name}.png", LARGEST_SCREEN_BYTES)
        for name, taken in meeting_pictures(browser, folder):
            save(taken, target / f"{name}.png", LARGEST_SCREEN_BYTES)


def main(folders: list[str]) -> None:
    """Take the pictures; say in one line what has to be installed first."""
    try:
        take_all(Path(folders[0]) if folders else ROOT / "docs" / "pictures")
    except (MissingToolError, ImportError) as missing:
        sys.exit(str(missing))


if __name__ == "__main__":
    main(sys.argv[1:])

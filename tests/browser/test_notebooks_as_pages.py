"""The notebooks as pages without code: the example as a course, and an almost empty survey."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from bare_survey import bare_rows, keep
from browsing import LAPTOP, PHONE, ROOT, TABLET, Window, survey_pages, window

# Each page is a kernel of its own; `make test` tries the same steps without a browser.
pytestmark = pytest.mark.long

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
PART = ".hc-live .hc-part"
TO_RUN_MS = 180_000
FITS = "width => innerWidth === width && document.documentElement.scrollWidth <= width"
# A table or picture that must be pushed aside at this width, unless somebody asked for all of it.
PUSHED = """() => [...document.querySelectorAll('.hc-part .scroll')]
  .filter(box => box.scrollWidth > box.clientWidth + 1)
  .map(box => box.scrollWidth + ' px in ' + box.clientWidth + ': ' + box.innerText.slice(0, 80))"""
AXE = """async () => (await axe.run(document, {resultTypes: ['violations']})).violations
  .filter(one => ['serious', 'critical'].includes(one.impact))
  .map(one => one.id + ': ' + one.nodes[0].html.slice(0, 300))"""
CODE = """() => [...document.querySelectorAll('.jp-CodeCell :is(.jp-Editor, .highlight)')]
  .filter(one => one.offsetParent).length"""
# Whether what must be over in a millisecond is given up a tenth of a second later.
GIVEN_UP = """() => new Promise(tell => {
  const one = AbortSignal.timeout(1);
  setTimeout(() => tell(one.aborted), 100);
})"""
SETTLED = """() => !document.querySelector('[data-waiting]:not([data-waiting="0"])')"""
PLACES = {"own": "notebooks", "example": "course/example"}


@pytest.fixture(scope="module")
def start(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Give the address of a survey's pages: notebooks beside a survey of three zones, and alone."""
    folder = tmp_path_factory.mktemp("pages")
    keep(bare_rows({}, {}, {}), folder / "survey.db")
    left_out = shutil.ignore_patterns(".ipynb_checkpoints", "report", ".chosen.json")
    for place in PLACES.values():
        shutil.copytree(ROOT / "notebooks", folder / place, ignore=left_out)
    with survey_pages(folder, folder / "home") as (address, _):
        yield address


@pytest.fixture(
    scope="module",
    params=[(place, path) for place in PLACES for path in NOTEBOOKS],
    ids=lambda given: f"{given[0]}-{given[1].stem}",
)
def shown(request: pytest.FixtureRequest, browser: Any, start: str) -> Iterator[tuple[Window, str]]:
    """Give a notebook as a page, once all its steps are there."""
    place, path = request.param
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    steps = sum(cell["cell_type"] == "code" for cell in cells)
    with window(browser, LAPTOP) as opened:
        page = opened.page
        page.goto(start.replace("start.ipynb", f"{PLACES[place]}/{path.name}"), timeout=TO_RUN_MS)
        page.wait_for_function(
            "([part, steps]) => document.querySelectorAll(part).length >= steps",
            arg=[PART, steps], timeout=TO_RUN_MS,
        )  # fmt: skip
        yield opened, place


def text_of(page: Any) -> str:
    """Everything that a page says."""
    return str(page.locator("body").inner_text())


def test_every_step_is_there_without_code_or_fault(shown: tuple[Window, str]) -> None:
    """No code, no traceback, nothing asked of another machine; the survey is the one beside it."""
    page, place = shown[0].page, shown[1]

    assert page.evaluate(CODE) == 0
    assert "Traceback" not in text_of(page)
    assert page.get_by_text("The program failed").count() == 0
    assert page.get_by_label("Survey", exact=True).input_value() == (
        "example" if place == "example" else "../survey.db"
    )
    assert shown[0].outside == []
    assert shown[0].complaints == []
    assert not page.evaluate(GIVEN_UP), "a widget that begins slowly would take the page with it"


@pytest.mark.parametrize("size", [LAPTOP, TABLET, PHONE], ids=lambda size: size.name)
def test_nothing_is_pushed_aside_or_too_hard_to_read(
    shown: tuple[Window, str], axe: str, size: Any
) -> None:
    """The page fits the screen, tables fit a tablet; axe finds nothing serious, wide or narrow."""
    page = shown[0].page
    page.set_viewport_size({"width": size.width_px, "height": size.height_px})
    page.wait_for_function(FITS, arg=size.width_px)

    assert size is PHONE or page.evaluate(PUSHED) == []

    if size is not TABLET:
        page.evaluate(axe)

        assert page.evaluate(AXE) == []


def test_another_zone_of_the_list_is_followed(shown: tuple[Window, str]) -> None:
    """What is chosen at the head of the page is what every step shows."""
    page = shown[0].page
    page.set_viewport_size({"width": LAPTOP.width_px, "height": LAPTOP.height_px})
    chosen = page.get_by_label("Zone", exact=True)
    if not chosen.count():
        # A notebook of the whole survey has no such list.
        assert page.get_by_label("Survey", exact=True).count() == 1
        return
    other = "N10" if shown[1] == "example" else "Z2"
    chosen.first.select_option(value=other)
    page.wait_for_function(SETTLED)

    assert chosen.first.input_value() == other
    assert "Traceback" not in text_of(page)
    assert page.get_by_text("The program failed").count() == 0

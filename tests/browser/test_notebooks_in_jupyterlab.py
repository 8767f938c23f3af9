"""The notebooks as a conservator meets them: in JupyterLab, run from top to bottom, offline."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import LAPTOP, ROOT, TABLET, Size, Window, jupyterlab, run_notebook, window

# `make test` runs the notebooks by nbval: without a browser each takes a third of the time.
pytestmark = pytest.mark.long

NOTEBOOKS = sorted(path.name for path in (ROOT / "notebooks").glob("*.ipynb"))
# How the list of each card is called, and what else is chosen there.
CHOSEN = {"trials.ipynb": ("Series", "N15-pulse"), "zone_by_zone.ipynb": ("Zone", "N09")}
WITH_CARD = [name for name in NOTEBOOKS if name.partition("_")[2] in CHOSEN]

CARD = ".jp-OutputArea .hc"
# JupyterLab shows a traceback in the same kind of box as a warning.
AMISS = """() => [...document.querySelectorAll(
    '[data-mime-type="application/vnd.jupyter.stderr"]')]
  .map(output => output.closest('.jp-Cell').querySelector('.jp-Editor').textContent.trim()
    + ': ' + output.textContent.slice(-300))"""
PICTURES = ".jp-OutputArea-output :is(img, svg[role='img'], [role='img'] > svg)"
UNSEEN = """picture => {
  const box = picture.getBoundingClientRect();
  const read = picture.tagName !== 'IMG' || picture.naturalWidth > 0;
  return box.width < 5 || box.height < 5 || !read;
}"""
# From the card outwards to its cell: a box on the way may hide what sticks out, or let it be moved.
STICKS_OUT = """() => [...document.querySelectorAll('.jp-OutputArea .hc')].flatMap(card => {
  const boxes = [];
  for (let box = card; !box.matches('.jp-Cell'); box = box.parentElement) boxes.push(box);
  return boxes.filter(box => box.scrollWidth > box.clientWidth)
    .map(box => `${box.className}: ${box.scrollWidth} px in ${box.clientWidth} px`);
})"""
# What each cell stated in words, whether by print or as its last line.
STATED = """() => [...document.querySelectorAll('.jp-Notebook .jp-CodeCell')].map(cell =>
  [...cell.querySelectorAll(
    '[data-mime-type="application/vnd.jupyter.stdout"], [data-mime-type="text/plain"]')]
    .map(output => output.textContent).join(''))"""
# The notebook fills the screen again, and no more than it.
FOLLOWED = """width => {
  const right = document.querySelector('.jp-Notebook').getBoundingClientRect().right;
  return innerWidth === width && right <= width && right > width - 60;
}"""


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Give the address of a JupyterLab on a copy of the notebooks, so that ours stay empty."""
    folder = tmp_path_factory.mktemp("lab")
    left_out = shutil.ignore_patterns(".ipynb_checkpoints", "report")
    shutil.copytree(ROOT / "notebooks", folder / "notebooks", ignore=left_out)
    with jupyterlab(folder / "notebooks", folder / "home") as address:
        yield address


@pytest.fixture(scope="module")
def ran(request: pytest.FixtureRequest, browser: Any, lab: str) -> Iterator[Window]:
    """Give a notebook after all its cells were run, on a laptop; once for all it is asked."""
    with window(browser, LAPTOP) as shown:
        run_notebook(shown.page, lab, request.param)
        yield shown


# A card is what somebody may hold in the hand at the wall, so it is looked at on a tablet as well.
@pytest.fixture(params=[LAPTOP, TABLET], ids=lambda size: size.name)
def resized(request: pytest.FixtureRequest, ran: Window) -> Iterator[Window]:
    """Give the same run on a screen of either width."""
    resize(ran.page, request.param)
    yield ran
    resize(ran.page, LAPTOP)


def resize(page: Any, size: Size) -> None:
    """Change the size of the screen, and wait until JupyterLab has followed."""
    page.set_viewport_size({"width": size.width_px, "height": size.height_px})
    page.wait_for_function(FOLLOWED, arg=size.width_px)


every_run = pytest.mark.parametrize(
    "ran", NOTEBOOKS, ids=[Path(name).stem for name in NOTEBOOKS], indirect=True
)
runs_with_card = pytest.mark.parametrize(
    "ran", WITH_CARD, ids=lambda name: Path(name).stem, indirect=True
)


@every_run
def test_every_cell_runs_without_error_or_warning(ran: Window) -> None:
    """No cell ends in a traceback, and none writes to the stream for what went amiss."""
    assert ran.page.evaluate(AMISS) == []


def kept_text(output: dict[str, Any]) -> str:
    """Give the words of one output that a notebook's file keeps."""
    stream = output["output_type"] == "stream"
    return "".join(output["text"] if stream else output["data"]["text/plain"])


@every_run
def test_results_are_those_that_the_notebook_keeps(
    ran: Window, request: pytest.FixtureRequest
) -> None:
    """Each cell with a kept result gives it again, to the letter."""
    path = ROOT / "notebooks" / request.node.callspec.params["ran"]
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    kept = ["".join(map(kept_text, cell["outputs"])) for cell in cells if "outputs" in cell]
    pairs = list(zip(kept, ran.page.evaluate(STATED), strict=True))

    assert any(kept)
    for before, now in pairs:
        assert not before or now.strip() == before.strip()


@every_run
def test_notebook_asks_nothing_of_another_machine(ran: Window) -> None:
    """JupyterLab, the notebook and its widgets come from this machine alone."""
    assert ran.outside == []


@every_run
def test_pictures_of_the_notebook_are_to_be_seen(ran: Window) -> None:
    """Each picture has come and takes room on the page."""
    unseen = []
    for picture in ran.page.locator(PICTURES).all():
        picture.scroll_into_view_if_needed()
        if picture.evaluate(UNSEEN):
            unseen.append(picture.evaluate("picture => picture.outerHTML.slice(0, 200)"))

    assert not unseen, "\n".join(unseen)


@runs_with_card
def test_card_is_no_wider_than_its_cell(resized: Window) -> None:
    """Nobody has to push a card to the side, at the desk or on a tablet."""
    resized.page.locator(CARD).first.scroll_into_view_if_needed()

    assert resized.page.evaluate(STICKS_OUT) == []


@runs_with_card
def test_choosing_another_changes_the_card(resized: Window, request: pytest.FixtureRequest) -> None:
    """The card shows what was taken from the list, its list still stands above it; and back."""
    page = resized.page
    label, code = CHOSEN[request.node.callspec.params["ran"].partition("_")[2]]
    choices = page.get_by_label(label, exact=True)
    shown = page.locator(CARD).get_by_role("heading", level=2).first
    before, chosen = shown.inner_text(), choices.locator("option:checked").inner_text()
    other = next(name for name in choices.locator("option").all_inner_texts() if code in name)
    choices.select_option(label=other)
    page.locator(CARD).get_by_role("heading", name=code).first.wait_for()

    assert shown.inner_text().startswith(code)
    assert shown.inner_text() != before
    assert choices.is_visible()

    choices.select_option(label=chosen)
    page.locator(CARD).get_by_role("heading", name=before, exact=True).first.wait_for()

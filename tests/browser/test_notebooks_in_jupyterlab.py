"""The notebooks as a conservator meets them: in JupyterLab, run from top to bottom, offline."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import LAPTOP, ROOT, TABLET, Size, Window, jupyterlab, run_notebook, window

# `make test` runs the notebooks by nbval: without a browser each takes a third of the time.
pytestmark = pytest.mark.long

# What is asked here is JupyterLab's part: cells, folded code, news, widths. It is the same in every
# notebook, and a notebook takes 26 CPU seconds here. All eight run as pages and by nbval, and their
# steps in tests/screens, where a warning is an error; only here is it seen in the notebook itself.
NOTEBOOKS = ("02_survey.ipynb", "04_trials.ipynb", "05_zone_by_zone.ipynb")

# JupyterLab shows a traceback in the same kind of box as a warning.
AMISS = """() => [...document.querySelectorAll(
    '[data-mime-type="application/vnd.jupyter.stderr"]')]
  .map(output => output.textContent.slice(-300))"""
PICTURES = ".jp-OutputArea-output :is(img, svg[role='img'], [role='img'] > svg)"
UNSEEN = """picture => {
  const box = picture.getBoundingClientRect();
  const read = picture.tagName !== 'IMG' || picture.naturalWidth > 0;
  return box.width < 5 || box.height < 5 || !read;
}"""
# From a step outwards to its cell: a box on the way may hide what sticks out, or let it be moved.
STICKS_OUT = """() => [...document.querySelectorAll('.jp-OutputArea .hc-part')].flatMap(part => {
  const boxes = [];
  for (let box = part; !box.matches('.jp-Cell'); box = box.parentElement) boxes.push(box);
  return boxes.filter(box => box.scrollWidth > box.clientWidth)
    .map(box => `${box.className}: ${box.scrollWidth} px in ${box.clientWidth} px`);
})"""
UNFOLDED = "() => document.querySelectorAll('.jp-CodeCell .jp-InputArea .jp-Editor').length"
AGAIN = """code => document.querySelector('select[name=zone]').value === code
  && document.querySelectorAll('[data-waiting]:not([data-waiting="0"])').length === 0"""
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


def resize(page: Any, size: Size) -> None:
    """Change the size of the screen, and wait until JupyterLab has followed."""
    page.set_viewport_size({"width": size.width_px, "height": size.height_px})
    page.wait_for_function(FOLLOWED, arg=size.width_px)


every_run = pytest.mark.parametrize(
    "ran", NOTEBOOKS, ids=[Path(name).stem for name in NOTEBOOKS], indirect=True
)


@every_run
def test_every_cell_runs_without_error_or_warning(ran: Window) -> None:
    """No cell ends in a traceback, and none writes to the stream for what went amiss."""
    assert ran.page.evaluate(AMISS) == []


@every_run
def test_code_is_folded_and_no_news_is_offered(ran: Window) -> None:
    """A reader sees what the cells show; JupyterLab asks nothing of its own."""
    assert ran.page.evaluate(UNFOLDED) == 0
    assert ran.page.locator(".Toastify__toast").count() == 0


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


@every_run
@pytest.mark.parametrize("size", [LAPTOP, TABLET], ids=lambda size: size.name)
def test_steps_are_no_wider_than_their_cells(ran: Window, size: Size) -> None:
    """Nobody has to push a step to the side, at the desk or on a tablet."""
    resize(ran.page, size)

    assert ran.page.evaluate(STICKS_OUT) == []

    resize(ran.page, LAPTOP)


@every_run
def test_another_zone_of_the_list_is_followed(ran: Window, request: pytest.FixtureRequest) -> None:
    """What is chosen at the head of the notebook is what every step shows; and back."""
    choices = ran.page.locator("select[name=zone]")
    if not choices.count():
        # A notebook of the whole survey has no such list.
        assert ran.page.locator("select[name=survey]").count() == 1
        return
    chosen = choices.first.input_value()
    choices.first.select_option(value="N10")
    ran.page.wait_for_function(AGAIN, arg="N10")
    if request.node.callspec.params["ran"] == "05_zone_by_zone.ipynb":
        assert ran.page.get_by_text("N10 Limestone cornice, right half").count() > 1

    choices.first.select_option(value=chosen)
    ran.page.wait_for_function(AGAIN, arg=chosen)

"""From an instrument's files to the depth lost, and from a laboratory's columns to the layer."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from bare_survey import STEEL, bare_rows, keep
from browsing import TABLET, survey_pages, window
from visitor import PROGRAM_FAULTS, Visitor

from heritagecheck.cli import main

FILES = Path(__file__).parents[2] / "data" / "quillmere" / "instruments"
PANEL = {
    "panel": "Z1-laser-1", "zone": "Z1", "series": "Z1-laser", "panels_in_series": 1,
    "soiling": "black_gypsum_crust", "method": "laser_ns_1064", "setting": "0.6 J/cm²",
    "done_on": "2026-04-01", "read_on": "2026-04-20", "read_by": "conservator",
}  # fmt: skip
AT = """([id, x, y]) => { const plate = document.getElementById(id); plate.scrollIntoView();
  const at = new DOMPoint(x, y).matrixTransform(plate.getScreenCTM()); return [at.x, at.y]; }"""


@pytest.fixture(scope="module")
def she(tmp_path_factory: pytest.TempPathFactory, browser: Any, axe: str) -> Iterator[Visitor]:
    """A conservator with a bare zone of granite and one of steel, a panel on each."""
    made = tmp_path_factory.mktemp("below")
    assert main(["start", str(made / "mill"), "--folder-only"]) == 0
    rows = bare_rows({}, STEEL)
    steel = {"panel": "Z2-laser-1", "zone": "Z2", "series": "Z2-laser", "soiling": "rust"}
    rows["panels"] = [PANEL, PANEL | steel]
    keep(rows, made / "mill" / "survey.db")
    with (
        survey_pages(made / "mill", made / "home") as (address, _),
        window(browser, TABLET) as shown,
    ):
        visitor = Visitor(shown, axe)
        visitor.arrive(address, "conservator")
        yield visitor


def mark(she: Visitor, plate: str, x: float, y: float) -> None:
    """Press a place of a picture, told in the picture's own pixels."""
    place = she.page.evaluate(AT, [plate, x, y])
    she.page.mouse.click(*place)
    she.taps += 1
    she.settle()


def give(she: Visitor, field: str, path: Path, words: str) -> None:
    """Choose a file, and wait until the page says so."""
    she.page.locator(f'[id="{field}"]').set_input_files(path)
    she.page.get_by_text(words).first.wait_for()
    she.taps += 1
    she.settle()


def confirm(she: Visitor, moment: str, day: str) -> None:
    """Say what a map shows."""
    she.press("Z1-laser-1", exact=True)
    she.press(moment, exact=True)
    she.write("Instrument, by kind", "focus variation")
    she.write("Date", day)
    she.press("yes", exact=True)


def go(she: Visitor, zone: str) -> None:
    """To the maps and sections of a zone."""
    she.page.evaluate(f"location.hash = 'zone/{zone}/below'")
    she.page.get_by_role("heading", name="Below ×50").wait_for()
    she.settle()


def test_two_files_become_a_depth(she: Visitor) -> None:
    """Attached, confirmed, paired, marked: the depth stands on the screen, with both files."""
    go(she, "Z1")
    she.begin_to_count()
    she.look("below")
    give(she, "map.file", FILES / "H1-N06-pulse-1-before.sdf", "Map of 128 × 128 pixels of 8")
    confirm(she, "before", "2026-04-01")
    for x, y in ((32.5, 32.5), (96.5, 32.5), (96.5, 96.5), (32.5, 96.5)):
        mark(she, "treated-plate", x, y)
    she.look("map before")
    she.press("This is right: save the map")
    she.press("All maps and sections of Z1")
    give(she, "map.file", FILES / "H2-N06-pulse-1-after.sdf", "Map of 128 × 128 pixels of 8")
    confirm(she, "after", "20 April 2026")
    she.press("H1", exact=True)
    she.press("This is right: save the map")
    she.page.get_by_text("µm lost on average").first.wait_for()
    she.look("depth")
    # 1.2 µm on all of the square and 4.3 µm more on 8.3 % of it without its border, as
    # data/quillmere/below_x50.py lays its flakes.
    assert re.search(r"1\.5\d* µm lost on average \(95 % confidence interval", she.text), she.text
    she.press("Keep this as found on Z1-laser-1")
    assert she.sees("Depth lost, panel Z1-laser-1"), she.text
    links = she.page.locator("a[download]")
    assert links.count() >= 3
    with she.page.expect_download() as given:
        links.first.click()
    assert re.fullmatch(r"H2-N06-pulse-1-after-\w{6}\.sdf", given.value.suggested_filename)
    kept = Path(given.value.path()).read_bytes()
    assert kept == (FILES / "H2-N06-pulse-1-after.sdf").read_bytes()
    she.look("kept")
    assert not re.search(PROGRAM_FAULTS, she.text)


def test_columns_are_pasted_into_a_section(she: Visitor) -> None:
    """A control and a panel: pasted from a spreadsheet, or typed one after another."""
    go(she, "Z2")
    she.press("New profile of a section")
    she.press("control", exact=True)
    she.press("hardness", exact=True)
    she.write("How it was measured", "Vickers indents HV 0.01")
    she.write("Date", "22 April 2026")
    she.write("Measured by", "laboratory")
    pasted = "6\t127,5\n15\t124\n25\t130\n40\t128\n60\t126\n90\t129"
    field = she.page.locator('[id="section.depth_um"]')
    field.evaluate(
        """(one, text) => { const data = new DataTransfer(); data.setData('text/plain', text);
        one.focus();
        one.dispatchEvent(new ClipboardEvent('paste', {clipboardData: data, bubbles: true,
          cancelable: true})); }""",
        pasted,
    )
    she.page.get_by_text("6 readings.").wait_for()
    she.settle()
    assert she.page.locator('[id="section.value"]').input_value().startswith("127,5\n124")
    she.look("section")
    she.press("Save the profile")
    she.press("New profile of a section")
    she.press("after", exact=True)
    she.press("hardness", exact=True)
    she.press("Z2-laser-1", exact=True)
    for depth, value in ((6, 129), (15, 127), (25, 125), (40, 130), (60, 127), (90, 126)):
        she.page.locator('[id="line.depth_um"]').fill(str(depth))
        she.page.locator('[id="line.value"]').fill(str(value))
        she.page.locator('[id="line.standard_error"]').press("Enter")
        she.settle()
    she.press("Save the profile")
    she.page.get_by_text("no measurable change; a layer up to").first.wait_for()
    she.look("sections")
    assert not re.search(PROGRAM_FAULTS, she.text)


def test_a_wrong_file_is_told_and_nothing_is_lost(she: Visitor, tmp_path: Path) -> None:
    """An empty file and a letter: a sentence beside the field; the maps stay."""
    go(she, "Z1")
    for name, content, said in (
        ("empty.sdf", b"", "empty.sdf was not taken. This file is empty."),
        ("letter.txt", b"Dear all,\nhere it is.\n", "letter.txt was not taken. This is not a"),
    ):
        (tmp_path / name).write_bytes(content)
        give(she, "map.file", tmp_path / name, said)
    she.look("wrong file")
    assert she.sees("map H1, before")
    assert she.sees("pair of H1")

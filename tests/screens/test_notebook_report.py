"""The steps of the report, on the example and on surveys that hold next to nothing."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from html import unescape
from pathlib import Path

import pytest
from bare_survey import CLOSED, STEEL, bare_rows, keep

from heritagecheck.judgement.assess import assess
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.notebook.report import ReportWalk
from heritagecheck.screens.notebook.walk import notebook

STEPS = ("outcomes", "conditions", "contractor", "write", "made_from")


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ReportWalk]:
    """Give the steps of the example, with the answers of one zone of each outcome."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path_factory.mktemp("course"))
        walk = notebook("report")
        walk._assessment = assess(walk.survey, zones=["N04", "N06", "N08", "N09"])
        yield walk


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., ReportWalk]:
    """Give the steps of a survey of one's own, of the zones named."""

    def begun(*zones: dict[str, object]) -> ReportWalk:
        rows = bare_rows(*zones)
        keep(rows if zones else rows | {"zones": []}, tmp_path / "survey.db")
        monkeypatch.chdir(tmp_path)
        return notebook("report")

    return begun


def shown(walk: ReportWalk, name: str) -> str:
    """Give a step as a browser gets it."""
    return unescape(getattr(walk, name)().html)


def test_every_step_is_tried() -> None:
    """No step of the notebook is left out of these tests."""
    named = [name for name, one in vars(ReportWalk).items() if hasattr(one, "__wrapped__")]

    assert named == list(STEPS)


@pytest.mark.parametrize("zone", ["N04", "N06", "N08", "N09"])
def test_steps_show_the_example(example: ReportWalk, zone: str) -> None:
    """Work or none, urgent or not: each step says something."""
    example.pick(zone=zone)
    for name in STEPS:
        words = shown(example, name)

        assert "The program failed" not in words, name
        assert "can’t be shown" not in words, name
        assert len(words) > 100, name

    planned = example.zone.instruction is not None

    assert ("no work is planned" in shown(example, "contractor")) is not planned


@pytest.mark.parametrize("zones", [(), ({}, STEEL, CLOSED)], ids=["none", "three"])
def test_no_step_fails_where_next_to_nothing_is_recorded(
    own: Callable[..., ReportWalk], zones: tuple[dict[str, object], ...]
) -> None:
    """No zone, or three of which nothing was seen: each step says something."""
    walk = own(*zones)
    for code in walk.zones() or ("",):
        walk.pick(zone=code)
        for name in STEPS:
            words = shown(walk, name)

            assert "The program failed" not in words, name
            assert "<p>" in words, name
            if not zones:
                assert "This survey has no zone yet." in words


def test_contractors_box_carries_every_caution(example: ReportWalk) -> None:
    """The box of N09 has one start, one range, what is forbidden, and each caution in full."""
    example.pick(zone="N09")
    words = shown(example, "contractor")
    box = example.zone.instruction

    assert box is not None
    assert len(box.cautions) > 5
    assert "40 min a day" in words
    for one in (*(caution.words for caution in box.cautions), *box.stop_rules, *box.hold_points):
        assert one in words


def test_conditions_stand_above_the_zone_and_its_cautions(example: ReportWalk) -> None:
    """Each condition is there to be copied; the cautions follow."""
    example.pick(zone="N09")
    words = shown(example, "conditions")

    assert words.index("Formal consent before work starts.") < words.index("Cautions")
    for one in example.zone.cautions:
        assert one.words in words


def test_report_is_written_beside_the_notebook_on_demand(
    own: Callable[..., ReportWalk], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is written before the button; then each file is there, and has a link."""
    folder = tmp_path / "jupyter"
    folder.mkdir()
    served = {"pid": os.getppid(), "root_dir": str(tmp_path), "base_url": "/at/"}
    (folder / "jpserver-1.json").write_text(json.dumps(served))
    monkeypatch.setenv("JUPYTER_RUNTIME_DIR", str(folder))
    page = own({}, STEEL).write()

    assert "Nothing is written before the button is pressed." in page.html
    assert 'value="all">all 2 zones' in page.html
    assert not (tmp_path / "report").exists()

    page.shown.hear(Event("type", name="What goes in", value="all"))
    page.shown.hear(Event("press", arg="Write the report"))
    words = page.shown.html()
    written = sorted(path.name for path in (tmp_path / "report").iterdir() if path.suffix != ".txt")

    assert written == ["report-records.pdf", "report.html", "report.pdf"]
    for name in written:
        assert f'href="/at/files/report/{name}"' in words
    assert "Z2" in (tmp_path / "report" / "report.html").read_text(encoding="utf-8")


def test_what_cannot_be_written_is_told(own: Callable[..., ReportWalk], tmp_path: Path) -> None:
    """Where a file is called report, the page says so and goes on."""
    page = own({}).write()
    (tmp_path / "report").write_text("taken")
    page.shown.hear(Event("press", arg="Write the report"))

    assert "This could not be done." in page.shown.html()
    assert "Nothing is written before the button is pressed." in page.shown.html()

"""Steps that compare, without a browser: two zones, two assessments, another policy."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from bare_survey import bare_rows, keep

from heritagecheck.screens.live_page import Event
from heritagecheck.screens.notebook.compare import CompareWalk
from heritagecheck.screens.notebook.walk import EXAMPLE, Walk

ZONE_STEPS = ("two_zones", "harm", "colours")
FAULTS = ("failed", "Traceback", "Error")


@cache
def assessed() -> Walk:
    """Give the example, assessed once for all tests."""
    here = CompareWalk()
    assert here.assessment.zone("N13")
    return here


@pytest.fixture
def example(own: Path) -> CompareWalk:
    """Give the steps over the example."""
    here = CompareWalk()
    here._take(EXAMPLE, assessed().survey, assessed().assessment)
    return here


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give an empty folder in which the notebooks are."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def said(page: Any) -> str:
    """Words of a step as a reader without widgets has them."""
    return page.as_cell(str(page.shown))[0]["text/plain"]


def test_every_step_shows_the_example(example: CompareWalk) -> None:
    """Nothing fails, and both zones that were chosen are in each step on two zones."""
    example.pick(zone="N13", beside="N07")
    for name in ZONE_STEPS:
        words = said(getattr(example, name)())

        assert "N13" in words, name
        assert "N07" in words, name
        assert not [fault for fault in FAULTS if fault in words], name


def test_both_answers_carry_their_cautions_and_what_differs_comes_first(
    example: CompareWalk,
) -> None:
    """Cards with every caution, one a column; the table opens with the outcomes."""
    example.pick(zone="N13", beside="N07")
    page = example.two_zones().shown.html()

    for zone in ("N13", "N07"):
        for caution in example.assessment.zone(zone).cautions:
            assert caution.hazard in page
    assert "repeat(auto-fit,minmax(min(100%,400px),1fr))" in page
    rows = page.partition("<tbody>")[2].split("<tr>")[1:]
    assert "Outcome" in rows[0]
    assert "clean" in rows[0]
    assert "leave and monitor" in rows[0]


def test_another_zone_is_held_beside_from_the_list(example: CompareWalk) -> None:
    """The list at the top chooses both zones; the same zone twice is said, not shown."""
    page = example.harm()
    example._picker.hear(Event("type", name="beside", value="N09"))

    assert "N09 Limestone cornice" in page.html
    assert 'id="pick-beside"' in example._picker.html()

    example._picker.hear(Event("type", name="zone", value="N09"))

    assert "Choose two different zones at the top." in page.html


def test_a_bare_survey_says_what_is_missing(own: Path) -> None:
    """Three zones without any reading or panel: words for each step, and no fault."""
    keep(bare_rows({}, {"condition": "sound"}, {}), own / "survey.db")
    here = CompareWalk()

    assert (here.zone_code, here.beside_code) == ("Z1", "Z2")
    assert "Condition" in here.two_zones().shown.html()
    assert said(here.colours()) == "Neither zone has colours that could be compared."
    assert "Z1" in said(here.harm())


@pytest.mark.parametrize(
    ("zones", "words"),
    [
        ([], "This survey has no zone yet. Begin one on its start page."),
        ([{}], "This survey has one zone, and nothing to hold beside it. Record another one."),
    ],
)
def test_too_few_zones_are_said(own: Path, zones: list[dict[str, Any]], words: str) -> None:
    """Without a second zone there is nothing to compare."""
    rows = bare_rows(*zones)
    rows["zones"] = rows["zones"] if zones else []
    keep(rows, own / "survey.db")
    here = CompareWalk()

    for name in ZONE_STEPS:
        assert said(getattr(here, name)()) == words

"""Steps of the first notebook, on the example and on surveys that were only begun."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from bare_survey import bare_rows, keep

from heritagecheck.screens.live_page import Event
from heritagecheck.screens.notebook.begin import BeginWalk
from heritagecheck.screens.notebook.step import StepPage

STEPS = (
    "holds", "list", "where", "answers", "missing", "not_measured", "outcomes", "first_answer",
)  # fmt: skip


def said(page: Any) -> str:
    """Words of a step as a reader without widgets has them."""
    return page.as_cell(str(page.shown))[0]["text/plain"]


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> BeginWalk:
    """Give the notebook on the example; its answers are worked out once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path_factory.mktemp("example"))
        return BeginWalk()


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> BeginWalk:
    """Give the notebook on a survey of three zones with nothing in it."""
    keep(bare_rows({}, {}, {}), tmp_path / "survey.db")
    monkeypatch.chdir(tmp_path)
    return BeginWalk()


def test_example_is_shown_from_what_it_holds_to_its_answer(example: BeginWalk) -> None:
    """Each step names what it shows; the answer comes with every caution of its zone."""
    assert "Closed on 18 September 2026." in said(example.holds())
    assert said(example.list()).startswith("Chosen: N06, Reveals and soffit")
    assert "polished granite" in example.list().html
    assert example.where().html.count("<svg") >= 2
    assert said(example.answers()).startswith("22 answers on zone N06.")
    assert "Is the substrate losing material now?" in example.answers().html
    assert said(example.not_measured()) == "18 reasons."
    assert said(example.outcomes()) == str(example.assessment)

    card = example.first_answer().html

    assert "Trial first" in card
    # Nobody programs here: what is for code has a class that the style sheet of the part hides.
    assert card.count("<code>") == card.count('<p class="for-code">More: <code>') == 1
    assert ".hc-part .for-code { display: none;" in StepPage._css
    assert all(one.hazard in card for one in example.zone.cautions)


def test_findings_are_those_of_the_survey_or_of_the_zone(example: BeginWalk) -> None:
    """The list of what is missing is the survey's own, and can be cut down to one zone."""
    page = example.missing()

    assert said(page).endswith(f"{len(example.survey.check())} findings.")

    page.shown.hear(Event("type", name="Show", value="here"))
    of_zone = example.survey.check()
    of_zone = of_zone[of_zone["zone"] == "N06"]

    assert said(page).endswith(f"{len(of_zone)} finding.")
    assert of_zone["what"].iloc[0].split(":")[0] in page.shown.html()


def test_bare_survey_says_what_is_missing(own: BeginWalk) -> None:
    """Nothing was answered or drawn on three zones: each step says so, and what to do."""
    assert "Surveyed by: conservator." in said(own.holds())
    assert said(own.where()).endswith(
        "this drawing is missing. Choose or draw it on the page of its elevation."
    )
    assert said(own.answers()).startswith("0 answers on zone Z1.\n")
    assert "without an answer or a reason for none" in said(own.answers())
    assert said(own.not_measured()).startswith("No reason is recorded why something was not ")
    assert said(own.outcomes()) == str(own.assessment)
    assert "Cautions" in own.first_answer().html
    assert_runs_on(own)


def test_survey_without_zones_or_policy_runs_on(own: BeginWalk, tmp_path: Path) -> None:
    """Without a zone, and without anything agreed, each step gives words and no fault."""
    empty = bare_rows(agreed=False) | {"zones": [], "structure": [], "elevations": []}
    keep(empty, tmp_path / "empty.db")
    own.open("empty.db")

    assert "The structure has no name yet." in said(own.holds())
    assert said(own.list()) == "This survey has no zone yet. Begin one on its start page."
    assert_runs_on(own)

    keep(bare_rows({}, agreed=False), tmp_path / "open.db")
    own.open("open.db")

    assert said(own.list()).startswith("Chosen: Z1")
    assert "can’t be worked out yet" in said(own.outcomes())
    assert_runs_on(own)


def assert_runs_on(walk: BeginWalk) -> None:
    """Every step gives words, and none tells of a fault of ours."""
    for name in STEPS:
        page = getattr(walk, name)()
        words = said(page)

        assert words, name
        assert not any(bad in words + page.html for bad in ("failed", "Traceback", "nan")), name

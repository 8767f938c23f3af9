"""Steps of the notebook on colour, on the example and on surveys that were only begun."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from bare_survey import bare_rows, keep

from heritagecheck.screens.notebook.colour import ColourWalk

STEPS = (
    "readings", "compare", "spread", "reason", "enough", "apart", "soilings", "photographs",
    "both", "preview", "two_colours",
)  # fmt: skip


class Steps:
    """Every step of the notebook, as a reader meets it."""

    def __init__(self, walk: ColourWalk) -> None:
        self.walk = walk
        self.pages: dict[str, Any] = {name: getattr(walk, name)() for name in STEPS}

    def said(self, name: str) -> str:
        """Words of a step."""
        return str(self.pages[name].shown)

    def seen(self, name: str) -> str:
        """Text of a step on the page."""
        return re.sub(r"\s+", " ", re.sub("<[^>]+>", " ", self.pages[name].html))

    def tell(self, of: str, do: str, **texts: str) -> str:
        """Press a button or type into a field; give what the step then says."""
        page = self.pages[of]
        page._heard(page, {"do": do, "number": 1, **texts}, [])
        return self.said(of)


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Steps:
    """Give the notebook on the example; its answers are worked out once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path_factory.mktemp("example"))
        return Steps(ColourWalk())


@pytest.fixture
def example(shared: Steps) -> Steps:
    """Give it with the zone that the notebook begins with."""
    shared.walk.pick(zone="N06")
    return shared


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Steps:
    """Give the notebook on a survey of three zones with nothing in it."""
    keep(bare_rows({}, {}, {}), tmp_path / "survey.db")
    monkeypatch.chdir(tmp_path)
    return Steps(ColourWalk())


def test_each_zone_says_what_its_colour_shows(example: Steps) -> None:
    """What is true of one zone of the example is said of that zone alone."""
    assert "the soiled mean lies outside the natural spread" in example.said("compare")
    assert "Here the soffit is far below clean granite" in example.said("compare")
    assert example.said("enough").startswith("24 taken, 27 needed.")
    assert example.pages["spread"].html.count("<svg") == 1

    example.walk.pick(zone="N04")

    assert "lies within what clean stone itself shows" in example.said("compare")
    assert "soffit" not in example.said("compare")
    assert "alone is not a reason" in example.said("reason")
    assert "Cautions" in example.seen("reason")
    assert "Photograph: No colour difference is shown" in example.said("both")
    assert "The judgement uses the meter." in example.said("both")

    example.walk.pick(zone="E04")

    assert "Measured in photograph P2" in example.said("compare")
    assert "The judgement uses the photograph." in example.said("both")


def test_readings_that_lie_apart_are_named_and_ringed(example: Steps) -> None:
    """They are looked for at a press, on both sides, and none is left out."""
    assert example.said("apart") == "Not looked for yet."

    said = example.tell("apart", "press", arg="Look for readings that lie apart")

    assert said.startswith("24 soiled readings: ")
    assert "24 clean readings: " in said
    assert "far from the others." in said

    example.walk.pick(zone="N04")

    assert example.said("apart") == "Not looked for yet."


def test_a_photograph_that_cant_be_measured_is_a_sentence(example: Steps) -> None:
    """Why it can't is told where its pictures would be; of a zone without one, who has one."""
    assert "N04, E04 and E05" in example.said("photographs")
    assert "There is none yet." in example.said("preview")
    assert str(example.walk._measured("P9")).endswith("there is none. Known: P1, P2, P3.")


@pytest.mark.long  # a photograph takes nine seconds of a processor
def test_a_photograph_is_measured_only_at_a_press(example: Steps) -> None:
    """The photograph of the streaked flank, its pictures, then the appearance as agreed."""
    example.walk.pick(zone="E05")

    assert "Not measured yet in this notebook." in example.said("photographs")

    said = example.tell("photographs", "press", arg="Measure photograph P3")

    assert "Soiling covers 69 % of the zone" in said
    assert "Calibrated by the chart" in said
    assert "Not shown yet" in example.said("preview")

    example.tell("preview", "type", name="Years after cleaning", value="20")
    said = example.tell("preview", "press", arg="Show the agreed appearance")

    assert "simulation: 20 years later" in said

    example.tell("preview", "type", name="Years after cleaning", value="30")

    assert "Not shown yet for these assumptions." in example.said("preview")


def test_two_colours_are_compared_by_each_formula(example: Steps) -> None:
    """The first pair of the published test; by CIE76 the plain distance of hand-sized numbers."""
    assert example.said("two_colours").endswith("CIEDE2000: 2.0425")

    example.tell("two_colours", "type", name="Formula", value="CIE76")
    for which, values in (("first", "50 3 4"), ("second", "50 0 0")):
        for channel, value in zip(("L*", "a*", "b*"), values.split(), strict=True):
            example.tell("two_colours", "type", name=f"{channel} of the {which}", value=value)

    assert example.said("two_colours").endswith("CIE76: 5.0000")

    said = example.tell("two_colours", "type", name="L* of the first", value="500")

    assert "CIE76:" not in said
    assert "Write a number from 0 to 100." in example.seen("two_colours")


def test_surveys_with_nothing_in_them_run_on(own: Steps, tmp_path: Path) -> None:
    """Without readings, policy, zone or structure each step says what is missing and what to do."""
    assert own.said("readings").startswith("Zone Z1 has no colour reading yet. Read ten or more")
    assert own.said("compare").startswith("Not compared yet. No soiled stone was read.")
    assert own.said("photographs").startswith("No photograph measures zone Z1 yet.")
    assert own.said("both").startswith("Meter: No soiled stone was read.\nPhotograph: No photo")
    assert_runs_on(own)

    keep(bare_rows({}, agreed=False), tmp_path / "open.db")
    own.walk.open("open.db")

    assert "can’t be worked out yet" in own.said("reason")
    assert_runs_on(own)

    empty = bare_rows(agreed=False) | {"zones": [], "structure": [], "elevations": []}
    keep(empty, tmp_path / "empty.db")
    own.walk.open("empty.db")

    assert own.said("compare") == "This survey has no zone yet. Begin one on its start page."
    assert_runs_on(own)


def assert_runs_on(steps: Steps) -> None:
    """Every step gives words, and none tells of a fault of ours."""
    for name in STEPS:
        words = steps.said(name) + steps.seen(name)

        assert steps.said(name), name
        assert not any(bad in words for bad in ("failed", "Traceback", "nan ")), name

"""Steps of the notebook on records: exercises change a practice copy and nothing else."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from bare_survey import bare_rows, keep

from heritagecheck.screens.notebook.survey import SurveyWalk
from heritagecheck.survey.store.journal import what_changed

STEPS = (
    "kept", "practise", "correct", "journal", "intact", "undo", "together", "white_tile", "meter",
)  # fmt: skip
EXERCISES = (
    ("correct", "Save in the practice copy"),
    ("intact", "Check that it is intact"),
    ("undo", "Undo your last save"),
    ("undo", "Do it again"),
    ("together", "Let both save"),
)


class Steps:
    """Every step of the notebook, as a reader meets it."""

    def __init__(self, walk: SurveyWalk) -> None:
        self.walk = walk
        self.pages: dict[str, Any] = {name: getattr(walk, name)() for name in STEPS}

    def said(self, name: str) -> str:
        """Words of a step."""
        return str(self.pages[name].shown)

    def seen(self, name: str) -> str:
        """Text of a step on the page, what a press did included."""
        return re.sub(r"\s+", " ", re.sub("<[^>]+>", " ", self.pages[name].html))

    def type(self, name: str, label: str, value: str) -> None:
        """Type into a field."""
        self._tell(name, "type", name=label, value=value)

    def press(self, name: str, label: str) -> str:
        """Press a button; give what the step then shows."""
        self._tell(name, "press", arg=label)
        return self.seen(name)

    def _tell(self, of: str, do: str, **texts: str) -> None:
        page = self.pages[of]
        page._heard(page, {"do": do, "number": 1, **texts}, [])


@pytest.fixture
def example(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Steps:
    """Give the notebook on the example, with its practice copy."""
    monkeypatch.chdir(tmp_path)
    steps = Steps(SurveyWalk())
    steps.press("practise", "Make a practice copy")
    return steps


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Steps:
    """Give the notebook on a survey of three zones with nothing in it."""
    keep(bare_rows({}, {}, {}), tmp_path / "survey.db")
    monkeypatch.chdir(tmp_path)
    return Steps(SurveyWalk())


def test_a_wrong_value_is_refused_and_a_right_one_is_kept_and_undone(example: Steps) -> None:
    """Zone N12 has 19.79 m²; the journal of the copy shows old and new, and its undoing."""
    entries = len(example.walk.survey.journal)
    example.type("correct", "Area of N12 [m²]", "0")

    assert "Area, 0.0: must be a number above 0" in example.press(
        "correct", "Save in the practice copy"
    )

    example.type("correct", "Area of N12 [m²]", "19,5")
    example.type("correct", "Why it is changed", "taped again")

    assert "Saved in the practice copy." in example.press("correct", "Save in the practice copy")
    assert "zone N12 has 19.5 m²" in example.said("undo")
    assert "zone N12 Area: 19.79, now 19.5 taped again" in example.seen("journal")
    assert example.said("journal").startswith(f"Practice copy: {entries + 1:,} entries.")
    assert "1 zone record." in example.press("undo", "Undo your last save")
    assert "zone N12 has 19.79 m²" in example.said("correct")
    assert "nothing to undo" in example.press("undo", "Undo your last save")
    assert f"is whole: {entries + 2} entries" in example.press("intact", "Check that it is intact")


def test_the_second_of_two_who_save_is_shown_both_values(example: Steps) -> None:
    """A colleague's note is not overwritten, and stays in the practice copy."""
    entries = len(example.walk.survey.journal)
    words = example.press("together", "Let both save")

    assert "Note, Dry everywhere: N12 was saved by colleague in practice" in words
    assert f"with Damp below the joint (note {entries}) here." in words
    assert "seen from the lift" in example.seen("journal")


def test_meter_file_is_taken_once_all_is_said(example: Steps) -> None:
    """Stone, state and day are not in the file; until they are said nothing can be saved."""
    assert "It does not say: geometry, aperture, day." in example.said("meter")
    assert example.said("meter").endswith("Nothing is assumed.")

    example.type("meter", "Stone that was read", "reference")
    example.type("meter", "Wet or dry", "dry")
    example.type("meter", "Day, such as 2026-09-11", "soon")

    assert "soon" in example.press("meter", "Save in the practice copy")
    assert example.said("meter").endswith("zone N12 has 4 readings.")

    example.type("meter", "Day, such as 2026-09-11", "11 September 2026")

    assert "Saved in the practice copy." in example.press("meter", "Save in the practice copy")
    assert example.said("meter").endswith("zone N12 has 16 readings.")
    assert "can’t be relied on." in example.said("white_tile")


def test_exercises_leave_the_survey_as_it_is(own: Steps, tmp_path: Path) -> None:
    """After every exercise one's own database holds the same bytes, and no file lies beside it."""
    before = (tmp_path / "survey.db").read_bytes()
    beside = sorted(path.name for path in tmp_path.iterdir())
    own.press("practise", "Make a practice copy")
    own.type("correct", "Area of Z1 [m²]", "5")
    for name, label in EXERCISES:
        own.press(name, label)

    assert own.said("correct").startswith("Area of Z1 [m²]: 5")
    assert (tmp_path / "survey.db").read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == beside

    own.press("practise", "Make a practice copy again")

    assert "zone Z1 has 4 m²" in own.said("correct")


def test_surveys_with_nothing_in_them_run_on(own: Steps, tmp_path: Path) -> None:
    """Each step says what is missing: a copy, a meter's file, a white tile, a zone, a journal."""
    assert own.said("correct") == "Make a practice copy first, at the top of this notebook."
    assert own.said("meter").startswith("No file of a colour meter is kept with this survey.")
    assert own.said("white_tile").startswith("No white tile was read.")

    own.press("practise", "Make a practice copy")
    assert_runs_on(own)
    own.walk.survey.export("tables")
    empty = bare_rows(agreed=False) | {"zones": [], "structure": [], "elevations": []}
    keep(empty, tmp_path / "empty.db")
    own.walk.open("empty.db")

    assert own.said("correct") == "This survey has no zone yet. Begin one on its start page."

    own.press("practise", "Make a practice copy")
    assert_runs_on(own)
    own.walk.open("tables")

    assert own.said("journal").startswith("This survey is a folder of tables, without a journal.")
    assert_runs_on(own)


def assert_runs_on(steps: Steps) -> None:
    """Every step gives words, and none tells of a fault of ours."""
    for name in STEPS:
        words = steps.said(name) + steps.seen(name)

        assert steps.said(name), name
        assert not any(bad in words for bad in ("failed", "Traceback", "nan ")), name


def test_an_entry_is_told_field_by_field() -> None:
    """What was nothing before is named; a record is new or taken out as a whole."""
    old, new = '{"zone":"N06","area_m2":4.0}', '{"zone":"N06","area_m2":4.5,"note":"dry"}'

    assert what_changed("zones", old, new) == "Area: 4.0, now 4.5; Note: nothing, now dry"
    assert what_changed("zones", None, new) == "new"
    assert what_changed("zones", old, None) == "taken out"

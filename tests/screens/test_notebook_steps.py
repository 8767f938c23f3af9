"""The steps of the notebooks, without a browser: they follow the list, and say what is missing."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from bare_survey import bare_rows, keep

from heritagecheck.screens.live_page import Event
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import Rows, RowsState
from heritagecheck.screens.notebook.walk import EXAMPLE, REMEMBERED, Walk, notebook


class Tried(Walk):
    """A notebook of two steps."""

    @step
    def named(self, ask: Ask) -> Iterator[Any]:
        """The zone that was chosen."""
        yield f"Zone {self.zone_code} of {self.name}."
        yield self.in_example("Seen in the example.", zone="N06")

    @step
    def doubled(self, ask: Ask) -> Iterator[Any]:
        """A number twice, a list, and what takes long."""
        yield f"Twice: {2 * ask.number('Length', 3, low=1):g}"
        done = ask.work("Measure", self.zone_code, lambda told: "measured", "Measuring")
        yield done or "Not measured yet."
        frame = pd.DataFrame(
            {"zone": list("BCA"), "size": [1.0, 2.0, 3.0], "note": ["x", "y", "z"]}
        )
        yield Rows(frame, {"zone": "Zone", "size": "Size"}, "zone", picks="zone", few=2)

    @step
    def lacking(self, ask: Ask) -> Iterator[Any]:
        """What no survey holds."""
        yield "Before."
        raise NotYetError("There is no trial yet.")


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a folder of notebooks below that of a survey of three zones."""
    keep(bare_rows({}, {}, {}), tmp_path / "survey.db")
    folder = tmp_path / "notebooks"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


def said(page: Any) -> str:
    """Words of a step as a reader without widgets has them."""
    return page.as_cell(str(page.shown))[0]["text/plain"]


def test_steps_follow_the_zone_that_is_chosen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another zone in the list, or on a table, shows every step again, on the same page."""
    monkeypatch.chdir(tmp_path)
    here = Tried()
    page = here.named()

    assert said(page) == "Zone N06 of Quillmere Pumping Station.\nSeen in the example."

    here._picker.hear(Event("type", name="zone", value="N09"))

    assert "Zone N09 of" in page.html
    assert "Seen in the example" not in page.html

    page.shown.hear(Event("pick", arg="nowhere"))

    assert here.zone_code == "N09"


def test_own_survey_beside_the_notebooks_comes_first_and_is_remembered(own: Path) -> None:
    """One's own survey is found one folder up; what was chosen is there in the next notebook."""
    here = Tried()

    assert here.place == "../survey.db"
    assert said(here.named()) == "Zone Z1 of A mill."

    here.pick(zone="Z3")

    assert Tried().zone_code == "Z3"

    here._picker.hear(Event("type", name="survey", value=EXAMPLE))

    assert Tried().is_example
    assert Tried().zone_code == "N06"

    (own / REMEMBERED).write_text("{half")

    assert Tried().place == "../survey.db"


def test_another_survey_is_opened_by_its_place(own: Path) -> None:
    """A place where there is none is told and makes no file; the survey at hand stays."""
    here = Tried()
    here._picker.hear(Event("type", name="survey", value="another"))

    assert "Where is its database?" in here._picker.html()

    here._picker.hear(Event("type", name="place", value="elsewhere.db"))
    here._picker.hear(Event("open_typed"))

    assert "There is no survey elsewhere.db." in here._picker.html()
    assert not (own / "elsewhere.db").exists()
    assert here.place == "../survey.db"

    keep(bare_rows({}), own / "other.db")
    here._picker.hear(Event("type", name="place", value="other.db"))
    here._picker.hear(Event("open_typed"))

    assert here.place == "other.db"
    assert list(here.zones()) == ["Z1"]
    assert Tried().place == "other.db"


def test_what_is_saved_meanwhile_is_seen_when_read_again(own: Path) -> None:
    """A zone that was saved on the screens is in the list once the survey is read again."""
    here = Tried()
    keep(bare_rows({}, {}, {}, {}), own.parent / "survey.db")
    here._picker.hear(Event("again"))

    assert list(here.zones()) == ["Z1", "Z2", "Z3", "Z4"]


def test_fields_of_a_step_are_read_where_they_stand(own: Path) -> None:
    """A number may have a comma; one that can't be read is told beside its field, and waits."""
    page = Tried().doubled()

    def typed(value: str) -> str:
        page.shown.hear(Event("type", name="Length", value=value))
        return page.shown.html()

    assert "Twice: 6" in page.html
    assert "Twice: 1.5" not in typed("0,75")
    assert "Write a number from 1 to inf." in typed("0,75")
    assert "Twice: 3" in typed("1,5")
    assert "Write a number, such as 0.6 or 0,6." in typed("wide")
    assert "Not measured" not in typed("wide")


def test_long_work_waits_for_its_button(own: Path) -> None:
    """Nothing long is done before its button; for another zone it is to be pressed again."""
    here = Tried()
    page = here.doubled()

    assert "Not measured yet." in page.html

    page.shown.hear(Event("press", arg="Measure"))
    page.show()

    assert "<p>measured</p>" in page.html

    here.pick(zone="Z2")

    assert "Not measured yet." in page.html


def test_a_table_shows_few_columns_sorts_and_shows_all(own: Path) -> None:
    """Columns come in the order of need; a press sorts, a second turns it round; more on demand."""
    page = Tried().doubled()

    def cells() -> list[str]:
        return [line.split("</")[0] for line in page.shown.html().split('aria-label="Choose ')[1:]]

    def press(do: str, arg: str) -> list[str]:
        page.shown.hear(Event(do, arg=arg))
        return [one[0] for one in cells()]

    assert [one[0] for one in cells()] == ["B", "C"]
    assert ">note<" not in page.html
    assert press("more", "table 0") == ["B", "C", "A"]
    assert press("sort", "table 0|zone") == ["A", "B", "C"]
    assert press("sort", "table 0|zone") == ["C", "B", "A"]
    press("columns", "table 0")
    assert "note" in page.shown.html()
    assert said(page).endswith("3 zones.")


def test_codes_are_shown_as_words_where_a_column_holds_terms() -> None:
    """Terms lose their underscores; a code that somebody gave keeps its own."""
    frame = pd.DataFrame({"set": ["N_1"], "state": ["not_read"]})
    shown = Rows(frame, terms=("state",)).view(RowsState())

    assert shown["rows"] == [[("set", "N_1"), ("state", "not read")]]


def test_what_is_missing_is_a_sentence(own: Path) -> None:
    """A step that can't be shown says so; one without agreed values names what to do."""
    here = Tried()

    assert said(here.lacking()) == "Before.\nThere is no trial yet."

    keep(bare_rows({}, agreed=False), own / "open.db")
    here.open("open.db")
    words = said(notebook("zones").outcomes())

    assert words.startswith("The answers can’t be worked out yet: ")
    assert "policy" in words


def test_an_unknown_notebook_is_refused() -> None:
    """The message names those there are."""
    with pytest.raises(ValueError, match=r"There is no notebook 'zone'\. Known: .*zones"):
        notebook("zone")


def test_choice_is_not_kept_where_nobody_may_write(
    own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that can't be written costs the memory, and nothing else."""

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "no", REMEMBERED)

    here = Tried()
    monkeypatch.setattr("heritagecheck.screens.notebook.walk.write_whole", refuse)
    here.pick(zone="Z2")

    assert here.zone_code == "Z2"
    assert not (own / REMEMBERED).exists()
    assert json.dumps(here.zones())


def test_without_anywidget_a_sentence_says_what_to_install(tmp_path: Path) -> None:
    """A meeting in a plain install names the extra that it needs."""
    keep(bare_rows({}), tmp_path / "survey.db")
    program = (
        "import sys; sys.modules['anywidget'] = None; from heritagecheck.cli import main; "
        "sys.exit(main(['workshop', sys.argv[1]]))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path)], capture_output=True, text=True, check=False
    )

    assert ran.returncode == 1
    assert ran.stderr.strip() == "The screens need anywidget: pip install 'heritagecheck[lab]'"

"""The notebooks of a survey's folder, as the start page and the answers list them."""

from __future__ import annotations

from pathlib import Path

import pytest
from bare_survey import bare_rows, keep
from hand_at_screen import Hand

from heritagecheck.screens.app import App
from heritagecheck.screens.links import notebook_links
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.routes import screens
from heritagecheck.survey.places import start_survey
from heritagecheck.survey.store.database_survey import DatabaseSurvey


def test_start_page_and_answers_open_every_notebook_as_a_page(tmp_path: Path) -> None:
    """Each notebook that `start` copies is there by what it asks, as a page and in JupyterLab."""
    folder = start_survey(tmp_path / "mill")
    names = sorted(path.name for path in (folder / "notebooks").glob("*.ipynb"))
    keep(bare_rows({}), folder / "survey.db")
    with DatabaseSurvey(folder / "survey.db") as survey:
        hand = Hand(App(survey, screens()))
        hand.app.hear(Event("open", value="conservator"))
        start = hand.page
        hand.go("answers")

        for page in (start, hand.page):
            assert ">Zone by zone: clean it or leave it?</a>" in page
            for name in names:
                assert f'href="/voila/render/notebooks/{name}" target="_blank"' in page
                assert f'href="/lab/tree/notebooks/{name}" target="_blank"' in page

    assert len(names) >= 7


@pytest.mark.parametrize("content", ["{half", "[]", '{"cells": []}', '{"cells": [{"source": 3}]}'])
def test_a_notebook_that_cannot_be_read_goes_by_its_name(tmp_path: Path, content: str) -> None:
    """Somebody's own notebook may be anything: the start page still opens."""
    folder = tmp_path / "notebooks"
    folder.mkdir()
    (folder / "my own.ipynb").write_text(content)

    (link,) = notebook_links(str(tmp_path / "survey.db"))

    assert link.title == "my own"
    assert link.page == "/voila/render/notebooks/my%20own.ipynb"


def test_a_survey_on_a_server_lists_no_notebook() -> None:
    """There is no folder beside it."""
    assert notebook_links("postgresql+psycopg://name@server/survey") == []

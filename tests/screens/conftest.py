"""An app on a survey that was only begun, and somebody who has said who it is."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hand_at_screen import Hand

from heritagecheck.screens.app import App
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.routes import screens
from heritagecheck.survey.store.database_survey import DatabaseSurvey


@pytest.fixture
def survey(tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """A survey in which nothing is saved yet."""
    with DatabaseSurvey(tmp_path / "survey.db") as begun:
        yield begun


@pytest.fixture
def hand(survey: DatabaseSurvey) -> Hand:
    """Somebody at the start page, who has said who it is."""
    found = Hand(App(survey, screens()))
    found.app.hear(Event("open", value="conservator"))
    return found

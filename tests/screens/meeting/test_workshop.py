"""A meeting held from a notebook: the server of the command, in a thread of its own."""

from __future__ import annotations

from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

import pytest
from bare_survey import bare_rows, keep

import heritagecheck as hc
from heritagecheck.errors import StoreError
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey

pytest.importorskip("tornado", reason="the meeting is served by tornado")


def test_a_meeting_is_held_beside_the_notebook(tmp_path: Path) -> None:
    """The page is served while the survey stays usable; after `stop` nobody reaches it."""
    with DatabaseSurvey(keep(bare_rows({}), tmp_path / "survey.db")) as survey:
        with hc.workshop(survey) as meeting:
            assert meeting.address.startswith("http://127.0.0.1:")
            with urlopen(meeting.address, timeout=20) as page:
                assert b"room.js" in page.read()
            assert str(meeting) == (
                f"Others join at {meeting.address} with the join word {meeting.word}. Only this "
                "computer reaches it. With lan=True, others on the local network do too."
            )
            shown = meeting._repr_html_()
            assert meeting.word in shown
            assert meeting.facilitator in shown
            assert "<svg" in shown
            with pytest.raises(StoreError, match="held by another program already"):
                hc.workshop(survey)
            zone = survey.record("zones", "Z1")
            assert isinstance(zone, Zone)
            survey.save(zone.changed(note="Wet"), who="office", reason="seen")
        word = meeting.word
        assert not meeting.is_open
        assert "was stopped" in str(meeting)
        with pytest.raises(URLError):
            urlopen(meeting.address, timeout=2)
        with hc.workshop(survey) as again:
            assert again.word == word
        meeting.stop()


def test_a_survey_without_a_database_is_refused() -> None:
    """A sentence says what to do."""
    with pytest.raises(hc.SurveyError, match="import it first"):
        hc.workshop(build(bare_rows({})))

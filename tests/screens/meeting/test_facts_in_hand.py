"""Facts of the zone in hand: one set for the whole room, and nothing left out unseen."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from bare_survey import bare_rows, keep

from heritagecheck.judgement.assess import assess
from heritagecheck.screens.meeting.seat import FactsInHand
from heritagecheck.survey.records import Attachment
from heritagecheck.survey.store.database_survey import DatabaseSurvey


@pytest.fixture
def survey(tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """Open a survey of one zone."""
    with DatabaseSurvey(keep(bare_rows({}), tmp_path / "survey.db")) as opened:
        yield opened


def test_facts_are_gathered_once_for_one_answer(survey: DatabaseSurvey) -> None:
    """All devices have the same pictures; another answer, after a change, has facts of its own."""
    facts = FactsInHand()
    answer = assess(survey).zone("Z1")
    first = facts.of(answer, survey.still())
    assert facts.of(answer, survey.still()) is first
    assert "A crack" not in str(first)

    survey.save(survey.record("zones", "Z1").changed(note="A crack"), who="office")
    assert "A crack" in str(facts.of(assess(survey).zone("Z1"), survey.still()))


def test_a_photograph_that_is_missing_is_named(survey: DatabaseSurvey) -> None:
    """Its file is not there: the page says so in place of the picture."""
    photograph = Attachment(
        attachment="F1", kind="photograph", file="photographs/bay.jpg", sha256="0" * 64, bytes=1,
        zone="Z1",
    )  # fmt: skip
    survey.save(photograph, who="office")
    found = FactsInHand().of(assess(survey).zone("Z1"), survey.still())

    assert found["no_picture"] == [
        "Photograph F1 can't be shown: the file photographs/bay.jpg is missing."
    ]

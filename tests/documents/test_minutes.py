"""Minutes of a meeting and forms for paper: nothing said is lost, and nothing is a formula."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from small_report import close_up, words_of

import heritagecheck as hc
from heritagecheck.documents.minutes import COLUMNS, WHAT_IT_IS_NOT, write_forms, write_minutes
from heritagecheck.errors import SurveyError
from heritagecheck.survey.survey import Survey


def rows(path: Path) -> list[dict[str, str]]:
    """Rows of the table of decisions."""
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"))))


def test_the_minutes_say_all_that_was_decided(tmp_path: Path) -> None:
    """Who was there, each decision, dissent word for word, vetoes, questions, signatures."""
    pdf, table = write_minutes(hc.demo_survey(), "M1", tmp_path)
    words = close_up(" ".join(words_of(pdf)))

    for said in (
        *WHAT_IT_IS_NOT, "For approval; not permission to work.",
        "Members: conservator; engineer; heritage authority; owner; ecologist.",
        "T03 Tank bottom ring and rivet field: leave and monitor, overriding "
        "the recommendation (trial first)",
        "Reason of the override: More panels would thin the plate where it is thinnest",
        "“I do not object to waiting, but the date must be readable within five years.”",
        "Veto of heritage authority against clean", "Engineer, by 31 March 2027",
        "Signed: A. Fell, conservator (7 October 2026, 15:40)",
    ):  # fmt: skip
        assert close_up(said) in words
    found = {row["zone"]: row for row in rows(table)}
    assert tuple(found["T03"]) == COLUMNS
    assert (found["T03"]["override"], found["N10"]["override"]) == ("yes", "no")
    assert found["E15"]["dissent"].startswith("owner: I do not object")
    assert found["N10"]["evidence_changed"] == ""


def test_no_cell_is_taken_for_a_formula(tmp_path: Path) -> None:
    """What a member writes is text in every spreadsheet."""
    survey = hc.demo_survey()
    decisions = tuple(one.changed(reasons='=HYPERLINK("x")') for one in survey.records["decisions"])
    changed = Survey({**survey.records, "decisions": decisions}, survey.folder)
    _, table = write_minutes(changed, "M1", tmp_path)

    assert {row["reasons"] for row in rows(table)} == {'\'=HYPERLINK("x")'}


def test_minutes_of_a_meeting_that_never_was_are_refused(tmp_path: Path) -> None:
    """The meetings that are known are named."""
    with pytest.raises(SurveyError, match="Known: M1"):
        write_minutes(hc.demo_survey(), "M7", tmp_path)


def test_forms_have_a_page_for_each_zone_with_the_cautions(tmp_path: Path) -> None:
    """Lines for each member, boxes for each outcome, room for dissent and signatures."""
    path = write_forms(
        hc.demo_survey(), ["N09", "E15"], tmp_path / "forms.pdf", members=["engineer", "owner"]
    )
    pages = words_of(path)

    assert len(pages) == 2
    for page in pages:
        assert all(close_up(said) in close_up(page) for said in WHAT_IT_IS_NOT)
        assert "Dissent, word for word" in page
        assert page.count("leave and monitor") == 3

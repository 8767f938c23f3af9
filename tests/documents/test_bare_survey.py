"""A survey of one bare zone: card, report, paper, field sheets, check, export and import."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from bare_survey import CLOSED, STEEL, bare_rows
from small_report import close_up, words_of

import heritagecheck as hc
from heritagecheck.documents.contents import plain_text
from heritagecheck.documents.field_sheet import write_field_sheets
from heritagecheck.documents.zone_sheet import zone_sheet
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.places import build
from heritagecheck.survey.survey import Survey

EQUAL = "Equal weights, because no member gave any."


@pytest.fixture(scope="module")
def survey() -> Survey:
    """Give granite, steel and a closed section, each as bare as can be."""
    return build(bare_rows({}, STEEL, CLOSED))


@pytest.fixture(scope="module")
def assessment(survey: Survey) -> Assessment:
    """Judge them."""
    return hc.assess(survey)


def test_the_card_says_what_lies_there_and_whose_weights_count(assessment: Assessment) -> None:
    """The soiling is named although no layer describes it; no member is made up."""
    card = plain_text(zone_sheet(assessment, "Z1").html)

    assert "black crust: seen, not described yet" in card
    assert "granite, tooled, condition not assessed;" in card
    assert EQUAL in card
    assert "“Share for it” is the share of simulations in which" in card
    assert "over the members" not in card
    assert "Consent: no request recorded" in card
    assert "Unrecorded harm of leaving is not counted;" in card


def test_the_report_is_written_and_says_it_on_paper_too(
    assessment: Assessment, tmp_path: Path
) -> None:
    """HTML, report and annexe: the front, each zone's page and the policy name the weights."""
    html, pdf, _ = hc.write_report(assessment, tmp_path / "report")
    shown = plain_text(html.read_text("utf-8"))
    paper = [close_up(page) for page in words_of(pdf)]

    assert "No member gave weights, so all criteria count equally" in shown
    assert "Policy, agreed before any result was shown" in shown
    assert "for equal weights of all criteria, with and without the weight of resources" in shown
    assert "No treatment divides the members" not in shown
    assert sum(close_up(EQUAL) in page for page in paper) >= 2 + len(assessment.recommendations)


def test_a_structure_with_only_a_name_has_its_report(tmp_path: Path) -> None:
    """Front and paper say in plain sentences what is not recorded, and that the survey is open."""
    raw = bare_rows({})
    raw["structure"] = [{"structure": "A mill"}]
    survey = build(raw)
    write_field_sheets(survey, tmp_path / "sheets.pdf")
    html, pdf, _ = hc.write_report(hc.assess(survey), tmp_path / "report")
    shown = plain_text(html.read_text("utf-8"))
    paper = [close_up(page) for page in words_of(pdf)]

    assert "The question of the survey is not recorded." in shown
    assert "Why it matters is not recorded. Surveyed by: not recorded." in shown
    assert "The survey is still open. Until it closes, no zone is recommended" in shown
    assert "This advice is valid until the survey closes, at the latest until" in shown
    assert not re.search(r"None\b(?! recorded)", shown.partition("What is not known")[0])
    assert sum(close_up("Survey still open") in page for page in paper) >= 2


def test_offered_values_are_shown_as_not_agreed(survey: Survey) -> None:
    """A card by offered values says that the team did not agree them."""
    unagreed = Survey({**survey.records, "policy": ()})
    card = plain_text(zone_sheet(hc.assess(unagreed, hc.Policy()), "Z1").html)

    assert f"Policy not agreed yet by the team. {EQUAL}" in card


def test_sheets_check_and_exchange_take_a_bare_survey(survey: Survey, tmp_path: Path) -> None:
    """It goes out and comes in as it was, as a package and as a workbook."""
    write_field_sheets(survey, tmp_path / "sheets.pdf")
    found = survey.check()
    survey_files = {
        "a.zip": survey.export(tmp_path / "a.zip"), "a.xlsx": survey.export(tmp_path / "a.xlsx"),
    }  # fmt: skip

    assert "Z1" in words_of(tmp_path / "sheets.pdf")[0]
    assert "no weights: no member gave any, so all six criteria count equally" in set(found["what"])
    assert {"no layer: black_gypsum_crust", "no layer: rust"} <= set(found["what"])
    for name, path in survey_files.items():
        again = hc.import_survey(path, into=tmp_path / f"{name}.db")
        assert dict(again.records) == dict(survey.records)
        assert str(hc.assess(again)) == str(hc.assess(survey))


def test_a_database_without_a_policy_is_judged_only_by_one_that_is_given(
    survey: Survey, tmp_path: Path
) -> None:
    """How a zone stands can be shown before anything is agreed; agreed it is not."""
    kept = hc.open_survey(tmp_path / "a.db")
    kept.save(*(one for table in ("structure", "elevations", "zones")
                for one in survey.records[table]))  # fmt: skip

    assert hc.assess(kept, hc.Policy(), zones=["Z1"]).policy_notes[0].startswith("Policy not agr")
    with pytest.raises(hc.SurveyError, match=r"Nothing was assessed.\n.*policy: no policy is agre"):
        hc.assess(kept, zones=["Z1"])

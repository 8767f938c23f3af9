"""What a zone's page says of the decision of the team: in words, with dissent and signatures."""

from __future__ import annotations

import re
from functools import cache
from html import unescape

import pytest

import heritagecheck as hc
from heritagecheck.documents.contents import front_values, plain_text
from heritagecheck.documents.page_templates import filled, templates
from heritagecheck.documents.zone_sheet import (
    MOST_ON_PAPER,
    contractor_sheet,
    sheet_values,
    zone_sheet,
)
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.records import Decision, Opinion
from heritagecheck.survey.survey import Survey


@cache
def example() -> Assessment:
    """Judge the zones that the example's meeting decided."""
    return hc.assess(hc.demo_survey(), zones=["N10", "E15", "T03"])


def block(assessment: Assessment, zone: str) -> str:
    """Words of the decision's block of one zone."""
    html = zone_sheet(assessment, zone).html
    found = html[html.index('<section class="decision">') :]
    return " ".join(unescape(re.sub("<[^>]*>", "", found[: found.index("</section>")])).split())


def with_changed(table: str, zone: str, **values: object) -> Assessment:
    """Judge the example after the records of one table and zone were changed."""
    survey = hc.demo_survey()
    changed = tuple(
        one.changed(**values) if getattr(one, "zone", "") == zone else one
        for one in survey.records[table]
    )
    return hc.assess(Survey({**survey.records, table: changed}, survey.folder), zones=[zone])


def test_the_block_says_what_was_decided_and_who_signed() -> None:
    """N10: decided as recommended, with its method, signed by two over the same evidence."""
    words = block(example(), "N10")

    assert "Decided by the team on 7 October 2026: clean, by nebulised water" in words
    assert "Signed: A. Fell, conservator (7 October 2026, 15:40); heritage authority" in words
    assert "changed since" not in words


def test_the_block_keeps_dissent_word_for_word_and_the_veto() -> None:
    """E15: the owner's words stand in quotation marks, the veto with its reason."""
    words = block(example(), "E15")

    assert (
        "Dissent of owner, word for word: “I do not object to waiting, but the date must be "
        "readable within five years.”" in words
    )
    assert "Veto of heritage authority against clean: The polish is the evidence" in words


def test_the_block_names_an_override_and_its_reason() -> None:
    """T03: the override is named before its reason; the open question has owner and day."""
    words = block(example(), "T03")

    assert "leave and monitor, overriding the recommendation (trial first)" in words
    assert "Reason of the override: More panels would thin the plate" in words
    assert (
        "Open: Thickness of the bottom ring at each rivet row. Engineer, by 31 March 2027" in words
    )


def test_work_that_the_team_decided_against_is_handed_to_nobody() -> None:
    """T03: panels are recommended and were decided against, so no page says how to lay them."""
    judged = example()
    values = sheet_values(judged, judged.zone("T03"), paper=True)
    pages = (
        zone_sheet(judged, "T03").html,
        templates().get_template("zone_page.html").render(s=values, annexe="a.pdf"),
    )

    assert judged.zone("T03").instruction is not None
    assert contractor_sheet(judged, "T03") is None
    for page in map(plain_text, pages):
        assert "No work. On 7 October 2026 the team decided: leave and monitor" in page
        assert "For the contractor" not in page
        assert "ready to copy" not in page
        assert "Method to try" not in page
        assert "Lead. Lead is present" in page
    assert contractor_sheet(judged, "N10") is not None
    front = plain_text(filled("front.html", **front_values(judged)))
    assert "T03 : no work. On 7 October 2026 the team decided: leave and monitor" in front


def test_after_new_evidence_the_box_waits_for_the_next_decision() -> None:
    """The team needs the box to decide again; until then it says that nobody may work by it."""
    judged = with_changed("layers", "T03", thickness_mm=0.2)
    box = contractor_sheet(judged, "T03")

    assert box is not None
    assert "no work before the team decides again" in plain_text(box.html)


def test_evidence_changed_since_signing_is_said_with_what_changed() -> None:
    """A layer described otherwise after signing is named, and nobody is told to act on it."""
    words = block(with_changed("layers", "E15", thickness_mm=0.2), "E15")

    assert "Evidence changed since signing: layers: changed among 1 record" in words
    assert "Look at it again before you act on it" in words


def test_an_override_that_a_hard_stop_forbids_cannot_be_acted_on() -> None:
    """Written into the tables by hand, treating with a method ruled out is shown as void."""
    assessment = with_changed(
        "decisions", "T03", outcome="treat by override", method="nebulised_water"
    )
    words = block(assessment, "T03")

    assert "treat, overriding the recommendation (trial first)" in words
    assert "Can’t be acted on." in words
    assert "No override lifts it" in words


def test_a_long_dissent_is_whole_on_the_screen_and_refers_to_the_minutes_on_paper() -> None:
    """Paper has room for a part of it, and says where all of it is."""
    assessment = with_changed("opinions", "E15", dissent="We differ here. " * 100)
    said = next(one for one in assessment.survey.of_zone("E15", Opinion)).dissent
    assert said is not None

    assert said.strip() in block(assessment, "E15")
    values = sheet_values(assessment, assessment.zone("E15"), paper=True)
    assert values["most"] == MOST_ON_PAPER


@pytest.mark.parametrize("zone", ["N10", "E15", "T03"])
def test_no_override_is_ever_called_clean(zone: str) -> None:
    """A record that calls clean what is not recommended can't be made at all."""
    decision = next(one for one in example().survey.of_zone(zone, Decision))

    with pytest.raises(ValueError, match="must not be clean, because the recommendation is"):
        Decision.model_validate(
            decision.model_dump()
            | {"outcome": "clean", "recommended": "leave", "method": "nebulised_water",
               "override_reason": "We want it"}
        )  # fmt: skip

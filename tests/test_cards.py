"""How results show themselves in a notebook."""

from dataclasses import replace
from datetime import date
from functools import cache
from html import unescape

import pytest

import heritagecheck as hc
from heritagecheck.cards import Picture, table
from heritagecheck.judgement.recommendation import Assessment


def test_table_shows_whole_words_and_nothing_for_what_is_missing() -> None:
    """Long reasons are not cut; None, NaN and the number of a row are nobody's finding."""
    reason = "no rope day left; to be looked at with the parapet repair next spring, " * 2
    shown = table([("N12", reason, None, float("nan")), ("N13", "", date(2026, 9, 18), 3.14159)],
                  ("zone", "why", "due", "value"))._repr_html_()  # fmt: skip

    assert reason.strip() in shown
    assert "2026-09-18" in shown
    assert "3.14<" in shown
    assert not any(word in shown for word in ("None", "NaN", "<th>0</th>"))


def test_tables_of_a_survey_show_themselves_so() -> None:
    """Also when rows are picked, as the notebooks do."""
    shown = hc.demo_survey().observations.query('zone == "N06"').head(3)._repr_html_()

    assert "decay_cause" in shown
    assert "None" not in shown
    assert "hc-table" in shown


def test_a_picture_fits_its_room_but_stays_readable() -> None:
    """Never wider than its own width; below four fifths of it, it is scrolled, not shrunk."""
    shown = Picture('<svg width="600" height="90"><path d="M0 0"/></svg>', 'a "b"')._repr_html_()

    assert 'aria-label="a &quot;b&quot;"' in shown
    assert "overflow-x:auto" in shown
    assert "width:100%;height:auto;min-width:480px;max-width:600px" in shown
    assert 'tabindex="0"' in shown

    narrow = Picture('<svg width="350" height="90"><path d="M0 0"/></svg>', "b")._repr_html_()

    assert "tabindex" not in narrow


def test_a_picture_without_a_size_takes_the_room_there_is() -> None:
    """Drawings of elevations name no width."""
    shown = Picture('<svg viewBox="0 0 9 9"><path d="M0 0"/></svg>', "north front")._repr_html_()

    assert '><svg viewBox="0 0 9 9"><path d="M0 0"/></svg></div>' in shown


# -- Cards -------------------------------------------------------------------------------------


@cache
def assessment() -> Assessment:
    """Zones of the example: one each to clean, to try, to watch and to leave."""
    return hc.assess(hc.demo_survey(), zones=["N09", "N06", "N12", "N04"])


def test_a_long_table_is_cut_as_pandas_cuts_it() -> None:
    """The first and last rows show, how many there are, and a line of code that shows the rest."""
    readings = hc.demo_survey().readings
    shown = readings._repr_html_()

    assert len(readings) > 1000
    assert shown.count("<tr") == 1 + 10
    assert f"{len(readings):,} rows" in shown
    assert "to_string()" in shown
    assert str(readings.iloc[0]["reading"]) in shown
    assert str(readings.iloc[-1]["reading"]) in shown
    assert len(shown) < 20_000


def test_a_table_of_sixty_rows_is_shown_whole() -> None:
    """Nothing is cut that a person would read through."""
    assert table([(number,) for number in range(60)], ["number"])._repr_html_().count("<tr") == 61


@pytest.mark.parametrize("code", ["N09", "N06", "N12", "N04"])
def test_a_zone_shows_answer_and_cautions_on_a_short_card(code: str) -> None:
    """Outcome, sentence, gates, gaps and each caution in full; never permission to work."""
    zone = assessment().zone(code)
    shown = unescape(zone._repr_html_())

    assert f"{zone.name}: {zone.outcome}" in shown
    assert zone.sentence in shown
    assert "For approval; not permission to work." in shown
    assert all(f"{gate.number} {gate.result}" in shown for gate in zone.gates)
    assert all(gap.what in shown for gap in zone.gaps)
    assert all(reason.rstrip(".") in shown for reason in zone.urgency_reasons)
    assert all(one.hazard in shown and one.words in shown for one in zone.cautions)
    assert zone.cautions
    assert f'hc.zone_card(assessment, "{code}")' in shown
    assert len(shown) < 12_000


def test_a_survey_shows_its_question_and_what_it_holds() -> None:
    """What it was asked for, how much is recorded, and what to call next."""
    survey = hc.demo_survey()
    shown = unescape(survey._repr_html_())

    assert str(survey) in shown
    assert "hc.assess(survey)" in shown
    assert len(shown) < 3_000


def test_an_assessment_shows_which_zones_have_which_outcome() -> None:
    """Counts, codes and what is urgent; the cautions are where the zones are."""
    shown = unescape(assessment()._repr_html_())

    assert str(assessment()) in shown
    for one in assessment().recommendations:
        assert one.zone in shown.split(f">{one.outcome}<")[1].partition("</tr>")[0]
    assert "Read the cautions beside each zone." in shown
    assert len(shown) < 3_000


def test_an_assessment_of_many_zones_stays_a_short_card() -> None:
    """Of thousands of zones it names some, and how many more there are."""
    many = replace(assessment(), recommendations=assessment().recommendations * 1000)
    shown = many._repr_html_()

    assert "more" in shown
    assert len(shown) < 5_000


def test_evidence_policy_and_colour_show_themselves_shortly() -> None:
    """Numbers with their unit; no page of fields."""
    found = assessment()
    evidence = found.zone("N06").evidence
    colour = evidence.colour
    assert colour is not None

    assert str(colour) in unescape(evidence._repr_html_())
    assert f"{colour.n_soiled} soiled" in colour._repr_html_()
    assert "at least 90 % of simulations" in found.policy._repr_html_()
    for one in (evidence, colour, found.policy):
        assert len(one._repr_html_()) < 4_000


def test_nothing_prints_a_page_of_fields() -> None:
    """A notebook keeps the plain form of a result too, so that is a sentence as well."""
    found = assessment()
    zone = found.zone("N09")

    assert repr(zone) == str(zone)
    assert repr(found) == str(found)
    assert repr(zone.evidence) == str(zone.evidence)
    assert max(map(len, map(repr, (zone, found, zone.evidence)))) < 2_000


def test_a_name_from_a_survey_is_text_and_never_markup() -> None:
    """What a stranger wrote into a name runs nothing in a notebook."""
    zone = replace(assessment().zone("N09"), name="<script>alert(1)</script>")

    assert "<script" not in zone._repr_html_()

"""How results show themselves in a notebook."""

from datetime import date

import heritagecheck as hc
from heritagecheck.cards import Picture, table


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


def test_a_picture_without_a_size_takes_the_room_there_is() -> None:
    """Drawings of elevations name no width."""
    shown = Picture('<svg viewBox="0 0 9 9"><path d="M0 0"/></svg>', "north front")._repr_html_()

    assert '><svg viewBox="0 0 9 9"><path d="M0 0"/></svg></div>' in shown

"""How results show themselves in a notebook."""

from datetime import date

import heritagecheck as hc
from heritagecheck.cards import table


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

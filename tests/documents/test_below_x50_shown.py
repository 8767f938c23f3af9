"""What was measured below ×50 reads the same on card, records, trial sheet and in the tables."""

from __future__ import annotations

from small_report import example

from heritagecheck.documents.contents import plain_text
from heritagecheck.documents.trial_sheet import trial_sheet
from heritagecheck.documents.zone_sheet import zone_sheet
from heritagecheck.survey.records import Attachment, Panel

LIST = "Measured below ×50"


def test_every_zone_says_the_same_everywhere() -> None:
    """Each measurement with its value, limit and source; on no other zone is there a list."""
    named = {panel.zone for panel in example().survey.all(Panel) if panel.measures}
    files = {one.file for one in example().survey.all(Attachment)}
    shown = set()
    for one in example().recommendations:
        card = plain_text(zone_sheet(example(), one.zone).html)
        if not one.below_x50:
            assert LIST not in card, one.zone
            continue
        shown.add(one.zone)
        sheets = {
            series.series: plain_text(trial_sheet(example(), series.series).html)
            for series in one.evidence.series
        }
        for found in one.below_x50:
            line = f"{found.name}, panel {found.panel}: {found.result}."
            (series,) = (s.series for s in one.evidence.series if found.panel in s.panels)
            sheet = sheets[series]
            # Below the gates and among the records on the card; once on the sheet of the series.
            assert card.count(line) == 2
            assert sheet.count(line) == 1
            assert found.source
            # Every number of the example was read from a file, which is named as it is kept.
            assert found.files
            assert set(found.files) <= files
            assert found.source in card
            assert found.source in sheet
            table = one.evidence_table()
            (row,) = table[table["quantity"] == f"{found.name.lower()}, {found.panel}"].itertuples()
            assert row.mean == found.value
            assert row.records == ", ".join((*found.records, *found.files))
    assert shown == named == {"N06", "T06"}


def test_the_reason_of_a_gate_that_passes_counts_them_and_does_not_list_them() -> None:
    """One line of gate 7 stays readable; the list follows it."""
    gate = next(gate for gate in example().zone("T06").gates if gate.number == 7)

    assert "2 measurements below ×50, within what is allowed" in gate.reason
    assert not any(found.said in gate.reason for found in example().zone("T06").below_x50)


def test_a_melted_spot_is_shown_with_its_dose_and_not_judged() -> None:
    """On T06 it was cut at 12 J/cm², four times the panel's setting: on card and trial sheet."""
    one = example().zone("T06")
    (trial,) = one.trials
    card = plain_text(zone_sheet(example(), "T06").html)
    sheet = plain_text(trial_sheet(example(), trial.series).html)

    assert {found.spot for found in one.on_harsher_spots} == {"T06-pulse-1-S09"}
    for found in one.on_harsher_spots:
        line = (
            f"{found.name}, spot T06-pulse-1-S09 at 12 J/cm² peak: {found.result}. {found.source}"
        )
        assert card.count(line) == sheet.count(line) == 1
    assert not any(found.spot for found in one.below_x50)

"""Sheet of a trial series some of whose record is missing: it is written, and says so."""

from __future__ import annotations

import pytest

import heritagecheck as hc
from heritagecheck.documents.contents import plain_text
from heritagecheck.documents.trial_sheet import trial_sheet
from heritagecheck.survey.places import build
from heritagecheck.survey.records import TABLES


@pytest.mark.parametrize(
    ("blank", "said"),
    [
        (("damage_low", "damage_high"), "not known, since a panel does not state its own"),
        (("cleaning_low", "cleaning_high"), "not known, since a panel does not state its own"),
        (("setting_quantity",), "whether J/cm² is the peak fluence or the mean is not recorded"),
        (("setting_unit",), "the unit of the setting is not recorded"),
        (("passes",), "panels of one series differ in pulses or passes, or some do not record it"),
        (("wetted",), "panels of one series differ in wetting, or some do not record it"),
        (("spots_laid",), "does not say how many spots were laid"),
        (("x50_fields", "x50_fields_weakest", "damaged_fields"), "×50 fields not read"),
        (("residual_pct",), "residual soiling not recorded"),
        (("delta_b",), "yellowing not recorded"),
        (("late_effects",), "late effects not recorded"),
        (("control_kept",), "control not recorded"),
        (("reader_blind",), "not recorded whether blind to the setting"),
    ],
    ids=lambda part: part[0] if isinstance(part, tuple) else "",
)
def test_what_one_panel_does_not_say_is_named_on_the_sheet(
    blank: tuple[str, ...], said: str
) -> None:
    """A blank cell neither stops the report nor reads as a good answer."""
    survey = hc.demo_survey()
    rows = {
        table: [record.model_dump() for record in survey.all(kind)]
        for table, kind in TABLES.items()
    }
    [panel] = [row for row in rows["panels"] if row["panel"] == "N06-pulse-2"]
    panel |= dict.fromkeys(blank)
    assessment = hc.assess(build(rows), zones=["N06"])

    assert said in plain_text(trial_sheet(assessment, "N06-pulse").html)
    assert assessment.zone("N06").outcome != "clean"

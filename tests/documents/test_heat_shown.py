"""What the heat of a laser may alter is read in the same words wherever its setting is read."""

from dataclasses import replace
from functools import cache

import pytest

import heritagecheck as hc
from heritagecheck.documents.contents import plain_text
from heritagecheck.documents.page_templates import templates
from heritagecheck.documents.trial_sheet import trial_sheet
from heritagecheck.documents.zone_sheet import contractor_sheet, sheet_values, zone_sheet
from heritagecheck.judgement.handover.cautions import HAZARD, heat_caution
from heritagecheck.survey.records import Panel, Zone
from heritagecheck.tables.row_types import Method

SURVEY = hc.demo_survey()


@cache
def assessment():
    """The example, judged."""
    return hc.assess(SURVEY)


def of_heat(zone):
    """What is said of heat among the cautions of a zone."""
    return [one.words for one in assessment().zone(zone).cautions if one.hazard == HAZARD]


def series_named(one):
    """The series of laser panels that a recommendation rests on; empty without."""
    if one.instruction is None or one.instruction.panels is None:
        return ""
    panels = one.instruction.panels
    return panels.series if Method.named(panels.method).family == "laser" else ""


def test_a_steel_that_melts_by_calculation_says_so_beside_its_setting():
    """T06: worked at 2.8 to 3 J/cm², and the upper end counts; by hand with the same values."""
    by_hand = hc.laser.surface_temperature(
        "riveted_steel", fluence_j_cm2=3, pulse_ns=100, radius_um=400, rate_hz=20_000,
        speed_mm_s=4000,
    )  # fmt: skip
    least, most = by_hand.molten_um
    (said,) = of_heat("T06")

    assert 0 < least < most
    assert said == (
        "By calculation only, at 2.8 to 3 J/cm² peak: riveted steel melts "
        f"{least:.2g} µm deep, at most {most:.2g} µm. The panels showed no damage at ×50: look "
        "again where work begins, and stop if any is seen."
    )


def test_dark_mica_that_may_alter_cannot_be_excluded():
    """N06: at the setting of the panels some of the ranges reach the limit, the values do not."""
    biotite = hc.laser.surface_temperature(
        "biotite", fluence_j_cm2=0.6, pulse_ns=8, radius_um=2000, rate_hz=10, pulses=60
    )
    (said,) = of_heat("N06")

    assert biotite.peak.value_c < biotite.alters_from_c <= biotite.peak.high_c
    assert "alteration of biotite cannot be excluded; it begins at 400 °C" in said


def test_panels_that_nobody_read_are_not_said_to_be_undamaged():
    """T07: its panels were laid and not read, so only the look at ×50 is left."""
    (said,) = of_heat("T07")

    assert said.endswith("µm. Look for it at ×50 where work begins, and stop if it is seen.")


def test_what_is_not_recorded_is_not_said_to_be_calculated():
    """T06 without its pulse duration: no calculation is spoken of, and nothing is excluded."""
    one = assessment().zone("T06").instruction
    known = tuple(told for told in one.panels.settings if told.quantity != "pulse_duration")
    found = heat_caution(replace(one.panels, settings=known), one.setting, "riveted_steel")

    assert found.words.startswith(
        "At 2.8 to 3 J/cm² peak, alteration by heat cannot be excluded: too little is known to "
        "calculate it. The panels showed no damage at ×50"
    )


@pytest.mark.parametrize("zone", [one.zone for one in SURVEY.all(Zone)])
def test_every_page_of_a_zone_says_the_same(zone):
    """Card, page, contractor's box, its text and the trial sheet; elsewhere nothing is said."""
    one, words = assessment().zone(zone), of_heat(zone)
    if not words:
        assert not series_named(one)
        return
    page = templates().get_template("zone_page.html")
    series = series_named(one)
    said = {
        "card": plain_text(zone_sheet(assessment(), zone).html),
        "page": plain_text(page.render(s=sheet_values(assessment(), one), annexe="the annexe")),
        "box": plain_text(contractor_sheet(assessment(), zone).html),
        "printed": str(one.instruction),
        "shown": plain_text(one._repr_html_()),
    }
    if zone in {panel.zone for panel in SURVEY.all(Panel) if panel.series == series}:
        said["trial sheet"] = plain_text(trial_sheet(assessment(), series).html)

    assert len(words) == 1
    assert [place for place, text in said.items() if words[0] not in text] == []

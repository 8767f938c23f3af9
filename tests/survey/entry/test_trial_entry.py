"""What is typed of trials: setting in words, names, spots as a grid, values measured on steel."""

from dataclasses import dataclass

import pytest

import heritagecheck as hc
from heritagecheck.survey.checks.series_setting import missing_settings, words_against
from heritagecheck.survey.entry.series_entry import (
    as_last_panel,
    further_quantities,
    panel_tests,
    read_values,
    series_name,
    setting_in_words,
    setting_lines,
    with_panels,
)
from heritagecheck.survey.entry.spot_grid import SpotGrid, grid_of
from heritagecheck.survey.entry.typed_values import NotTakenError
from heritagecheck.survey.records import Panel, Setting, Spot, Zone, quantities
from heritagecheck.tables import codes

SURVEY = hc.demo_survey()


@dataclass
class Laid:
    """A panel with its spots."""

    panel: Panel
    spots: list[Spot]


def laid() -> list[Laid]:
    """Panels of the example that carry spots."""
    spots = SURVEY.all(Spot)
    found = [Laid(one, [spot for spot in spots if spot.panel == one.panel])
             for one in SURVEY.all(Panel)]  # fmt: skip
    return [one for one in found if one.spots]


def test_every_grid_of_the_example_gives_back_the_spots_it_shows() -> None:
    """Nothing is lost or moved on the way from records to what is typed and back."""
    for one in laid():
        grid = SpotGrid(one.panel, grid_of(one.panel, one.spots), one.spots)

        assert not grid.faults()
        assert grid.spots(SURVEY) == tuple(one.spots)


def test_grid_too_small_for_the_saved_spots_is_refused() -> None:
    """A spot that was read never falls out of its grid."""
    one = laid()[0]
    typed = grid_of(one.panel, one.spots) | {"rows": "1"}

    assert (
        "spots that are saved have no place"
        in SpotGrid(one.panel, typed, one.spots).faults()["rows"]
    )


@pytest.mark.parametrize("method", codes("methods"))
def test_each_line_of_a_setting_tells_what_is_asked(method: str) -> None:
    """Where every line and both fields of the panels are told, nothing is missing any more."""
    for kind in ("masonry", "metal"):
        lines = setting_lines(method, kind)
        told = {name for line in lines for name in line.quantities} | {"passes", "wetted"}
        told |= {f"{name}={word}" for name in told if name not in {"passes", "wetted"}
                 for word in quantities.terms_of(name)}  # fmt: skip
        named = [name for line in lines for name in line.quantities]

        assert not missing_settings(method, kind, told)
        assert len(named) == len(set(named))
        assert not set(named) & set(further_quantities(method, named))


def test_words_of_a_setting_agree_with_its_fields() -> None:
    """What the program writes in words is read back as what is recorded, for every series."""
    settings = SURVEY.all(Setting)
    for panel in {one.series: one for one in SURVEY.all(Panel)}.values():
        own = [one for one in settings if one.series == panel.series]
        written = panel.changed(setting=setting_in_words(own, panel.passes, panel.wetted))

        assert not words_against([written], own), written.setting


def test_second_series_of_a_method_has_a_letter() -> None:
    """A number would look like the code of a panel."""
    assert series_name(SURVEY, "N06", "laser_ns_1064") == "N06-laser"
    panel = SURVEY.all(Panel)[0]
    used = hc.demo_survey()
    names = {one.series for one in used.all(Panel)}
    assert panel.series in names
    assert series_name(SURVEY, "N09", "mist") == "N09-mist-b"


def test_number_of_panels_that_nobody_wrote_stays_unwritten() -> None:
    """A known number grows with what is recorded; an unknown one says nothing of earlier panels."""
    zone = SURVEY.all(Zone)[0]

    assert with_panels(zone.changed(panels_laid=None), 3) == ()
    assert with_panels(zone.changed(panels_laid=5), 3) == ()
    assert with_panels(zone.changed(panels_laid=0), 3)[0].panels_laid == 3


def test_last_panel_offers_nothing_that_it_showed() -> None:
    """Damage, soiling left, yellowing and late effects are seen on each panel."""
    panels = [one for one in SURVEY.all(Panel) if one.series == "N09-mist"]
    code, offered = as_last_panel(panels, panels[1].panel)

    assert code == panels[0].panel
    assert offered["x50_fields"] == 25
    assert not {"damaged_fields", "damage_kind", "residual_pct", "delta_b", "late_effects"} & set(
        offered
    )
    assert as_last_panel(panels, panels[0].panel) == ("", {})


def test_values_of_a_panel_make_one_set() -> None:
    """All carry the size of the set; what can't be a number is refused in a sentence."""
    panel = SURVEY.all(Panel)[0]
    values = read_values("adhesion_mpa", "3,1; 2.8\n3")
    tests, gone = panel_tests(SURVEY, panel, "adhesion_mpa", values, method="pull-off",
                              tested_on=panel.done_on, tested_by="engineer")  # fmt: skip

    assert [(one.value, one.set_size) for one in tests] == [(3.1, 3), (2.8, 3), (3.0, 3)]
    assert len({one.set_name for one in tests}) == 1
    assert not gone
    with pytest.raises(NotTakenError, match="Was a decimal point lost"):
        read_values("adhesion_mpa", "310")

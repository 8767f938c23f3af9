"""Trial panels on the screens: a series with its setting, its panels, and the spots on them."""

from collections.abc import Callable, Iterator
from html import unescape
from pathlib import Path

import pytest
from bare_survey import bare_rows, keep
from hand_at_screen import Hand

import heritagecheck as hc
from heritagecheck.screens.app import App
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.routes import screen_of_zone
from heritagecheck.screens.start import StartScreen
from heritagecheck.survey.records import Observation, Panel, Setting, SiteTest, Spot, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey

STEEL = {"substrate": "riveted_steel", "finish": "rolled", "soilings": "rust; lead_paint"}
NONSENSE = ("🙂 <b>", "1,2,3", "-4", "1\t2\n3\t4", "9" * 400)
SCREENS = {"": StartScreen, "zone": screen_of_zone}


@pytest.fixture
def survey(tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """A survey of a granite zone, Z1, on which no panel is laid."""
    with DatabaseSurvey(keep(bare_rows({"panels_laid": 0}), tmp_path / "survey.db")) as opened:
        yield opened


@pytest.fixture
def at_wall(survey: DatabaseSurvey) -> Callable[..., Hand]:
    """A conservator at the trial panels of a zone that is as given."""

    def begin(**zone: object) -> Hand:
        if zone:
            survey.save(survey.record("zones", "Z1").changed(**zone), who="office")
        hand = Hand(App(survey, SCREENS))
        hand.app.hear(Event("open", value="conservator"))
        hand.go("zone/Z1/panels")
        return hand

    return begin


def lay(hand: Hand, method: str, soiling: str, count: str, **lines: str) -> str:
    """Write down a series, with values and units by quantity; give its name."""
    hand.press("new")
    hand.press("method", method)
    hand.press("soiling", soiling)
    hand.type("series.panels_in_series", count)
    hand.type("series.done_on", "2025-08-04")
    for quantity, told in lines.items():
        key = f"set-{method}-{quantity}"
        value, _, unit = told.partition(" ")
        if f"{key}.quantity={quantity}" in hand.page:
            hand.press("pick", f"{key}.quantity={quantity}")
        if unit and value[0].isdigit():
            hand.type(f"{key}.value", value)
            if f"{key}.unit={unit}" in hand.page:
                hand.press("pick", f"{key}.unit={unit}")
        else:
            hand.press("pick", f"{key}.words={told}")
    hand.press("save")
    assert "Saved: series" in hand.page, (hand.app.desk.said, hand.app.desk.faults)
    return hand.app.route.split("/")[-1]


def fill_grid(hand: Hand, rows: int, columns: int, doses: str) -> None:
    """Type size and doses of a grid; the dose changes from row to row."""
    hand.type("grid.rows", str(rows))
    hand.type("grid.columns", str(columns))
    hand.press("along", "rows")
    for step, dose in enumerate(doses.split(), start=1):
        hand.type(f"grid.dose.{step}", dose)
    hand.press("today")


def test_laser_series_of_stone_from_method_to_window(
    at_wall: Callable[..., Hand], survey: DatabaseSurvey
) -> None:
    """The cautions come before the first field; what is typed is what the trial reads back."""
    hand = at_wall()
    hand.press("new")
    hand.press("method", "laser_ns_1064")
    page = hand.page
    assert "eyes" in page.lower()
    assert page.index('class="cautions"') < page.index('name="series.')
    hand.press("method", "")
    hand.go("zone/Z1/panels")
    name = lay(
        hand, "laser_ns_1064", "black_gypsum_crust", "3",
        spot_diameter="6,5 mm", measured_at="wall", pulse_duration="8 ns",
        repetition_rate="10 Hz", angle="90 °", peak_fluence="0,8 J/cm²",
    )  # fmt: skip

    assert name == "Z1-laser"
    assert survey.all(Zone)[0].panels_laid == 3
    panels = survey.all(Panel)
    assert [one.panel for one in panels] == ["Z1-laser-1", "Z1-laser-2", "Z1-laser-3"]
    assert {one.panels_in_series for one in panels} == {3}
    assert "spot on the wall 6.5 mm" in panels[0].setting
    assert {one.quantity: one.value for one in survey.all(Setting)}["spot_diameter"] == 6.5

    for panel in panels:
        hand.go(f"zone/Z1/series/{name}/spots/{panel.panel}")
        hand.press("quantity", "peak_fluence")
        if 'data-do="unit"' in hand.page:
            hand.press("unit", "J/cm²")
        fill_grid(hand, 4, 2, "0,4 0,8 1,6 3,2")
        for at in ("2.1", "2.2", "3.1", "3.2", "4.1", "4.2"):
            hand.press("cleaned", at)
        hand.press("damaged", "4.2")
        hand.press("kind", "grains")
        hand.press("component", "biotite")
        hand.press("spread", "all")
        hand.press("rest", "cleaned")
        hand.press("rest", "damaged")
        hand.press("save")
        assert "Saved: 8 spots" in hand.page

    read = hc.trials.read_series(survey, name)
    assert [row["cleaned"] for row in read.spots.counts()] == [0, 6, 6, 6]
    assert [row["damaged"] for row in read.spots.counts()] == [0, 0, 0, 3]
    assert read.spots.scale == ("peak_fluence", "J/cm²")
    assert read.window is not None
    assert {one.spots_laid for one in survey.all(Panel)} == {8}
    assert {one.spots_on_panel for one in survey.all(Spot)} == {8}
    hand.go(f"zone/Z1/series/{name}")
    assert "Gate 7" in hand.page
    assert "Cautions at any setting" in hand.page


def test_spots_of_the_grid_are_told_to_a_screen_reader(at_wall: Callable[..., Hand]) -> None:
    """Every button names row, column, dose and what is said of the spot."""
    hand = at_wall()
    name = lay(hand, "laser_ns_1064", "black_gypsum_crust", "1")
    hand.go(f"zone/Z1/series/{name}/spots/{name}-1")
    hand.press("quantity", "peak_fluence")
    hand.press("unit", "J/cm²")
    fill_grid(hand, 2, 3, "0,8 1,6")
    hand.press("cleaned", "1.3")
    hand.press("damaged", "1.3")
    hand.press("damaged", "1.3")

    assert (
        "Row 1, column 3, 0.8 J/cm² peak, cleaned, not damaged; change whether damaged" in hand.page
    )
    assert "Row 2, column 1, 1.6 J/cm² peak, not said whether cleaned" in hand.page


def test_spot_that_nobody_spoke_of_is_no_answer(
    at_wall: Callable[..., Hand], survey: DatabaseSurvey
) -> None:
    """Nothing is saved while a spot is open; its place is named, and the draft stays."""
    hand = at_wall()
    name = lay(hand, "laser_ns_1064", "black_gypsum_crust", "1")
    route = f"zone/Z1/series/{name}/spots/{name}-1"
    hand.go(route)
    hand.press("quantity", "peak_fluence")
    hand.press("unit", "J/cm²")
    fill_grid(hand, 1, 2, "0,8")
    hand.press("cleaned", "1.1")
    hand.press("damaged", "1.1")
    hand.press("damaged", "1.1")
    hand.press("save")

    assert not survey.all(Spot)
    assert "Row 1, column 2: say whether it is cleaned or not and damaged or not" in hand.page
    hand.press("unread", "1.2")
    hand.type("grid.cell.1.2.not_read_because", "washed off")
    with DatabaseSurvey(survey.name) as again:
        later = Hand(App(again, SCREENS))
        later.app.hear(Event("open", arg=route, value="conservator"))
        assert "not read: washed off" in later.page
        later.press("save")
        assert [one.not_read_because for one in again.all(Spot)] == [None, "washed off"]


def test_spots_that_another_person_saved_are_not_replaced(
    at_wall: Callable[..., Hand], survey: DatabaseSurvey
) -> None:
    """Of two people at one panel, the second is told, and chooses."""
    hand = at_wall()
    name = lay(hand, "laser_ns_1064", "black_gypsum_crust", "1")
    route = f"zone/Z1/series/{name}/spots/{name}-1"
    hand.go(route)
    hand.press("quantity", "peak_fluence")
    hand.press("unit", "J/cm²")
    fill_grid(hand, 1, 1, "0,8")
    hand.press("rest", "cleaned")
    hand.press("rest", "damaged")
    with DatabaseSurvey(survey.name) as again:
        other = Hand(App(again, SCREENS))
        other.app.hear(Event("open", arg=route, value="engineer"))
        other.press("quantity", "peak_fluence")
        other.press("unit", "J/cm²")
        fill_grid(other, 1, 1, "1,6")
        other.press("rest", "cleaned")
        other.press("rest", "damaged")
        other.press("save")
    hand.app.hear(Event("save", route=hand.app.route))  # the page was not drawn again since
    assert "saved meanwhile, not by you" in hand.page
    hand.press("take_saved")

    assert 'value="1.6"' in hand.page
    assert [one.dose for one in survey.all(Spot)] == [1.6]


def test_doses_of_a_laser_are_offered_from_energy_and_spot(at_wall: Callable[..., Hand]) -> None:
    """180 mJ through a spot of 7 mm give a peak of 0.94 J/cm², as the laser's own example says."""
    hand = at_wall()
    name = lay(hand, "laser_ns_1064", "black_gypsum_crust", "1")
    hand.go(f"zone/Z1/series/{name}/spots/{name}-1")
    hand.press("quantity", "mean_fluence")
    fill_grid(hand, 2, 1, "")
    hand.type("grid.energies", "180; 360")
    hand.type("grid.spot_mm", "7,0")
    hand.press("fluence")

    assert 'value="0.935"' in hand.page
    assert 'value="1.87"' in hand.page
    hand.type("grid.energies", "180")
    hand.press("fluence")
    assert "1 energies are written for 2 doses" in hand.page


def test_poultice_on_stone_asks_what_a_poultice_has(
    at_wall: Callable[..., Hand], survey: DatabaseSurvey
) -> None:
    """Words and units are those of the quantity; what belongs to steel is not asked."""
    hand = at_wall()
    name = lay(
        hand, "poultice_chelating", "black_gypsum_crust", "2",
        concentration="5 %", ph="7,5 pH", dwell="4 h", temperature="18 °C", rinse="to_clear",
        acid="none",
    )  # fmt: skip
    words = survey.all(Panel)[0].setting
    assert "dwell 4 h" in words.lower()
    assert {one.quantity: one.words for one in survey.all(Setting)}["rinse"] == "to_clear"

    hand.go(f"zone/Z1/series/{name}/panel/{name}-1")
    hand.type("panel.read_on", "2026-09-07")
    assert 'name="panel.delta_b"' in hand.page
    assert "panel.joint_included=yes" in hand.page
    assert "required_adhesion_mpa" not in hand.page
    hand.type("panel.x50_fields", "25")
    hand.type("panel.damaged_fields", "0")
    hand.type("panel.residual_pct", "12,5")
    hand.press("pick", "panel.control_kept=yes")
    # Measurements are chosen by their names; no code is typed or shown.
    for chosen in ("roughness_change", "altered_layer", "depth_removed", "altered_layer"):
        hand.press("below", chosen)
    assert 'name="panel.measured_below"' not in hand.page
    assert '<button type="button" aria-pressed="true" data-do="below"' in hand.page
    assert ">Change of roughness</button>" in hand.page
    hand.press("save_next")
    first, second = survey.all(Panel)
    assert (first.residual_pct, first.not_read_because) == (12.5, None)
    assert first.measures == ("roughness_change", "depth_removed")

    hand.press("as_last")
    hand.press("save")
    second = survey.all(Panel)[1]
    assert (second.read_on, second.x50_fields, second.control_kept) == (first.read_on, 25, "yes")
    assert second.damaged_fields is None
    assert second.residual_pct is None


def test_blasting_of_lead_painted_steel(
    at_wall: Callable[..., Hand], survey: DatabaseSurvey
) -> None:
    """Lead and dust are cautioned against first; grade and adhesion are asked, a joint is not."""
    hand = at_wall(**STEEL)
    hand.press("new")
    offered = 'data-do="method" data-arg="sponge_media"'
    assert offered in hand.page
    hand.press("method", "sponge_media")
    cautions = hand.page.partition('name="series.')[0]
    assert "Lead" in cautions
    assert "ilica" in cautions
    hand.type("series.note", "Laid by a contractor before the survey")
    hand.press("method", "")
    hand.go("zone/Z1/panels")
    name = lay(
        hand, "sponge_media", "lead_paint", "1",
        pressure="4 bar", pressure_read_at="nozzle", preparation_grade="Sa 2 1/2",
    )  # fmt: skip

    hand.go(f"zone/Z1/series/{name}/panel/{name}-1")
    hand.press("today")
    assert "panel.grade_reached=yes" in hand.page
    assert 'name="panel.required_adhesion_mpa"' in hand.page
    assert "joint_included" not in hand.page
    hand.press("pick", "panel.grade_reached=yes")
    hand.type("panel.required_profile_low_um", "40")
    hand.type("panel.required_profile_high_um", "75")
    hand.type("measured.adhesion_mpa", "5,1; 4,8 60")
    hand.press("save")
    assert "60" in hand.page
    assert not survey.all(SiteTest)
    hand.type("measured.adhesion_mpa", "5,1; 4,8 6")
    hand.press("save")
    assert "how it was measured" in hand.page
    hand.type("measured.how.adhesion_mpa", "pull-off")
    hand.press("save")
    tests = survey.all(SiteTest)
    assert [(one.value, one.set_size, one.panel) for one in tests] == [
        (5.1, 3, f"{name}-1"), (4.8, 3, f"{name}-1"), (6, 3, f"{name}-1"),
    ]  # fmt: skip
    (panel,) = survey.all(Panel)
    assert (panel.grade_reached, panel.required_profile_high_um) == ("yes", 75)
    assert panel.read_by == "conservator"


def test_method_that_is_ruled_out_needs_a_reason(
    at_wall: Callable[..., Hand], survey: DatabaseSurvey
) -> None:
    """It is shown with why, and nothing is saved before it is said why the panels exist."""
    hand = at_wall()
    hand.press("new")
    assert "ruled out here" in hand.page
    hand.press("method", "flame")
    assert "Lay no panel of it." in hand.page
    hand.press("soiling", "black_gypsum_crust")
    hand.type("series.panels_in_series", "1")
    hand.type("series.done_on", "today")
    hand.press("save")
    assert not survey.all(Panel)
    assert "write below why they do" in hand.page

    hand.type("series.note", "Tried in 1998, before anybody asked")
    hand.press("save")
    assert survey.all(Panel)[0].note == "Tried in 1998, before anybody asked"


def test_contradictory_records_rule_out_every_new_panel(
    at_wall: Callable[..., Hand], survey: DatabaseSurvey
) -> None:
    """Where nothing can say which methods are ruled out, none is taken as open."""
    hand = at_wall(**STEEL)
    no_lead = {"observation": "Z1-O01", "zone": "Z1", "topic": "lead", "finding": "no",
               "seen_on": "2026-05-01", "seen_by": "conservator"}  # fmt: skip
    survey.save(Observation.model_validate(no_lead), who="test")
    hand.press("new")
    assert "Lay no panel yet" in hand.page
    hand.press("method", "sponge_media")
    assert "Lead" in hand.page.partition('name="series.')[0]
    hand.press("soiling", "rust")
    hand.type("series.panels_in_series", "1")
    hand.type("series.done_on", "2025-08-04")
    hand.press("save")

    assert not survey.all(Panel)
    assert "contradict one another" in hand.page


def test_setting_is_changed_on_all_panels_and_a_line_taken_out(
    at_wall: Callable[..., Hand], survey: DatabaseSurvey
) -> None:
    """What is emptied is taken out; the words of every panel follow."""
    hand = at_wall()
    name = lay(
        hand, "poultice_chelating", "black_gypsum_crust", "2", ph="7,5 pH", dwell="4 h"
    )  # fmt: skip
    hand.press("setting")
    hand.type("set-poultice_chelating-dwell.value", "6")
    hand.type("set-poultice_chelating-ph.value", "")
    hand.press("save")

    assert len(survey.all(Setting)) == 1
    (dwell,) = survey.all(Setting)
    assert (dwell.series, dwell.value) == (name, 6)
    assert {one.setting for one in survey.all(Panel)} == {"Dwell 6 h"}
    hand.press("one_more")
    assert {one.panels_in_series for one in survey.all(Panel)} == {3}
    assert survey.all(Zone)[0].panels_laid == 3


def test_nonsense_is_refused_in_a_sentence_and_stays(
    at_wall: Callable[..., Hand], survey: DatabaseSurvey
) -> None:
    """Whatever is typed into any field of series, panel and grid, nothing wrong is saved."""
    hand = at_wall()
    name = lay(hand, "laser_ns_1064", "black_gypsum_crust", "1", peak_fluence="0,8 J/cm²")
    before = survey.journal_head
    for route in ("panels/new", f"series/{name}/setting", f"series/{name}/panel/{name}-1",
                  f"series/{name}/spots/{name}-1"):  # fmt: skip
        hand.go(f"zone/Z1/{route}")
        if route == "panels/new":
            hand.press("method", "laser_ns_1064")
            hand.press("soiling", "black_gypsum_crust")
        elif "panel/" in route:
            hand.type("panel.read_on", "2026-09-07")
        elif "spots/" in route:
            fill_grid(hand, 1, 1, "")
        fields = _fields(hand.page)
        assert fields
        for typed in NONSENSE:
            for field in fields:
                hand.app.hear(Event("type", name=field, value=typed, route=hand.app.route))
            hand.press("save")
            page = unescape(hand.page)
            assert "The program failed" not in page
            assert 'class="said refused"' in page
            assert survey.journal_head == before


def _fields(page: str) -> list[str]:
    """Names of all boxes on a page but those in words, which take anything."""
    names = [part.partition('"')[0] for part in page.split(' name="')[1:]]
    free = ("note", "because", "read_by", "component", ".words", "search", "after")
    return [one for one in names if not one.endswith(free)]


def test_panels_of_the_example_are_shown_as_they_are_saved(tmp_path: Path) -> None:
    """No series, panel or grid of the example fails to open, and no spot moves by a save."""
    survey = hc.demo_survey()
    with DatabaseSurvey(tmp_path / "demo.db") as kept:
        kept.save(*(one for some in survey.records.values() for one in some), who="test")
        hand = Hand(App(kept, SCREENS))
        hand.app.hear(Event("open", value="conservator"))
        spots = kept.all(Spot)
        first = {panel.series: panel for panel in kept.all(Panel)}
        for panel in (first["N09-mist"], first["T06-pulse"]):
            for what in ("", "/setting", f"/panel/{panel.panel}", f"/spots/{panel.panel}"):
                hand.go(f"zone/{panel.zone}/series/{panel.series}{what}")
                assert "The program failed" not in hand.page
            if any(spot.panel == panel.panel for spot in spots):
                hand.press("save")
                assert "Saved:" in hand.page
        assert kept.all(Spot) == spots

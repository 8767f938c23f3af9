"""Height maps and sections on their screens: from the instrument's file to the depth lost."""

from __future__ import annotations

import json
import re
import struct
from collections.abc import Callable, Iterator
from html import unescape
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from bare_survey import STEEL, bare_rows, keep
from hand_at_screen import Hand
from PIL import Image

from heritagecheck.screens.app import App
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.screens.routes import screens
from heritagecheck.survey.entry.zone_progress import zone_progress
from heritagecheck.survey.records import (
    Attachment,
    HeightMap,
    Panel,
    SectionReading,
    SiteTest,
    Spot,
)
from heritagecheck.survey.store.database_survey import DatabaseSurvey

FILES = Path(__file__).parents[2] / "data" / "quillmere" / "instruments"
BEFORE = (FILES / "H1-N06-pulse-1-before.sdf").read_bytes()
AFTER = (FILES / "H2-N06-pulse-1-after.sdf").read_bytes()
SQUARE = [[32, 32], [96, 32], [96, 96], [32, 96]]
# What was put into these maps (data/quillmere/below_x50.py): on the square of 512 µm, of which a
# border of three pixels of 8 µm is left out, 1.2 µm; on three ellipses of mica 5.5 µm. Their half
# axes are s and s / √2 with s = 60, 45 and 50 µm.
LOST_UM = 1.2 + (5.5 - 1.2) * np.pi / np.sqrt(2) * (60**2 + 45**2 + 50**2) / 464**2
PANEL = {
    "panel": "Z1-laser-1", "zone": "Z1", "series": "Z1-laser", "panels_in_series": 1,
    "soiling": "black_gypsum_crust", "method": "laser_ns_1064", "setting": "0.6 J/cm²",
    "done_on": "2026-04-01", "read_on": "2026-04-20", "read_by": "conservator",
}  # fmt: skip
NUMBERS = count()
Begin = Callable[..., Hand]


@pytest.fixture
def survey(tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """A bare granite zone Z1 and a bare steel zone Z2, each with one panel that was read."""
    rows = bare_rows({}, STEEL)
    rows["panels"] = [
        PANEL,
        {**PANEL, "panel": "Z2-laser-1", "zone": "Z2", "series": "Z2-laser", "soiling": "rust"},
    ]
    with DatabaseSurvey(keep(rows, tmp_path / "survey.db")) as opened:
        yield opened


def at(survey: DatabaseSurvey, route: str = "zone/Z1/below") -> Hand:
    """A conservator at the maps and sections of a zone."""
    hand = Hand(App(survey, screens()))
    hand.app.hear(Event("open", arg=route, value="conservator"))
    return hand


def told(hand: Hand) -> str:
    """What the page says, without its marks."""
    return unescape(" ".join(re.sub(r"<[^>]+>", " ", hand.page).split()))


def give(hand: Hand, folder: Path, content: bytes, name: str, use: str = "map") -> None:
    """Choose a file; it arrives under a name of the computer's own."""
    path = folder / f"tmp{next(NUMBERS)}{Path(name).suffix}"
    path.write_bytes(content)
    hand.app.take(GivenFile(path, name, use))


def point(hand: Hand, what: str, points: list[list[float]]) -> None:
    """Put points on a picture, in its own pixels."""
    hand.app.hear(Event("points", arg=what, value=json.dumps(points), route=hand.app.route))


def confirm(
    hand: Hand, moment: str, day: str, *, bare: str = "yes", before: str = "", spot: str = ""
) -> None:
    """Say what a map shows, and save it."""
    hand.press("pick", "map.panel=Z1-laser-1")
    if spot:
        hand.press("pick", f"map.spot={spot}")
    hand.press("pick", f"map.moment={moment}")
    hand.type("map.instrument", "focus variation, ×20")
    hand.type("map.measured_on", day)
    hand.press("pick", f"map.bare={bare}")
    if before:
        hand.press("pick", f"map.before_map={before}")
    if moment == "before":
        point(hand, "treated", [[x + 0.5, y + 0.5] for x, y in SQUARE])
    hand.press("save")


def both_maps(
    hand: Hand, folder: Path, after: bytes = AFTER, *, bare: str = "yes", spot: str = ""
) -> None:
    """Take in a map before and one after, and pair them."""
    give(hand, folder, BEFORE, "wall 1.sdf")
    confirm(hand, "before", "2026-04-01", bare=bare, spot=spot)
    hand.press("below")
    give(hand, folder, after, "wall 2.sdf")
    confirm(hand, "after", "20.4.2026", bare=bare, before="H1", spot=spot)


def test_a_map_says_at_once_what_it_holds(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """Size, pixel, unit, holes and tilt by the file itself; nothing is confirmed by that."""
    hand = at(survey)
    give(hand, tmp_path, AFTER, "wall 2.sdf")

    words = told(hand)
    assert "Map of 128 × 128 pixels of 8 × 8 µm, 1.024 × 1.024 mm." in words
    assert "heights in m." in words
    assert "0.0% of it has no height." in words
    # The after map was laid a little tilted: 0.0008 µm a µm along x, -0.0005 along y, which adds to
    # the tilt that the stone itself has in this field.
    assert re.search(r"Tilt 0\.\d+ µm per mm along a row, 2\.\d µm per mm down", words)
    assert re.search(r"Sa 8\.\d+ µm", words)
    assert not survey.all(HeightMap)
    assert survey.all(Attachment)[-1].kind == "height_map"
    kind = hand.app.picture(f"relief-{survey.all(Attachment)[-1].sha256[:16]}")[1]
    assert kind == "image/jpeg"


def test_from_two_files_to_a_depth_that_names_them(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """The pair gives what was put into it; kept, it is judged and leads back to its file."""
    hand = at(survey)
    both_maps(hand, tmp_path)

    words = told(hand)
    shown = re.search(r"([\d.]+) µm lost on average \(95 % confidence interval", words)
    assert shown is not None, words
    assert float(shown[1]) == pytest.approx(LOST_UM, abs=0.03)
    assert "A mean loss of 0.0" in words
    assert "wall 1-" in words
    first, second = survey.all(HeightMap)
    assert first.treated_outline == tuple(map(tuple, SQUARE))
    assert (second.before_map, second.confirmed_by) == ("H1", "conservator")

    hand.press("keep_found")
    test = next(one for one in survey.all(SiteTest) if one.quantity == "depth_removed_um")
    assert (test.panel, test.set_size, test.file) == ("Z1-laser-1", 1, second.attachment)
    assert test.value == pytest.approx(LOST_UM, abs=0.03)
    assert next(iter(survey.all(Panel))).measures == ("depth_removed", "roughness_change")
    words = told(hand)
    assert f"Records: {test.site_test}." in words
    assert "Met. Depth lost, panel Z1-laser-1: 1." in words


def lay_spots(survey: DatabaseSurvey, *doses: float) -> None:
    """Lay spots S1, S2, … on the panel of Z1, which was treated at 0.6 J/cm²."""
    panel = survey.record("panels", "Z1-laser-1").changed(
        setting_quantity="peak_fluence", setting_unit="J/cm²", cleaning_low=0.6, cleaning_high=0.6,
    )  # fmt: skip
    spots = [
        Spot(
            spot=f"S{number}", panel="Z1-laser-1", zone="Z1", spots_on_panel=len(doses), dose=dose,
            dose_quantity="peak_fluence", dose_unit="J/cm²", not_read_because="only measured",
        )
        for number, dose in enumerate(doses, start=1)
    ]  # fmt: skip
    survey.save(panel, *spots, who="office", reason="spots laid")


@pytest.mark.parametrize(("spot", "counts"), [("S1", True), ("S2", False)])
def test_maps_of_one_spot_are_kept_as_that_spots(
    survey: DatabaseSurvey, tmp_path: Path, spot: str, counts: bool
) -> None:
    """S1 lies at the panel's 0.6 J/cm² and counts; S2, at twice that, is only shown."""
    lay_spots(survey, 0.6, 1.2)
    hand = at(survey)
    both_maps(hand, tmp_path, spot=spot)
    assert f"Keep this as found on {spot}" in told(hand)
    hand.press("keep_found")

    assert {one.spot for one in survey.all(HeightMap)} == {spot}
    tests = survey.all(SiteTest)
    assert {(one.panel, one.spot) for one in tests} == {("Z1-laser-1", spot)}
    named = ("depth_removed", "roughness_change") if counts else ()
    assert next(iter(survey.all(Panel))).measures == named
    words = told(hand)
    dose = "0.6" if counts else "1.2"
    assert f"Depth lost, spot {spot} at {dose} J/cm² peak: 1." in words
    assert ("Spots at a harsher dose" in words) != counts
    assert ("Met. Depth lost" in words) == counts
    hand.press("undo_save")
    assert not survey.all(SiteTest)


def test_a_map_is_paired_with_one_of_the_same_spot_alone(
    survey: DatabaseSurvey, tmp_path: Path
) -> None:
    """The map before shows the panel: it is not offered for a spot, and is refused as its pair."""
    lay_spots(survey, 0.6)
    hand = at(survey)
    give(hand, tmp_path, BEFORE, "wall 1.sdf")
    confirm(hand, "before", "2026-04-01")
    hand.press("below")
    give(hand, tmp_path, AFTER, "wall 2.sdf")
    hand.press("pick", "map.moment=after")
    hand.press("pick", "map.panel=Z1-laser-1")
    hand.press("pick", "map.spot=S1")
    assert 'data-arg="map.before_map=H1"' not in hand.page
    hand.press("pick", "map.spot=S1")  # once more takes it back
    hand.press("pick", "map.before_map=H1")
    hand.press("pick", "map.spot=S1")
    hand.type("map.instrument", "focus variation, ×20")
    hand.type("map.measured_on", "2026-04-20")
    hand.press("save")

    assert "H1 shows another place" in told(hand)
    assert 'data-do="keep_found"' not in hand.page


def test_a_depth_that_is_kept_again_replaces_itself(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """The same pair twice is one test, not two."""
    hand = at(survey)
    both_maps(hand, tmp_path)
    route = hand.app.route
    hand.press("keep_found")
    again = at(survey, route)
    again.press("measure")
    again.press("keep_found")

    tests = [one for one in survey.all(SiteTest) if one.quantity == "depth_removed_um"]
    assert [one.set_size for one in tests] == [1]


def test_depth_of_soiled_stone_is_not_kept(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """It may be soiling that was lost; the number is shown and said to be none of the stone."""
    hand = at(survey)
    both_maps(hand, tmp_path, bare="no")

    assert "Heights can’t tell soiling from stone or steel" in told(hand)
    assert 'data-do="keep_found"' not in hand.page


def with_step(content: bytes, factor: float) -> bytes:
    """The same map, with another step of heights in its header (ISO 25178-71, binary)."""
    step = struct.unpack_from("<d", content, 62)[0]
    return content[:62] + struct.pack("<d", step * factor) + content[70:]


@pytest.mark.parametrize(
    ("content", "name", "said"),
    [
        (b"", "map.sdf", "map.sdf was not taken. This file is empty."),
        (b"Dear all,\nenclosed the map.\n", "letter.txt",
         "letter.txt was not taken. This is not a height map that can be read. Export X3P."),
        (BEFORE[:5000], "half.sdf", "half.sdf was not taken. Its heights can't be read"),
        (with_step(BEFORE, 1000), "metres.sdf",
         "metres.sdf was not taken. It runs over 66,701 µm in height on a field of 1024 µm."),
        (b"x [um]\tz [um]\n" + b"".join(b"%d\t%d\n" % (k, k % 3) for k in range(8))[:24],
         "short.txt", "short.txt was not taken."),
        (b"1 2 3 4\n" * 8 + b"1 2 x 4\n" + b"1 2 3 4\n" * 8, "hole.txt", "hole.txt was not taken."),
    ],
)  # fmt: skip
def test_a_wrong_file_is_told_in_a_sentence_that_names_it(
    survey: DatabaseSurvey, tmp_path: Path, content: bytes, name: str, said: str
) -> None:
    """Nothing is kept of it, and the next file is taken."""
    hand = at(survey)
    give(hand, tmp_path, content, name)

    assert said in told(hand)
    assert "tmp" not in told(hand)
    assert not survey.all(Attachment)
    give(hand, tmp_path, BEFORE, "wall 1.sdf")
    assert len(survey.all(Attachment)) == 1


def test_the_same_file_is_kept_once(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """Under which code it is there already is said."""
    hand = at(survey)
    give(hand, tmp_path, BEFORE, "wall 1.sdf")
    hand.press("below")
    give(hand, tmp_path, BEFORE, "copy.sdf")

    assert "copy.sdf is here already, as" in told(hand)
    assert len(survey.all(Attachment)) == 1


@pytest.mark.parametrize(
    ("after", "said"),
    [
        (with_step(AFTER, 0.001), "One of them is in another unit"),
        (AFTER[:81] + np.random.default_rng(5).integers(-7000, 7000, 128 * 128)
         .astype("<i2").tobytes(), "do not show the same place"),
    ],
)  # fmt: skip
def test_maps_that_do_not_fit_are_told_and_kept(
    survey: DatabaseSurvey, tmp_path: Path, after: bytes, said: str
) -> None:
    """Another unit, another place: no depth, both maps stay."""
    hand = at(survey)
    both_maps(hand, tmp_path, after)

    words = told(hand)
    assert "No depth was worked out from its pair." in words
    assert said in words
    assert len(survey.all(HeightMap)) == 2
    assert 'data-do="keep_found"' not in hand.page


def test_unit_and_pixel_are_asked_where_the_file_is_silent(
    survey: DatabaseSurvey, tmp_path: Path
) -> None:
    """Nothing is guessed, and a unit that can't be true is refused; then it is taken."""
    hand = at(survey)
    heights = np.random.default_rng(2).normal(0, 4, (30, 40)).round(3)
    text = "\n".join(" ".join(map(str, row)) for row in heights)
    give(hand, tmp_path, text.encode(), "matrix.asc")
    assert "The file does not give the unit of its heights or its pixel size." in told(hand)
    hand.press("save")
    assert "say the unit of the heights and the pixel size" in told(hand)
    hand.type("map.pixel_x_um", "5,0")
    hand.type("map.pixel_y_um", "5")
    hand.press("pick", "map.height_unit=mm")
    assert "Heights or pixels are in another unit" in told(hand)
    hand.press("pick", "map.height_unit=µm")
    assert "Map of 40 × 30 pixels of 5 × 5 µm" in told(hand)
    confirm(hand, "reference", "2026-04-01")

    one = survey.all(HeightMap)[0]
    assert (one.height_unit, one.pixel_x_um, one.rows, one.columns) == ("µm", 5.0, 30, 40)


def test_a_stylus_profile_is_a_profile(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """Two columns are places and heights: length and Ra of a line, and no depth."""
    hand = at(survey)
    places = np.arange(400) * 0.002
    heights = 2 * np.sin(2 * np.pi * places / 0.08)
    lines = [f"{x:.4f}\t{z:.4f}" for x, z in zip(places, heights, strict=True)]
    give(hand, tmp_path, "\n".join(["x [mm]\tz [µm]", *lines]).encode(), "stylus.txt")

    words = told(hand)
    assert "Profile of 400 heights, one every 2 µm, 0.8 mm long." in words
    # Mean deviation of a sine of amplitude 2 µm is 4 / π = 1.27 µm; the filter takes little off.
    found = re.search(r"Ra (1\.2\d?)", words)
    assert found is not None, words
    confirm(hand, "reference", "2026-04-01")
    assert survey.all(HeightMap)[0].rows == 1


def test_a_map_in_hand_outlives_the_program(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """What was typed and pointed at is a draft under the file that was taken in."""
    hand = at(survey)
    give(hand, tmp_path, BEFORE, "wall 1.sdf")
    hand.press("pick", "map.moment=before")
    point(hand, "treated", [[10.5, 10.5], [60.5, 10.5]])
    again = at(survey)
    assert "not confirmed yet" in told(again)
    missing = zone_progress(survey)[0].open["Trial panels"]
    assert any(
        re.fullmatch(r"height map wall 1-\w+\.sdf not confirmed yet", one) for one in missing
    )
    again.press("map", survey.all(Attachment)[0].attachment)
    assert "Not saved yet: this is your draft." in told(again)
    again.press("save")

    assert "2 rows; 3 or more are needed" in told(again)
    assert not survey.all(HeightMap)


def at_photograph(survey: DatabaseSurvey, folder: Path, size: tuple[int, int]) -> Hand:
    """Somebody with the map before treatment in hand, and a photograph of the same place."""
    hand = at(survey)
    shown = folder / "close.png"
    Image.new("RGB", size, "grey").save(shown)
    survey.attach(shown, kind="photograph", attachment="P1", zone="Z1", who="office")
    give(hand, folder, BEFORE, "wall 1.sdf")
    hand.press("pick", "map.photo=P1")
    return hand


def test_points_in_photograph_and_map_go_in_turn(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """A point of the map without one in the photograph is refused; pairs are recorded in both."""
    hand = at_photograph(survey, tmp_path, (200, 100))
    point(hand, "map", [[3.5, 3.5]])
    assert "Put the point in the photograph first" in told(hand)
    for k in range(1, 4):
        point(hand, "photo", [[10, 10], [180, 12], [90, 95]][:k])
        point(hand, "map", [[3.5, 3.5], [120.5, 4.5], [60.5, 110.5]][:k])
    confirm(hand, "reference", "2026-04-01")

    assert survey.all(HeightMap)[0].tie_points == (
        (10, 10, 3, 3), (180, 12, 120, 4), (90, 95, 60, 110),
    )  # fmt: skip


def ring(x_um: float, y_um: float, size_um: float) -> list[list[float]]:
    """Corners of a flake, in pixels of a photograph of twice the map's resolution."""
    turns = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    x = (x_um + size_um * np.cos(turns)) / 4
    y = (y_um + size_um / np.sqrt(2) * np.sin(turns)) / 4
    return np.stack([x, y], axis=1).round(1).tolist()


def test_grains_of_a_photograph_give_the_depth_of_each_mineral(
    survey: DatabaseSurvey, tmp_path: Path
) -> None:
    """Outlined in the photograph, tied by points: 5.5 µm were taken off the flakes."""
    hand = at_photograph(survey, tmp_path, (256, 256))
    ties = [[10, 10], [240, 12], [236, 244], [14, 230], [120, 130]]
    point(hand, "photo", ties)
    point(hand, "map", [[x / 2 + 0.5, y / 2 + 0.5] for x, y in ties])
    flakes = ((330.0, 380.0, 60.0), (560.0, 620.0, 45.0), (650.0, 330.0, 50.0))
    for flake in flakes:
        hand.press("new_grain", "biotite")
        point(hand, "grain", ring(*flake))
    hand.press("new_grain", "quartz")
    point(hand, "grain", [[2, 2], [40, 2], [40, 40]])
    confirm(hand, "before", "2026-04-01")
    hand.press("below")
    give(hand, tmp_path, AFTER, "wall 2.sdf")
    confirm(hand, "after", "2026-04-20", before="H1")
    words = told(hand)
    found = re.search(r"([\d.]+) µm lost on biotite on average", words)
    assert found is not None, words
    assert float(found[1]) == pytest.approx(5.5, abs=0.05)
    assert "Not enough quartz: 0 pixels surely within its outlines" in words
    hand.press("keep_found")

    tests = [one for one in survey.all(SiteTest) if one.quantity == "depth_removed_um"]
    assert [(one.mineral, one.set_size) for one in tests] == [
        (None, 3), ("biotite", 3), ("quartz", 3),
    ]  # fmt: skip
    assert tests[2].value is None
    assert tests[2].not_measured_because == "only 0 pixels seen of it"
    assert "Depth lost on biotite, panel Z1-laser-1: 5.4" in told(hand)


def test_typing_that_is_taken_back_and_text_that_is_none_leave_the_page(
    survey: DatabaseSurvey, tmp_path: Path
) -> None:
    """A grain that was begun and undone, and words where points stand: told, not a failure."""
    hand = at_photograph(survey, tmp_path, (200, 100))
    hand.press("new_grain", "biotite")
    point(hand, "grain", [[1, 1], [9, 1], [9, 9]])
    hand.press("new_grain", "quartz")
    hand.press("undo_typing", "map")
    assert 'data-do="new_grain"' in hand.page
    hand.press("undo_typing", "map")
    hand.press("undo_typing", "map")
    hand.type("map.treated", "left 3; <b>")
    confirm(hand, "reference", "2026-04-01")

    assert "Left 3 must be 2 numbers" in told(hand)
    assert "The program failed" not in told(hand)


# -- Sections --------------------------------------------------------------------------------------


def profile(hand: Hand, moment: str, quantity: str, *, panel: str = "", spot: str = "") -> None:
    """Begin a profile, and say what was measured."""
    hand.press("section", "new")
    hand.press("pick", f"section.moment={moment}")
    hand.press("pick", f"section.quantity={quantity}")
    if panel:
        hand.press("pick", f"section.panel={panel}")
    if spot:
        hand.press("pick", f"section.spot={spot}")
    hand.type("section.method", "Vickers indents HV 0.01")
    hand.type("section.measured_on", "2026-04-22")
    hand.type("section.measured_by", "materials laboratory")


def paste(hand: Hand, column: str, text: str, once: str = "1") -> None:
    """Paste cells of a spreadsheet into a column."""
    name = f"section.{column}"
    hand.app.hear(Event("paste", name=name, value=text, route=hand.app.route, once=once))


HARDNESS = "6\t127,5\n15\t124\n25\t130\n40\t128\n60\t126\n90\t129\n"


def test_columns_of_a_spreadsheet_become_a_profile(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """Decimal commas are taken; treated against control, nothing is altered and that is bounded."""
    hand = at(survey, "zone/Z2/below")
    profile(hand, "control", "hardness")
    give(hand, tmp_path, b"%PDF-1.7 report", "HV report.pdf", "report")
    paste(hand, "depth_um", HARDNESS)
    hand.press("save")
    profile(hand, "after", "hardness", panel="Z2-laser-1")
    paste(hand, "depth_um", "6\n15\n25\n40\n60\n90", "a")
    paste(hand, "value", "129\n127\n125\n130\n127\n126", "b")
    hand.press("save")

    readings = survey.all(SectionReading)
    assert [one.value for one in readings[:2]] == [127.5, 124.0]
    assert {one.profile_size for one in readings} == {6}
    assert {one.file for one in readings} == {survey.all(Attachment)[0].attachment}
    assert survey.record("panels", "Z2-laser-1").measures == ("altered_layer",)  # type: ignore[attr-defined]
    words = told(hand)
    assert (
        "Altered layer, panel Z2-laser-1: by hardness, no measurable change; a layer up to" in words
    )
    assert "HV report-" in words


def test_a_section_of_a_harsher_spot_is_shown_with_its_dose(survey: DatabaseSurvey) -> None:
    """Cut at twice the setting: altered to 15 µm at least, not asked of the panel, not judged."""
    lay_spots(survey, 1.2)
    hand = at(survey)
    profile(hand, "control", "hardness")
    paste(hand, "depth_um", HARDNESS)
    hand.press("save")
    profile(hand, "after", "hardness", panel="Z1-laser-1", spot="S1")
    paste(hand, "depth_um", "6\t231\n15\t224\n25\t128\n40\t126\n60\t127\n90\t129\n", "b")
    hand.press("save")

    assert next(iter(survey.all(Panel))).measures == ()
    words = told(hand)
    assert "What the panels show" not in words
    assert "Altered layer, spot S1 at 1.2 J/cm² peak: by hardness, to" in words


def test_readings_one_after_another_with_a_wrong_one_named(survey: DatabaseSurvey) -> None:
    """A line typed in boxes goes behind the others; a wrong value is named by its line."""
    hand = at(survey, "zone/Z2/below")
    profile(hand, "after", "grain_size", panel="Z2-laser-1")
    for at_um, size in ((12, "4,1"), (40, "21"), (80, "x")):
        line = Event("line", value=f"{at_um}\t{size}", route=hand.app.route, once=str(at_um))
        hand.app.hear(line)
        hand.app.hear(line)  # told once more by a page that lost its answer
    hand.press("save")
    assert "Line 3: “x” is not a number; write a number from 0.01 to 10000 µm" in told(hand)
    assert not survey.all(SectionReading)
    hand.type("section.value", "4,1\n21\n23.4")
    hand.press("save")

    assert [(one.depth_um, one.value) for one in survey.all(SectionReading)] == [
        (12.0, 4.1), (40.0, 21.0), (80.0, 23.4),
    ]  # fmt: skip
    said = "Altered layer, panel Z2-laser-1: not known: no profile of a control is recorded."
    assert said in told(hand)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"depth_um": "5\n20\n5", "value": "1\n2\n3"}, "is the depth of line 1 too"),
        ({"depth_um": "5\n20", "value": "1"}, "Line 2: nothing is written here"),
        ({"depth_um": "", "value": ""}, "No reading is written."),
        ({"depth_um": "5", "value": "-38000"}, "is too low; write a number from -3000 to 3000 MPa"),
        ({"depth_um": "5", "value": "-38"}, "a stress needs the elastic constants"),
        ({"depth_um": "5", "value": "-38"}, "Standard error: Line 1: nothing is written here"),
    ],
)
def test_a_stress_that_lacks_something_is_told(
    survey: DatabaseSurvey, typed: dict[str, str], said: str
) -> None:
    """No constants, no error, a depth twice, a unit off by a thousand: nothing is saved."""
    hand = at(survey, "zone/Z2/below")
    profile(hand, "after", "stress_along", panel="Z2-laser-1")
    for name, text in typed.items():
        hand.type(f"section.{name}", text)
    hand.press("save")

    assert said.casefold() in told(hand).casefold()
    assert not survey.all(SectionReading)


def test_more_columns_than_a_reading_has_are_refused(survey: DatabaseSurvey) -> None:
    """What was there stays, and it is said what the columns are."""
    hand = at(survey, "zone/Z2/below")
    profile(hand, "control", "hardness")
    paste(hand, "depth_um", HARDNESS, "a")
    paste(hand, "value", "1\t2\t3\t4", "b")

    assert "4 columns were pasted; here 3 are taken at most" in told(hand)
    assert "6 readings." in told(hand)


def test_a_profile_is_corrected_and_its_size_with_it(survey: DatabaseSurvey) -> None:
    """A line less is a reading taken out; the others know their number."""
    hand = at(survey, "zone/Z2/below")
    profile(hand, "control", "hardness")
    paste(hand, "depth_um", HARDNESS)
    hand.press("save")
    name = survey.all(SectionReading)[0].profile
    hand.press("section", name)
    hand.type("section.depth_um", "6\n15\n25\n40\n60")
    hand.type("section.value", "127,5\n124\n130\n128\n126")
    hand.press("save")

    readings = survey.all(SectionReading)
    assert [one.profile_size for one in readings] == [5] * 5
    assert {one.profile for one in readings} == {name}


# -- A laboratory's stress file --------------------------------------------------------------------

SHEET = (FILES / "T06-stress-after.csv").read_text("utf-8")


def test_a_stress_file_fills_the_profile(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """Depths, stresses, errors, tilts and constants; kept, each record names the file."""
    hand = at(survey, "zone/Z2/below")
    profile(hand, "after", "stress_along", panel="Z2-laser-1")
    give(hand, tmp_path, SHEET.encode(), "tilts.csv", "report")

    assert "Its stresses are written below; look at them, then save." in told(hand)
    hand.press("save")

    (kept,) = survey.all(Attachment)
    readings = survey.all(SectionReading)
    assert [one.depth_um for one in readings] == [5, 20, 50]
    assert {(one.count, one.file) for one in readings} == {(9, kept.attachment)}
    assert {one.elastic_constants for one in readings} == {"½S2 = 5.8 /TPa of the {211} planes"}
    # Made from -33, -20 and -8 MPa with an error of 7 (data/quillmere/tilts.py).
    assert [one.value for one in readings] == pytest.approx([-33, -20, -8], abs=20)
    assert survey.record("panels", "Z2-laser-1").measures == ("stress_change",)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("content", "quantity", "said"),
    [
        (SHEET.replace("½S2; 5.8 1/TPa\n", ""), "stress_along", "needs ½S2 of the lattice planes"),
        (SHEET, "stress_across", "direction = across: or along? Both are given"),
        ("%PDF-1.7 report", "stress_along", "is not a table"),
    ],
    ids=["no constants", "the other direction", "a report in words"],
)
def test_a_stress_file_that_is_not_taken_is_kept_and_says_why(
    survey: DatabaseSurvey, tmp_path: Path, content: str, quantity: str, said: str
) -> None:
    """The file is kept, no line is filled, and the fault is named with the file."""
    hand = at(survey, "zone/Z2/below")
    profile(hand, "after", quantity, panel="Z2-laser-1")
    give(hand, tmp_path, content.encode(), "tilts.csv", "report")

    words = told(hand)
    assert "Its numbers were not taken." in words
    assert re.search(r"tilts-[0-9a-f]{6}\.csv", words)
    assert said in words
    assert "0 readings." in words
    assert len(survey.all(Attachment)) == 1

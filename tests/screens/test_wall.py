"""At the wall without a browser: elevations and their pictures, outlines, the map, the list."""

import io
import json
from functools import partial
from pathlib import Path

import pytest
from hand_at_screen import Hand
from PIL import Image

import heritagecheck as hc
from heritagecheck.judgement.assess import assess
from heritagecheck.screens import answers, zones
from heritagecheck.screens.app import App
from heritagecheck.screens.elevation_plate import plate_of
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.screens.routes import screens
from heritagecheck.survey.entry.zone_edits import begun_zones, give_outline
from heritagecheck.survey.exchange.importing import import_survey
from heritagecheck.survey.records import Attachment, Elevation, Observation, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.tables.cautions import WITH_CAUTIONS

QUILLMERE = Path(__file__).parents[2] / "data" / "quillmere"
SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 100">'
    b'<rect width="9" height="9"/></svg>'
)
SQUARE = [[100, 100], [300, 100], [300, 250], [100, 250]]  # 2.0 m by 1.5 m


def photograph(wide: int = 400, high: int = 300) -> bytes:
    """A grey wall as JPEG."""
    file = io.BytesIO()
    Image.new("RGB", (wide, high), "#b9b2a2").save(file, "JPEG")
    return file.getvalue()


def give(hand: Hand, tmp_path: Path, name: str, content: bytes) -> None:
    """Choose a file on the page."""
    assert 'data-take="picture"' in hand.page
    path = tmp_path / f"given-{len(name)}"
    path.write_bytes(content)
    hand.app.take(GivenFile(path, name, "picture"))


def point(hand: Hand, points: list[list[float]], do: str = "points") -> None:
    """Put or move points on the plate."""
    assert f'data-do="{do}"' in hand.page
    hand.app.hear(Event(do, value=json.dumps(points), route=hand.app.route))


def draw(hand: Hand, corners: list[list[float]]) -> None:
    """Tap those corners that the plate does not hold yet, one after another."""
    for corner in corners[len(_held(hand)) :]:
        point(hand, [*_held(hand), corner])


def _held(hand: Hand) -> list[list[float]]:
    """Corners that the plate holds."""
    text = hand.page.partition('data-points="')[2].partition('"')[0]
    found: list[list[float]] = json.loads(text)
    return found


@pytest.fixture
def front(hand: Hand, tmp_path: Path) -> Hand:
    """Somebody on the screen of an elevation whose drawing is 20 m by 10 m."""
    hand.go("elevations")
    hand.type("new.name", "North front")
    hand.press("new")
    give(hand, tmp_path, "north.svg", SVG)
    hand.type("picture.width_m", "20,0")
    hand.press("use_svg")
    return hand


def begin(front: Hand, name: str = "left jamb") -> None:
    """Begin a zone and go to its outline."""
    front.go("zones/north")
    front.type("new.name", name)
    front.press("new", "outline")


@pytest.fixture(scope="module")
def quillmere(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example survey in a database."""
    place = tmp_path_factory.mktemp("wall") / "survey.db"
    with import_survey(QUILLMERE, place):
        pass
    return place


@pytest.fixture
def example(quillmere: Path, tmp_path: Path) -> Hand:
    """Somebody at the map of the example survey."""
    with DatabaseSurvey(quillmere) as kept:
        kept.backup(tmp_path / "copy.db")
    found = Hand(App(DatabaseSurvey(tmp_path / "copy.db"), screens(), "zones"))
    found.app.hear(Event("open", value="conservator"))
    return found


def test_elevation_needs_only_a_name(hand: Hand, survey: DatabaseSurvey) -> None:
    """Its code is made by the program; a second of the same name is refused beside the field."""
    hand.go("elevations")
    hand.press("new")
    assert "Write which side it is, such as north front." in hand.page
    hand.type("new.name", "North front")
    hand.press("new")

    assert [one.elevation for one in survey.all(Elevation)] == ["north"]
    assert hand.app.route == "elevation/north"
    hand.go("elevations")
    hand.type("new.name", "North front")
    hand.press("new")
    assert "There is an elevation of this name." in hand.page


def test_name_of_an_elevation_can_be_corrected(front: Hand, survey: DatabaseSurvey) -> None:
    """The code stays; an empty name is refused beside the field."""
    front.type("elevation.name", " ")
    front.press("rename")
    assert "Write which side it is" in front.page
    front.type("elevation.name", "North front, street side")
    front.press("rename")

    (item,) = survey.all(Elevation)
    assert (item.elevation, item.name) == ("north", "North front, street side")


def test_photograph_is_levelled_and_scaled(
    hand: Hand, survey: DatabaseSurvey, tmp_path: Path
) -> None:
    """4 m over 200 pixels: a picture of 400 by 300 pixels shows 8 m by 6 m; comma as decimal."""
    hand.go("elevations")
    hand.type("new.name", "North front")
    hand.press("new")
    assert "square-on" in hand.page
    give(hand, tmp_path, "north.jpg", photograph())
    hand.press("upright", "level")
    point(hand, [[10, 150], [390, 150]])
    hand.press("step", "length")
    point(hand, [[100, 200], [300, 200]])
    hand.type("picture.length_m", "4,0")
    hand.press("preview")
    assert "8.00 m by 6.00 m" in hand.page
    hand.press("use")

    (item,) = survey.all(Elevation)
    assert (item.width_m, item.height_m) == (8.0, 6.0)
    assert survey.file(item.drawing or "") is not None
    assert "Go on: its zones" in hand.page


def test_picture_in_the_making_is_there_after_the_program_was_killed(
    hand: Hand, survey: DatabaseSurvey, tmp_path: Path
) -> None:
    """File, points and length are found again by another program on the same survey."""
    hand.go("elevations")
    hand.type("new.name", "North front")
    hand.press("new")
    give(hand, tmp_path, "north.jpg", photograph())
    point(hand, [[10, 150], [390, 150]])
    hand.type("picture.length_m", "4,0")

    with DatabaseSurvey(survey.name) as again:
        later = Hand(App(again, screens()))
        later.app.hear(Event("open", arg="elevation/north", value="conservator"))
        assert 'value="4,0"' in later.page
        assert "Draw the level line ✓" in later.page


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("north.pdf", b"%PDF-1.7 ...", "This is a PDF. Export its page as JPEG or PNG."),
        ("cut.jpg", photograph()[:900], "it is broken or cut off"),
        ("none.jpg", b"", "The file is empty."),
        ("😀.txt", "😀".encode(), "This is neither JPEG nor PNG."),
        ("bare.svg", b'<svg xmlns="http://www.w3.org/2000/svg"/>', "shows nothing"),
        ("odd.svg", b"<svg", "north"),
    ],
)  # fmt: skip
def test_file_that_is_no_picture_is_refused_beside_the_field(
    front: Hand, tmp_path: Path, name: str, content: bytes, said: str
) -> None:
    """One sentence says what it is; nothing is attached, and the picture before stays."""
    before = front.app.desk.survey.all(Attachment)
    give(front, tmp_path, name, content)

    fault = front.page.partition('id="why-file"')[2].partition("</p>")[0]
    assert name in fault
    assert said in fault or name == "odd.svg"
    assert front.app.desk.survey.all(Attachment) == before
    assert "failed" not in front.page


def test_points_or_a_length_that_will_not_do_are_said(hand: Hand, tmp_path: Path) -> None:
    """What is missing is named; a length that gives a wall of kilometres is refused."""
    hand.go("elevations")
    hand.type("new.name", "North front")
    hand.press("new")
    give(hand, tmp_path, "north.jpg", photograph())
    hand.press("preview")
    for said in ("level or plumb", "two points for each", "Write it in metres"):
        assert said in hand.page
    hand.press("upright", "plumb")
    point(hand, [[200, 10], [200, 290]])
    hand.press("step", "length")
    point(hand, [[100, 200], [300, 200]])
    hand.type("picture.length_m", "4000")
    hand.press("preview")

    assert "Walls from 0.1 m" in hand.page


def test_elevation_may_stay_without_a_picture(hand: Hand, survey: DatabaseSurvey) -> None:
    """Its zones are listed, and a new one goes to its form."""
    hand.go("elevations")
    hand.type("new.name", "East flank")
    hand.press("new")
    hand.press("go", "zones/east")
    assert "has no picture yet, so its zones are listed" in hand.page
    hand.type("new.name", "plinth")
    hand.press("new", "form")

    assert hand.app.route == "zone/E01/what"
    hand.go("zones/east")
    assert "E01" in hand.page


def test_outline_of_a_zone_without_a_record_is_kept_in_its_draft(
    front: Hand, survey: DatabaseSurvey
) -> None:
    """Corners are tapped, the area is shown live and offered; form and map find both."""
    begin(front)
    draw(front, SQUARE[:2])
    assert "2 of at least 3 corners" in front.page
    draw(front, SQUARE)
    assert "Area: 3.0 m²" in front.page
    front.press("save", "area")

    (one,) = begun_zones(survey, front.app.desk.drafts)
    assert (one.zone, one.outline) == ("N01", "1 1; 3 1; 3 2.5; 1 2.5")
    assert front.app.desk.drafts.read("conservator", "zone/N01/what#zone")["area_m2"] == "3"
    front.go("zones/north")
    assert 'aria-label="N01 left jamb: not started, no record yet"' in front.page


def test_corners_are_chosen_moved_added_and_taken_away(front: Hand) -> None:
    """A tap follows the corner that is chosen; each change can be undone and made again."""
    begin(front)
    draw(front, SQUARE)
    front.app.hear(Event("choose", arg="0", route=front.app.route))
    point(front, [*SQUARE, [200, 50]])
    assert _held(front) == [SQUARE[0], [200, 50], *SQUARE[1:]]
    front.press("remove")
    assert _held(front) == SQUARE
    front.press("between")
    assert _held(front)[1] == [200, 100]
    front.press("nudge", "up")
    assert _held(front)[1] == [200, 99]
    for _ in range(4):
        front.press("undo")
    assert _held(front) == SQUARE
    front.press("redo")
    assert len(_held(front)) == 5


def test_sides_that_cross_are_said_at_once_and_not_saved(
    front: Hand, survey: DatabaseSurvey
) -> None:
    """The fault names the place; Save refuses with the same words."""
    begin(front)
    draw(front, [SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3]])
    assert "crosses itself at 2.00 m from the left, 1.75 m from the top" in front.page
    front.press("save")

    assert "The outline was not saved." in front.page
    assert not begun_zones(survey, front.app.desk.drafts)[0].outline


def test_outline_in_the_making_is_there_after_the_program_was_killed(
    front: Hand, survey: DatabaseSurvey
) -> None:
    """Two corners of an outline are found again, also the part in which they lie."""
    begin(front)
    draw(front, SQUARE)
    front.press("new_part")
    point(front, [[500, 500]])

    with DatabaseSurvey(survey.name) as again:
        later = Hand(App(again, screens()))
        later.app.hear(Event("open", arg="outline/north/N01", value="conservator"))
        assert "Part 2" in later.page
        assert "M500 500" in later.page


def test_outline_saved_by_another_is_not_replaced_unnoticed(front: Hand) -> None:
    """Both are said to be there; nothing is saved until one is chosen."""
    begin(front)
    draw(front, SQUARE)
    desk = front.app.desk
    give_outline(desk.drafts, desk.who, "N01", outline="5 5; 6 5; 6 6", area_m2="")
    assert "Another outline of N01 was saved meanwhile. Yours is shown." in front.page
    front.press("save", "area")
    assert "Choose first which of the two is right." in front.page
    front.press("mine")
    front.press("save", "area")

    (one,) = begun_zones(desk.survey, desk.drafts)
    assert one.outline == "1 1; 3 1; 3 2.5; 1 2.5"


def test_saved_outline_can_be_shown_again(front: Hand) -> None:
    """A draft can be left for what is saved, and brought back by Undo."""
    begin(front)
    draw(front, SQUARE)
    front.press("save", "area")
    front.press("remove")
    assert "Not saved yet: this is your draft." in front.page
    front.press("saved")
    assert _held(front) == SQUARE
    assert "Not saved yet" not in front.page
    front.press("undo")
    assert len(_held(front)) == 3


def test_part_of_the_picture_around_a_zone_holds_it(front: Hand) -> None:
    """As wide as twice the zone, in the shape of the whole and never beyond it; else the whole."""
    begin(front)
    draw(front, SQUARE)
    plate = plate_of(front.app.desk, front.app.desk.survey.all(Elevation)[0])
    assert plate is not None
    left, top, width, height = map(float, plate.around("N01").split())
    whole = [float(one) for one in plate.whole.split()]

    assert 0 <= left <= 100
    assert 300 <= left + width <= whole[2]
    assert 0 <= top <= 100
    assert 250 <= top + height <= whole[3]
    assert width / height == pytest.approx(whole[2] / whole[3], rel=1e-4)
    assert plate.around("N99") == plate.whole
    assert plate.around("N01", [[500, 500], [540, 500], [540, 520], [500, 520]]).startswith("480 ")


def test_overlap_with_a_neighbour_is_said(front: Hand) -> None:
    """The neighbour's code and the area that both cover."""
    begin(front)
    draw(front, SQUARE)
    front.press("save", "area")
    begin(front, "right jamb")
    assert ">N01</text>" in front.page
    draw(front, [[200, 100], [400, 100], [400, 250], [200, 250]])

    assert "It lies over N01: they share 1.5 m²." in front.page


def draw_split(hand: Hand) -> None:
    """Draw a plumb line across a zone, two fifths from its left end."""
    across, down = ([corner[axis] for corner in _held(hand)] for axis in (0, 1))
    hand.press("mode", "split")
    x = 0.6 * min(across) + 0.4 * max(across)
    point(hand, [[x, min(down) - 50], [x, max(down) + 50]])


def test_split_makes_a_zone_and_leaves_the_records(example: Hand) -> None:
    """The larger part keeps code and records; what was counted on the whole is not copied."""
    survey = example.app.desk.survey
    before = survey.of_zone("N09", Observation)
    example.press("outline", "N09")
    draw_split(example)
    assert "All readings, tests, panels and other records stay with N09." in example.page
    example.press("split")

    kept, new = survey.record("zones", "N09"), survey.record("zones", "N19")
    assert "N09 is split. The smaller part is N19" in example.page
    assert kept.area_m2 > new.area_m2 > 1
    assert survey.of_zone("N09", Observation) == before
    assert not survey.of_zone("N19", Observation)
    assert (new.panels_laid, new.colour_sets, new.biotite_pct) == (None, None, None)
    assert (new.condition, new.soilings) == (kept.condition, kept.soilings)
    example.press("take_back")
    assert "N19" not in [zone.zone for zone in survey.all(Zone)]


def test_split_line_that_does_not_cross_is_refused(example: Hand) -> None:
    """A sentence says how to draw it; nothing is saved."""
    example.press("outline", "N09")
    example.press("mode", "split")
    point(example, [[1, 1], [2, 2]])
    example.press("split")

    assert "The zone was not split." in example.page
    assert "Draw it from side to side." in example.page


def test_join_takes_only_a_zone_without_records(example: Hand) -> None:
    """Both have records: refused, with what there is. The part just split off can be joined."""
    survey = example.app.desk.survey
    whole = survey.record("zones", "N09").area_m2
    example.press("outline", "N09")
    example.press("mode", "join")
    assert "Both have records of their own; of N10 there are" in example.page
    assert 'data-do="join"' not in example.page
    example.press("mode", "draw")
    draw_split(example)
    example.press("split")
    example.press("mode", "join")
    example.press("join", "N19")

    assert "Joined: N09 now holds N19 too." in example.page
    assert survey.record("zones", "N09").area_m2 == pytest.approx(whole, rel=0.02)
    assert "N19" not in [zone.zone for zone in survey.all(Zone)]


def test_rename_changes_the_name_and_never_the_code(example: Hand) -> None:
    """The new name is saved; the page says why the code stays."""
    example.press("outline", "N09")
    example.press("mode", "rename")
    assert "The code N09 stays, because drawings, tags and records carry it." in example.page
    example.type("zone.name", "Cornice, left")
    example.press("rename")

    assert example.app.desk.survey.record("zones", "N09").name == "Cornice, left"


def test_map_reads_each_zone_aloud_and_leads_to_it(example: Hand) -> None:
    """Code, name and state of each zone; a filter; the list as the second way."""
    page = example.page
    assert page.count('role="option"') == 18
    assert 'aria-label="N09 Limestone cornice, left half: ' in page
    assert "of 52 zones fully recorded" in page
    example.press("elevation", "tower")
    every = example.page.count('id="row-')
    example.press("filter", "lead")
    assert 0 < example.page.count('id="row-') < every
    example.press("filter", "all")
    example.press("elevation", "north")
    example.press("visit", "N09")
    assert example.app.route == "zone/N09"


def test_map_shows_the_outcomes_once_they_are_asked_for(
    example: Hand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A zone in colour, hatch and letter of its outcome, for approval only."""
    # One zone is enough here, and takes a tenth of the time of all.
    monkeypatch.setattr(zones, "assess", partial(assess, zones=["N09"]))
    example.press("assess")

    assert "N09 Limestone cornice, left half: clean" in example.page
    assert "N09 C</text>" in example.page
    assert "for approval" in example.page.casefold()


def test_reasons_that_name_a_setting_stand_with_what_guards_it(
    example: Hand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Above the answers stands that no setting is used without its cautions."""
    monkeypatch.setattr(answers, "assess", partial(assess, zones=["N06"]))
    example.go("answers")
    assert WITH_CAUTIONS not in example.page
    example.press("assess")
    page = example.page

    assert page.index(WITH_CAUTIONS) < page.index("The panels were laid at 0.6 J/cm² peak")


def test_picture_of_an_elevation_is_sent_once_and_by_name(example: Hand) -> None:
    """The page names it by the checksum of its file, and holds no picture itself."""
    page = example.page
    name = page.partition('data-picture="')[2].partition('"')[0]
    content, kind = example.app.picture(name)

    assert (content[:4], kind) == (b"<svg", "image/svg+xml")
    assert b"data-zone" not in content
    assert len(page) < 60_000


@pytest.mark.parametrize(
    "route",
    ["outline", "outline/north", "outline/nowhere/N1", "elevation", "elevation/😀", "zones/😀"],
)
def test_address_that_leads_nowhere_ends_in_a_sentence(hand: Hand, route: str) -> None:
    """No traceback, and a way on."""
    hand.go(route)

    assert "failed" not in hand.page
    assert 'data-do="go"' in hand.page.partition("<main")[2]


def test_elevation_map_of_a_notebook_opens_on_the_zones(survey: DatabaseSurvey) -> None:
    """The public name gives the same screens, open on the map."""
    page = hc.elevation_map(survey)

    assert page.route == "zones"
    assert "A zone lies on an elevation. Begin with one." in page.html


@pytest.mark.parametrize("name", ["😀" * 300, "'; DROP TABLE zones; --", "<b>jamb</b>\n\tN06|N07"])
def test_odd_name_of_a_zone_or_elevation_ends_well(
    hand: Hand, survey: DatabaseSurvey, name: str
) -> None:
    """It is kept as it is typed and never becomes a part of the page's own markup."""
    hand.go("elevations")
    hand.type("new.name", name)
    hand.press("new")
    (item,) = survey.all(Elevation)
    hand.go(f"zones/{item.elevation}")
    hand.type("new.name", name)
    hand.press("new", "form")
    hand.go(f"zones/{item.elevation}")

    assert begun_zones(survey, hand.app.desk.drafts)[0].name == name
    assert "<b>jamb" not in hand.page
    assert "failed" not in hand.page

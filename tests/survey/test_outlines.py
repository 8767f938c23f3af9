"""Outlines that records hold: written, refused, shown, split, joined."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pictured_wall import OUTLINES, on_a_wall, saved, wall
from pydantic import ValidationError

import heritagecheck as hc
from heritagecheck.survey.drawings.elevations import outlines, read_drawing
from heritagecheck.survey.drawings.outline_edits import (
    area_of,
    as_text,
    join_outlines,
    label_point,
    outline_faults,
    overlap_m2,
    rings_of,
    split_outline,
)
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Attachment, Elevation, Zone
from heritagecheck.survey.survey import Survey

SQUARE = [[(0, 0), (4, 0), (4, 4), (0, 4)]]
ROOM = [(1, 1), (3, 1), (3, 2), (1, 2)]


def areas(rings: list[np.ndarray]) -> float:
    """Area to a square millimetre."""
    return round(area_of(rings), 6)


# -- As text -----------------------------------------------------------------------------------


def test_an_outline_is_read_as_it_is_written() -> None:
    """Corners and parts come back; a closing corner that repeats the first is left out."""
    rings = rings_of("0 0; 2.5 0; 2.5 1.2; 0 0 | 3 0; 4 0; 4 1")

    assert [ring.tolist() for ring in rings] == [
        [[0, 0], [2.5, 0], [2.5, 1.2]], [[3, 0], [4, 0], [4, 1]],
    ]  # fmt: skip
    assert as_text(rings) == "0 0; 2.5 0; 2.5 1.2 | 3 0; 4 0; 4 1"
    assert rings_of(None) == []


@given(
    st.lists(
        st.lists(st.tuples(*[st.integers(-9_000_000, 9_000_000)] * 2), min_size=3, unique=True),
        min_size=1, max_size=4,
    )
)  # fmt: skip
def test_text_keeps_every_millimetre(rings: list[list[tuple[int, int]]]) -> None:
    """Corners on whole millimetres come back as they went."""
    metres = [np.array(ring) / 1000 for ring in rings]

    assert [ring.tolist() for ring in rings_of(as_text(metres))] == [one.tolist() for one in metres]


def test_corners_that_fall_together_are_written_once() -> None:
    """What differs by less than half a millimetre is one corner; no nought has a sign."""
    assert as_text([[(-0.0001, 0), (0, 0.0002), (1, 0), (1, 2), (0, 0)]]) == "0 0; 1 0; 1 2"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("0 0; 1 0; 1", "1 must be two numbers in metres separated by a blank"),
        ("0 0; 1,5 0; 1 1", "1,5 0 must be two numbers in metres separated by a blank. Write deci"),
        ("0 0; 1 0; 1 1;", "an empty corner must be two numbers"),
        ("0 0; 1 0; nan 1", "nan 1 must be two numbers"),
        ("0 0; 1 0; 🙂 1", "🙂 1 must be two numbers"),
        ("0 0; 1 0; 1e5 1", "1e5 1 lies more than 10,000 m away"),
        ("0 0; 1 0", "its part at 0.00 m from the left, 0.00 m from the top has 2 points"),
        ("0 0; 4 0; 0 4; 4 4", "its outline crosses itself at 2.00 m from the left, 2.00 m from"),
        ("0 0; 1 0; 2 0", "its outline encloses nothing"),
        ("0 0; 2 0; 2 2 | 1 -1; 3 -1; 3 1; 1 1", "its outline crosses itself at"),
        ("|", "an empty corner must be two numbers"),
    ],
)  # fmt: skip
def test_a_record_refuses_an_outline_that_cannot_be_drawn(text: str, said: str) -> None:
    """The sentence says what is wrong, and where."""
    zone = hc.demo_survey().all(Zone)[0]

    with pytest.raises(ValidationError, match=re.escape(f"outline: {said}")):
        Zone.model_validate(zone.model_dump() | {"outline": text})


def test_a_drawing_and_its_size_come_together() -> None:
    """A code and a name are enough; a drawing without its size is refused."""
    assert Elevation(elevation="A", name="North").drawing is None

    with pytest.raises(
        ValidationError, match="width_m: give drawing, width_m and height_m together"
    ):
        Elevation(elevation="A", name="North", drawing="a.svg")


# -- Edits -------------------------------------------------------------------------------------


def test_areas_leave_out_what_is_open() -> None:
    """A ring within a ring is a hole: 16 m² less 2 m²."""
    assert areas([*SQUARE, ROOM]) == 14


def test_a_line_cuts_an_outline_in_two() -> None:
    """The larger side comes first, and the sides share the line."""
    first, second = split_outline(SQUARE, [(3, -1), (3, 5)])

    assert (areas(first), areas(second)) == (12, 4)
    assert overlap_m2(first, second) == 0
    assert areas(join_outlines(first, second)) == 16


def test_a_bent_line_cuts_through_an_opening() -> None:
    """The opening is shared out, and nothing of the zone is lost."""
    first, second = split_outline([*SQUARE, ROOM], [(2, -1), (2, 3), (5, 3)])

    assert areas(first) + areas(second) == 14
    assert overlap_m2(first, second) == 0
    assert areas(second) == 5  # 2 m by 3 m, less half of the opening


def test_parts_that_the_line_does_not_touch_go_to_their_side() -> None:
    """A part left of the line stays left."""
    left, right = [(-3, 0), (-2, 0), (-2, 1), (-3, 1)], [(6, 0), (8, 0), (8, 1), (6, 1)]
    first, second = split_outline([*SQUARE, left, right], [(2, -1), (2, 5)])

    assert (areas(first), areas(second)) == (10, 9)
    assert max(ring[:, 0].max() for ring in second) == 2


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ([(1, 1), (1, 1)], "The line needs two different points"),
        ([(2, -1), (2, 2)], "The line ends within the outline. Draw it across"),
        ([(-1, -1), (5, -1)], "The line does not cross the outline. Draw it from side to side"),
        ([(-1, 0), (5, 0)], "The line does not cross the outline"),
        ([(-1, 0.0001), (5, 0.0001)], "The line cuts off only 4.0 cm²"),
    ],
)
def test_a_line_that_does_not_cut_is_refused(line: list[tuple[float, float]], said: str) -> None:
    """With what is wrong in it."""
    with pytest.raises(ValueError, match=re.escape(said)):
        split_outline(SQUARE, line)


def test_joined_outlines_lose_the_sliver_between_them() -> None:
    """A gap enclosed by hand-drawn neighbours closes; parts that lie apart stay parts."""
    one = [[(0, 0), (2, 0), (2, 1), (1.9995, 1.5), (2, 2), (0, 2)]]
    joined = join_outlines(one, [[(2, 0), (4, 0), (4, 2), (2, 2)]])

    assert len(joined) == 1
    assert areas(joined) == 8
    assert len(join_outlines(SQUARE, [[(9, 9), (10, 9), (10, 10)]])) == 2


def test_overlaps_are_measured() -> None:
    """Half a metre by four."""
    assert overlap_m2(SQUARE, [[(3.5, 0), (8, 0), (8, 4), (3.5, 4)]]) == pytest.approx(2)
    assert overlap_m2(SQUARE, [[(4, 0), (8, 0), (8, 4), (4, 4)]]) == 0


@given(st.floats(-0.9, 0.9), st.floats(-0.9, 0.9))
def test_both_sides_of_any_line_make_the_whole(start: float, end: float) -> None:
    """Wherever a line crosses the square, the areas of its sides add up, and each can be drawn."""
    first, second = split_outline(SQUARE, [(2 + 2 * start, -1), (2 + 2 * end, 5)])

    assert area_of(first) + area_of(second) == pytest.approx(16)
    assert area_of(first) >= area_of(second)
    assert [outline_faults(first), outline_faults(second)] == ["", ""]


def test_the_code_stands_within_its_zone() -> None:
    """In the middle where there is room, else where there is most; never in an opening."""
    assert label_point([[(0, 0), (10, 0), (10, 2), (0, 2)]]).tolist() == [5, 1]
    around = [[(0, 0), (6, 0), (6, 6), (0, 6)], [(1, 1), (5, 1), (5, 5), (1, 5)]]
    x, y = label_point(around)

    assert not (1 <= x <= 5 and 1 <= y <= 5)


# -- Shown -------------------------------------------------------------------------------------


def test_outlines_of_records_lie_on_a_photograph(tmp_path: Path) -> None:
    """They come back in metres, with their openings and parts, and carry no pixel with them."""
    found = outlines(on_a_wall(tmp_path, drawing=saved(wall())), "wall")

    assert set(found) == set(OUTLINES)
    for code, text in OUTLINES.items():
        assert found[code].area_m2 == pytest.approx(area_of(rings_of(text)))
        np.testing.assert_allclose(found[code].rings[0], rings_of(text)[0], atol=1e-6)


def test_the_record_replaces_what_the_drawing_outlines(tmp_path: Path) -> None:
    """One outline of the zone is left: that of the record; `check` says so."""
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1200 800"><g>'
        '<path data-zone="N04" d="M0 0H100V100z"/><path data-zone="N15" d="M0 0H99V99z"/></g></svg>'
    )
    survey = on_a_wall(tmp_path, drawing=drawing.encode())
    root = read_drawing(survey, survey.all(Elevation)[-1])
    codes = [path.get("data-zone") for path in root.iter() if path.get("data-zone")]
    told = {(row.zone, row.what) for row in survey.check().itertuples() if "wall.jpg" in row.what}

    assert codes == ["N15", "N04", "N09", "N12"]
    assert outlines(survey, "wall")["N04"].area_m2 == pytest.approx(28)
    assert told == {("N04", "two outlines: one in the record, one in wall.jpg")}


def test_check_names_what_is_not_drawn(tmp_path: Path) -> None:
    """An elevation without a drawing, a zone without an outline, an outline beyond the edge."""
    bare = on_a_wall(tmp_path, drawing=None).check()
    partly = on_a_wall(tmp_path, drawing=saved(wall()), outlined=("N04",))
    zones = tuple(
        zone.changed(outline="0 0; 12.5 0; 12.5 2") if zone.zone == "N04" else zone
        for zone in partly.all(Zone)
    )
    beyond = Survey({**partly.records, "zones": zones}, tmp_path)
    told = {(row.zone, row.what) for row in beyond.check().itertuples() if "wall.jpg" in row.what}

    assert "elevation without a drawing: wall" in set(bare["what"])
    assert told == {
        ("N04", "outline beyond the drawing: wall.jpg"), ("N09", "no outline: wall.jpg"),
        ("N12", "no outline: wall.jpg"),
    }  # fmt: skip


def test_a_size_that_does_not_fit_the_picture_is_told(tmp_path: Path) -> None:
    """A wall of 12 m by 8 m that is called 6 m high; none of its outlines goes to a measurement."""
    survey = on_a_wall(tmp_path, drawing=saved(wall(1200, 1200)))
    told = [what for what in survey.check()["what"] if what.startswith("size of the drawing")]

    assert told == [
        "size of the drawing: wall.jpg, with width_m = 12 its height is 12 m, but height_m = 8. "
        "Correct one of them, or the frame of the drawing"
    ]
    with pytest.raises(hc.SurveyError, match="its height is 12 m, but height_m = 8"):
        outlines(survey, "wall")


def test_tables_without_the_new_field_are_read(tmp_path: Path) -> None:
    """A survey of an older release has no outline, and keeps the fingerprints that it printed."""
    survey = hc.demo_survey()
    rows = {name: [one.model_dump() for one in kept] for name, kept in survey.records.items()}
    for row in rows["zones"]:
        del row["outline"]

    assert build(rows, folder=tmp_path).records["zones"] == survey.records["zones"]


def test_a_survey_with_a_photograph_goes_to_others_and_comes_back(tmp_path: Path) -> None:
    """As a folder and into a database: the picture is attached, the outlines are kept."""
    (tmp_path / "a").mkdir()
    survey = on_a_wall(tmp_path / "a", drawing=saved(wall()))
    whole = {"structure", "policy", "views"}
    records = {
        table: kept
        if table in whole
        else tuple(one for one in kept if getattr(one, "elevation", "") == "wall")
        for table, kept in survey.records.items()
    }
    sent = Survey(records, tmp_path / "a").export(tmp_path / "sent")
    kept = hc.import_survey(sent, tmp_path / "kept.db", who="conservator")
    (attached,) = kept.all(Attachment)

    assert kept.records["zones"] == records["zones"]
    assert (attached.kind, attached.file) == ("drawing", "wall.jpg")
    assert set(outlines(kept, "wall")) == set(OUTLINES)

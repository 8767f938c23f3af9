"""Photographs as records: what ties them to the wall, and what contradicts them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import heritagecheck as hc
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import Photo, Reading, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey

PHOTO = {
    "photo": "P9", "attachment": "A1", "zone": "N05", "state": "dry",
    "points": "0 0 0 0; 900 0 1.8 0; 900 600 1.8 1.2; 0 600 0 1.2", "taken_on": "2026-05-01",
    "taken_by": "conservator",
}  # fmt: skip


@pytest.fixture
def kept(tmp_path: Path) -> DatabaseSurvey:
    """Give the example survey in a database, with a file that is taken for a photograph."""
    survey = hc.import_survey(example_folder(), into=tmp_path / "survey.db")
    (tmp_path / "wall.jpg").write_bytes(b"a wall")
    survey.attach(
        tmp_path / "wall.jpg", kind="photograph", attachment="A1", zone="N05", who="conservator",
        reason="test",
    )  # fmt: skip
    return survey


def reading(**values: Any) -> Reading:
    """One square of photograph P9."""
    return Reading(**{
        "reading": "N05-square-1", "zone": "N05", "set_name": "N05 squares", "set_size": 1,
        "target": "soiled", "L_star": 50, "a_star": 0, "b_star": 4, "state": "dry",
        "geometry": "photograph", "photo": "P9", "aperture_mm": 25, "illuminant": "D65/10",
        "instrument": "camera", "read_on": "2026-05-01", "read_by": "conservator", **values,
    })  # fmt: skip


def test_points_are_read_as_numbers() -> None:
    """Pixels first, then metres from the left and the top of the drawing."""
    photo = Photo(**PHOTO, clean_stone="1 2; 3 4.5; 5 6")

    assert photo.tie_points[1] == (900, 0, 1.8, 0)
    assert photo.clean_outline == ((1, 2), (3, 4.5), (5, 6))
    assert photo.chart_outline == ()


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"points": "0 0 0 0; 9 0 1 0; 9 9 1 1"}, "points: 3 rows; 4 or more are needed"),
        (
            {"points": "0 0 0; 9 0 1 0; 9 9 1 1; 1 1 1 1"},
            "points: 0 0 0 must be 4 numbers separated by blanks",
        ),
        ({"points": PHOTO["points"] + ";"}, "points: an empty row must be 4 numbers"),
        ({"clean_stone": "1 1; 2 2"}, "clean_stone: 2 rows; 3 or more are needed"),
        ({"clean_stone": "1 1; 2 2; 3 x"}, "clean_stone: 3 x must be 2 numbers"),
        (
            {"chart_corners": "1 1; 2 2; 3 3; 4 4; 5 5"},
            "chart_corners: give four corners, not more",
        ),
        (
            {"chart_error": 1.0},
            "chart_error: give chart_error, error_L, error_a and error_b together",
        ),
        ({"error_L": -1}, "greater than or equal to 0"),
    ],
)
def test_what_ties_no_photograph_to_the_wall_is_refused(values: dict[str, Any], why: str) -> None:
    """Each says which field, what came, and what is allowed."""
    with pytest.raises(ValueError, match=why):
        Photo(**{**PHOTO, **values})


@pytest.mark.parametrize(
    "values", [{"geometry": "SCI"}, {"photo": None}], ids=["meter", "no photograph named"]
)
def test_a_reading_names_its_photograph_exactly_where_it_is_of_one(values: dict[str, Any]) -> None:
    """A meter's reading has none, and a square of a photograph is nothing without it."""
    with pytest.raises(
        ValueError, match="photo: name a photograph if the geometry is photograph, and only then"
    ):
        reading(**values)


def test_a_photograph_and_its_squares_are_kept_together(kept: DatabaseSurvey) -> None:
    """One save takes the photograph and what was read from it; both come back as they were."""
    photo = Photo(**PHOTO)
    kept.save(photo, reading(), who="conservator", reason="measured")

    assert kept.record("photos", "P9") == photo
    assert kept.record("readings", "N05-square-1") == reading()


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"zone": "N06"}, "zone = N06: its photograph says N05"),
        ({"state": "wet"}, "state = wet: its photograph says dry"),
        ({"photo": "P8"}, "photo = P8: no photo P8 in"),
    ],
)
def test_a_square_that_its_photograph_contradicts_is_refused(
    kept: DatabaseSurvey, values: dict[str, Any], why: str
) -> None:
    """Another zone, another state, or no photograph at all."""
    kept.save(Photo(**PHOTO), who="conservator", reason="tied to the drawing")

    with pytest.raises(hc.SurveyError, match=why):
        kept.save(reading(**values), who="conservator", reason="measured")


def test_more_sets_than_were_taken_are_refused(kept: DatabaseSurvey) -> None:
    """Two sets of the meter are on record: one can't be all."""
    zone = kept.record("zones", "N05")
    assert isinstance(zone, Zone)

    with pytest.raises(hc.SurveyError, match=r"colour_sets = 1: 2 sets .* N05-reference, N05-soi"):
        kept.save(zone.changed(colour_sets=1), who="conservator", reason="counted")


def test_photographs_not_measured_and_sets_not_counted_are_found(kept: DatabaseSurvey) -> None:
    """The check says what is left to do, zone by zone."""
    kept.save(Photo(**PHOTO), reading(), who="conservator", reason="measured in part")
    found = kept.check().query('zone == "N05"').set_index("what")["what_to_do"]
    said = found.index.tolist()

    assert "photograph not measured: P9" in said
    # The notebook on colour measures too, and saves nothing.
    assert "on the screen Photographs" in found["photograph not measured: P9"]
    assert "sets of colour readings not counted" in said


def test_sets_that_are_missing_are_found(kept: DatabaseSurvey) -> None:
    """Three were taken and two are there."""
    zone = kept.record("zones", "N05")
    assert isinstance(zone, Zone)
    kept.save(zone.changed(colour_sets=3), who="conservator", reason="counted")

    said = kept.check().query('zone == "N05"')["what"].tolist()

    assert "sets missing: 3 taken, 2 recorded" in said

"""What splitting, joining and measuring an outline gives, with hand-sized numbers."""

from pathlib import Path

import pytest

from heritagecheck.survey.entry.codes import elevation_code
from heritagecheck.survey.entry.drafts import Drafts
from heritagecheck.survey.entry.zone_edits import (
    area_in_words,
    begin_zone,
    begun_zones,
    corners_to_edit,
    gap_m,
    overlapped,
    rounded_area,
)
from heritagecheck.survey.records import Elevation
from heritagecheck.survey.store.database_survey import DatabaseSurvey


def box(left: float, top: float, wide: float, high: float) -> list[list[tuple[float, float]]]:
    """One ring: a box."""
    right, foot = left + wide, top + high
    return [[(left, top), (right, top), (right, foot), (left, foot)]]


@pytest.mark.parametrize(
    ("wide", "high", "area", "words"),
    [
        (0.123, 1.0, 0.12, "0.12 m²"),
        (2.0, 1.0, 2.0, "2.0 m²"),
        (5.77, 1.0, 5.8, "5.8 m²"),
        (9.96, 1.0, 10.0, "10 m²"),
        (12.4, 1.0, 12.0, "12 m²"),
        (30.0, 10.2, 306.0, "306 m²"),
    ],
)
def test_area_has_the_digits_of_a_hand_drawn_outline(
    wide: float, high: float, area: float, words: str
) -> None:
    """Two digits below 10 m², whole square metres above."""
    found = rounded_area(box(0, 0, wide, high))

    assert found == area
    assert area_in_words(found) == words


def test_gap_between_outlines() -> None:
    """Two boxes 0.3 m apart; 0 where they share a side."""
    assert gap_m(box(0, 0, 1, 1), box(1.3, 0, 1, 1)) == pytest.approx(0.3)
    assert gap_m(box(0, 0, 1, 1), box(1, 0, 1, 1)) == 0


def test_overlap_of_hand_drawn_neighbours_is_not_told() -> None:
    """Half of a box is told; half a centimetre along a side of 2 m is not; a far box neither."""
    outline = box(0, 0, 2, 1)
    others = {"N02": box(1, 0, 2, 1), "N03": box(0, 0.995, 2, 1), "N04": box(9, 9, 1, 1)}

    assert overlapped(outline, others) == {"N02": pytest.approx(1.0)}


def test_curve_of_a_drawing_comes_with_few_corners() -> None:
    """Corners on a straight side are left out; those of the form stay."""
    ring = [[(0.0, 0.0), (0.5, 0.001), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]]

    assert corners_to_edit(ring)[0].tolist() == [[0, 0], [1, 0], [1, 1], [0, 1]]


def test_codes_of_begun_zones_and_elevations_are_never_given_twice(tmp_path: Path) -> None:
    """A zone that is only a draft has its code; an elevation its first word, then a number."""
    with DatabaseSurvey(tmp_path / "survey.db") as survey:
        assert elevation_code(survey, "North front") == "north"
        assert elevation_code(survey, "😀") == "elevation"
        survey.save(Elevation(elevation="north", name="North front"), who="conservator")
        assert elevation_code(survey, "North porch") == "north-2"
        drafts = Drafts(survey)
        codes = [
            begin_zone(survey, drafts, "conservator", elevation="north", name=name)
            for name in ("left jamb", "right jamb")
        ]

        assert codes == ["N01", "N02"]
        assert [one.name for one in begun_zones(survey, drafts)] == ["left jamb", "right jamb"]

"""Names of quarry beds and coating systems: spelling neither parts one bed nor joins two."""

from __future__ import annotations

import pytest

from heritagecheck.survey.beds import may_be_one_bed, names_to_ask_about, near_names, same_bed
from heritagecheck.survey.records import Zone

ZONE = {
    "zone": "A1", "elevation": "A", "name": "only", "area_m2": 3, "substrate": "granite",
    "finish": "tooled", "condition": "sound", "exposure": "rain_washed", "access": "scaffold",
    "significance": "medium", "significance_reason": "a reason", "soilings": "algae",
    "surveyed_on": "2026-06-01", "surveyed_by": "conservator",
}  # fmt: skip


@pytest.mark.parametrize(
    ("one", "other", "same", "near"),
    [
        ("grey granite, bed A", "Grey Granite bed A ", True, False),
        ("red lead 1889; alkyd 1961", "red lead 1889, alkyd 1961", True, False),
        ("ﬁne bed", "fine bed", True, False),
        ("grey granite, bed A", "gray granite, bed A", False, True),
        ("grey granite, bed A", "bed A, grey granite", False, True),
        ("north quarry, lower bed", "nort quarry, lower bed", False, True),
        ("grey granite, bed A", "grey granite, bed B", False, False),
        ("red lead 1889, alkyd 1961", "red lead 1889, alkyd 1962", False, False),
        ("red lead 1889, alkyd 1961", "red lead 1889, alkyd 1961, bottom ring", False, False),
        ("top bed", "lower bed", False, False),
        ("north quarry", "south quarry", False, False),
        ("east quarry", "west quarry", False, False),
        ("north quarry", "nroth quarry", False, True),
        ("north quarry", "north quarry2", False, False),
        (None, "north quarry", False, False),
        ("...", "north quarry", False, False),
        (None, None, False, False),
    ],
)
def test_beds_are_told_apart_by_what_they_say_and_not_by_spelling(
    one: str | None, other: str | None, same: bool, near: bool
) -> None:
    """Case, blanks and punctuation say nothing; a number or letter does; a slip is asked about."""
    assert same_bed(one, other) == same_bed(other, one) == same
    assert near_names(one, other) == near_names(other, one) == near


@pytest.mark.parametrize(
    ("one", "other", "may"),
    [
        ("bed A", "bed a", True), ("grey bed A", "gray bed A", True), ("bed A", "bed B", False),
        (None, "bed B", True), (" ", "bed B", True), (None, None, True),
    ],
)  # fmt: skip
def test_harm_counts_wherever_the_bed_may_be_the_same(
    one: str | None, other: str | None, may: bool
) -> None:
    """An unnamed bed is any bed of its stone for harm, and never one for good panels."""
    assert may_be_one_bed(one, other) == may_be_one_bed(other, one) == may


def test_a_rare_name_is_asked_about_and_the_common_one_offered() -> None:
    """One zone says "gray", two say "grey": the one is asked; another stone is no question."""
    beds = [
        ("A1", "grey granite, bed A"),
        ("A2", "gray granite, bed A"),
        ("A3", "Grey granite bed A"),
    ]
    zones = [Zone.model_validate(ZONE | {"zone": code, "bed_or_system": bed}) for code, bed in beds]
    brick = ZONE | {"zone": "B1", "substrate": "brick", "bed_or_system": "grey granit, bed A"}

    asked = list(names_to_ask_about([*zones, Zone.model_validate(brick)]))

    assert [(zone.zone, meant) for zone, meant in asked] == [("A2", "grey granite, bed A")]

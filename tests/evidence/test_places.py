"""Readings of one stone or part of a zone count as a cluster."""

from __future__ import annotations

import numpy as np
import pytest

from heritagecheck.evidence import colour
from heritagecheck.evidence.colour.colour_difference import covariance
from heritagecheck.evidence.colour.reading_sets import by_place

PLACES = ["A", "A", "A", "B", "C", "C", "D", "E", "E", "F", "F", "F"]


def readings(seed: int, mean: tuple[float, float, float]) -> np.ndarray:
    """Twelve readings around a mean."""
    return np.array(mean) + np.random.default_rng(seed).normal(size=(12, 3)) * (2, 0.4, 0.8)


def test_the_rows_carry_the_cluster_robust_error_of_the_mean():
    """Same mean; covariance of the mean is G / (G - 1) times the sum of the squared pulls / n²."""
    values = readings(1, (50, 1, 5))
    mean = values.mean(axis=0)
    pulls = [(values[[place == name for place in PLACES]] - mean).sum(axis=0) for name in "ABCDEF"]
    by_hand = 6 / 5 * sum(np.outer(pull, pull) for pull in pulls) / 12**2

    rows = by_place(values, PLACES, "lab_soiled")

    assert rows.shape == (6, 3)
    assert np.allclose(rows.mean(axis=0), mean)
    assert np.allclose(covariance(rows) / 6, by_hand)


def test_a_place_for_each_reading_changes_nothing():
    """Places of one reading each are independent readings."""
    soiled, clean = readings(1, (50, 1, 5)), readings(2, (60, 1, 4))
    names = [str(number) for number in range(12)]

    alone = colour.compare(soiled, clean)
    placed = colour.compare(soiled, clean, places_soiled=names, places_reference=names)

    assert (placed.delta_e, placed.low, placed.high) == pytest.approx(
        (alone.delta_e, alone.low, alone.high)
    )
    assert placed.dL.degrees_of_freedom == pytest.approx(alone.dL.degrees_of_freedom)


def test_readings_that_repeat_a_place_make_nothing_surer():
    """Each reading taken four times at its place: the interval stays as it was with one each."""
    soiled, clean = readings(1, (50, 1, 5)), readings(2, (60, 1, 4))
    names = [str(number) for number in range(12)]

    once = colour.compare(soiled, clean)
    four = colour.compare(np.repeat(soiled, 4, axis=0), clean, places_soiled=np.repeat(names, 4))
    believed = colour.compare(np.repeat(soiled, 4, axis=0), clean)

    assert (four.low, four.high) == pytest.approx((once.low, once.high))
    assert believed.high - believed.low < once.high - once.low
    assert four.inside_natural == once.inside_natural
    assert four.natural_variation == once.natural_variation


def test_a_caution_counts_places():
    """Twelve readings of six places are few, and the caution says of what."""
    found = colour.compare(readings(1, (50, 1, 5)), readings(2, (60, 1, 4)), places_soiled=PLACES)

    assert found.cautions[0] == "Only 6 soiled places of readings: the interval is wide."


@pytest.mark.parametrize(
    ("places", "message"),
    [
        (["north"] * 12, "come from 1 places, and readings of one place are alike"),
        (PLACES[:5], "12 readings and 5 places: name the place of each"),
    ],
)
def test_too_few_places_are_refused(places, message):
    """Readings of a quarter of the zone say nothing sure of the whole."""
    with pytest.raises(ValueError, match=message):
        colour.compare(readings(1, (50, 1, 5)), readings(2, (60, 1, 4)), places_soiled=places)


def test_pairs_lie_in_one_place():
    """Of a pair both readings are of one place."""
    soiled, clean = readings(1, (50, 1, 5)), readings(2, (60, 1, 4))

    with pytest.raises(ValueError, match="a pair lies in one place"):
        colour.compare(soiled, clean, paired=True, places_soiled=PLACES)

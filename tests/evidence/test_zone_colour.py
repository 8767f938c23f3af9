"""Colour by a meter and by a photograph: which is compared, and when one stands in."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from heritagecheck.evidence.colour.zone_colour import ZoneColour, colour_of_zone
from heritagecheck.survey.records import Photo, Reading, Zone

ZONE = {
    "zone": "Z1", "elevation": "north", "name": "A bay", "area_m2": 4, "substrate": "granite",
    "finish": "tooled", "condition": "sound", "exposure": "sheltered", "access": "ground",
    "significance": "medium", "significance_reason": "Original", "soilings": "general_soiling",
    "panels_laid": 0, "surveyed_on": "2026-05-01", "surveyed_by": "conservator",
}  # fmt: skip
PHOTO = Photo(
    photo="P1", attachment="A1", zone="Z1", state="dry",
    points="0 0 0 0; 900 0 1.8 0; 900 600 1.8 1.2; 0 600 0 1.2", taken_on="2026-05-01",
    taken_by="conservator", chart_error=1.1, error_L=1.0, error_a=0.6, error_b=0.8,
)  # fmt: skip


def reading_set(
    target: str, lab: tuple[float, float, float], count: int = 12, **other: Any
) -> list[Reading]:
    """One set of readings of zone Z1, by a meter unless the values say otherwise."""
    draws = np.random.default_rng([*target.encode(), count]).normal(0, (3, 0.6, 1.1), (count, 3))
    usual = {
        "zone": "Z1", "target": target, "state": "dry", "geometry": "SCI", "aperture_mm": 25,
        "illuminant": "D65/10", "instrument": "sphere", "read_on": "2026-05-02",
        "read_by": "conservator", "set_size": count, "set_name": f"{target} by meter",
    } | other  # fmt: skip
    return [
        Reading(
            reading=f"{usual['set_name']} {number}", L_star=L_star, a_star=a_star, b_star=b_star,
            **usual,
        )
        for number, (L_star, a_star, b_star) in enumerate((np.array(lab) + draws).round(2))
    ]  # fmt: skip


def photographed(target: str, lab: tuple[float, float, float], **other: Any) -> list[Reading]:
    """One set of squares of photograph P1."""
    by = {"geometry": "photograph", "photo": "P1", "set_name": f"{target} by photograph",
          "instrument": "camera"}  # fmt: skip
    return reading_set(target, lab, **{**by, **other})


CLEAN, NEAR, FAR = (62.0, 0.4, 4.0), (61.0, 0.5, 4.2), (35.0, 0.2, 2.0)
BY_PHOTO = [*photographed("soiled", FAR), *photographed("reference", CLEAN)]
BY_METER = [*reading_set("soiled", NEAR), *reading_set("reference", CLEAN)]
TOO_FEW = reading_set("soiled", NEAR, 3)


def zone(colour_sets: int | None) -> Zone:
    """Zone Z1, on which so many sets were taken."""
    return Zone(**ZONE, colour_sets=colour_sets)


def found(readings: list[Reading], colour_sets: int | None) -> ZoneColour:
    """Colour of zone Z1."""
    return colour_of_zone(zone(colour_sets), readings, [PHOTO])


def test_the_meter_decides_where_it_can_and_the_photograph_stands_beside_it() -> None:
    """Both are kept; the judgement rests on the meter."""
    both = found(BY_METER + BY_PHOTO, 4)

    assert both.used is both.by_meter
    assert both.by_photograph is not None
    assert both.by_photograph.delta_e > 20 > both.by_meter.high
    assert not both.stands_in


@pytest.mark.parametrize(("metered", "sets"), [([], 2), (TOO_FEW, 3)])
def test_a_photograph_stands_in_for_a_meter_that_read_too_little(
    metered: list[Reading], sets: int
) -> None:
    """Nothing read, or three readings: the photograph is used, and it says that it is one."""
    colour = found(metered + BY_PHOTO, sets)

    assert colour.used is colour.by_photograph is not None
    assert colour.note == "measured in photograph P1 (uncertainty of the chart 1.1 ΔE00)"


def test_the_error_of_the_chart_widens_the_interval() -> None:
    """The same squares by a meter without such an error lie in a narrower interval."""
    pictured = found(BY_PHOTO, 2).used
    metered = colour_of_zone(
        zone(2),
        [one.changed(geometry="SCI", photo=None, instrument="sphere") for one in BY_PHOTO],
    ).used

    assert pictured.high - pictured.low > 1.2 * (metered.high - metered.low)


@pytest.mark.parametrize(
    ("metered", "sets", "why"),
    [
        ([], None, "the zone does not say how many sets of colour readings were taken"),
        ([], 3, "3 sets of colour readings were taken, 2 recorded"),
        (TOO_FEW[1:], 3, "a set of the meter is not whole"),
    ],
)
def test_a_photograph_does_not_stand_in_where_a_record_may_be_lost(
    metered: list[Reading], sets: int | None, why: str
) -> None:
    """Else whoever lost the meter's readings would be answered by the photograph alone."""
    colour = found(metered + BY_PHOTO, sets)

    assert colour.used is None
    assert colour.note.endswith(f"its photograph does not replace it: {why}")


def test_a_photograph_does_not_stand_in_for_a_meter_that_drifted() -> None:
    """The readings are there: they are to be taken again, not set aside."""
    metered = [one.changed(session="Monday") for one in BY_METER]

    colour = colour_of_zone(zone(4), metered + BY_PHOTO, [PHOTO], {"Monday": "the tile drifted"})

    assert colour.used is None
    assert "correct what keeps them from being compared" in colour.note


def test_no_lost_reading_lets_the_photograph_speak() -> None:
    """Whichever readings go, one or several, the answer is the meter's or none."""
    for gone in [*itertools.combinations(range(0, len(BY_METER), 5), 2), tuple(range(24))]:
        left = [one for place, one in enumerate(BY_METER) if place not in gone]

        assert found(left + BY_PHOTO, 4).used is None


@pytest.mark.parametrize(
    ("readings", "why"),
    [
        (BY_PHOTO[1:], "set soiled by photograph holds 11 of 12 squares"),
        (BY_PHOTO[12:], "the photograph was not measured for soiled stone"),
        (
            [*photographed("soiled", FAR), *photographed("reference", CLEAN, photo="P2")],
            "soiled and clean stone were measured in different photographs",
        ),
        (
            [*photographed("soiled", FAR, state="wet"), *photographed("reference", CLEAN)],
            "the photograph shows too little dry soiled stone",
        ),
    ],
)
def test_a_photograph_with_gaps_is_not_compared(readings: list[Reading], why: str) -> None:
    """As with a meter: whole sets of one set-up, dry."""
    colour = found(readings, 2)

    assert (colour.by_photograph, colour.photograph_note) == (None, why)


def test_a_photograph_without_its_calibration_is_not_compared() -> None:
    """Without the error of its chart nobody knows how wide the interval must be."""
    bare = PHOTO.changed(chart_error=None, error_L=None, error_a=None, error_b=None)

    colour = colour_of_zone(zone(2), BY_PHOTO, [bare])

    assert colour.photograph_note == "the calibration of its photograph is not on record"


def placed(readings: list[Reading], places: int) -> list[Reading]:
    """The same readings, each with one of some places."""
    return [
        one.model_copy(update={"place": f"stone {number % places}" if places else None})
        for number, one in enumerate(readings)
    ]


def test_readings_of_one_place_count_as_a_cluster() -> None:
    """With their places named the interval widens; what they show, and natural spread, stay."""
    plain = found(BY_METER, None).used
    by_place = found([*placed(BY_METER[:12], 6), *placed(BY_METER[12:], 6)], None).used

    assert plain is not None
    assert by_place is not None
    assert by_place.delta_e == pytest.approx(plain.delta_e)
    assert by_place.natural_variation == plain.natural_variation
    assert len(by_place.counted_soiled) == 6
    assert len(plain.counted_soiled) == 12


def test_a_place_left_out_makes_no_reading_surer() -> None:
    """Readings whose place is missing count as one place of their own."""
    some = placed(BY_METER[:12], 6)
    some[:4] = [one.model_copy(update={"place": None}) for one in some[:4]]

    used = found([*some, *BY_METER[12:]], None).used

    assert used is not None
    assert len(used.counted_soiled) == 7


def test_readings_of_a_quarter_of_the_zone_are_not_compared() -> None:
    """Too few places give no difference, and the note says what to do."""
    seen = found([*placed(BY_METER[:12], 2), *BY_METER[12:]], None)

    assert seen.used is None
    assert "come from 2 places" in seen.note
    assert "Read at 5 places or more" in seen.note


def test_one_reading_left_out_is_one() -> None:
    """A number is followed by what is counted, one or many."""
    wet = BY_METER[0].model_copy(update={"state": "wet"})

    assert found([wet, *BY_METER[1:]], None).note == (
        "1 reading was wet, damp or not taken and is left out"
    )

"""What follows from what is known is offered with its origin, and nothing that must be seen."""

from __future__ import annotations

from datetime import date

import pytest
from filled_forms import DAY, example

from heritagecheck.errors import SurveyError
from heritagecheck.survey.entry.offers import (
    as_zone,
    day_defaults,
    reading_not_taken,
)
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.entry.typed_values import shown
from heritagecheck.survey.records import TABLES, Reading, Zone
from heritagecheck.survey.survey import Survey

MEASURING_DAY = date(2026, 9, 9)
EMPTY = Survey(dict.fromkeys(TABLES, ()))


def test_a_day_begins_with_the_meter_of_the_last_readings() -> None:
    """Meter, geometry, aperture and illuminant, with the day they come from; date and role."""
    offers = day_defaults(example(), "conservator", today=DAY)

    assert {field: offer.value for field, offer in offers.items()} == {
        "read_on": DAY, "read_by": "conservator", "instrument": "portable sphere d/8",
        "geometry": "SCI", "aperture_mm": 25, "illuminant": "D65/10",
    }  # fmt: skip
    assert offers["geometry"].taken_from == "the readings of 9 September 2026"


def test_a_session_is_offered_only_on_its_own_day() -> None:
    """The white tile of another day says nothing of today's meter."""
    assert day_defaults(example(), "conservator", today=MEASURING_DAY)["session"].value
    assert "session" not in day_defaults(example(), "conservator", today=DAY)


def test_ones_own_meter_comes_before_that_of_others() -> None:
    """Two people with two meters are each offered their own."""
    last = example().all(Reading)[-1]
    mine = last.changed(read_by="architect", instrument="other meter", geometry="45/0", photo=None)
    survey = Survey({**example().records, "readings": (mine, *example().records["readings"])})

    assert day_defaults(survey, "architect", today=DAY)["instrument"].value == "other meter"
    assert day_defaults(survey, "engineer", today=DAY)["geometry"].value in {"SCI", "45/0"}


def test_a_survey_without_readings_offers_date_and_role_only() -> None:
    """Nothing is made up."""
    assert set(day_defaults(EMPTY, "conservator", today=DAY)) == {"read_on", "read_by"}


def test_another_zone_lends_nothing_that_must_be_seen() -> None:
    """Substrate and access may be alike; condition, soilings and coatings are looked at again."""
    offers = as_zone(example(), "N06")

    assert offers["substrate"].value == "granite"
    assert {offer.taken_from for offer in offers.values()} == {"zone N06"}
    assert not offers.keys() & {
        "zone", "name", "area_m2", "condition", "soilings", "biotite_pct", "panels_laid",
        "colour_sets", "coatings", "not_tried", "surveyed_on", "surveyed_by", "note",
    }  # fmt: skip
    with pytest.raises(SurveyError, match="there is none"):
        as_zone(example(), "N99")


def test_an_offer_is_no_value_before_it_is_confirmed() -> None:
    """A form of a new zone asks for what was offered until somebody takes it over."""
    offers = as_zone(example(), "N06")
    confirmed = {"substrate": shown(offers["substrate"].value)}

    assert "substrate" in RecordForm(Zone, {}).faults()
    assert "substrate" not in RecordForm(Zone, confirmed).faults()


def test_a_reading_that_was_not_taken_asks_for_its_reason_only() -> None:
    """Meter or none, the record can be saved and holds no colour."""
    taken = reading_not_taken(example(), "N12", "soiled", "rope only", who="conservator", today=DAY)
    without = reading_not_taken(
        Survey({**example().records, "readings": ()}), "N12", "reference", "no meter",
        who="conservator", today=DAY,
    )  # fmt: skip

    assert (taken.reading, taken.set_name, taken.state) == ("N12-S02", "N12-soiled-2", None)
    assert taken.L_star is None
    assert taken.instrument == "portable sphere d/8"
    assert (without.reading, without.instrument) == ("N12-reference-01", "none")
    assert RecordForm.of(without).record() == without

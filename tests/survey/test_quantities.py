"""Quantities of a setting: each unit against its definition, each quantity with what it takes."""

from __future__ import annotations

import pytest
import scipy.constants as exact
from pydantic import ValidationError

from heritagecheck.survey.records import Panel, Setting, Spot
from heritagecheck.survey.records.quantities import (
    Scale,
    has,
    in_unit,
    terms_of,
    unit_fault,
    units_of,
)
from heritagecheck.tables import codes, keyed, rows

MINUTE, HOUR, DAY = exact.minute, exact.hour, exact.day
# One of each unit in the SI's own, by scipy.constants or by the definition of the prefix.
IN_SI = {
    "bar": exact.bar, "kPa": 1e3, "MPa": 1e6, "psi": exact.psi,
    "J/cm²": 1e4, "mJ/cm²": 10, "kJ/m²": 1e3, "mJ/mm²": 1e3,
    "fs": exact.femto, "ps": exact.pico, "ns": exact.nano, "µs": exact.micro, "ms": exact.milli,
    "s": 1, "min": MINUTE, "h": HOUR, "d": DAY, "min a day": MINUTE / DAY, "h a day": HOUR / DAY,
    "nm": exact.nano, "µm": exact.micron, "mm": exact.milli, "cm": exact.centi, "m": 1,
    "Hz": 1, "kHz": exact.kilo, "MHz": exact.mega,
    "mm/s": exact.milli, "m/s": 1, "m/min": 1 / MINUTE,
    "passes": 1, "°": 1, "Mohs": 1, "HRC": 1, "%": 1, "pH": 1,
    "L/h": exact.liter / HOUR, "L/min": exact.liter / MINUTE,
    "mL/min": exact.milli * exact.liter / MINUTE,
    "g/min": exact.gram / MINUTE, "kg/min": 1 / MINUTE, "kg/h": 1 / HOUR,
    "L/m²": exact.liter, "g/L": exact.gram / exact.liter, "kW": exact.kilo, "W": 1,
}  # fmt: skip
UNITS = {row["unit"]: row["dimension"] for row in rows("setting_units")}
PAIRS = [
    (one, other)
    for one, dimension in UNITS.items()
    for other, same in UNITS.items()
    if dimension == same and dimension != "temperature"
]


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_a_unit_is_converted_as_its_definition_says(one: str, other: str) -> None:
    """Every pair of units of one dimension, both ways, against scipy's constants."""
    assert in_unit(3.7, one, other) == pytest.approx(3.7 * IN_SI[one] / IN_SI[other], rel=1e-12)
    assert in_unit(in_unit(3.7, one, other), other, one) == pytest.approx(3.7, rel=1e-14)


@pytest.mark.parametrize("value", [-40.0, 0.0, 32.0, 212.0, 300.0])
def test_degrees_are_converted_with_their_zero(value: float) -> None:
    """Freezing and boiling, and where the two scales meet."""
    celsius = float(exact.convert_temperature(value, "Fahrenheit", "Celsius"))

    assert in_unit(value, "°F", "°C") == pytest.approx(celsius, abs=1e-9)
    assert in_unit(celsius, "°C", "°F") == pytest.approx(value, abs=1e-9)


def test_a_number_in_its_own_unit_stays_as_it_is_to_the_last_digit() -> None:
    """No rounding where nothing is converted."""
    assert all(in_unit(0.1 + 0.2, unit, unit) == 0.1 + 0.2 for unit in UNITS)


def test_units_of_different_things_are_not_converted() -> None:
    """Bar is no minute; peak is no mean, though both are written in J/cm²."""
    with pytest.raises(ValueError, match="bar is a unit of pressure, min of time"):
        in_unit(1, "bar", "min")
    with pytest.raises(ValueError, match=r"clicks is not a unit of tables/setting_units\.csv"):
        in_unit(1, "clicks", "bar")
    with pytest.raises(ValueError, match="peak_fluence in J/cm² can't be given as mean_fluence"):
        Scale("peak_fluence", "J/cm²").moved(1, Scale("mean_fluence", "J/cm²"))


def test_every_unit_has_a_quantity_and_units_of_a_quantity_are_alike() -> None:
    """A unit that no quantity takes could never be written."""
    used = {unit for quantity in codes("setting_quantities") for unit in units_of(quantity)}

    assert used == set(UNITS)
    for quantity in codes("setting_quantities"):
        assert len({UNITS[unit] for unit in units_of(quantity)}) <= 1, quantity


@pytest.mark.parametrize("quantity", codes("setting_quantities"))
def test_every_quantity_is_taken_in_each_of_its_units_and_words_and_no_others(
    quantity: str,
) -> None:
    """As a record: series, quantity, and a value in range or one of the words."""
    row = keyed("setting_quantities", "quantity")[quantity]
    shared = {"series": "S", "zone": "Z", "quantity": quantity}
    if quantity == "passes":
        with pytest.raises(
            ValidationError, match="write pulses or passes in the field passes of the panels"
        ):
            Setting(**shared, value=3, unit="passes")
        return
    for unit in units_of(quantity):
        middle = in_unit((float(row["low"]) + float(row["high"])) / 2, units_of(quantity)[0], unit)
        assert Setting(**shared, value=middle, unit=unit).told
        with pytest.raises(ValidationError, match=r"runs from .* Was a decimal point lost"):
            Setting(**shared, value=in_unit(float(row["high"]) * 1.01 + 1, units_of(quantity)[0],
                                            unit), unit=unit)  # fmt: skip
    for word in terms_of(quantity):
        assert Setting(**shared, words=word).words == word
    if "*" not in terms_of(quantity):
        with pytest.raises(ValidationError, match=r"words: for .*, (write one of|give value)"):
            Setting(**shared, words="gently")
    with pytest.raises(ValidationError, match=r"must be in one of|has no unit"):
        Setting(**shared, value=1, unit=_other_unit(quantity))


def _other_unit(quantity: str) -> str:
    """A unit that a quantity does not take."""
    return next(unit for unit in UNITS if unit not in units_of(quantity))


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"value": 3}, "unit: pressure must be in one of: bar, kPa, MPa, psi"),
        ({"value": 3, "unit": "bar", "words": "soft"}, "value: give pressure as a value with its"),
        ({}, "value: give pressure as a value with its unit, or in words"),
        ({"value": 3, "value_to": 2, "unit": "bar"}, "value_to: must be 3 or more, as value is 3"),
        ({"words": "soft"}, "words: for pressure, give value and unit"),
    ],
)
def test_a_setting_is_told_in_one_way(fields: dict[str, object], said: str) -> None:
    """A value with its unit, or a word of the list."""
    with pytest.raises(ValidationError, match=said):
        Setting(series="S", zone="Z", quantity="pressure", **fields)


def test_panels_and_spots_take_a_unit_of_their_quantity_only() -> None:
    """What is not recorded may stay empty; what contradicts may not."""
    panel = {
        "panel": "P", "zone": "Z", "series": "S", "panels_in_series": 1, "soiling": "graffiti",
        "method": "laser_ns_1064", "setting": "in words", "done_on": "2026-05-01",
        "read_on": "2026-06-01", "cleaning_low": 0.5, "cleaning_high": 0.6,
    }  # fmt: skip
    spot = {
        "spot": "1", "panel": "P", "zone": "Z", "spots_on_panel": 1, "dose": 0.5,
        "not_read_because": "rain",
    }  # fmt: skip

    assert Panel(**panel, setting_unit="J/cm²").scale == Scale(None, "J/cm²")
    assert Spot(**spot).scale == Scale(None, None)
    with pytest.raises(ValidationError, match="setting_unit: peak fluence must be in one of"):
        Panel(**panel, setting_quantity="peak_fluence", setting_unit="bar")
    with pytest.raises(ValidationError, match="cleaning_low: pH runs from 0 to 14 pH"):
        Panel(**panel | {"cleaning_low": 40, "cleaning_high": 41}, setting_quantity="ph",
              setting_unit="pH")  # fmt: skip
    with pytest.raises(ValidationError, match="dose_unit: pressure must be in one of"):
        Spot(**spot, dose_quantity="pressure", dose_unit="J/cm²")


def test_a_method_has_the_quantities_of_its_family() -> None:
    """No laser has an acid, no wash a fluence; every family has some."""
    assert has("acidic", "acid")
    assert not has("laser_ns_1064", "acid")
    assert not has("low_pressure_water", "peak_fluence")
    families = {row["family"] for row in rows("methods")}
    named = {name for row in rows("setting_quantities") for name in row["families"].split("|")}
    assert named - {"all"} == families


def test_what_is_not_known_of_a_scale_is_said() -> None:
    """Fluence asks for its basis, a length for what was measured."""
    assert Scale("pressure", "bar").doubt == ""
    assert Scale(None, "mJ/cm²").doubt == (
        "whether mJ/cm² is the peak fluence or the mean is not recorded"
    )
    assert Scale(None, "mm").doubt == "what was measured in mm is not recorded"
    assert Scale("pressure", None).doubt == "the unit of the setting is not recorded"
    assert unit_fault("medium", "mm") == "medium has no unit"

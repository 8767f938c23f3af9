"""Settings in full: every method is asked something, and only what is not told is asked again."""

import pytest

from heritagecheck.evidence import settings
from heritagecheck.tables import rows

LASER = "1.5 J/cm² peak, 10 ns, 10 Hz, spot 4 mm, dry, 8 pulses a spot, perpendicular to the wall"
ABRASIVE = "2.5 bar at the nozzle, calcite powder 50 µm, Mohs 3, 20 g/min, 45°, stand-off 100 mm"


def names(method: str, text: str) -> list[str]:
    """What is missing, by name."""
    return [asked.setting for asked in settings.missing_settings(method, text)]


def test_every_method_is_asked_something_and_every_family_is_known() -> None:
    """No method of the table goes without, and no row asks a family that does not exist."""
    families = {row["family"] for row in rows("methods")}
    asked = {family for row in rows("settings_asked") for family in row["families"].split("|")}

    assert asked == families
    assert all(settings.asked_settings(row["method"]) for row in rows("methods"))


def test_every_asked_quantity_can_be_recognised_and_stands_once_a_family() -> None:
    """A row without unit and word would ask for ever; the reason stands beside each."""
    for row in rows("settings_asked"):
        assert row["units_told_by"] or row["words_told_by"], row
        assert row["why"], row
    for family in {row["family"] for row in rows("methods")}:
        found = [
            row["setting"] for row in rows("settings_asked") if family in row["families"].split("|")
        ]
        assert len(found) == len(set(found)), family


@pytest.mark.parametrize(
    ("method", "text"), [("laser_ns_1064", LASER), ("micro_abrasive_dry", ABRASIVE)]
)
def test_a_setting_in_full_is_not_asked_again(method: str, text: str) -> None:
    """Brief section 9's lists for laser and abrasive."""
    assert names(method, text) == []


@pytest.mark.parametrize(
    ("left_out", "asked"),
    [
        (" peak", "whether the fluence is the peak or the mean"),
        ("1.5 J/cm² peak, ", "fluence of one pulse"),
        (" 10 ns,", "pulse duration"),
        (" 10 Hz,", "pulse rate"),
        (" spot 4 mm,", "spot on the wall"),
        (" dry,", "wet or dry"),
        (", perpendicular to the wall", "angle to the wall"),
    ],
)
def test_what_is_left_out_of_a_laser_setting_is_asked(left_out: str, asked: str) -> None:
    """One thing left out, that thing asked."""
    assert left_out in LASER
    assert asked in names("laser_ns_1064", LASER.replace(left_out, ""))


def test_a_temperature_is_no_angle_and_hertz_no_hours() -> None:
    """Units are read to their end: °C, kHz, mm and min are not °, h, m."""
    assert "angle to the wall" in names("micro_abrasive_dry", "2 bar, nozzle at 45 °C")
    assert "pulse rate" not in names("laser_ns_1064", "20 kHz")
    assert "dwell" in names("acidic", "5 % at 20 Hz")
    assert "dwell" not in names("acidic", "5 %, 3 min")


def test_vague_words_tell_nothing() -> None:
    """The words "low pressure" are the record the brief warns of: everything is asked."""
    asked = settings.asked_settings("low_pressure_water")

    assert settings.missing_settings("low_pressure_water", "low pressure") == asked
    assert settings.missing_settings("low_pressure_water", "") == asked


def test_a_missing_setting_prints_as_a_question_with_its_unit_and_reason() -> None:
    """It asks; it does not say that the setting is wrong."""
    (found,) = settings.missing_settings("laser_ns_1064", LASER.replace(" 10 ns,", ""))

    assert (
        str(found) == "Pulse duration [ns, ps or fs]? Nanosecond pulses melt where shorter "
        "ones do not."
    )


def test_an_unknown_method_is_refused_with_the_known_ones() -> None:
    """Both doors read the same list."""
    for ask in (settings.asked_settings, lambda method: settings.missing_settings(method, "")):
        with pytest.raises(ValueError, match=r"method = lasr: .* Known: dry_brush_vacuum"):
            ask("lasr")

"""Settings in full: every method is asked something, and only what is not told is asked again."""

import pytest

from heritagecheck.survey import settings
from heritagecheck.tables import keyed, rows

LASER = (
    "1.5 J/cm² peak, 10 ns, 10 Hz, spot 4 mm, dry, 8 pulses a spot, perpendicular, energy and spot "
    "measured at the wall"
)
ABRASIVE = "2.5 bar at the nozzle, calcite powder 50 µm, Mohs 3, 20 g/min, 45°, stand-off 100 mm"
WATER = "9 bar at the nozzle, fan 40°, 6 L/min, cold, two passes, 250 mm from the wall"
MIST = "mist at 3 bar, 2 L/min, cold, 4 min on and 12 min off for 5 days"
GEL = "gel, 5 % in water, pH 8.5, 2 h under film at 18 °C, rinsed with 10 L/m²"
POULTICE = "clay, cellulose and sand 1:1:4, layer of 20 mm, 3 weeks at 15 °C"
GRIT = (
    "6 bar at the nozzle, steel grit G40 of 50 HRC, 5 kg/min, stand-off 300 mm, 60° to the plate, "
    "to Sa 2½"
)
INDUCTION = "bond line 180 °C, back face below 80 °C, 20 kW, 15 mm/s, St 2"
IN_FULL = [
    ("laser_ns_1064", "masonry", LASER),
    ("laser_ultrashort", "masonry", LASER.replace("10 ns", "275 fs") + ", 1029 nm"),
    ("micro_abrasive_dry", "masonry", ABRASIVE),
    ("low_pressure_water", "masonry", WATER),
    ("nebulised_water", "masonry", MIST),
    ("solvent_gel_stripper", "masonry", GEL),
    ("desalination_poultice", "masonry", POULTICE),
    ("dry_grit_blast", "metal", GRIT),
    ("induction", "metal", INDUCTION),
    ("power_tools_shrouded", "metal", "needle gun, 3 passes, SP 11"),
    ("hand_tools", "masonry", "scalpel, 20 min"),
]


def names(method: str, kind: str, text: str) -> list[str]:
    """What is missing, by name."""
    return [asked.setting for asked in settings.missing_settings(method, kind, text)]


def test_every_method_is_asked_something_and_every_name_is_a_method_or_family() -> None:
    """No method of the table goes without, and no row asks what does not exist."""
    known = {row[column] for row in rows("methods") for column in ("method", "family")}

    assert {name for row in rows("settings_asked") for name in row["asked_of"].split("|")} <= known
    for row in rows("methods"):
        assert settings.asked_settings(row["method"], "masonry"), row["method"]


def test_every_asked_quantity_can_be_recognised_and_stands_once_a_method() -> None:
    """A row that nothing tells would ask for ever; the reason stands beside each."""
    for row in rows("settings_asked"):
        assert row["told_by"], row
        assert row["why"], row
        assert row["kind"] in {"all", "metal"}, row
    for method in keyed("methods", "method"):
        found = [asked.setting for asked in settings.asked_settings(method, "metal")]
        assert len(found) == len(set(found)), method


@pytest.mark.parametrize(
    ("method", "asked"),
    [
        ("laser_ns_1064", {"fluence", "spot", "pulse duration", "pulse rate", "pulses per spot",
                           "wet or dry", "angle"}),
        ("laser_ultrashort", {"wavelength"}),
        ("micro_abrasive_dry", {"pressure", "at the nozzle", "medium", "hardness", "grain size",
                                "flow", "distance", "angle"}),
        ("low_pressure_water", {"pressure", "flow", "fan", "temperature", "dwell"}),
        ("acidic", {"concentration", "pH", "dwell", "temperature", "rinse"}),
    ],
)  # fmt: skip
def test_all_that_section_9_of_the_brief_lists_is_asked(method: str, asked: set[str]) -> None:
    """Its list for laser, abrasive, water and chemical; the wavelength where no code names it."""
    said = " ".join(one.setting for one in settings.asked_settings(method, "masonry"))

    assert {one for one in asked if one not in said} == set()


@pytest.mark.parametrize(("method", "kind", "text"), IN_FULL)
def test_a_setting_in_full_is_not_asked_again(method: str, kind: str, text: str) -> None:
    """Ordinary ways to write all of it down."""
    assert names(method, kind, text) == []


@pytest.mark.parametrize(
    ("left_out", "asked"),
    [
        (" peak", "whether the fluence is the peak or the mean"),
        ("1.5 J/cm² peak, ", "fluence of one pulse"),
        (" 10 ns,", "pulse duration"),
        (" 10 Hz,", "pulse rate"),
        (" spot 4 mm,", "spot on the wall"),
        (" dry,", "wet or dry"),
        (" 8 pulses a spot,", "pulses per spot, or speed, hatch and passes"),
        (", perpendicular", "angle to the wall"),
    ],
)
def test_what_is_left_out_of_a_laser_setting_is_asked(left_out: str, asked: str) -> None:
    """One thing left out, that thing asked."""
    assert left_out in LASER
    assert asked in names("laser_ns_1064", "masonry", LASER.replace(left_out, ""))


@pytest.mark.parametrize(
    ("method", "text", "asked"),
    [
        ("laser_ns_1064", "spot at 300 mm from the lens", "spot on the wall"),
        ("laser_ns_1064", "hatch 0.1 mm", "spot on the wall"),
        ("laser_ns_1064", "mean power 20 W", "whether the fluence is the peak or the mean"),
        ("laser_ns_1064", "10 pulses per second", "pulses per spot, or speed, hatch and passes"),
        ("laser_ns_1064", "in a 10 cm square", "angle to the wall"),
        ("micro_abrasive_dry", "nozzle of 8 mm", "distance of the nozzle"),
        ("micro_abrasive_dry", "2 bar, nozzle at 45 °C", "angle to the wall"),
        ("micro_abrasive_dry", "compressor at 45 ° C", "angle to the wall"),
        ("micro_abrasive_dry", "to a profile of 50 µm", "grain size of the medium"),
        ("micro_abrasive_dry", "fine powder", "medium"),
        ("micro_abrasive_dry", "glass masked", "medium"),
        ("micro_abrasive_dry", "pressure not read at the nozzle but at the compressor, 4 bar",
         "that the pressure was read at the nozzle"),
        ("low_pressure_water", "fan tip", "nozzle: fan with its angle, pencil jet or rotary"),
        ("low_pressure_water", "wall at 18 °C", "temperature of the water"),
        ("low_pressure_water", "6 L/min", "dwell or passes"),
        ("acidic", "rinsed for 5 min to pH 7", "dwell"),
        ("acidic", "rinsed for 5 min to pH 7", "pH"),
        ("acidic", "rinsed", "rinse, how much or to what end"),
        ("acidic", "80 % RH", "product and concentration"),
        ("acidic", "5 % at 20 Hz", "dwell"),
        ("acidic", "pH not measured after 2 h", "pH"),
        ("acidic", "pH 4?", "pH"),
        ("solvent_gel_stripper", "neutral gel", "pH"),
        ("induction", "back face 80 °C", "temperature at the surface"),
    ],
)  # fmt: skip
def test_words_and_units_of_another_thing_tell_nothing(method: str, text: str, asked: str) -> None:
    """The same unit or word stands in settings for much else; doubt is told as doubt."""
    assert asked in names(method, "masonry", text)


@pytest.mark.parametrize(
    ("method", "text", "told"),
    [
        ("laser_ns_1064", "0.5 J/cm2", "fluence of one pulse"),
        ("laser_ns_1064", "4 to 6 mm spot", "spot on the wall"),
        ("laser_ns_1064", "Ø 4 mm", "spot on the wall"),
        ("laser_ns_1064", "20 kHz", "pulse rate"),
        ("micro_abrasive_dry", "2,5 bar", "pressure"),
        ("micro_abrasive_dry", "27 um", "grain size of the medium"),
        ("micro_abrasive_dry", "garnet (stand-off about 10 cm)", "distance of the nozzle"),
        ("micro_abrasive_dry", "60 ± 5°", "angle to the wall"),
        ("low_pressure_water", "three passes", "dwell or passes"),
        ("acidic", "diluted 1:10", "product and concentration"),
        ("acidic", "no rinse", "rinse, how much or to what end"),
        ("acidic", "5 %, 3 min", "dwell"),
    ],
)
def test_ways_to_write_a_quantity_are_recognised(method: str, text: str, told: str) -> None:
    """Decimal commas, ranges, numbers in words, ² or 2, µ or u."""
    assert told in [one.setting for one in settings.asked_settings(method, "masonry")]
    assert told not in names(method, "masonry", text)


def test_only_on_metal_is_a_preparation_grade_asked() -> None:
    """Stone has none; on steel nobody can say whether it was reached unless it is named."""
    assert "preparation grade aimed at" not in names("laser_ns_1064", "masonry", "")
    assert "preparation grade aimed at" in names("laser_ns_1064", "metal", LASER)


def test_vague_words_tell_nothing() -> None:
    """The words "low pressure" are the record the brief warns of: everything is asked."""
    asked = settings.asked_settings("low_pressure_water", "masonry")

    assert settings.missing_settings("low_pressure_water", "masonry", "low pressure") == asked
    assert settings.missing_settings("low_pressure_water", "masonry", "") == asked


def test_a_missing_setting_prints_as_a_question_with_its_unit_and_reason() -> None:
    """It asks; it does not say that the setting is wrong."""
    text = LASER.replace(" 10 ns,", "")
    (found,) = settings.missing_settings("laser_ns_1064", "masonry", text)

    assert (
        str(found) == "Pulse duration [ns, ps or fs]? Nanosecond pulses melt where shorter "
        "ones do not."
    )


def test_an_unknown_method_or_kind_is_refused_with_what_is_known() -> None:
    """Both doors read the same lists."""
    for ask in (
        settings.asked_settings,
        lambda method, kind: settings.missing_settings(method, kind, ""),
    ):
        with pytest.raises(ValueError, match=r"method = lasr: .* Known: dry_brush_vacuum"):
            ask("lasr", "masonry")
        with pytest.raises(ValueError, match="kind = wood: what is cleaned is masonry or metal"):
            ask("acidic", "wood")

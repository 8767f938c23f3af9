"""Settings in full: every method is asked something, and only what is not told is asked again."""

import pytest

from heritagecheck.survey.checks import series_setting
from heritagecheck.survey.records import Panel, Setting, Spot
from heritagecheck.survey.records.quantities import has, terms_of
from heritagecheck.tables import codes, keyed, rows

# What fields of panels and spots tell, beside the rows of settings.
FIELDS = {"passes", "wetted"}


def names(method: str, kind: str, told: set[str]) -> list[str]:
    """What is missing, by name."""
    return [asked.setting for asked in series_setting.missing_settings(method, kind, told)]


def test_every_method_is_asked_something_and_every_name_is_a_method_or_family() -> None:
    """No method of the table goes without, and no row asks what does not exist."""
    known = {row[column] for row in rows("methods") for column in ("method", "family")}

    assert {name for row in rows("settings_asked") for name in row["asked_of"].split("|")} <= known
    for row in rows("methods"):
        assert series_setting.missing_settings(row["method"], "masonry", ()), row["method"]


def test_every_asked_quantity_can_be_told_and_stands_once_a_method() -> None:
    """A row that nothing tells would ask for ever; the reason stands beside each."""
    for row in rows("settings_asked"):
        for told in row["told_by"].split("|"):
            quantity, _, word = told.partition("=")
            assert quantity in FIELDS | set(codes("setting_quantities")), row
            assert not word or word in terms_of(quantity), row
        assert row["why"], row
        assert row["kind"] in {"all", "metal"}, row
    for method in keyed("methods", "method"):
        found = [asked.setting for asked in series_setting.missing_settings(method, "metal", ())]
        assert len(found) == len(set(found)), method


def test_a_method_is_asked_only_what_it_has() -> None:
    """Whatever is asked of a method may be recorded for it."""
    for row in rows("methods"):
        for asked in rows("settings_asked"):
            if {row["method"], row["family"]} & set(asked["asked_of"].split("|")):
                told = {one.partition("=")[0] for one in asked["told_by"].split("|")}
                assert any(one in FIELDS or has(row["method"], one) for one in told), (row, asked)


def test_what_decides_about_a_method_is_asked_of_it() -> None:
    """Gate 7 waits for no quantity that nobody asks for."""
    for limit in rows("setting_limits"):
        for method in keyed("methods", "method").values():
            if {method["method"], method["family"]} & set(limit["limit_of"].split("|")):
                asked = {
                    told.partition("=")[0]
                    for row in rows("settings_asked")
                    if {method["method"], method["family"]} & set(row["asked_of"].split("|"))
                    for told in row["told_by"].split("|")
                }
                assert limit["quantity"] in asked, (limit, method["method"])


@pytest.mark.parametrize(
    ("method", "asked"),
    [
        ("laser_ns_1064", {"fluence", "spot", "pulse duration", "pulse rate", "pulses per spot",
                           "wet or dry", "angle"}),
        ("laser_ultrashort", {"wavelength"}),
        ("micro_abrasive_dry", {"pressure", "at the nozzle", "medium", "hardness", "grain size",
                                "flow", "distance", "angle"}),
        ("low_pressure_water", {"pressure", "flow", "fan", "temperature", "dwell"}),
        ("acidic", {"concentration", "pH", "dwell", "temperature", "rinse", "acid"}),
    ],
)  # fmt: skip
def test_all_that_section_9_of_the_brief_lists_is_asked(method: str, asked: set[str]) -> None:
    """Its list for laser, abrasive, water and chemical; the wavelength where no code names it."""
    said = " ".join(one.setting for one in series_setting.missing_settings(method, "masonry", ()))

    assert {one for one in asked if one not in said} == set()


@pytest.mark.parametrize("kind", ["masonry", "metal"])
@pytest.mark.parametrize("method", codes("methods"))
def test_one_thing_left_out_is_asked_and_nothing_else(method: str, kind: str) -> None:
    """Every asked quantity of every method, one at a time."""
    named = {method, keyed("methods", "method")[method]["family"]}
    asked = [
        row
        for row in rows("settings_asked")
        if row["kind"] in {"all", kind} and named & set(row["asked_of"].split("|"))
    ]
    every = {told for row in asked for told in row["told_by"].split("|")}

    assert names(method, kind, every) == []
    for row in asked:
        gone = set(row["told_by"].split("|"))
        without = [
            one["setting"] for one in asked if not (every - gone) & set(one["told_by"].split("|"))
        ]
        assert row["setting"] in without
        assert names(method, kind, every - gone) == without


def test_only_on_metal_is_a_preparation_grade_asked() -> None:
    """Stone has none; on steel nobody can say whether it was reached unless it is named."""
    assert "preparation grade aimed at" not in names("laser_ns_1064", "masonry", set())
    assert "preparation grade aimed at" in names("laser_ns_1064", "metal", set())


def test_pressure_read_at_the_pump_is_asked_again() -> None:
    """It is told, and still nobody knows what arrives at the nozzle."""
    told = {"pressure_read_at", "pressure_read_at=pump"}

    assert "that the pressure was read at the nozzle" in names(
        "micro_abrasive_dry", "masonry", told
    )


def test_a_record_tells_what_stands_in_its_fields_and_nothing_by_its_words() -> None:
    """Rows of settings, the quantity varied, the doses of spots, passes and wetting."""
    panel = Panel(
        panel="P", zone="Z", series="S", panels_in_series=1, soiling="graffiti",
        method="laser_ns_1064", setting="10 ns, 10 Hz, 1064 nm, spot 4 mm", done_on="2026-05-01",
        read_on="2026-06-01", passes=8, cleaning_low=1, cleaning_high=1,
        setting_quantity="peak_fluence", setting_unit="J/cm²",
    )  # fmt: skip
    spot = Spot(
        spot="1", panel="P", zone="Z", spots_on_panel=1, dose=3, dose_quantity="mean_fluence",
        dose_unit="J/cm²", not_read_because="rain",
    )  # fmt: skip
    dialled = Setting(series="S", zone="Z", quantity="measured_at", words="wall")

    assert series_setting.recorded_quantities([panel], [spot], [dialled]) == {
        "peak_fluence", "mean_fluence", "passes", "measured_at", "measured_at=wall",
    }  # fmt: skip


def test_a_missing_setting_prints_as_a_question_with_its_unit_and_reason() -> None:
    """It asks; it does not say that the setting is wrong."""
    [found] = [
        one
        for one in series_setting.missing_settings("laser_ns_1064", "masonry", set())
        if one.setting == "pulse duration"
    ]

    assert (
        str(found) == "Pulse duration [ns, ps or fs]? Nanosecond pulses melt where shorter "
        "ones do not."
    )


def test_an_unknown_method_or_kind_is_refused_with_what_is_known() -> None:
    """A slip in either names what may be written there."""
    with pytest.raises(ValueError, match=r"method = lasr: .* Known: dry_brush_vacuum"):
        series_setting.missing_settings("lasr", "masonry", ())
    with pytest.raises(ValueError, match="kind = wood: what is cleaned is masonry or metal"):
        series_setting.missing_settings("acidic", "wood", ())

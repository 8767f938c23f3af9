"""What a person types into a field: read as meant, or refused in one sentence with an example."""

from __future__ import annotations

from datetime import date

import pytest

from heritagecheck.survey.entry.typed_values import (
    NotTakenError,
    read_typed,
    shown,
    understood,
    unit_for,
)
from heritagecheck.survey.records import (
    AgreedPolicy,
    Layer,
    Observation,
    Panel,
    Reading,
    Setting,
    SiteTest,
    Spot,
    Zone,
)

THICKNESS = "write a number from 0 to 500 mm, such as 12.5"
A_DATE = "such as 2026-11-30."


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12,5", 12.5), ("12.5", 12.5), (" 12.5 ", 12.5), (".5", 0.5), ("5.", 5), ("1e2", 100),
        ("+3", 3), ("3 mm", 3), ("3mm", 3), ("3 mm.", 3), ("１２，５", 12.5), ("१२", 12),
        ("-0", 0), ("−0,0", 0), ("1,234", 1.234), ("0,125", 0.125), ("", None), ("   ", None),
    ],
)  # fmt: skip
def test_numbers_are_read_as_a_person_writes_them(text: str, value: float | None) -> None:
    """Comma or point, the field's own unit, digits of any keyboard; nothing where none was typed.

    1,234 is no thousand here, because no layer is that thick.
    """
    assert read_typed(Layer, "thickness_mm", text) == value


@pytest.mark.parametrize("minus", ["-", "−", "–", "—", "‐", "－", "﹣"])
def test_any_minus_sign_is_one(minus: str) -> None:
    """What a tablet makes of a minus sign is still one."""
    assert read_typed(Reading, "b_star", f"{minus}3,25") == -3.25


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("1.234,5", f"“1.234,5” has more than one comma or point; {THICKNESS}."),
        ("1,234.5", f"“1,234.5” has more than one comma or point; {THICKNESS}."),
        ("3 cm", f"“cm” does not fit, as this field is in mm; {THICKNESS}."),
        ("3 MM", f"“MM” does not fit, as this field is in mm; {THICKNESS}."),
        ("1 234", f"“1 234” has a blank within the number; {THICKNESS}."),
        ("12 .5", f"“12 .5” has a blank within the number; {THICKNESS}."),
        ("-1", f"“-1” is too low; {THICKNESS}."),
        ("501", f"“501” is too high; {THICKNESS}. Was a decimal point lost?"),
        ("1e999", f"“1e999” is too high; {THICKNESS}. Was a decimal point lost?"),
        ("<5", f"“<5” is not a number; {THICKNESS}."),
        ("3²", f"“²” does not fit, as this field is in mm; {THICKNESS}."),
        ("½", f"“½” is not a number; {THICKNESS}."),
        ("😀", f"“😀” is not a number; {THICKNESS}."),
        ("nan", f"“nan” is not a number; {THICKNESS}."),
        ("1\n2\n3", f"Several values were pasted here; {THICKNESS}."),
        ("x" * 40, f"“{'x' * 30}…” is not a number; {THICKNESS}."),
    ],
)
def test_what_is_no_number_is_refused_with_an_example(text: str, sentence: str) -> None:
    """The sentence says what is wrong, what is allowed, and gives an example."""
    with pytest.raises(NotTakenError) as told:
        read_typed(Layer, "thickness_mm", text)

    assert str(told.value) == sentence


@pytest.mark.parametrize(
    "text", ["1" * 3_000_000, "." * 3_000_000, "a b " * 1_000_000, "-" * 3_000_000]
)
@pytest.mark.parametrize("field", ["thickness_mm", "soiling"])
def test_megabytes_are_refused_in_a_sentence(field: str, text: str) -> None:
    """A whole document pasted into a field ends in a short sentence."""
    with pytest.raises(NotTakenError) as told:
        read_typed(Layer, field, text)

    assert str(told.value).startswith("Several values were pasted here; ")
    assert len(str(told.value)) < 150


def test_a_comma_that_may_part_thousands_is_asked_about() -> None:
    """Where both meanings are possible, neither is taken."""
    with pytest.raises(NotTakenError, match=r"may be 1\.234 or 1234; write it as one of these two"):
        read_typed(Zone, "area_m2", "1,234")
    with pytest.raises(NotTakenError, match=r"may be 2\.000 or 2000"):
        read_typed(Reading, "set_size", "2,000")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("2.5", "“2.5” is not a whole number; write a whole number from 0 to 1000, such as 12."),
        ("1001", "too high; write a whole number from 0 to 1000"),
    ],
)
def test_a_count_is_whole(text: str, why: str) -> None:
    """2,0 is two; 2.5 panels there are not."""
    assert read_typed(Zone, "panels_laid", "2,0") == 2
    assert isinstance(read_typed(Zone, "panels_laid", "2,0"), int)
    with pytest.raises(NotTakenError, match=why):
        read_typed(Zone, "panels_laid", text)


def test_units_are_those_of_the_field_or_of_what_was_chosen_beside_it() -> None:
    """A unit may be typed behind the number; another unit is refused, never converted."""
    xrf = {"quantity": "lead_xrf_mg_cm2"}

    assert read_typed(Layer, "cover_pct", "40 %") == 40
    assert read_typed(Zone, "area_m2", "3 m2") == 3
    assert read_typed(Panel, "required_profile_low_um", "50 um") == 50
    assert read_typed(SiteTest, "value", "0,6 mg/cm2", beside=xrf) == 0.6
    assert read_typed(Spot, "dose", "3 bar", beside={"dose_unit": "bar"}) == 3
    assert unit_for(Setting, "value", {"unit": "L/min"}) == "L/min"
    assert unit_for(Panel, "damage_low") == ""
    with pytest.raises(NotTakenError, match="“µg/cm²” does not fit, as this field is in mg/cm²"):
        read_typed(SiteTest, "value", "600 µg/cm²", beside=xrf)
    with pytest.raises(NotTakenError, match="“mPa” does not fit, as this field is in MPa"):
        read_typed(Panel, "required_adhesion_mpa", "5 mPa")
    with pytest.raises(NotTakenError, match="“%” does not fit, as this field has no unit"):
        read_typed(AgreedPolicy, "alpha", "10 %")
    with pytest.raises(NotTakenError, match="too high; write a number from 0 to 100 mg/cm²"):
        read_typed(SiteTest, "value", "600", beside=xrf)


@pytest.mark.parametrize(
    "text",
    ["2026-11-30", "30.11.2026", "30/11/2026", "30-11-2026", "11/30/2026", "30 November 2026",
     "30. Nov 2026", "Nov 30, 2026", "３０.１１.２０２６", " today ", "Today"],
)  # fmt: skip
def test_dates_are_read_as_a_person_writes_them(text: str) -> None:
    """Any order that can mean one day only, and the word today."""
    day = date(2026, 11, 30)

    assert read_typed(Zone, "surveyed_on", text, today=day) == day
    assert understood(Zone, "surveyed_on", text, today=day) == "30 November 2026"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("3/11/2026", "“3/11/2026” may be two days: 2026-03-11 or 2026-11-03? Write it "
         "year-month-day, as one of these two."),
        ("31.4.2026", f"31 April 2026 does not exist; write another date, {A_DATE}"),
        ("2026-02-30", f"30 February 2026 does not exist; write another date, {A_DATE}"),
        ("30.11.26", f"“30.11.26” is not a date; write one {A_DATE}"),
        ("soon", f"“soon” is not a date; write one {A_DATE}"),
        ("😀", f"“😀” is not a date; write one {A_DATE}"),
    ],
)  # fmt: skip
def test_what_is_no_one_day_is_refused(text: str, sentence: str) -> None:
    """A day that may be two, or none, is never guessed."""
    with pytest.raises(NotTakenError) as told:
        read_typed(Zone, "surveyed_on", text)

    assert str(told.value) == sentence


def test_terms_are_read_by_label_or_code_and_slips_are_asked_about() -> None:
    """A slip is never taken for the term; the sentence offers it."""
    assert read_typed(Zone, "substrate", "Weathered granite") == "granite_weathered"
    assert read_typed(Zone, "substrate", "granite_weathered") == "granite_weathered"
    assert understood(Zone, "substrate", "granite_weathered") == "weathered granite"
    with pytest.raises(
        NotTakenError, match=r"“grannite” is not in this list\. Did you mean granite"
    ):
        read_typed(Zone, "substrate", "grannite")
    with pytest.raises(NotTakenError, match=r"not in this list; choose one of: dry, damp, wet\."):
        read_typed(Reading, "state", "😀")


def test_a_capital_letter_of_a_unit_counts() -> None:
    """The units mPa and m/s are asked about, not taken for MPa and ms."""
    pressure, duration = {"quantity": "pressure"}, {"quantity": "pulse_duration"}

    assert read_typed(Setting, "unit", "MPa", beside=pressure) == "MPa"
    with pytest.raises(NotTakenError, match=r"“mPa” is not in this list\. Did you mean MPa"):
        read_typed(Setting, "unit", "mPa", beside=pressure)
    with pytest.raises(NotTakenError, match="“NS” is not in this list"):
        read_typed(Setting, "unit", "NS", beside=duration)


def test_answers_are_those_of_the_question() -> None:
    """The same word is an answer to one question and none to another."""
    assert read_typed(Observation, "finding", "slow", beside={"topic": "decay"}) == "slow"
    with pytest.raises(NotTakenError, match="choose one of: no, yes"):
        read_typed(Observation, "finding", "slow", beside={"topic": "detail_hidden"})


def test_lists_are_read_part_by_part() -> None:
    """Several soilings, and methods with their reasons, by their labels; codes stay as written."""
    assert (
        read_typed(Zone, "soilings", "Black crust; lead paint;") == "black_gypsum_crust; lead_paint"
    )
    assert read_typed(Zone, "soilings", "algae;film") == "algae;film"
    assert understood(Zone, "soilings", "black_gypsum_crust;film") == "black crust; film"
    not_tried = read_typed(Zone, "not_tried", "Dry-ice blasting: no supplier")
    assert not_tried == "dry_ice: no supplier"
    with pytest.raises(
        NotTakenError, match=r"“lead pant” is not in this list\. Did you mean lead p"
    ):
        read_typed(Zone, "soilings", "black crust; lead pant")


def test_a_choice_of_numbers_is_a_number() -> None:
    """The power of the sum is taken as the record holds it."""
    assert read_typed(AgreedPolicy, "power", "2") == 2
    assert isinstance(read_typed(AgreedPolicy, "power", "2"), int)


@pytest.mark.parametrize("value", [12.5, 12.0, -0.001, 1e-7, 1e22, 64.53999999999999, 0.1 + 0.2])
def test_a_number_that_is_shown_is_read_as_the_same(value: float) -> None:
    """Whoever opens a form and saves it unchanged changes nothing, not by the last digit."""
    setting = {"quantity": "pulse_energy"}

    assert read_typed(Setting, "value", shown(value), beside=setting) == value


def test_the_echo_says_what_was_understood() -> None:
    """A number with its unit, a text as it is; nothing for nothing, and for what is half typed."""
    assert understood(Layer, "thickness_mm", "12,50") == "12.5 mm"
    assert understood(Zone, "panels_laid", "3") == "3"
    assert understood(Zone, "name", "  Plinth, left ") == "Plinth, left"
    assert understood(Layer, "thickness_mm", "") == ""
    assert understood(Layer, "thickness_mm", "-") == ""

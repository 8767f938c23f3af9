"""Readings from meters' files: by the spectrum, checked, asking for what no one said."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import colour_cxf
import pytest

from heritagecheck.errors import SurveyError
from heritagecheck.evidence.colour.meter_readings import readings_from
from heritagecheck.evidence.colour.spectra import lab_of_munsell
from heritagecheck.survey.instruments import read_meter_file
from heritagecheck.survey.instruments.meter_file import Measured, MeterColour, MeterFile

FILES = Path(__file__).parents[1] / "survey" / "instrument_files"
SAMPLE = Path(colour_cxf.__file__).parent / "tests" / "resources" / "sample.cxf"
NM = tuple(float(nm) for nm in range(400, 701, 10))
WHO = {
    "zone": "N09", "set_name": "N09-soiled", "target": "soiled", "state": "dry",
    "read_by": "conservator", "instrument": "spectrophotometer",
}  # fmt: skip
REST = {"geometry": "SCI", "aperture_mm": 8.0, "read_on": date(2026, 5, 13)}
# 116 · 0.2^(1/3) − 16, by hand from ISO/CIE 11664-4; a grey has no a* and b* under any light.
GREY = 51.84
D65 = MeterColour((61.5, 0.4, 7.1), "D65", 10)


def meter(*measured: Measured) -> MeterFile:
    """A file of a meter."""
    return MeterFile("meter.txt", "0" * 64, "CGATS.17", measured)


def grey(*colours: MeterColour) -> Measured:
    """A surface that reflects a fifth of every wavelength."""
    return Measured("grey", 2, colours, NM, (0.2,) * len(NM))


@pytest.mark.parametrize("light", ["D65/10", "D65/2", "D50/2", "C/2"])
def test_a_spectrum_answers_any_light(light: str) -> None:
    """L* of a grey that reflects a fifth, by hand, under each light that readings are kept for."""
    (reading,) = readings_from(meter(grey()), **WHO, **REST, illuminant=light)

    assert reading.illuminant == light
    assert reading.L_star == pytest.approx(GREY, abs=0.005)
    assert (reading.a_star, reading.b_star) == pytest.approx((0, 0), abs=0.005)


def test_readings_carry_what_file_and_caller_say() -> None:
    """Codes count up, the set knows its size, and the rest comes from where it was said."""
    found = read_meter_file(FILES / "meter.csv", mapping=FILES / "meter.toml")
    readings = readings_from(found, **WHO, session="S1", file="meter.csv", prefix="R")

    assert [one.reading for one in readings] == ["R-01", "R-02", "R-03"]
    last = readings[-1]
    assert (last.L_star, last.a_star, last.b_star) == (62, 0.5, 7)
    assert (last.set_name, last.set_size, last.session, last.file) == (
        "N09-soiled", 3, "S1", "meter.csv",
    )  # fmt: skip
    assert (last.illuminant, last.geometry, last.aperture_mm) == ("D65/10", "SCI", 8)
    assert (last.read_on, last.state, last.panel) == (date(2026, 5, 13), "dry", None)


def test_codes_follow_the_set_unless_told() -> None:
    """Without a prefix the readings bear the name of their set."""
    (reading,) = readings_from(meter(Measured("a", 2, (D65,))), **WHO, **REST)

    assert reading.reading == "N09-soiled-01"


@pytest.mark.parametrize("missing", ["geometry", "aperture_mm", "read_on"])
def test_what_neither_says_is_asked_for_by_name(missing: str) -> None:
    """Nothing is assumed: geometry, aperture and day are asked for, with a sample that lacks it."""
    rest = {name: value for name, value in REST.items() if name != missing}

    with pytest.raises(ValueError, match=rf'1 of 1 measurements, such as "a"\. Give {missing}='):
        readings_from(meter(Measured("a", 2, (D65,))), **WHO, **rest)


@pytest.mark.parametrize(
    ("measured", "said"),
    [
        (grey(), r"holds spectra alone\. Give illuminant=, one of D65/10, D65/2, D50/2, C/2"),
        (Measured("a", 2, (MeterColour((61, 0, 7), "D65"),)), r"does not say illuminant and obs"),
        (Measured("a", 2, (D65, replace(D65, illuminant="D50"))),
         r"for D50/10 and D65/10\. Give illuminant=, the one you want"),
        (Measured("a", 2, (replace(D65, illuminant="A"),)), r'"A/10" is not one that readings are'),
    ],
)  # fmt: skip
def test_an_open_light_is_asked_for(measured: Measured, said: str) -> None:
    """Spectra alone, a light half told, or several: the caller must say which."""
    with pytest.raises(ValueError, match=said):
        readings_from(meter(measured), **WHO, **REST)


@pytest.mark.parametrize(
    ("measured", "given", "said"),
    [
        (Measured("a", 2, (D65,), geometry="SCE"), {}, r"geometry = SCE for .* geometry = SCI"),
        (Measured("a", 2, (D65,), geometry="30/0"), {}, r"geometry = 30/0"),
        (Measured("a", 2, (D65,), aperture_mm=4), {}, r"aperture_mm = 4 for .* aperture_mm = 8"),
        (Measured("a", 2, (D65,), measured_on=date(2026, 5, 12)), {},
         r"read_on = 2026-05-12 for .* read_on = 2026-05-13 was given"),
        (Measured("a", 2, (D65,)), {"illuminant": "D50/2"},
         r'for D65/10 at "a", but illuminant = "D50/2" is required\. Without a spectrum'),
        (Measured("a", 2, (D65,)), {"illuminant": "D50"}, r'"D50" is not one that readings'),
    ],
)  # fmt: skip
def test_a_contradiction_names_both_sides(
    measured: Measured, given: dict[str, str], said: str
) -> None:
    """What the file says and what was given differ: both are named and nothing is chosen."""
    with pytest.raises(ValueError, match=said):
        readings_from(meter(measured), **WHO, **REST, **given)


def test_a_light_half_told_is_filled_by_the_caller() -> None:
    """L*, a*, b* without an observer are taken for the light that the caller says."""
    half = meter(Measured("a", 2, (MeterColour((61.5, 0.4, 7.1), "D65"),)))
    (reading,) = readings_from(half, **WHO, **REST, illuminant="D65/2")

    assert (reading.L_star, reading.illuminant) == (61.5, "D65/2")
    with pytest.raises(ValueError, match="an illuminant it does not say at"):
        readings_from(half, **WHO, **REST, illuminant="C/2")


def test_measurements_of_two_geometries_make_no_one_set() -> None:
    """SCI and SCE in one file are parted before they are read."""
    both = meter(Measured("a", 1, (D65,), geometry="SCI"), Measured("a", 1, (D65,), geometry="SCE"))
    rest = {**REST, "geometry": None}
    with pytest.raises(ValueError, match=r"geometry = SCE and SCI.*meter_file\.picked"):
        readings_from(both, **WHO, **rest)

    (reading,) = readings_from(both.picked(geometry="SCE"), **WHO, **rest)
    assert (reading.geometry, reading.set_size) == ("SCE", 1)


def test_the_two_ways_of_45_and_0_are_one() -> None:
    """ISO 13655:2017 takes 45:0 and 0:45 alike, and readings have one word for both."""
    turned = meter(Measured("a", 2, (D65,), geometry="0/45"))
    (reading,) = readings_from(turned, **WHO, **{**REST, "geometry": "45/0"})

    assert reading.geometry == "45/0"


def test_a_spectrum_and_its_lab_must_agree() -> None:
    """A tenth is rounding; more is a file that contradicts itself, and the sample is named."""
    near = grey(MeterColour((GREY + 0.09, 0.0, 0.0), "D65", 10))
    far = grey(MeterColour((GREY + 0.2, 0.0, 0.0), "D65", 10))

    (reading,) = readings_from(meter(near), **WHO, **REST)
    assert reading.L_star == pytest.approx(GREY, abs=0.005)
    with pytest.raises(
        SurveyError, match=r'(?s)Nothing was taken.*row 2: L\*, a\*, b\* of "grey" = 52.04.*0.20 ΔE'
    ) as caught:
        readings_from(meter(far, far), **WHO, **REST)
    assert len(caught.value.faults) == 2
    assert len(readings_from(meter(far), **WHO, **REST, agree_delta_e=0.3)) == 1


def test_a_lab_for_another_light_is_not_held_against_the_spectrum() -> None:
    """A spectrum gives D65/10; that the file's D50/2 differs from it is no fault."""
    other = grey(MeterColour((10.0, 0.0, 0.0), "D50", 2))
    (reading,) = readings_from(meter(other), **WHO, **REST, illuminant="D65/10")

    assert reading.L_star == pytest.approx(GREY, abs=0.005)


def test_a_spectrum_that_can_not_be_is_a_fault_of_its_sample() -> None:
    """Steps that are none, or reflectance below 0: named, not passed over for the file's L*."""
    odd = replace(grey(D65), wavelengths_nm=(*NM[:-1], 705.0))
    dark = replace(grey(D65), reflectance=(-0.2,) * len(NM))

    with pytest.raises(SurveyError, match=r"(?s)equal steps.*negative or not finite") as caught:
        readings_from(meter(odd, dark), **WHO, **REST)
    assert len(caught.value.faults) == 2


def test_a_real_file_whose_spectra_end_early_gives_its_own_lab() -> None:
    """colour-cxf's sample ends at 680 nm: its L*, a*, b* are taken for D50/2 and no other light."""
    found = read_meter_file(SAMPLE)
    readings = readings_from(found, **WHO, aperture_mm=4.5)

    assert (len(readings), readings[0].set_size) == (144, 144)
    assert (readings[0].L_star, readings[0].illuminant) == (17.64167, "D50/2")
    assert (readings[0].geometry, readings[0].read_on) == ("45/0", date(2007, 6, 14))
    with pytest.raises(ValueError, match=r"is required\. Without a spectrum from 400 to 700 nm"):
        readings_from(found, **WHO, aperture_mm=4.5, illuminant="D65/10")


def test_what_no_reading_can_hold_is_a_fault_with_its_row() -> None:
    """L* above 100 and an unknown state are refused in the words of the form."""
    bright = meter(Measured("a", 7, (replace(D65, lab=(132.4, 0.0, 0.0)),)))

    with pytest.raises(SurveyError, match=r"meter\.txt, row 7: L_star = 132\.4: .*decimal point"):
        readings_from(bright, **WHO, **REST)
    with pytest.raises(SurveyError, match=r"state = moist: .*dry"):
        readings_from(meter(grey(D65)), **{**WHO, "state": "moist"}, **REST, agree_delta_e=99)


def test_munsell_notation_becomes_lab_by_the_renotation() -> None:
    """
    10YR 8/2 by hand from the renotation of 1943 and ASTM D1535-14.

    x = 0.3407, y = 0.3434 and Y = 57.62, so X = 57.17 and Z = 53.01; with the white of C/2
    (98.07, 100, 118.23; ASTM E308) L* = 80.53, a* = 1.61, b* = 13.35.
    """
    l_star, a_star, b_star = lab_of_munsell("10YR 8/2")

    assert l_star == pytest.approx(80.53, abs=0.01)
    assert (a_star, b_star) == pytest.approx((1.61, 13.35), abs=0.02)


@pytest.mark.parametrize("notation", ["N 5/", "N5", " N 5 "])
def test_a_neutral_has_no_colour_however_it_is_spelt(notation: str) -> None:
    """N 5/ has L* 51.0 (Y = 19.27 by ASTM D1535-14) and neither a* nor b* to speak of."""
    l_star, a_star, b_star = lab_of_munsell(notation)

    assert l_star == pytest.approx(51.0, abs=0.05)
    assert (a_star, b_star) == pytest.approx((0, 0), abs=0.05)


def test_what_is_no_munsell_notation_is_refused() -> None:
    """A word that is none says how one is written."""
    with pytest.raises(ValueError, match="is not a Munsell colour"):
        lab_of_munsell("brown")

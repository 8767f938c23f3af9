"""Colour meters' files: what they say comes out, what they leave open is asked, bombs stay out."""

from __future__ import annotations

import subprocess
import sys
from datetime import date
from pathlib import Path

import colour_cxf
import numpy as np
import pytest

from heritagecheck.errors import SurveyError
from heritagecheck.evidence.colour import lab_from_reflectance
from heritagecheck.survey.instruments import read_meter_file
from heritagecheck.survey.instruments.meter_file import MeterColour, MeterFile

FILES = Path(__file__).parent / "instrument_files"
SAMPLE = Path(colour_cxf.__file__).parent / "tests" / "resources" / "sample.cxf"

CXF = """<?xml version="1.0" encoding="UTF-8"?>
<CxF xmlns="http://colorexchangeformat.com/CxF3-core"><Resources><ObjectCollection>
{objects}</ObjectCollection><ColorSpecificationCollection>
{specifications}</ColorSpecificationCollection></Resources></CxF>
"""
OBJECT = """<Object ObjectType="Target" Name="{name}" Id="{id}">
<CreationDate>2026-05-13T09:30:00+01:00</CreationDate>
<ColorValues>{values}</ColorValues></Object>
"""
LAB = '<ColorCIELab ColorSpecification="{of}"><L>{L}</L><A>0.4</A><B>7.1</B></ColorCIELab>'
SPECTRUM = '<ReflectanceSpectrum ColorSpecification="{of}"{more}>{values}</ReflectanceSpectrum>'
SPECIFICATION = """<ColorSpecification Id="{id}">
<TristimulusSpec><Illuminant>{light}</Illuminant><Observer>{observer}_Degree</Observer>
<Method>E308_Table5</Method></TristimulusSpec>
<MeasurementSpec><MeasurementType>{type}</MeasurementType>
<GeometryChoice>{geometry}</GeometryChoice>
<WavelengthRange StartWL="400" Increment="100"/><Aperture>{aperture}</Aperture>
</MeasurementSpec></ColorSpecification>
"""


def specification(
    name: str = "S",
    light: str = "D65",
    observer: int = 10,
    kind: str = "Spectrum_Reflectance",
    geometry: str = "<SphereGeometry>Specular_Included</SphereGeometry>",
    aperture: str = "8 mm",
) -> str:
    """One specification of a CxF3 file."""
    return SPECIFICATION.format(
        id=name, light=light, observer=observer, type=kind, geometry=geometry, aperture=aperture
    )


def cxf(values: str = LAB.format(of="S", L=61.5), specifications: str | None = None) -> str:
    """Text of a CxF3 file with one object."""
    one = OBJECT.format(name="N09", id="1", values=values)
    return CXF.format(objects=one, specifications=specifications or specification())


def cgats(
    lines: str = "1 61.5 0.4 7.1\n",
    fields: str = "SAMPLE_ID LAB_L LAB_A LAB_B",
    keywords: str = "NUMBER_OF_FIELDS 4\nNUMBER_OF_SETS 1\n",
) -> str:
    """Text of a CGATS.17 file."""
    return (
        f"CGATS.17\n{keywords}BEGIN_DATA_FORMAT\n{fields}\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{lines}END_DATA\n"
    )


def read(tmp_path: Path, content: str | bytes, name: str = "meter", **more: object) -> MeterFile:
    """Read a file with some content."""
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_meter_file(path, **more)


def read_csv(tmp_path: Path, text: str | bytes, mapping: str) -> MeterFile:
    """Read a CSV by a mapping."""
    (tmp_path / "meter.toml").write_text(mapping, encoding="utf-8")
    return read(tmp_path, text, "meter.csv", mapping=tmp_path / "meter.toml")


NAMED = '[columns]\nname = "Name"\nL_star = "L*"\na_star = "a*"\nb_star = "b*"\n'


# -- CxF3 ---------------------------------------------------------------------------------------


def test_a_real_cxf_file_says_how_it_was_measured() -> None:
    """The sample of colour-cxf (BSD-3-Clause): 144 targets, D50/2, 45/0, 380 to 680 nm, 2007."""
    found = read_meter_file(SAMPLE)
    first = found.measured[0]

    assert (found.kind, len(found.measured)) == ("CxF3", 144)
    assert first.colours == (MeterColour((17.64167, 1.076669, 0.3338588), "D50", 2),)
    assert (first.geometry, first.aperture_mm, first.measured_on) == (
        "45/0",
        None,
        date(2007, 6, 14),
    )
    assert first.wavelengths_nm[0::30] == (380.0, 680.0)
    assert first.reflectance[::30] == (0.0179408, 0.0448929)


def test_lab_of_a_real_cxf_file_follows_from_its_spectra() -> None:
    """
    The printed L*, a*, b* of the sample lie where the part of the spectrum that it cut off allows.

    The sample's spectra end at 680 nm, and its L*, a*, b* were computed with more. Whatever lay
    beyond reflects between 0 and 1, so a* must lie between the two; and by ASTM E308, which
    repeats the last value, L* and b*, which hardly depend on it, must agree.
    """
    measured = read_meter_file(SAMPLE).measured
    printed = np.array([one.colours[0].lab for one in measured])
    spectra = np.array([one.reflectance for one in measured])
    nm = [*measured[0].wavelengths_nm, 690.0, 700.0]

    def with_end(values: np.ndarray) -> np.ndarray:
        ends = np.broadcast_to(values, (len(spectra), 1))
        return lab_from_reflectance(nm, np.hstack([spectra, ends, ends]), "D50", 2)

    apart = np.abs(with_end(spectra[:, -1:]) - printed)
    assert (with_end(np.zeros((1, 1)))[:, 1] < printed[:, 1]).all()
    assert (with_end(np.ones((1, 1)))[:, 1] > printed[:, 1]).all()
    assert (apart <= [0.02, 0.12, 0.03]).all(), apart.max(axis=0)


def test_colours_for_several_lights_stand_together(tmp_path: Path) -> None:
    """One object with a spectrum and L*, a*, b* for two lights is one measurement, not three."""
    values = (
        SPECTRUM.format(of="S", more=' MeasureDate="2026-05-12T10:00:00Z"', values="0.2 0.3 0.4")
        + LAB.format(of="S", L=61.5)
        + LAB.format(of="T", L=62)
    )
    found = read(tmp_path, cxf(values, specification() + specification("T", "D50", 2)))

    (one,) = found.measured
    assert [(each.illuminant, each.observer_deg) for each in one.colours] == [
        ("D65", 10),
        ("D50", 2),
    ]
    assert (one.wavelengths_nm, one.reflectance) == ((400.0, 500.0, 600.0), (0.2, 0.3, 0.4))
    assert (one.geometry, one.aperture_mm) == ("SCI", 8.0)
    assert one.measured_on == date(2026, 5, 12)


def test_gloss_in_and_gloss_out_are_two_measurements(tmp_path: Path) -> None:
    """One object measured with SCI and SCE holds two measurements; one can be picked."""
    out = specification(
        "T", geometry="<SphereGeometry>Specular_Excluded</SphereGeometry>", aperture="MAV"
    )
    values = LAB.format(of="S", L=61.5) + LAB.format(of="T", L=60)
    found = read(tmp_path, cxf(values, specification() + out))

    assert [(one.geometry, one.aperture_mm) for one in found.measured] == [
        ("SCI", 8.0),
        ("SCE", None),
    ]
    assert found.picked(geometry="SCE").measured == found.measured[1:]
    with pytest.raises(ValueError, match=r"no measurement whose name begins with 'S1'.*N09 \(SCE"):
        found.picked(name_begins="S1")


@pytest.mark.parametrize(
    ("values", "more", "said"),
    [
        (LAB.format(of="S", L="61,5"), "", r'1: object "N09", L\* = 61,5: must be a plain'),
        (LAB.format(of="S", L="NaN"), "", r"L\* = NaN: must be a plain number"),
        (LAB.format(of="S", L="INF"), "", r"L\* = INF: must be a plain number"),
        (LAB.format(of="X", L="61"), "", r"ColorSpecification = X: must be one of those"),
        (SPECTRUM.format(of="S", more="", values="0.2 NaN 0.3"), "", r"= NaN: must be a plain"),
        (SPECTRUM.format(of="S", more="", values="20 30"), "", r"= 20.0: must lie between -0.1"),
        (SPECTRUM.format(of="S", more="", values=""), "", r"ReflectanceSpectrum is empty"),
        (SPECTRUM.format(of="S", more=' StartWL="380"', values="0.2"), "", r"StartWL = 380 and"),
        (LAB.format(of="S", L="6") * 2, "", r"ColorCIELab = two: export one for each light"),
        (SPECTRUM.format(of="S", more="", values="0.2") * 2, "", r"= two: export one a meas"),
        (LAB.format(of="S", L="6_1"), "", r"L\* = 6_1: must be a plain number"),
        (LAB.format(of="S", L="6").replace("<L>6</L>", ""), "", r"must hold L, A and B"),
        ("4" + LAB.format(of="S", L="6"), "", r"ColorValues = 4: holds text where only elements"),
        ("<ColorSRGB ColorSpecification='S'><R>x</R><G>0</G><B>0</B></ColorSRGB>", "",
         r"does not follow CxF3: .*`x` is not a valid `int`"),
        ("", "", r"holds neither L\*, a\*, b\* nor a reflectance"),
        ("<Unheard/>", "", r"does not follow CxF3.*Unheard"),
        (LAB.format(of="S", L="6"), "Spectrum_Transmittance", r"must be in reflectance"),
    ],
)  # fmt: skip
def test_what_a_cxf_may_not_hold_is_named(
    tmp_path: Path, values: str, more: str, said: str
) -> None:
    """Decimal commas, NaN, unknown references, per cent, doubles: the object and the value."""
    specifications = specification(kind=more) if more else None

    with pytest.raises(SurveyError, match=said):
        read(tmp_path, cxf(values, specifications))


def test_two_specifications_of_one_name_are_refused(tmp_path: Path) -> None:
    """For which of two lights a colour was computed is not guessed."""
    twice = specification() + specification(light="D50")

    with pytest.raises(SurveyError, match="ColorSpecification: two have the same Id"):
        read(tmp_path, cxf(specifications=twice))


def test_every_fault_of_a_cxf_is_named_at_once(tmp_path: Path) -> None:
    """Two broken objects are two faults, each with the number of the object."""
    objects = "".join(
        OBJECT.format(name=f"P{at}", id=at, values=LAB.format(of="S", L="NaN")) for at in (1, 2)
    )
    with pytest.raises(SurveyError, match="2 things to correct") as caught:
        read(tmp_path, CXF.format(objects=objects, specifications=specification()))

    assert list(caught.value.faults["row"]) == [1, 2]


BOMB = "".join(f'<!ENTITY b{at} "{f"&b{at - 1};" * 10}">' for at in range(1, 8))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (f'<!DOCTYPE CxF [<!ENTITY b0 "x">{BOMB}]><CxF>&b7;</CxF>', "document type or entities"),
        ('<!DOCTYPE CxF SYSTEM "file:///etc/passwd"><CxF/>', "document type or entities"),
        ('<html xmlns="urn:other"><body/></html>', r"not CxF3: it begins with \{urn:other\}html"),
        ("<CxF><Resources/></CxF>", "not CxF3: it begins with CxF"),
        (cxf()[:700], "this XML is broken"),
        (b"\xff\xfe<\x00", "this XML is broken"),
        (CXF.format(objects="", specifications=specification()), "no object that was measured"),
    ],
)
def test_hostile_and_foreign_xml_is_refused(
    tmp_path: Path, content: str | bytes, said: str
) -> None:
    """Bombs, document types, other XML, half files: none gets as far as the reader's objects."""
    with pytest.raises(SurveyError, match=said):
        read(tmp_path, content)


def test_per_cent_told_for_a_cxf_is_refused(tmp_path: Path) -> None:
    """CxF3 fixes its scale, so telling another is a mistake."""
    with pytest.raises(ValueError, match='CxF3, whose reflectance runs from "0 to 1"'):
        read(tmp_path, cxf(), reflectance_scale="0 to 100")


def test_without_the_library_cxf_says_which_extra_brings_it(tmp_path: Path) -> None:
    """A small install reads CGATS and CSV, and says what CxF3 needs."""
    path = tmp_path / "meter.cxf"
    path.write_text(cxf(), encoding="utf-8")
    code = (
        "import sys; sys.modules['colour_cxf'] = None\n"
        "from heritagecheck.survey.instruments import read_meter_file\n"
        "try: read_meter_file(sys.argv[1])\nexcept ImportError as missing: print(missing)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, path], capture_output=True, text=True, check=True
    )

    assert "pip install 'heritagecheck[instruments]'" in done.stdout


# -- CGATS.17 -----------------------------------------------------------------------------------


def test_a_cgats_file_says_light_geometry_names_and_spectra() -> None:
    """L* and the scale of the spectra by hand: 116 · 0.2^(1/3) − 16 = 51.84 (ISO/CIE 11664-4)."""
    found = read_meter_file(FILES / "meter.txt")
    first = found.measured[0]

    assert (found.kind, [one.name for one in found.measured]) == ("CGATS.17", ["N09 a", "N09 b"])
    assert first.colours == (MeterColour((51.84, 0.0, 0.0), "D50", 2),)
    assert (first.geometry, first.row, first.measured_on) == ("45/0", 14, None)
    assert first.wavelengths_nm == tuple(range(400, 701, 10))
    assert set(first.reflectance) == {0.2}


@pytest.mark.parametrize(
    "field", ["SPECTRAL_NM{}", "nm{}", "SPECTRAL_{}", "R_{}", "SPEC_{}", "{}nm", "SPECTRAL_DEC{}"]
)
def test_each_spelling_of_a_spectral_field_is_read(tmp_path: Path, field: str) -> None:
    """Wavelengths come out in their order, however the fields are spelt and wherever they stand."""
    text = cgats(
        "A 0.3 0.2\n", f"SAMPLE_ID {field.format(500)} {field.format(400)}", "NUMBER_OF_SETS 1\n"
    )
    (one,) = read(tmp_path, text, reflectance_scale="0 to 1").measured

    assert (one.wavelengths_nm, one.reflectance) == ((400.0, 500.0), (0.2, 0.3))


@pytest.mark.parametrize(
    ("lines", "fields", "keywords", "said"),
    [
        ("1 61,5 0.4 7.1\n", None, "", r"row 6: LAB_L = 61,5: must be a plain number with a dec"),
        ("1 NaN 0.4 7.1\n", None, "", r"LAB_L = NaN: must be a plain number"),
        ("1 1e999 0.4 7.1\n", None, "", r"LAB_L = 1e999: must be a plain number"),
        ("1 61.5 0.4 7.1\n", None, "NUMBER_OF_SETS 2\n", r"NUMBER_OF_SETS = 2: the file has 1"),
        ("1 61.5 0.4 7.1\n", None, "NUMBER_OF_FIELDS 5\n", r"NUMBER_OF_FIELDS = 5: the file has 4"),
        ("N 9 61.5 0.4 7.1\n", None, "", r"5 values for 4 fields.*quotation marks"),
        ('"N 9 61.5 0.4 7.1\n', None, "", r"a quotation mark is not closed"),
        ("", None, "", r"holds no measurement"),
        ("1 6 0 7\n", "SAMPLE_ID LAB_L LAB_A XYZ_X", "", r"fields = LAB_B: are missing"),
        ("1 6 0 7\n", "SAMPLE_ID LAB_L LAB_L LAB_B", "", r"field = LAB_L: occurs twice"),
        ("1 400 2\n", "SAMPLE_ID SPECTRAL_NM SPECTRAL_PCT", "", r"a field for each wavelength"),
        ("1 2 3\n", "SAMPLE_ID NM400 R_400", "", r"field = 400 nm: occurs twice"),
        ("1 2 3\n", "SAMPLE_ID SPECTRAL_PCT400 NM500", "", r"mix two scales of reflectance"),
        ("1 6 0 7\n", None, 'OBSERVER_ANGLE "5"\n', r"OBSERVER_ANGLE = 5: write 2 or 10"),
        ("1 6 0 7\n", None, 'ILLUMINATION_NAME "D50"\nWEIGHTING_FUNCTION "ILLUMINANT, D65"\n',
         r"illuminant = D50 and D65: the file says both"),
    ],
)  # fmt: skip
def test_what_a_cgats_may_not_hold_is_named(
    tmp_path: Path, lines: str, fields: str | None, keywords: str, said: str
) -> None:
    """Wrong counts, decimal commas, missing or doubled fields, contradictions: where and what."""
    text = cgats(lines, fields or "SAMPLE_ID LAB_L LAB_A LAB_B", keywords)

    with pytest.raises(SurveyError, match=said):
        read(tmp_path, text)


def test_a_cgats_that_was_cut_off_is_refused(tmp_path: Path) -> None:
    """Without its end a table may lack lines, even where no count says so."""
    text = cgats(keywords="").removesuffix("END_DATA\n")

    with pytest.raises(SurveyError, match=r"END_DATA: is missing: the file was cut off"):
        read(tmp_path, text)


def test_two_tables_in_one_cgats_are_refused(tmp_path: Path) -> None:
    """Which of two tables was meant is not guessed."""
    with pytest.raises(SurveyError, match="export one table a file"):
        read(tmp_path, cgats() + cgats())


def test_same_names_are_kept_and_told_apart_by_their_line(tmp_path: Path) -> None:
    """Two samples of one name are two measurements; comments and quotes cost nothing."""
    text = cgats('"N 9" 61.5 .4 7.1 # first\n"N 9" 61.6 .4 7.1\n', keywords="NUMBER_OF_SETS 2\n")
    found = read(tmp_path, text).measured

    assert [(one.name, one.row) for one in found] == [("N 9", 7), ("N 9", 8)]
    assert found[0].colours == (MeterColour((61.5, 0.4, 7.1)),)


# -- The scale of reflectance -------------------------------------------------------------------

SPECTRAL = "SAMPLE_ID NM400 NM500"


def test_an_open_scale_is_asked_for_and_then_taken(tmp_path: Path) -> None:
    """0.2 to 0.9 may be a black gloss paint in per cent: the answer decides."""
    text = cgats("A 0.9 0.2\n", SPECTRAL, "")
    with pytest.raises(SurveyError, match=r"0\.2 to 0\.9: is that 0 to 1 or 0 to 100\? A white"):
        read(tmp_path, text)

    as_told = {
        scale: read(tmp_path, text, reflectance_scale=scale).measured[0].reflectance
        for scale in ("0 to 1", "0 to 100")
    }
    assert as_told["0 to 1"] == (0.9, 0.2)
    assert as_told["0 to 100"] == pytest.approx((0.009, 0.002))


def test_a_scale_that_is_clear_is_taken(tmp_path: Path) -> None:
    """Numbers above 3, the name of the field, or L* beside the spectrum: each tells the scale."""
    beside = f"{SPECTRAL} LAB_L LAB_A LAB_B"
    high = read(tmp_path, cgats("A 45 20\n", SPECTRAL, ""))
    named = read(tmp_path, cgats("A 0.9 0.2\n", "SAMPLE_ID SPECTRAL_PCT400 SPECTRAL_PCT500", ""))
    # Y of L* 51.84 is 0.2 and of 1.81 is 0.002, by hand from ISO/CIE 11664-4.
    bright = read(tmp_path, cgats("A 0.2 0.21 51.84 0 0\n", beside, ""))
    dark = read(tmp_path, cgats("A 0.2 0.21 1.81 0 0\n", beside, ""))

    assert high.measured[0].reflectance == (0.45, 0.2)
    assert named.measured[0].reflectance == pytest.approx((0.009, 0.002))
    assert bright.measured[0].reflectance == (0.2, 0.21)
    assert dark.measured[0].reflectance == pytest.approx((0.002, 0.0021))


def test_a_scale_told_against_the_file_is_refused(tmp_path: Path) -> None:
    """45 can't lie between 0 and 1; a field named per cent is none of 0 to 1."""
    with pytest.raises(SurveyError, match=r'can\'t be on the scale "0 to 1" that was given'):
        read(tmp_path, cgats("A 45 20\n", SPECTRAL, ""), reflectance_scale="0 to 1")
    with pytest.raises(ValueError, match=r'from "0 to 100", and reflectance_scale= says "0 to 1"'):
        read(
            tmp_path,
            cgats("A 0.9\n", "SAMPLE_ID SPECTRAL_PCT400", ""),
            reflectance_scale="0 to 1",
        )
    with pytest.raises(ValueError, match=r'"percent" is not offered; take one of 0 to 1, 0 to'):
        read(tmp_path, cgats(), reflectance_scale="percent")


# -- CSV ----------------------------------------------------------------------------------------


def test_a_csv_is_read_by_its_mapping() -> None:
    """Decimal commas, Windows-1252, lines above the table, names that repeat: as mapped."""
    found = read_meter_file(FILES / "meter.csv", mapping=FILES / "meter.toml")

    assert [(one.name, one.row) for one in found.measured] == [
        ("N09-1", 4),
        ("N09-2", 5),
        ("N09-2", 6),
    ]
    first = found.measured[0]
    assert first.colours == (MeterColour((61.5, 0.42, 7.1), "D65", 10),)
    assert (first.geometry, first.aperture_mm, first.measured_on) == ("SCI", 8, date(2026, 5, 13))


def test_without_a_mapping_an_example_is_shown_that_can_be_copied(tmp_path: Path) -> None:
    """The error lists the headings; what it shows reads the file once it is saved as it stands."""
    text = "Name;L*;a*;b*;400 nm;500 nm\nN09;61,5;0,4;7,1;40,0;30,0\n"
    with pytest.raises(
        SurveyError, match=r"Its headings are: Name, L\*, a\*, b\*, 400 nm"
    ) as caught:
        read(tmp_path, text, "meter.csv")
    shown = str(caught.value).partition("correct it:\n")[2].replace('measured_on = "…"\n', "")

    (one,) = read_csv(tmp_path, text, shown).measured
    assert one.colours == (MeterColour((61.5, 0.4, 7.1), "D65", 10),)
    assert (one.wavelengths_nm, one.reflectance) == ((400.0, 500.0), (0.4, 0.3))


def test_cells_say_light_geometry_aperture_and_day(tmp_path: Path) -> None:
    """A row's own words stand before nothing; a time of day behind the day is left out."""
    mapping = NAMED + (
        'illuminant = "Light"\ngeometry = "Mode"\naperture_mm = "Mask"\nmeasured_on = "When"\n'
    )
    text = (
        "\ufeffName,L*,a*,b*,Light,Mode,Mask,When\nA,61.5,0.4,7.1,D65/10°,de:8°,4 mm,"
        "2026-05-13 14:22\nB,61.5,0.4,7.1,,d/8,,\n"
    )
    first, second = read_csv(tmp_path, text, mapping).measured

    assert first.colours[0] == MeterColour((61.5, 0.4, 7.1), "D65", 10)
    assert (first.geometry, first.aperture_mm, first.measured_on) == ("SCE", 4, date(2026, 5, 13))
    assert second.colours[0] == MeterColour((61.5, 0.4, 7.1))
    assert (second.geometry, second.aperture_mm, second.measured_on) == (None, None, None)


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_the_separator_is_found_by_the_headings(tmp_path: Path, sign: str) -> None:
    """Quoted cells and any of three separators are read alike, decimal commas within quotes too."""
    text = "\n".join(
        sign.join(f'"{cell}"' for cell in line)
        for line in (["Name", "L*", "a*", "b*"], ["A", "61,5", "0,4", "7,1"])
    )
    (one,) = read_csv(tmp_path, text, NAMED).measured

    assert one.colours == (MeterColour((61.5, 0.4, 7.1)),)


@pytest.mark.parametrize(
    ("text", "more", "said"),
    [
        ("Name;L;a*;b*\nA;61;0;7\n", "", r"heading of L_star = L\*: no line.*Name, L, a\*"),
        ("Name;L*;a*;b*\nA;1,234;0;7\n", "", r"row 2: L\* = 1,234: 1.234 or 1234\?"),
        ("Name;L*;a*;b*\nA;61,5;0.4;7\n", "", r"a\* = 0.4: .*decimal sign is the comma"),
        ("Name;L*;a*;b*\nA;61,5;0;7\n", '[file]\ndecimal = "."\n', r"L\* = 61,5: must be a"),
        ("Name;L*;a*;b*\nA;;0;7\n", "", r"L\* is empty: must be a plain number"),
        ("Name;L*;a*;b*\nA;nan;0;7\n", "", r"L\* = nan: must be a plain number"),
        ("Name,L*,a*,b*\nA,61,5,0,7\n", "", r"5 cells for 4 headings. Is a decimal comma"),
        ("Name;L*;a*;b*;b*\nA;61;0;7;8\n", "", r"heading = b\*: occurs twice"),
        ("Name;L*;a*;b*\n", "", r"holds headings and no measurement"),
        ('Name;L*;a*;b*\n"A;61;0;7\n', '[file]\ndelimiter = ";"\n', r"this is not a CSV table"),
        (b"Name;L*;a*;b*\nA\xff;61;0;7\n", '[file]\nencoding = "utf-8"\n', r"encoding = utf-8"),
        ("Name;L*;a*;b*\nA;6;0;7\n", '[file]\nencoding = "rot13"\n', r"encoding = rot13"),
        ("Name;L*;a*;b*\nA;6;0;7\n", '[constants]\nobserver_deg = 5\n', r"observer_deg = 5: write"),
        ("Name;L*;a*;b*\nA;6;0;7\n", '[constants]\nilluminant = "D65/2"\nobserver_deg = 10\n',
         r"observer_deg = 10: or 2\? It says both"),
        ("Name;L*;a*;b*;When\nA;6;0;7;01.02.2026\n", 'measured_on = "When"\n',
         r"2026-01-02 or 2026-02-01\?"),
        ("Name;L*;a*;b*;When\nA;6;0;7;2026-05-13\n",
         'measured_on = "When"\n[file]\ndate_format = "%d.%m.%Y"\n', r"not have the form %d.%m.%Y"),
    ],
)  # fmt: skip
def test_what_a_csv_may_not_hold_is_named(
    tmp_path: Path, text: str | bytes, more: str, said: str
) -> None:
    """Unknown headings, mixed or open signs, gaps, broken quotes: the line and what to write."""
    with pytest.raises(SurveyError, match=said):
        read_csv(tmp_path, text, NAMED + more)


@pytest.mark.parametrize(
    ("mapping", "said"),
    [
        ("no toml", "this is not TOML"),
        ("[columns]\nname = 'Name'\n", r"columns = L_star, a_star, b_star: are missing"),
        (NAMED + "lightness = 'L'\n", r"columns.lightness = L: known are: name, L_star"),
        (NAMED + "[other]\n", r"part = other: a mapping has \[columns\], \[constants\], \[file\]"),
        (NAMED + "geometry = ''\n", r"columns.geometry: must be a text in quotation marks"),
        (NAMED + "reflectance = 'R400'\n", r"must hold \{nm\} where the headings hold the wave"),
        (NAMED + "geometry = 'b*'\n", r"columns = b\*: is used for two of our names"),
        (NAMED + "geometry='G'\n[constants]\ngeometry='SCI'\n", r"both a column and a constant"),
        (NAMED + "[file]\ndecimal = ';'\n", r"file.decimal = ;: must be ',' or '.'"),
    ],
)
def test_what_a_mapping_may_not_hold_is_named(tmp_path: Path, mapping: str, said: str) -> None:
    """A mapping is checked before any file is read by it."""
    with pytest.raises(SurveyError, match=said):
        read_csv(tmp_path, "Name;L*;a*;b*\nA;6;0;7\n", mapping)


def test_every_fault_of_a_csv_is_named_at_once(tmp_path: Path) -> None:
    """Three bad cells are three faults with their lines, and nothing is half read."""
    with pytest.raises(SurveyError, match="3 things to correct") as caught:
        read_csv(tmp_path, "Name;L*;a*;b*\nA;x;0;y\nB;6;0;7\nC;;0;7\n", NAMED)

    assert list(caught.value.faults["row"]) == [2, 2, 4]


# -- Files that are none ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "this file is empty"),
        (b" \r\n ", "this file is empty"),
        (b"PK\x03\x04 zipped", "this is a binary file; export CxF3, CGATS.17 or CSV"),
        (b"L*\x00\x01", "this is a binary file"),
    ],
)
def test_empty_and_binary_files_are_refused(tmp_path: Path, content: bytes, said: str) -> None:
    """What holds no text says what to export instead."""
    with pytest.raises(SurveyError, match=said):
        read(tmp_path, content)


def test_missing_and_huge_files_are_refused(tmp_path: Path) -> None:
    """A file of more than 100 MB is not even opened."""
    huge = tmp_path / "huge.txt"
    with huge.open("wb") as file:
        file.truncate(100_000_001)

    with pytest.raises(SurveyError, match=r"holds 100,000,001 B; a colour meter's file of more"):
        read_meter_file(huge)
    with pytest.raises(SurveyError, match="there is no such file"):
        read_meter_file(tmp_path / "none.txt")


def test_a_mapping_for_another_kind_is_refused(tmp_path: Path) -> None:
    """Only CSV needs a mapping; one that would not be used is a mistake."""
    with pytest.raises(ValueError, match=r"mapping= is for CSV files, and meter is CGATS\.17"):
        read(tmp_path, cgats(), mapping=FILES / "meter.toml")
    with pytest.raises(SurveyError, match=r"none\.toml: can't be read: No such file"):
        read(tmp_path, "Name;L*\n", "meter.csv", mapping=tmp_path / "none.toml")


def test_a_file_is_known_by_its_content(tmp_path: Path) -> None:
    """The checksum is that of the bytes, and the file says how much it holds."""
    found = read(tmp_path, cgats())

    # by sha256sum of the same text
    assert found.sha256 == "ffb3c021bfb56d705a1076b7611dba7e254eb9a27f11387439cfb05dd5457b68"
    assert str(found) == "meter (CGATS.17) holds 1 measurements"


# -- More than a meter holds --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "why"),
    [("name,L,a,b\n" + "x,1,2,3\n" * 20_001, "lines; at most 20,000 are read"),
     ("name,L,a,b" + ",x" * 30_000 + "\n", "holds a line of 60,010 B; at most 50,000 B are read"),
     ("BEGIN_DATA_FORMAT\n" * 20_001, "lines; at most 20,000 are read"),
     ("x" * 8_000_001, "more than 8,000,000 B is not read")],
    ids=["lines", "columns", "CGATS", "bytes"],
)  # fmt: skip
def test_a_file_of_more_than_a_meter_holds_is_refused(
    tmp_path: Path, content: str, why: str
) -> None:
    """The sentence says the limit; nothing is parsed before it is known."""
    path = tmp_path / "meter.txt"
    path.write_text(content, encoding="utf-8")

    with pytest.raises(SurveyError, match=why):
        read_meter_file(path)

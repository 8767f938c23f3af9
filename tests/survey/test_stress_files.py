"""Stress files of laboratories: one table in many forms, and files that err."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from openpyxl import Workbook

from heritagecheck.errors import SurveyError
from heritagecheck.evidence.section.stress_readings import stresses_in
from heritagecheck.survey.instruments import StressFile, read_stress_file
from heritagecheck.tables.row_types import StressUnit

HEAD = "½S2 [1/TPa]; 5.8\nhkl; {211}\nφ along; 0°\ninformation depth; 5 µm\n"
TILTS = (
    "layer removed [µm];φ [°];ψ [°];d [nm]\n"
    "0;0;-45;0.117094\n0;0;-21;0.117041\n0;0;0;0.117021\n0;0;21;0.117040\n0;0;45;0.117096\n"
)
STRESSES = (
    "depth [µm];stress [MPa];standard error [MPa];direction\n"
    "5;-38;9;along\n20;-21;8;along\n50;-9;8;along\n"
)
STRAINS = (
    "depth [mm];direction;strain [µε];standard error of strain [µε]\n"
    "1.5;along;310;12\n1.5;across;-84;11\n1.5;normal;-95;12\n"
)


def read(folder: Path, content: str | bytes, **more: object) -> StressFile:
    """Read a file of this content."""
    path = folder / "sheet.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_stress_file(path, **more)  # type: ignore[arg-type]


def refused(folder: Path, content: str | bytes, **more: object) -> str:
    """What is said of a file that is refused."""
    with pytest.raises(SurveyError) as fault:
        read(folder, content, **more)
    assert "sheet.csv" in str(fault.value)
    return str(fault.value)


# -- One table in many forms -----------------------------------------------------------------------

FORMS = {
    "semicolons": HEAD + TILTS,
    "commas": (HEAD + TILTS).replace(";", ","),
    "tabs": (HEAD + TILTS).replace(";", "\t"),
    "blanks": (HEAD + TILTS).replace(";", "   "),
    "decimal commas": (HEAD + TILTS).replace(".", ","),
    "colons and a heading of its own": "Sheet 12 of the laboratory\nOperator: M\n½S2: 5.8 1/TPa\n"
    "# hkl = {211}\nφ along = 0 deg\ninformation depth = 0.005 mm\n\n" + TILTS,
    "angstroms, words, units below": HEAD
    + "Depth removed;Phi;Tilt angle;Lattice spacing\n[mm];(deg);[deg];[Å]\n"
    "0;0;-45;1.17094\n0;0;-21;1.17041\n0;0;0;1.17021\n0;0;21;1.17040\n0;0;45;1.17096\n",
    "some units below": HEAD
    + TILTS.replace("d [nm]", "d").replace("ψ [°]", "ψ").replace("\n0;0;-45", "\n;;°;nm\n0;0;-45"),
    "other powers of ten": (HEAD + TILTS).replace("½S2 [1/TPa]; 5.8", "1/2 S2; 5.8 x 10^-6 mm²/N"),
    "utf-16": (HEAD + TILTS).encode("utf-16"),
    "a column that is not ours": HEAD
    + "\n".join(
        line + (";counts" if "d [nm]" in line else ";812") for line in TILTS.strip().split("\n")
    ),
}


@pytest.mark.parametrize("content", FORMS.values(), ids=FORMS.keys())
def test_tilts_are_read_in_any_form(tmp_path: Path, content: str | bytes) -> None:
    """The same five tilts, whatever separates them and whatever their units are called."""
    found = read(tmp_path, content)

    assert found.kind == "tilts"
    assert found.constants == "½S2 = 5.8 /TPa of the {211} planes"
    assert (found.head.along_phi_deg, found.head.information_depth_um) == (0, 5)
    assert [one.psi_deg for one in found.rows] == [-45, -21, 0, 21, 45]
    assert [one.spacing_nm for one in found.rows] == pytest.approx(
        [0.117094, 0.117041, 0.117021, 0.117040, 0.117096], abs=1e-12
    )
    assert {one.removed_um for one in found.rows} == {0}
    assert ("Columns not used: counts" in str(found)) == ("counts" in str(content))


def test_a_spreadsheet_is_read_as_its_text_is(tmp_path: Path) -> None:
    """Cells of a workbook's first sheet, numbers as numbers."""
    book = Workbook()
    for line in (HEAD + TILTS).strip().split("\n"):
        cells = [cell.strip() for cell in line.split(";")]
        book.active.append([_number(cell) for cell in cells])  # type: ignore[union-attr]
    book.save(tmp_path / "sheet.xlsx")

    found = read_stress_file(tmp_path / "sheet.xlsx")

    assert found.head == read(tmp_path, HEAD + TILTS).head
    assert [one.spacing_nm for one in found.rows] == [
        one.spacing_nm for one in read(tmp_path, HEAD + TILTS).rows
    ]


def _number(cell: str) -> float | str:
    try:
        return float(cell)
    except ValueError:
        return cell


def test_peak_positions_are_read_with_the_wavelength(tmp_path: Path) -> None:
    """2θ needs the wavelength; here 0.22897 nm, chromium."""
    table = "ψ [deg];2θ [deg];u(2θ) [deg]\n-45;155.8;0.01\n-20;156.0;0.01\n0;156.1;0.01\n"
    head = HEAD.replace("φ along; 0°", "direction; along")

    found = read(tmp_path, head + "wavelength; 0.22897 nm\n" + table)

    assert [one.two_theta_deg for one in found.rows] == [155.8, 156.0, 156.1]
    assert found.rows[0].two_theta_error_deg == 0.01
    assert "wavelength is empty" in refused(tmp_path, head + table)


def test_spacings_of_three_decimals_are_no_thousands(tmp_path: Path) -> None:
    """1.170 Å is a spacing, also in the first row; 1,170 may be either, and is asked about."""
    table = "ψ [°];d [Å];depth [µm]\n0;1.170;5\n30;1.171;5\n"

    assert [one.spacing_nm for one in read(tmp_path, HEAD + table).rows] == [
        pytest.approx(0.1170), pytest.approx(0.1171),
    ]  # fmt: skip
    assert "1.170 or 1170? Write it without a comma" in refused(
        tmp_path, (HEAD + table).replace("5.8", "6").replace("1.17", "1,17")
    )


def test_stresses_and_strains_are_read(tmp_path: Path) -> None:
    """As the laboratory reports them, and in three directions."""
    reported = read(tmp_path, HEAD + STRESSES)
    strains = read(tmp_path, "E; 220 GPa\nν; 0.28\n" + STRAINS)

    assert [one.stress_mpa for one in reported.rows] == [-38, -21, -9]
    assert [one.stress_error_mpa for one in reported.rows] == [9, 8, 8]
    assert strains.constants == "E = 220 GPa, ν = 0.28"
    assert [one.strain_1e6 for one in strains.rows] == [310, -84, -95]
    assert strains.rows[0].depth_um == 1500


@pytest.mark.parametrize(
    ("unit", "factor"), [("MPa", 1), ("GPa", 1e-3), ("kPa", 1e3), ("Pa", 1e6), ("N/mm²", 1)]
)
def test_a_stress_is_the_same_in_every_unit(tmp_path: Path, unit: str, factor: float) -> None:
    """-38 MPa, written in another unit."""
    table = (
        f"depth [µm];stress [{unit}];standard error [{unit}];direction\n"
        f"5;{-38 * factor:.10g};{9 * factor:.10g};along\n"
    )
    (found,) = read(tmp_path, HEAD + table).rows

    assert found.stress_mpa == pytest.approx(-38)
    assert found.stress_error_mpa == pytest.approx(9)


def test_factors_between_units_are_those_of_a_library() -> None:
    """Against scipy.constants, by the words of each unit."""
    from scipy import constants

    si = {
        "°": constants.degree, "rad": 1.0, "nm": constants.nano, "Å": constants.angstrom,
        "pm": constants.pico, "µm": constants.micron, "mm": constants.milli,
        "MPa": constants.mega, "GPa": constants.giga, "kPa": constants.kilo, "Pa": 1.0,
        "ksi": 1000 * constants.psi, "1/TPa": 1 / constants.tera, "1/GPa": 1 / constants.giga,
        "1/MPa": 1 / constants.mega, "µε": constants.micro, "%": 0.01, "1": 1.0,
    }  # fmt: skip
    kept = {"angle": "°", "spacing": "nm", "depth": "µm", "stress": "MPa",
            "compliance": "1/TPa", "modulus": "GPa", "strain": "µε"}  # fmt: skip
    for row in StressUnit.rows():
        factor = si[row.unit] / si[kept[row.dimension]]
        assert float(row.factor) == pytest.approx(factor, rel=1e-6), row


# -- What the file leaves out ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "needed"),
    [
        (TILTS, "½S2 of the lattice planes, or E and ν"),
        (STRESSES, "½S2 of the lattice planes, or E and ν"),
        (STRAINS, "need E and ν"),
        ("½S2; 5.8 1/TPa\n" + STRAINS, "need E and ν"),
        ("E; 210 GPa\n" + TILTS, "½S2 of the lattice planes, or E and ν"),
    ],
    ids=["tilts", "stresses", "strains", "strains with ½S2 alone", "E without ν"],
)
def test_a_file_without_elastic_constants_is_refused(
    tmp_path: Path, content: str, needed: str
) -> None:
    """The file is named, what is needed, and how to add it."""
    said = refused(tmp_path, content)

    assert "elastic constants is empty" in said
    assert needed in said
    assert "Ask the laboratory" in said


def test_what_the_laboratory_said_elsewhere_is_added(tmp_path: Path) -> None:
    """In the same words as in a file; said beside the file, and it says so."""
    found = read(tmp_path, TILTS, also={"½S2": "5.8 1/TPa", "φ along": "0 °"})

    assert found.head.half_s2_per_tpa == 5.8
    assert "Not in the file, but given beside it: φ along, ½S2" in str(found)
    with pytest.raises(ValueError, match=r'also\["stiffness"\] is not known; take one of: ½S2'):
        read(tmp_path, TILTS, also={"stiffness": "210 GPa"})
    assert "½S2 = 6.1 1/TPa: or 5.8? Both are given" in refused(
        tmp_path, HEAD + TILTS, also={"½S2": "6.1 1/TPa"}
    )


def test_an_uncertainty_of_unknown_width_is_asked_about(tmp_path: Path) -> None:
    """± 18 MPa may be one standard error or two."""
    table = STRESSES.replace("standard error", "±")

    assert 'add the line "k"' in refused(tmp_path, HEAD + table)
    found = read(tmp_path, HEAD + "k; 2\n" + table)
    assert [one.stress_error_mpa for one in found.rows] == [4.5, 4, 4]


def test_a_stress_without_an_uncertainty_is_refused(tmp_path: Path) -> None:
    """A column that is missing is named, and how it may be called."""
    table = "depth [µm];stress [MPa];direction\n5;-38;along\n"

    assert "give a column standard error or standard uncertainty" in refused(tmp_path, HEAD + table)


def test_spacings_in_three_directions_need_the_unstressed_one(tmp_path: Path) -> None:
    """d0 and its standard error; with both they are read."""
    table = (
        "depth [mm];direction;d [nm];u(d) [nm]\n"
        "1;along;0.11703;0.000002\n1;across;0.11701;0.000002\n1;normal;0.11701;0.000002\n"
    )
    head = "E; 220 GPa\nν; 0.28\n"

    assert "d0 is empty" in refused(tmp_path, head + table)
    found = read(tmp_path, head + "d0; 0.11702 nm\nu(d0); 0.000001 nm\n" + table)
    assert (found.kind, found.head.free_spacing_error_nm) == ("strains", 1e-6)


# -- Units -----------------------------------------------------------------------------------------


def test_a_column_without_a_unit_is_asked_about(tmp_path: Path) -> None:
    """Every such column at once, with the units that it may have."""
    said = refused(tmp_path, (HEAD + TILTS).replace("ψ [°]", "ψ").replace("d [nm]", "d [furlong]"))

    assert "unit of ψ is empty: write the unit beside it, such as ψ [°]; one of °, rad" in said
    assert "unit of d [furlong] = d [furlong]" in said


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (HEAD + STRESSES.replace("MPa", "GPa"), "In MPa or ksi it would"),
        (HEAD + STRESSES.replace("-38;9", "-0.038;0.009").replace("-21;8", "-0.021;0.008")
         .replace("-9;8", "-0.009;0.008"), "In GPa it would"),
        (HEAD + STRESSES.replace("-38;9", "-38000;9000").replace("-21;8", "-21000;8000")
         .replace("-9;8", "-9000;8000"), "In kPa it would"),
        (HEAD.replace("1/TPa", "1/MPa") + STRESSES, "In 1/TPa it would"),
        ("E; 210000 GPa\nν; 0.28\n" + STRESSES, "In MPa it would"),
        (HEAD + TILTS.replace("d [nm]", "d [Å]"), "In nm it would"),
        (HEAD + TILTS.replace("-45", "-0.785").replace(";45;", ";0.785;")
         .replace("21;", "0.37;"), "Are they in radians"),
        ("E; 210 GPa\nν; 28\n" + STRESSES, "ν lies between 0.05 and 0.49"),
    ],
    ids=["MPa called GPa", "GPa called MPa", "kPa called MPa", "½S2", "E", "ångström", "radians",
         "ν in per cent"],
)  # fmt: skip
def test_slips_of_unit_are_refused_with_the_choice(tmp_path: Path, content: str, told: str) -> None:
    """Numbers that can't be in their unit, and the unit in which they could."""
    assert told in refused(tmp_path, content)


def test_a_wrong_heading_is_overruled_by_the_laboratory_alone(tmp_path: Path) -> None:
    """The file says GPa, the laboratory MPa: read in MPa, with a caution."""
    table = HEAD + STRESSES.replace("MPa", "GPa")

    found = read(tmp_path, table, also={"stress unit": "MPa"})

    assert found.rows[0].stress_mpa == -38
    assert "stress [GPa] was read in MPa, as given; the file says GPa" in str(found)
    assert "must be one of MPa, GPa, kPa, Pa, ksi" in refused(
        tmp_path, table, also={"stress unit": "tons"}
    )


def test_constants_that_contradict_one_another_are_refused(tmp_path: Path) -> None:
    """½S2 = 1.9 /TPa, while E = 210 GPa and ν = 0.28 give 6.1 /TPa; 5.8 is taken."""
    head = HEAD + "E; 210 GPa\nν; 0.28\n"

    assert "E and ν give 6.1 1/TPa. Which of them is wrong?" in refused(
        tmp_path, head.replace("5.8", "1.9") + TILTS
    )
    assert read(tmp_path, head + TILTS).constants.startswith("½S2 = 5.8")


def test_spacings_far_from_the_unstressed_one_are_refused(tmp_path: Path) -> None:
    """d0 of other planes: 0.1433 nm against 0.117 nm."""
    said = refused(tmp_path, HEAD + "d0; 0.1433 nm\n" + TILTS)

    assert "row 7: d = 0.117094 nm: d0 is 0.1433 nm" in said


# -- Damaged files ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "this file is empty"),
        (b"  \n", "this file is empty"),
        ("Report\nAll is well\n", "has no line of headings that is known"),
        (HEAD + TILTS.partition("\n")[0], "below the headings there are no numbers"),
        (b"%PDF-1.7 \x00", "is not a table"),
        (HEAD + TILTS.replace("0.117040", "nan"), "row 9: d [nm] = nan: is not a number"),
        (HEAD + TILTS.replace("0.117040", ""), "row 9: d [nm] is empty: is not a number"),
        (HEAD + TILTS.replace("0.117040", "0.117o40"), "row 9: d [nm] = 0.117o40"),
        (HEAD + TILTS + "0;0;45;0.117096\n", "row 11: row = as row 10: is there twice"),
        (HEAD + STRESSES + "5;-30;9;along\n", "row 9: row = as row 6: is there twice"),
        ((HEAD + STRESSES).replace(";", ",").replace("-38,9", "-38,2,9"), "has more cells"),
        (HEAD + STRESSES.replace("20;-21;8;along", "20;-21;8;up"), "must be one of along, across"),
        (HEAD + TILTS.replace("φ [°]", "Tilt [°]"), "two columns both mean psi_deg"),
        ("½S2; 5.8 ± 0.2 1/TPa\n" + TILTS, 'a line of its own, "standard error of ½S2"'),
        (
            HEAD
            + TILTS.replace("d [nm]", "d [nm];sample").replace("0.117094", "0.117094;A")
            + "0;0;-45;0.117099;B\n",
            "row 11: ψ = -45°, as in row 6: does sample tell two places apart?",
        ),
        ("direction; normal\n½S2; 5.8 1/TPa\n" + TILTS, "must be along or across"),
        ("½S2; about six\n" + TILTS, "½S2 = about six: is not a number"),
        ("½S2; 5.8\n" + TILTS, "½S2 = 5.8: write the unit beside it"),
        (HEAD.replace("0°", "up") + TILTS, "φ along = up: is not a number"),
    ],
)
def test_a_damaged_file_is_refused_in_a_sentence(
    tmp_path: Path, content: str | bytes, told: str
) -> None:
    """The file, the row and the value are named; nothing is read."""
    assert told in refused(tmp_path, content)


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    """No traceback of the machine's own."""
    with pytest.raises(SurveyError, match=r"none\.csv: there is no such file"):
        read_stress_file(tmp_path / "none.csv")


# -- The page of the documentation -----------------------------------------------------------------

PAGE = (Path(__file__).parents[2] / "docs" / "stress_files.md").read_text("utf-8")
TABLES = re.findall(r"^```\n(.*?)^```", PAGE, flags=re.DOTALL | re.MULTILINE)


@pytest.mark.parametrize(
    ("table", "kind"), [*zip(TABLES, ("tilts", "stresses", "strains"), strict=True)]
)
def test_the_tables_of_the_page_are_read_as_it_says(tmp_path: Path, table: str, kind: str) -> None:
    """Who copies a table from docs/stress_files.md has a file that is taken."""
    found = read(tmp_path, table)

    assert found.kind == kind
    assert stresses_in(found)

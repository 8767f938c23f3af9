"""Residual stress from a laboratory's file: against Hooke's law, libraries and simulations."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import heritagecheck as hc
from heritagecheck.errors import SurveyError
from heritagecheck.evidence.section.lattice_strain import stress_of_three
from heritagecheck.evidence.section.stress_readings import StressAt, stresses_in
from heritagecheck.survey.instruments import (
    StressFile,
    StressHead,
    StressRow,
    read_stress_file,
)
from heritagecheck.survey.instruments.stress_values import StressKind
from heritagecheck.survey.records import SectionReading

FREE_NM, YOUNG_GPA, POISSON = 0.11702, 210.0, 0.28
HALF_S2 = 1000 * (1 + POISSON) / YOUNG_GPA  # of an isotropic metal, in 1/TPa
PSI = (-45.0, -33.0, -20.0, 0.0, 20.0, 33.0, 45.0)
HEAD = StressHead(half_s2_per_tpa=HALF_S2, along_phi_deg=0.0, information_depth_um=5.0)

UNSURE = replace(HEAD, half_s2_error_per_tpa=0.05 * HALF_S2)


def told(*rows: StressRow, head: StressHead = HEAD, kind: StressKind = "tilts") -> StressFile:
    """A file with these rows."""
    return StressFile("sheet.csv", "0" * 64, kind, head, rows)


def tilted(
    strain: np.ndarray, phi_deg: float = 0.0, psi: Sequence[float] = PSI, **more: float
) -> list[StressRow]:
    """Spacings that a strain gives at some tilts, turned by φ: e_n = n · e n."""
    rows = []
    for number, tilt in enumerate(psi, 2):
        side, turn = math.radians(tilt), math.radians(phi_deg)
        way = np.array(
            [math.sin(side) * math.cos(turn), math.sin(side) * math.sin(turn), math.cos(side)]
        )
        spacing = FREE_NM * (1 + float(np.einsum("i,ij,j->", way, strain, way)))
        rows.append(
            StressRow(
                number, psi_deg=tilt, phi_deg=phi_deg, spacing_nm=spacing,
                **({"removed_um": 0.0} | more),  # type: ignore[arg-type]
            )
        )  # fmt: skip
    return rows


def strain_of(stress_mpa: np.ndarray) -> np.ndarray:
    """Isotropic Hooke's law: e = ((1 + n) s - n tr(s) 1) / E."""
    trace = np.trace(stress_mpa)
    return ((1 + POISSON) * stress_mpa - POISSON * trace * np.eye(3)) / (1000 * YOUNG_GPA)


def values(found: tuple[StressAt, ...]) -> dict[str, float]:
    """Stress by its direction."""
    return {one.direction: one.stress_mpa for one in found}


# -- Closed forms ----------------------------------------------------------------------------------


def test_both_directions_of_one_file_come_out() -> None:
    """-300 MPa along and +80 MPa across, φ = 0 and 90°; the profile across has its own name."""
    strain = strain_of(np.diag([-300.0, 80.0, 0.0]))
    file = told(*tilted(strain, 0), *tilted(strain, 90), head=UNSURE)

    along, across = hc.section.readings_from(
        file, zone="T06", panel="T06-pulse-1", profile="P", moment="after", method="diffraction",
        measured_on="2026-08-24", measured_by="laboratory", file="sheet",
    )  # fmt: skip

    assert (along.quantity, along.profile, along.profile_size) == ("stress_along", "P", 1)
    assert (across.quantity, across.profile) == ("stress_across", "P-across")
    assert along.value == pytest.approx(-300, abs=0.3)
    assert across.value == pytest.approx(80, abs=0.3)
    assert (along.depth_um, along.count, along.file) == (5, 7, "sheet")
    assert along.elastic_constants == f"½S2 = {HALF_S2:g} /TPa"


def test_turned_by_half_a_turn_the_other_side_is_meant() -> None:
    """φ = 180° and ψ = 33° is the direction φ = 0°, ψ = -33°: shear keeps its sign."""
    stress = np.diag([120.0, 0.0, 0.0])
    stress[0, 2] = stress[2, 0] = 40.0
    one_side = tilted(strain_of(stress), 0, psi=(0, 20, 33, 45))
    other = tilted(strain_of(stress), 180, psi=(20, 33, 45))

    (found,) = stresses_in(told(*one_side, *other))

    assert found.stress_mpa == pytest.approx(120, rel=1e-3)
    assert found.tilts is not None
    assert found.tilts.found.shear_mpa == pytest.approx(40, rel=1e-3)
    assert "The two sides split" in found.note


def test_peak_positions_follow_braggs_law() -> None:
    """2θ = 2 arcsin(wavelength / 2d), and an error of 2θ is cot θ / 2 of it in the spacing."""
    rows = tilted(strain_of(np.diag([200.0, 0.0, 0.0])))
    wavelength = 0.22897
    turned = [
        StressRow(
            one.row, psi_deg=one.psi_deg, phi_deg=0.0, two_theta_error_deg=0.02,
            two_theta_deg=2 * math.degrees(math.asin(wavelength / 2 / (one.spacing_nm or 1))),
        )
        for one in rows
    ]  # fmt: skip
    head = StressHead(
        half_s2_per_tpa=HALF_S2, along_phi_deg=0, wavelength_nm=wavelength, information_depth_um=5
    )

    (found,) = stresses_in(told(*turned, head=head))

    assert found.stress_mpa == pytest.approx(200, rel=1e-3)
    # By hand: error of d / d = cot(78.06°) × 0.01° in radians = 3.69e-5; ordinary least squares.
    square = np.sin(np.radians(PSI)) ** 2
    spread = 3.69e-5 / math.sqrt(((square - square.mean()) ** 2).sum()) / (HALF_S2 * 1e-6)
    assert found.tilts is not None
    assert found.tilts.found.standard_error_mpa == pytest.approx(spread, rel=0.01)


def test_stated_errors_weigh_as_a_library_weighs_them() -> None:
    """Against numpy.polyfit with weights; a larger scatter widens, a smaller one never narrows."""
    psi = np.array([0.0, 15, 25, 33, 39, 45])
    square = np.sin(np.radians(psi)) ** 2
    noise = np.array([1.0, -2, 0.5, 1.5, -1, 0.3]) * 1e-6
    spacing = FREE_NM * (1 + HALF_S2 * 1e-6 * 150 * square) + noise * FREE_NM
    stated = np.array([1.0, 1, 2, 1, 3, 1]) * 1e-7
    (slope, start), spread = np.polyfit(square, spacing, 1, w=1 / stated, cov="unscaled")
    left = (spacing - start - slope * square) / stated
    widened = math.sqrt(spread[0, 0] * (left**2).sum() / 4)

    found = hc.section.residual_stress(
        psi, spacing, half_s2_per_tpa=HALF_S2, spacing_error_nm=stated
    )
    large = hc.section.residual_stress(
        psi, spacing, half_s2_per_tpa=HALF_S2, spacing_error_nm=100 * stated
    )

    assert (left**2).sum() > 4  # the scatter is larger than what is stated
    per_mpa = HALF_S2 * 1e-6 * start
    assert found.stress_mpa == pytest.approx(slope / per_mpa, rel=1e-6)
    assert found.normal_spacing_nm == pytest.approx(start, rel=1e-9)
    assert found.standard_error_mpa == pytest.approx(widened / per_mpa, rel=1e-6)
    expected = 100 * math.sqrt(spread[0, 0]) / per_mpa
    assert large.standard_error_mpa == pytest.approx(expected, rel=1e-6)
    with pytest.raises(ValueError, match=r"spacing_error_nm = 0: it must be a finite number above"):
        hc.section.residual_stress(
            psi, spacing, half_s2_per_tpa=HALF_S2, spacing_error_nm=0 * stated
        )


def test_errors_of_d0_and_of_e_move_all_three_directions_together() -> None:
    """Closed forms: E / (1 - 2n) times the strain that an uncertain d0 adds; and the share of E."""
    _, of_free = stress_of_three(
        [0, 0, 0], youngs_modulus_gpa=210, poisson=0.28, free_error_1e6=20.0
    )
    _, of_young = stress_of_three(
        [1000, -280, -280], youngs_modulus_gpa=210, poisson=0.28, youngs_modulus_error_gpa=10.5
    )

    assert of_free == pytest.approx([210e-3 / 0.44 * 20] * 3)
    assert of_young == pytest.approx([0.05 * 210, 0, 0], abs=1e-9)


def test_spacings_in_three_directions_are_strains_of_the_unstressed_one() -> None:
    """A pull of 210 MPa: d = d0 (1 + e), with e = 1000, -280 and -280 microstrain."""
    head = StressHead(
        youngs_modulus_gpa=210, poisson=0.28, free_spacing_nm=FREE_NM, free_spacing_error_nm=1e-7
    )
    rows = [
        StressRow(row, direction, depth_um=1500, spacing_nm=FREE_NM * (1 + strain * 1e-6),
                  spacing_error_nm=1e-6)
        for row, (direction, strain) in enumerate(
            [("along", 1000), ("across", -280), ("normal", -280)]
        )
    ]  # fmt: skip

    found = stresses_in(told(*rows, head=head, kind="strains"))

    assert values(found) == {"along": pytest.approx(210), "across": pytest.approx(0, abs=1e-6)}
    lost = told(*rows[:2], head=head, kind="strains")
    with pytest.raises(SurveyError, match="strains at 1500 µm = along, across: normal missing"):
        stresses_in(lost)


# -- Depth and direction ---------------------------------------------------------------------------


def test_what_was_removed_and_what_the_beam_reaches_make_the_depth() -> None:
    """Layers of 0, 15 and 45 µm removed, 5 µm seen: 5, 20 and 50 µm, from the surface down."""
    strain = strain_of(np.diag([-40.0, 0.0, 0.0]))
    rows = [one for depth in (45.0, 0.0, 15.0) for one in tilted(strain, removed_um=depth)]

    found = stresses_in(told(*rows))

    assert [one.depth_um for one in found] == [5, 20, 50]
    bare = told(*rows, head=StressHead(half_s2_per_tpa=HALF_S2, along_phi_deg=0))
    with pytest.raises(SurveyError, match="add the line information depth, such as 5 µm"):
        stresses_in(bare)


def test_a_stress_normal_to_the_surface_is_not_dropped_unsaid() -> None:
    """Records hold stresses along and across; a row of another direction is named."""
    rows = [
        StressRow(row, way, depth_um=5, stress_mpa=10, stress_error_mpa=8)
        for row, way in enumerate(("along", "normal"), 2)
    ]

    with pytest.raises(SurveyError, match="row 3: direction = normal: no stress normal to"):
        stresses_in(told(*rows, kind="stresses"))


STRAIN = strain_of(np.diag([-40.0, 0.0, 0.0]))


@pytest.mark.parametrize(
    ("rows", "head", "why"),
    [
        (tilted(STRAIN), {}, 'which of these is along\\? Add the line "φ along"'),
        ([*tilted(STRAIN), *tilted(STRAIN, 90)], {"direction": "along"}, "φ = 0, 90: which of"),
        (tilted(STRAIN, 45), {"along_phi_deg": 0.0}, "φ = 45: is neither along, which is 0°"),
        (tilted(STRAIN)[:1], {"along_phi_deg": 0.0}, "psi_deg holds 1 values; at least 4"),
        (tilted(STRAIN, psi=[33.0] * 5), {"along_phi_deg": 0.0}, "Fewer than 3 different tilts"),
    ],
    ids=["no direction", "mixed φ", "φ in between", "one tilt", "equal tilts"],
)
def test_tilts_that_give_no_stress_are_refused(
    rows: list[StressRow], head: dict[str, object], why: str
) -> None:
    """The file is named, the depth and the direction, and what to do."""
    file = told(*rows, head=StressHead(half_s2_per_tpa=5.8, information_depth_um=5.0, **head))  # type: ignore[arg-type]

    with pytest.raises(SurveyError, match=rf"sheet\.csv.*{why}"):
        stresses_in(file)


def test_a_stress_beyond_what_a_record_takes_is_refused() -> None:
    """5 000 MPa: the record's own range is told, and nothing is taken."""
    rows = tilted(strain_of(np.diag([5000.0, 0, 0])), psi=(0, 10, 14, 17, 20))

    with pytest.raises(SurveyError, match="stress_along runs from -3000 to 3000 MPa"):
        hc.section.readings_from(
            told(*rows, head=UNSURE), zone="T06", panel="T06-pulse-1", profile="P",
            moment="after", method="XRD", measured_on="2026-08-24", measured_by="laboratory",
        )  # fmt: skip


def test_a_line_without_scatter_has_no_known_error() -> None:
    """Spacings rounded to one number: 0 MPa with an error of 0 is a gap, not certainty."""
    rows = [replace(one, spacing_nm=0.1170) for one in tilted(STRAIN)]

    with pytest.raises(SurveyError, match="at 5 µm, along = 0: the numbers lie on their line"):
        hc.section.readings_from(
            told(*rows), zone="T06", panel="T06-pulse-1", profile="P", moment="after",
            method="XRD", measured_on="2026-08-24", measured_by="laboratory",
        )  # fmt: skip


# -- What must hold --------------------------------------------------------------------------------

of_mpa = st.floats(-600, 600, allow_nan=False)


@given(along=of_mpa, across=of_mpa, shear=of_mpa)
def test_the_stress_is_linear_in_the_strain(along: float, across: float, shear: float) -> None:
    """Half the strain is half the stress, to the thousandth that ψ = 0 stands for d0."""
    stress = np.diag([along, across, 0.0])
    stress[0, 2] = stress[2, 0] = shear
    strain = strain_of(stress)

    (whole,) = stresses_in(told(*tilted(strain)))
    (half,) = stresses_in(told(*tilted(strain / 2)))

    assert whole.stress_mpa == pytest.approx(along, rel=2e-3, abs=0.01)
    assert 2 * half.stress_mpa == pytest.approx(whole.stress_mpa, rel=2e-3, abs=0.01)


@given(along=of_mpa, across=of_mpa, in_plane=of_mpa, turn=st.floats(0, 90))
def test_turning_the_axes_turns_the_stress(
    along: float, across: float, in_plane: float, turn: float
) -> None:
    """s(φ) = s1 cos²φ + s2 sin²φ + t sin 2φ; two directions at right angles keep their sum."""
    stress = np.diag([along, across, 0.0])
    stress[0, 1] = stress[1, 0] = in_plane
    rows = [*tilted(strain_of(stress), turn), *tilted(strain_of(stress), turn + 90)]
    head = StressHead(half_s2_per_tpa=HALF_S2, along_phi_deg=turn, information_depth_um=5.0)

    found = values(stresses_in(told(*rows, head=head)))

    angle = math.radians(turn)
    expected = (
        along * math.cos(angle) ** 2 + across * math.sin(angle) ** 2
        + in_plane * math.sin(2 * angle)
    )  # fmt: skip
    assert found["along"] == pytest.approx(expected, rel=3e-3, abs=0.01)
    assert sum(found.values()) == pytest.approx(along + across, rel=3e-3, abs=5)


def test_the_interval_of_a_stress_holds_the_truth_as_often_as_it_says() -> None:
    """2,000 lines of seven tilts, noise 20 microstrain: 95 % held, within chance."""
    stream = np.random.default_rng(15)
    square = np.sin(np.radians(PSI)) ** 2
    truth = FREE_NM * (1 + HALF_S2 * 1e-6 * -120.0 * square)
    held = 0
    for _ in range(2_000):
        spacing = truth + FREE_NM * stream.normal(0, 20e-6, len(PSI))
        found = hc.section.residual_stress(PSI, spacing, half_s2_per_tpa=HALF_S2)
        held += found.low_mpa <= -120.0 <= found.high_mpa

    assert 0.935 <= held / 2_000 <= 0.965


def test_where_nothing_changed_a_change_is_seldom_found() -> None:
    """400 pairs of files of three depths, each record with its few tilts: at most 5 in 100."""
    stream = np.random.default_rng(21)
    found = []
    for _ in range(400):
        then, now = (_noisy(stream) for _ in range(2))
        change = hc.section.compare_stress(
            [one.depth_um for one in then], [one.value for one in then],
            [one.value for one in now],
            before_error_mpa=[one.standard_error or 0.0 for one in then],
            after_error_mpa=[one.standard_error or 0.0 for one in now],
        )  # fmt: skip
        found.append(change.changed)

    assert np.mean(found) <= 0.05


def _noisy(stream: np.random.Generator) -> tuple[SectionReading, ...]:
    """Readings of an unstressed plate at three depths, noise 20 microstrain."""
    rows = [
        StressRow(row, psi_deg=tilt, phi_deg=0.0, removed_um=depth,
                  spacing_nm=FREE_NM * (1 + stream.normal(0, 20e-6)))
        for depth in (0.0, 15.0, 45.0) for row, tilt in enumerate(PSI)
    ]  # fmt: skip
    return hc.section.readings_from(
        told(*rows), zone="T06", profile="P", moment="control", method="diffraction",
        measured_on="2026-08-24", measured_by="laboratory",
    )  # fmt: skip


def test_a_file_read_and_computed_is_the_line_of_a_library(tmp_path: Path) -> None:
    """From the text to the record, against scipy.stats.linregress."""
    from scipy.stats import linregress

    text = "½S2; 5.8 1/TPa\ndirection; across\nψ [°];d [nm];depth [µm]\n" + "".join(
        f"{psi};{d};8\n"
        for psi, d in zip(
            (0, 20, 30, 40, 45), (0.117021, 0.117040, 0.117062, 0.117084, 0.117096), strict=True
        )
    )
    (tmp_path / "sheet.txt").write_text(text, encoding="utf-8")
    line = linregress(
        np.sin(np.radians([0, 20, 30, 40, 45])) ** 2,
        [0.117021, 0.117040, 0.117062, 0.117084, 0.117096],
    )

    (found,) = hc.section.readings_from(
        read_stress_file(tmp_path / "sheet.txt"), zone="T06", profile="P", moment="control",
        method="diffraction", measured_on="2026-08-24", measured_by="laboratory",
    )  # fmt: skip

    assert found.quantity == "stress_across"
    assert found.value == pytest.approx(line.slope / line.intercept / 5.8e-6, abs=0.006)
    # t of 3 freedoms at 97.5 %: 3.182 (tables); the normal one is 1.960.
    spread = 3.182 / 1.960 * line.stderr / line.intercept / 5.8e-6
    assert found.standard_error == pytest.approx(spread, rel=1e-3)
    assert "one side only" in (found.note or "")

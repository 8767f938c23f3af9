"""Readings of residual stress from a laboratory's file, with everything that makes it uncertain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from pydantic import ValidationError

from heritagecheck.errors import NOTHING, Fault, SurveyError
from heritagecheck.evidence.section.depth_profiles import FloatArray
from heritagecheck.evidence.section.lattice_strain import (
    ResidualStress,
    residual_stress,
    stress_of_three,
)
from heritagecheck.survey.instruments.stress_values import StressFile, StressRow
from heritagecheck.survey.records import SectionReading
from heritagecheck.survey.records.row_reading import row_faults

ALONG, ACROSS, NORMAL = "along", "across", "normal"
_LEVEL, _NORMAL_95 = 0.95, 1.959964  # a standard error as wide as the 95 % interval over this
_SAME_DEG = 0.5  # rotations this close are one direction
_CAN_BE_SEEN = 3.0  # standard errors from which a stress across the depth is spoken of
_DECIMALS = 2  # of MPa and µm; the same on every machine


@dataclass(frozen=True, slots=True)
class Tilts:
    """Spacings at the tilts of one depth and direction, and the stress of their line."""

    psi_deg: FloatArray
    spacing_nm: FloatArray
    half_s2_per_tpa: float
    found: ResidualStress


@dataclass(frozen=True, slots=True)
class StressAt:
    """Stress at one depth in one direction; with its tilts, where it comes from these."""

    depth_um: float
    direction: str
    stress_mpa: float
    standard_error_mpa: float
    tilts: Tilts | None = None
    note: str = ""

    @property
    def columns(self) -> dict[str, float | None]:
        """What a record of it holds, rounded far finer than any laboratory measures."""
        return {
            "depth_um": round(self.depth_um, _DECIMALS), "value": round(self.stress_mpa, _DECIMALS),
            "standard_error": round(self.standard_error_mpa, _DECIMALS),
            "count": self.tilts.found.tilts if self.tilts else None,
        }  # fmt: skip


def readings_from(
    stress_file: StressFile,
    *,
    zone: str,
    profile: str,
    moment: str,
    method: str,
    measured_on: date | str,
    measured_by: str,
    panel: str | None = None,
    spot: str | None = None,
    file: str | None = None,
) -> tuple[SectionReading, ...]:
    """
    Records of residual stress from a laboratory's file, a profile for each direction.

    Parameters
    ----------
    stress_file : StressFile
        As `survey.stress_file` gave it: spacings at several tilts, stresses as the laboratory
        reports them, or strains in three directions.
    zone, profile, moment, method, measured_by, panel, spot, file
        As `SectionReading` has them; `file` is the attachment that holds the file. The profile
        across the surface has ``-across`` behind its name.
    measured_on : date or str
        Day.

    Returns
    -------
    tuple of SectionReading
        From the surface down, with the elastic constants of the file. [MPa]

    Raises
    ------
    SurveyError
        A direction or a depth is not told, tilts give no stress, or a reading is none that can be
        kept; every fault at once.

    Notes
    -----
    Tilts: `residual_stress`, at each depth and direction by itself. So few tilts have a wider
    interval than their standard error says; the record therefore holds the error whose normal
    95 % interval is as wide. Strains: s = E / ((1 + n)(1 - 2n)) ((1 - n) e1 + n (e2 + e3)) [1]_,
    with the errors of the strains, of the unstressed spacing and of E. Where layers were removed,
    the depth is what was removed and the information depth together. No correction is made for
    the stress that removing a layer relieves; for layers far thinner than the plate it is small.

    References
    ----------
    .. [1] ISO 21432, "Non-destructive testing: standard test method for determining residual
       stresses by neutron diffraction" (scope read; formula as in the documentation of PyRS).

    Examples
    --------
    >>> import heritagecheck as hc
    >>> from heritagecheck.survey.instruments import StressFile, StressHead, StressRow
    >>> told = StressFile(
    ...     "sheet.csv", "0" * 64, "stresses",
    ...     StressHead(half_s2_per_tpa=5.8, planes="{211}", direction="along"),
    ...     (StressRow(7, depth_um=5, stress_mpa=-38, stress_error_mpa=9),),
    ... )
    >>> (reading,) = hc.section.readings_from(
    ...     told, zone="T06", profile="T06-before", moment="control", method="X-ray diffraction",
    ...     measured_on="2026-07-03", measured_by="materials laboratory",
    ... )
    >>> reading.value, reading.standard_error, reading.elastic_constants
    (-38.0, 9.0, '½S2 = 5.8 /TPa of the {211} planes')
    """
    day = date.fromisoformat(measured_on) if isinstance(measured_on, str) else measured_on
    found = stresses_in(stress_file)
    shared = {
        "zone": zone, "panel": panel, "spot": spot, "moment": moment, "method": method,
        "measured_on": day, "measured_by": measured_by, "file": file,
        "elastic_constants": stress_file.constants,
    }  # fmt: skip
    readings: list[SectionReading] = []
    faults: list[Fault] = []
    for direction in (ALONG, ACROSS):
        mine = [one for one in found if one.direction == direction]
        name = profile if direction == ALONG else f"{profile}-{ACROSS}"
        for number, one in enumerate(mine, 1):
            values: dict[str, Any] = shared | one.columns | {
                "section_reading": f"{name}-{number}", "profile": name, "profile_size": len(mine),
                "quantity": f"stress_{direction}", "note": one.note or None,
            }  # fmt: skip
            if values["standard_error"] == 0:
                faults.append(_without_scatter(stress_file, one))
                continue
            try:
                readings.append(SectionReading.model_validate(values))
            except ValidationError as error:
                faults.extend(row_faults(error, stress_file.file, None, values))
    if faults:
        raise SurveyError(faults, nothing="taken")
    return tuple(readings)


def stresses_in(stress_file: StressFile) -> tuple[StressAt, ...]:
    """Stress at each depth and direction of a file, from the surface down."""
    faults: list[Fault] = []
    if stress_file.kind == "strains":
        found = _of_strains(stress_file, faults)
    else:
        groups = _groups(stress_file, faults)
        if not faults and stress_file.kind == "tilts":
            found = _of_tilts(stress_file, groups, faults)
        else:
            found = _as_reported(groups)
    if faults:
        raise SurveyError(faults, nothing="taken")
    return tuple(sorted(found, key=lambda one: one.depth_um))


def _without_scatter(stress_file: StressFile, one: StressAt) -> Fault:
    """Fault of numbers rounded so far that they show no scatter."""
    return Fault(
        stress_file.file, None, f"standard error at {one.depth_um:g} µm, {one.direction}", "0",
        "the numbers lie on their line to the last digit. Give them with the digits that the "
        "instrument shows, or with their standard error",
    )  # fmt: skip


Groups = dict[tuple[float, str], list[tuple[StressRow, int]]]


def _groups(stress_file: StressFile, faults: list[Fault]) -> Groups:
    """Rows by depth and direction, each with the side to which it was tilted."""
    told = _Directions(stress_file, faults)
    found: Groups = {}
    for one in stress_file.rows:
        direction, side = told.of(one)
        depth = _depth_um(stress_file, one, faults)
        if direction and depth is not None:
            found.setdefault((depth, direction), []).append((one, side))
    return found


def _depth_um(stress_file: StressFile, one: StressRow, faults: list[Fault]) -> float | None:
    """Middle of what a row reads, below the surface that was treated."""
    if one.depth_um:
        return one.depth_um
    within = stress_file.head.information_depth_um
    if one.depth_um is None and within is not None:
        return (one.removed_um or 0.0) + within
    if one.depth_um is None and one.removed_um:
        return one.removed_um
    why = (
        "a reading at the surface takes in some depth. Give its middle in place of 0; or call the "
        "column layer removed, and add the line information depth, such as 5 µm"
    )
    if not any(fault.field == "depth" for fault in faults):
        faults.append(Fault(stress_file.file, one.row, "depth", "0", why))
    return None


class _Directions:
    """Direction of a row: its own, that of the head, or by its rotation φ."""

    def __init__(self, stress_file: StressFile, faults: list[Fault]) -> None:
        self.file, self.head, self.faults = stress_file.file, stress_file.head, faults
        self.turns = {one.phi_deg % 360 for one in stress_file.rows if one.phi_deg is not None}
        self.first = next(
            (one.phi_deg for one in stress_file.rows if one.phi_deg is not None), None
        )
        self.told: set[str] = set()

    def of(self, one: StressRow) -> tuple[str, int]:
        """Direction of a row and the side to which it was tilted; empty if not given."""
        said = one.direction or self.head.direction
        if said == NORMAL:
            self._fault(
                one.row, "direction", said,
                "no stress normal to the surface is recorded. Leave these rows out",
            )  # fmt: skip
            return "", 1
        if one.phi_deg is None:
            if not said:
                self._fault(None, "direction", NOTHING,
                            'add the line "direction", along or across')  # fmt: skip
            return said, 1
        start = self.first if self.head.along_phi_deg is None else self.head.along_phi_deg
        if self.head.along_phi_deg is None and (not said or self._mixed()):
            self._fault(
                None, "φ", ", ".join(f"{turn:g}" for turn in sorted(self.turns)),
                'which of these is along? Add the line "φ along", such as 0°',
            )  # fmt: skip
            return "", 1
        turn = (one.phi_deg - (start or 0.0)) % 360
        for place, direction, side in (
            (0, ALONG, 1), (90, ACROSS, 1), (180, ALONG, -1), (270, ACROSS, -1), (360, ALONG, 1)
        ):  # fmt: skip
            if abs(turn - place) <= _SAME_DEG:
                return (said if self.head.along_phi_deg is None else direction), side
        self._fault(
            one.row, "φ", f"{one.phi_deg:g}",
            f"is neither along, which is {start:g}°, nor across. Leave these rows out",
        )  # fmt: skip
        return "", 1

    def _mixed(self) -> bool:
        """Whether the rotations are not all of one line."""
        lines = [(turn - (self.first or 0.0)) % 180 for turn in self.turns]
        return any(_SAME_DEG < line < 180 - _SAME_DEG for line in lines)

    def _fault(self, row: int | None, field: str, came: str, why: str) -> None:
        """Say each thing once."""
        if why not in self.told:
            self.told.add(why)
            self.faults.append(Fault(self.file, row, field, came, why))


def _as_reported(groups: Groups) -> list[StressAt]:
    """Stresses as the laboratory reports them."""
    return [
        StressAt(depth, direction, one.stress_mpa or 0.0, one.stress_error_mpa or 0.0)
        for (depth, direction), rows in groups.items() for one, _ in rows
    ]  # fmt: skip


def _of_tilts(stress_file: StressFile, groups: Groups, faults: list[Fault]) -> list[StressAt]:
    """Stress of the line of each depth and direction."""
    constant, error = _half_s2(stress_file)
    found = []
    for (depth, direction), rows in groups.items():
        psi = np.array([side * (one.psi_deg or 0.0) for one, side in rows])
        spacing, stated = _spacings(stress_file, [one for one, _ in rows])
        try:
            stress = residual_stress(
                psi, spacing, half_s2_per_tpa=constant, half_s2_error_per_tpa=error,
                spacing_error_nm=stated, level=_LEVEL,
            )  # fmt: skip
        except ValueError as why:
            where = f"tilts at {depth:g} µm, {direction}"
            faults.append(Fault(stress_file.file, rows[0][0].row, where, "", str(why)))
            continue
        found.append(
            StressAt(
                depth, direction, stress.stress_mpa,
                (stress.high_mpa - stress.low_mpa) / (2 * _NORMAL_95),
                Tilts(psi, spacing, constant, stress), " ".join(stress.cautions),
            )
        )  # fmt: skip
    return found


def _half_s2(stress_file: StressFile) -> tuple[float, float]:
    """X-ray elastic constant ½S2 and its standard error, in 1/TPa; (1 + ν) / E of E and ν."""
    head = stress_file.head
    if head.half_s2_per_tpa is not None:
        return head.half_s2_per_tpa, head.half_s2_error_per_tpa or 0.0
    modulus, poisson = head.youngs_modulus_gpa or 0.0, head.poisson or 0.0
    constant = 1000 * (1 + poisson) / modulus
    return constant, constant * (head.youngs_modulus_error_gpa or 0.0) / modulus


def _spacings(
    stress_file: StressFile, rows: Sequence[StressRow]
) -> tuple[FloatArray, FloatArray | None]:
    """Spacings and their stated errors; of 2θ by Bragg's law, wavelength = 2 d sin θ."""
    if rows[0].spacing_nm is not None:
        given = [one.spacing_nm or 0.0 for one in rows]
        errors = [one.spacing_error_nm for one in rows]
        return np.array(given), None if errors[0] is None else np.array(errors, dtype=float)
    theta = np.radians([(one.two_theta_deg or 0.0) / 2 for one in rows])
    spacing = (stress_file.head.wavelength_nm or 0.0) / (2 * np.sin(theta))
    turned = [one.two_theta_error_deg for one in rows]
    if turned[0] is None:
        return spacing, None
    return spacing, spacing / np.tan(theta) * np.radians(np.array(turned, dtype=float)) / 2


def _of_strains(stress_file: StressFile, faults: list[Fault]) -> list[StressAt]:
    """Stresses along and across of the strains in three directions, at each depth."""
    head = stress_file.head
    at: dict[float, dict[str, StressRow]] = {}
    for one in stress_file.rows:
        depth = _depth_um(stress_file, one, faults)
        if depth is not None:
            at.setdefault(depth, {})[one.direction] = one
    found = []
    for depth, rows in at.items():
        missing = [name for name in (ALONG, ACROSS, NORMAL) if name not in rows]
        if missing:
            faults.append(
                Fault(stress_file.file, None, f"strains at {depth:g} µm", ", ".join(rows),
                      f"{' and '.join(missing)} missing; a stress takes all three directions")
            )  # fmt: skip
            continue
        strains = [_strain(stress_file, rows[name]) for name in (ALONG, ACROSS, NORMAL)]
        stress, error = stress_of_three(
            [strain for strain, _ in strains],
            youngs_modulus_gpa=head.youngs_modulus_gpa or 0.0, poisson=head.poisson or 0.0,
            standard_error_1e6=[error for _, error in strains],
            free_error_1e6=_free_error_1e6(stress_file),
            youngs_modulus_error_gpa=head.youngs_modulus_error_gpa or 0.0,
        )  # fmt: skip
        note = ""
        if abs(stress[2]) > _CAN_BE_SEEN * error[2]:
            note = f"Stress normal to the surface {stress[2]:+.0f} MPa."
        found += [
            StressAt(depth, name, float(value), float(spread), note=note)
            for name, value, spread in zip((ALONG, ACROSS), stress, error, strict=False)
        ]
    return found


def _strain(stress_file: StressFile, one: StressRow) -> tuple[float, float]:
    """Strain of a row and its own standard error, in microstrain: (d - d0) / d0 of a spacing."""
    if one.strain_1e6 is not None:
        return one.strain_1e6, one.strain_error_1e6 or 0.0
    free = stress_file.head.free_spacing_nm or 1.0
    strain = 1e6 * ((one.spacing_nm or 0.0) / free - 1)
    return strain, 1e6 * (one.spacing_error_nm or 0.0) / free


def _free_error_1e6(stress_file: StressFile) -> float:
    """Standard error that an uncertain d0 puts on every strain, in microstrain."""
    head = stress_file.head
    if head.free_spacing_nm is None:
        return 0.0
    return 1e6 * (head.free_spacing_error_nm or 0.0) / head.free_spacing_nm

"""Lattice spacings at several tilts, as a laboratory hands them over. Every number is made up."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from heritagecheck.evidence.section.stress_readings import readings_from
from heritagecheck.survey.instruments import read_stress_file
from heritagecheck.survey.store.attachments import attachment_of

READ_STEEL = date(2026, 8, 24)
LABORATORY = "materials laboratory"
HOW = "X-ray diffraction, sin²ψ, layers removed by electropolishing"
HALF_S2_PER_TPA, HALF_S2_ERROR_PER_TPA = 5.8, 0.12
FREE_NM, INFORMATION_UM = 0.11702, 5.0
PSI_DEG = (-45, -37, -27, -16, 0, 16, 27, 37, 45)
REMOVED_UM = (0, 15, 45)
NOISE = 19e-6  # of a spacing, of itself


class Sheet(NamedTuple):
    """One sheet of tilts: what was measured, and the stress that was put into it."""

    name: str
    panel: str
    spot: str | None
    stress_mpa: tuple[float, ...]


SHEETS = (
    # At the panel's own setting nothing has changed; where the steel melted it has shrunk on.
    Sheet("T06-stress-after", "T06-pulse-1", None, (-33, -20, -8)),
    Sheet("T06-stress-spot", "T06-pulse-1", "T06-pulse-1-S09", (235, 70, -5)),
)


def file_of(one: Sheet) -> str:
    """Name of the file of a sheet."""
    return f"instruments/{one.name}.csv"


def text_of(one: Sheet) -> str:
    """A sheet as the laboratory's program writes it."""
    stream = np.random.default_rng([1889, 211, *one.name.encode()])
    lines = [
        "# Invented for the Quillmere survey",
        f"Laboratory; {LABORATORY}",
        "Radiation; Cr Kα",
        "hkl; {211}",
        f"½S2; {HALF_S2_PER_TPA:g} 1/TPa",
        f"standard error of ½S2; {HALF_S2_ERROR_PER_TPA:g} 1/TPa",
        "direction; along",
        f"information depth; {INFORMATION_UM:g} µm",
        "",
        "layer removed [µm]; ψ [°]; d [nm]; standard error of d [nm]",
    ]
    for removed, stress in zip(REMOVED_UM, one.stress_mpa, strict=True):
        for psi in PSI_DEG:
            tilt = np.radians(psi)
            strain = HALF_S2_PER_TPA * 1e-6 * stress * np.sin(tilt) ** 2
            spacing = FREE_NM * (1 + strain + stream.normal(0, NOISE))
            lines.append(f"{removed}; {psi}; {spacing:.7f}; {NOISE * FREE_NM:.7f}")
    return "\n".join([*lines, ""])


def write_tilts(folder: Path) -> None:
    """Write the sheets."""
    for one in SHEETS:
        (folder / file_of(one)).write_text(text_of(one), encoding="utf-8", newline="")


def tilts_attached(folder: Path) -> list[dict[str, Any]]:
    """Attachments of the sheets."""
    return [
        attachment_of(
            folder / file_of(one), kind="document", attachment=f"tilts {one.name}",
            file=file_of(one), zone="T06", panel=one.panel, taken_on=READ_STEEL,
            taken_by=LABORATORY,
        ).model_dump()
        for one in SHEETS
    ]  # fmt: skip


def stress_of_tilts(folder: Path) -> list[dict[str, Any]]:
    """What the package itself finds in the sheets, as rows of the section readings."""
    return [
        reading.model_dump()
        for one in SHEETS
        for reading in readings_from(
            read_stress_file(folder / file_of(one)), zone="T06", panel=one.panel, spot=one.spot,
            profile=one.name, moment="after", method=HOW, measured_on=READ_STEEL,
            measured_by=LABORATORY, file=f"tilts {one.name}",
        )
    ]  # fmt: skip

"""What a laboratory's stress file lacks, or says twice or against itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from heritagecheck.errors import NOTHING, Fault
from heritagecheck.survey.instruments.stress_file import StressHead, StressKind, StressRow
from heritagecheck.survey.instruments.stress_table import StressTable
from heritagecheck.survey.instruments.stress_words import names_of

SHOWN = 5
CONSTANTS_APART = 2.0  # ½S2 of real planes and (1 + ν) / E differ by less than this factor
SPACING_APART = 0.01  # a spacing lies this close to d0, of itself
SMALLEST_TILTS_DEG = 1.6  # a quarter turn is 1.57 rad

WANTED: dict[StressKind, list[tuple[str, ...]]] = {
    "tilts": [("spacing", "two_theta")],
    "stresses": [("depth", "removed"), ("stress_error", "stress_spread")],
    "strains": [("direction",), ("strain", "spacing")],
}


def missing(file: str, kind: StressKind, table: StressTable, found: StressHead) -> Iterator[Fault]:
    """Elastic constants and columns without which a table is no stress."""
    moduli = found.youngs_modulus_gpa is not None and found.poisson is not None
    if kind == "strains" and not moduli:
        yield Fault(
            file, None, "elastic constants", NOTHING,
            "strains in three directions need E and ν of the lattice planes. Ask the laboratory, "
            "and add the lines, such as E = 220 GPa and ν = 0.28",
        )  # fmt: skip
    elif found.half_s2_per_tpa is None and not moduli:
        yield Fault(
            file, None, "elastic constants", NOTHING,
            "a stress needs ½S2 of the lattice planes, or E and ν of them. Ask the laboratory, and "
            "add the line, such as ½S2 = 5.8 1/TPa",
        )  # fmt: skip
    for names in WANTED[kind]:
        if table.column(*names) is None:
            said = ", or ".join(names_of("column", name) for name in names)
            yield Fault(file, None, "column", NOTHING, f"give a column {said}")
    if kind == "tilts" and not table.column("spacing") and found.wavelength_nm is None:
        yield Fault(
            file, None, "wavelength", NOTHING,
            "2θ gives a spacing only with the wavelength. Add the line, such as wavelength = "
            "0.22897 nm",
        )  # fmt: skip
    if kind == "strains":
        yield from _strains_missing(file, table, found)


def _strains_missing(file: str, table: StressTable, head: StressHead) -> Iterator[Fault]:
    """What strains need beside their numbers: an error, and d0 where spacings are given."""
    if table.column("strain"):
        if table.column("strain_error") is None:
            said = names_of("column", "strain_error")
            yield Fault(file, None, "column", NOTHING, f"give a column {said}")
        return
    if table.column("spacing_error") is None:
        said = names_of("column", "spacing_error")
        yield Fault(file, None, "column", NOTHING, f"give a column {said}")
    if head.free_spacing_nm is None or head.free_spacing_error_nm is None:
        yield Fault(
            file, None, "d0", NOTHING,
            "a spacing gives a strain only with the unstressed spacing d0 and its standard error. "
            "Add both lines",
        )  # fmt: skip


def odd(
    file: str, head: StressHead, rows: Sequence[StressRow], unread: Sequence[str]
) -> Iterator[Fault]:
    """What contradicts itself, or would be counted twice; `unread` columns mean nothing to us."""
    if head.half_s2_per_tpa and head.youngs_modulus_gpa and head.poisson:
        isotropic = 1000 * (1 + head.poisson) / head.youngs_modulus_gpa
        ratio = head.half_s2_per_tpa / isotropic
        if not 1 / CONSTANTS_APART < ratio < CONSTANTS_APART:
            yield Fault(
                file, None, "½S2", f"{head.half_s2_per_tpa:g} 1/TPa",
                f"E and ν give {isotropic:.3g} 1/TPa. Which of them is wrong?",
            )  # fmt: skip
    if head.free_spacing_nm is not None:
        apart = SPACING_APART * head.free_spacing_nm
        off = [one for one in rows if one.spacing_nm is not None
               and abs(one.spacing_nm - head.free_spacing_nm) > apart]  # fmt: skip
        for one in off[:SHOWN]:
            yield Fault(
                file, one.row, "d", f"{one.spacing_nm:g} nm",
                f"d0 is {head.free_spacing_nm:g} nm; planes of one kind differ by far less",
            )  # fmt: skip
    tilts = [abs(one.psi_deg) for one in rows if one.psi_deg is not None]
    if tilts and 0 < max(tilts) < SMALLEST_TILTS_DEG:
        yield Fault(
            file, None, "ψ", f"at most {max(tilts):g}°",
            "tilts as small as these carry no stress. Are they in radians?",
        )  # fmt: skip
    yield from _twice(file, rows)
    if unread:
        yield from _pooled(file, rows, ", ".join(unread))


def _twice(file: str, rows: Sequence[StressRow]) -> Iterator[Fault]:
    """Rows that are there twice: each would count as another measurement."""
    seen: dict[tuple[object, ...], int] = {}
    for one in rows:
        place = (one.direction, one.depth_um, one.removed_um, one.phi_deg, one.psi_deg)
        # The same tilt may be measured again, but not with the same number to the last digit.
        key = (*place, one.spacing_nm, one.two_theta_deg) if one.psi_deg is not None else place
        if key in seen:
            yield Fault(
                file, one.row, "row", f"as row {seen[key]}",
                "is there twice; leave one of them out",
            )  # fmt: skip
        seen.setdefault(key, one.row)


def _pooled(file: str, rows: Sequence[StressRow], unread: str) -> Iterator[Fault]:
    """Tilts of several places in one file, told apart by a column that we do not know."""
    seen: dict[tuple[object, ...], StressRow] = {}
    for one in rows:
        place = (one.direction, one.depth_um, one.removed_um, one.phi_deg, one.psi_deg)
        before = seen.setdefault(place, one)
        if one.psi_deg is not None and before is not one:
            yield Fault(
                file, one.row, "ψ", f"{one.psi_deg:g}°, as in row {before.row}",
                f"does {unread} tell two places apart? Give each place a file of its own; else "
                "leave that column out",
            )  # fmt: skip
            return

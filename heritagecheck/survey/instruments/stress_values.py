"""What a laboratory's stress file says: elastic constants, and a row for each tilt or depth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

StressKind = Literal["tilts", "stresses", "strains"]
DIRECTIONS = ("along", "across", "normal")


@dataclass(frozen=True, slots=True)
class StressHead:
    """
    What holds for all rows of a stress file; None where neither file nor laboratory says it.

    Attributes
    ----------
    half_s2_per_tpa, half_s2_error_per_tpa : float or None
        X-ray elastic constant ½S2 of the lattice planes, and its standard error. [1/TPa]
    youngs_modulus_gpa, youngs_modulus_error_gpa, poisson : float or None
        Constants of these planes, where ½S2 is not given. [GPa, GPa, 1]
    planes : str
        Lattice planes, such as {211}.
    wavelength_nm : float or None
        Wavelength of the radiation. [nm]
    free_spacing_nm, free_spacing_error_nm : float or None
        Spacing of the unstressed lattice, and its standard error. [nm]
    information_depth_um : float or None
        Mean depth from which the radiation comes back. [µm]
    along_phi_deg : float or None
        Rotation φ of the direction that the survey calls along. [degrees]
    direction : str
        The one direction that was measured, along or across.
    """

    half_s2_per_tpa: float | None = None
    half_s2_error_per_tpa: float | None = None
    youngs_modulus_gpa: float | None = None
    youngs_modulus_error_gpa: float | None = None
    poisson: float | None = None
    planes: str = ""
    wavelength_nm: float | None = None
    free_spacing_nm: float | None = None
    free_spacing_error_nm: float | None = None
    information_depth_um: float | None = None
    along_phi_deg: float | None = None
    direction: str = ""


@dataclass(frozen=True, slots=True)
class StressRow:
    """One row of a stress file, in the units of the names; None where the file has no column."""

    row: int
    direction: str = ""
    depth_um: float | None = None
    removed_um: float | None = None
    psi_deg: float | None = None
    phi_deg: float | None = None
    two_theta_deg: float | None = None
    two_theta_error_deg: float | None = None
    spacing_nm: float | None = None
    spacing_error_nm: float | None = None
    stress_mpa: float | None = None
    stress_error_mpa: float | None = None
    strain_1e6: float | None = None
    strain_error_1e6: float | None = None


@dataclass(frozen=True, slots=True)
class StressFile:
    """
    A laboratory's stress file, as it says and no more.

    Attributes
    ----------
    file, sha256 : str
        Its name and checksum.
    kind : {"tilts", "stresses", "strains"}
        Lattice spacings at several tilts; stresses as the laboratory reports them; or strains in
        three directions.
    head : StressHead
        Elastic constants, and what else holds for all rows.
    rows : tuple of StressRow
        In the order of the file.
    cautions : tuple of str
        What to look at before it is relied on.
    """

    file: str
    sha256: str
    kind: StressKind
    head: StressHead
    rows: tuple[StressRow, ...]
    cautions: tuple[str, ...] = ()

    def __str__(self) -> str:
        """Say what it holds, for whoever has to confirm it."""
        what = {
            "tilts": "lattice spacings at several tilts",
            "stresses": "stresses as the laboratory reports them",
            "strains": "strains in three directions",
        }[self.kind]
        said = f"{self.file}: {what}, {len(self.rows)} rows; {self.constants}"
        return ". ".join((said, *self.cautions))

    @property
    def constants(self) -> str:
        """The elastic constants in words, with their units."""
        head, planes = self.head, f" of the {self.head.planes} planes" if self.head.planes else ""
        if head.half_s2_per_tpa is not None and self.kind != "strains":
            return f"½S2 = {head.half_s2_per_tpa:g} /TPa{planes}"
        return f"E = {head.youngs_modulus_gpa:g} GPa, ν = {head.poisson:g}{planes}"

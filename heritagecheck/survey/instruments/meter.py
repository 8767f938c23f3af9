"""Files of colour meters, read whole or not at all, as what they say and no more."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path

from heritagecheck.errors import refused_file
from heritagecheck.survey.instruments.meter_cgats import is_cgats, read_cgats
from heritagecheck.survey.instruments.meter_csv import read_csv, read_mapping
from heritagecheck.survey.instruments.meter_cxf import read_cxf
from heritagecheck.survey.instruments.meter_file import (
    SCALES,
    Measured,
    MeterFile,
    on_scale_to_1,
    text_of,
)

# A meter's memory holds some thousand spectra of a few hundred bytes.
MOST_BYTES = 8_000_000
MOST_LINES, LONGEST_LINE = 20_000, 50_000


def read_meter_file(
    path: str | Path, *, mapping: str | Path | None = None, reflectance_scale: str | None = None
) -> MeterFile:
    """
    Read the file of a colour meter: CxF3, CGATS.17 or CSV, recognised by its content.

    Parameters
    ----------
    path : str or Path
        The file.
    mapping : str or Path, optional
        For CSV: a TOML file that says under which heading of the meter's export each of our names
        stands. Without one, the error shows an example to copy.
    reflectance_scale : {"0 to 1", "0 to 100"}, optional
        Scale of the spectra, for a file that leaves it open.

    Returns
    -------
    MeterFile
        Illuminant, observer, geometry, aperture and day are None where the file does not say.

    Raises
    ------
    SurveyError
        The file can't be read, or leaves open what a number means; every fault at once.
    ImportError
        CxF3 without the package that reads it.
    ValueError
        An argument that does not fit the file.

    Notes
    -----
    CxF3 is read by colour-cxf [1]_ after a look that refuses document types and entities; its
    reflectance runs from 0 to 1. CGATS.17 [2]_ has plain numbers with decimal points.

    References
    ----------
    .. [1] ISO 17972-1:2015, Colour data exchange format (CxF/X) - Part 1: Relationship to CxF3.
    .. [2] ANSI CGATS.17-2009, Exchange format for colour and process control data using XML or
       ASCII text; ISO 28178:2009.
    """
    path = Path(path)
    if reflectance_scale not in {None, *SCALES}:
        raise ValueError(
            f'reflectance_scale = "{reflectance_scale}" is not offered; take one of '
            f"{', '.join(SCALES)}."
        )
    data = _content(path)
    digest = hashlib.sha256(data).hexdigest()
    kind = _kind(path.name, data)
    if mapping is not None and kind != "CSV":
        raise ValueError(f"mapping= is for CSV files, and {path.name} is {kind}.")
    if kind == "CxF3":
        if reflectance_scale == "0 to 100":
            raise ValueError(f'{path.name} is CxF3, whose reflectance runs from "0 to 1".')
        measured: Iterable[Measured] = read_cxf(path.name, data)
    elif why := _too_long(data):
        raise refused_file(path.name, why)
    elif kind == "CGATS.17":
        found, said = read_cgats(path.name, text_of(data))
        measured = on_scale_to_1(path.name, found, _one_scale(said, reflectance_scale))
    else:
        plan = None if mapping is None else read_mapping(Path(mapping))
        found = read_csv(path.name, data, plan)
        said = None if plan is None else plan.reflectance_scale
        measured = on_scale_to_1(path.name, found, _one_scale(said, reflectance_scale))
    return MeterFile(path.name, digest, kind, tuple(measured))


def _content(path: Path) -> bytes:
    """Bytes of a file that may be read at all."""
    if not path.is_file():
        raise refused_file(path.name, "there is no such file")
    if path.stat().st_size > MOST_BYTES:
        raise refused_file(
            path.name, f"holds {path.stat().st_size:,} B; a colour meter's file of more than "
            f"{MOST_BYTES:,} B is not read. Export fewer measurements"
        )  # fmt: skip
    data = path.read_bytes()
    if not data.strip():
        raise refused_file(path.name, "this file is empty")
    return data


def _too_long(data: bytes) -> str:
    """Why a text is not read: too many lines, or one that is too long; empty where it may be."""
    lines = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
    if len(lines) > MOST_LINES:
        return f"holds {len(lines):,} lines; at most {MOST_LINES:,} are read. Export a part of them"
    longest = max(map(len, lines))
    if longest > LONGEST_LINE:
        return f"holds a line of {longest:,} B; at most {LONGEST_LINE:,} B are read. Export less"
    return ""


def _kind(name: str, data: bytes) -> str:
    """What kind of file it is, by its content."""
    text = text_of(data)
    if text.lstrip().startswith("<"):
        return "CxF3"
    if "\x00" in text or data.startswith((b"PK\x03\x04", b"%PDF")):
        raise refused_file(
            name, "this is a binary file; export CxF3, CGATS.17 or CSV from the meter's program"
        )
    return "CGATS.17" if is_cgats(text) else "CSV"


def _one_scale(said: str | None, given: str | None) -> str | None:
    """Scale of reflectance, as file or mapping and caller agree on it."""
    if said is not None and given not in {None, said}:
        raise ValueError(
            f'The file or its mapping says that reflectance runs from "{said}", and '
            f'reflectance_scale= says "{given}".'
        )
    return said or given

"""Height maps of instruments, with unit, pixel size and extent for somebody to confirm."""

from __future__ import annotations

import hashlib
import io
import math
import warnings
from collections.abc import Iterator
from contextlib import redirect_stdout
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Literal, cast

import numpy as np
from numpy.typing import NDArray

from heritagecheck.errors import Fault, SurveyError, refused_file
from heritagecheck.survey.exchange.archives import BROKEN, in_one_line
from heritagecheck.survey.instruments.height_formats import (
    is_text,
    sdf_faults,
    text_faults,
    zip_faults,
)
from heritagecheck.survey.records import Attachment, HeightMap

UM_PER = {"m": 1e6, "mm": 1e3, "µm": 1.0, "nm": 1e-3}
SPELT = {"μm": "µm", "um": "µm"}  # the Greek letter, and those who have none
# Their units are metres by the standard: ISO 25178-72 and ISO 25178-71.
STANDARD = {"x3p": "m", "sdf": "m"}
# They have no mark to be known by: any file of the right size would pass for a height map.
UNKNOWABLE = {"hgt", "nms"}
MOST_BYTES = 2**28
# What is made of them on the way takes some forty bytes a pixel.
MOST_PIXELS = 2**24


@dataclass(frozen=True, eq=False)
class HeightFile:
    """
    A height map, or the profile of a stylus as a map of one row, as its file gives it.

    Attributes
    ----------
    file, sha256, kind : str
        Its name, checksum and format.
    heights_um : numpy.ndarray, shape (rows, columns)
        NaN where the instrument saw nothing. [µm]
    pixel_um : tuple of float
        Pixel size along a row and along a column. [µm]
    unit_in_file : str
        Unit of the heights in the file.
    cautions : tuple of str
        What to look at before it is relied on.
    """

    file: str
    sha256: str
    kind: str
    heights_um: NDArray[np.float64]
    pixel_um: tuple[float, float]
    unit_in_file: str
    cautions: tuple[str, ...] = ()

    @property
    def rows(self) -> int:
        """Rows."""
        return int(self.heights_um.shape[0])

    @property
    def columns(self) -> int:
        """Columns."""
        return int(self.heights_um.shape[1])

    @property
    def extent_mm(self) -> tuple[float, float]:
        """Width and height of the field in mm."""
        return self.columns * self.pixel_um[0] / 1000, self.rows * self.pixel_um[1] / 1000

    @property
    def lowest_um(self) -> float:
        """Lowest height in µm."""
        return float(np.nanmin(self.heights_um))

    @property
    def highest_um(self) -> float:
        """Highest height in µm."""
        return float(np.nanmax(self.heights_um))

    @property
    def unseen(self) -> float:
        """Share of pixels without a height, 0 to 1."""
        return float(np.isnan(self.heights_um).mean())

    def confirmed(
        self,
        attachment: Attachment,
        *,
        height_map: str,
        moment: Literal["before", "after", "reference"],
        instrument: str,
        measured_on: date,
        confirmed_by: str,
    ) -> HeightMap:
        """
        The record of a height map whose unit, pixel size and extent somebody has confirmed.

        Parameters
        ----------
        attachment : Attachment
            The same file as it is kept with the survey; it names the zone, and the panel if one.
        height_map : str
            Code of the height map.
        moment : {"before", "after", "reference"}
            Before or after the trial, or on untreated stone.
        instrument : str
            Instrument, by kind.
        measured_on : date
            When.
        confirmed_by : str
            Role of whoever read the sentence of this record and found it right.

        Returns
        -------
        HeightMap
            To be saved.

        Raises
        ------
        ValueError
            The attachment is another file, or shows no zone.
        """
        if attachment.sha256 != self.sha256:
            raise ValueError(
                f"{attachment.attachment} is {attachment.file}, not {self.file} as it was read."
            )
        if attachment.zone is None:
            raise ValueError(f"{attachment.attachment} names no zone. Record which zone it shows.")
        unit = cast("Literal['m', 'mm', 'µm', 'nm']", self.unit_in_file)
        return HeightMap(
            height_map=height_map, attachment=attachment.attachment, zone=attachment.zone,
            panel=attachment.panel, moment=moment, height_unit=unit, pixel_x_um=self.pixel_um[0],
            pixel_y_um=self.pixel_um[1], rows=self.rows, columns=self.columns,
            lowest_um=self.lowest_um, highest_um=self.highest_um, unseen=self.unseen,
            instrument=instrument, measured_on=measured_on, confirmed_by=confirmed_by,
        )  # fmt: skip

    def __str__(self) -> str:
        """Say what somebody who knows the surface has to confirm."""
        width, height = self.extent_mm
        if self.rows == 1:
            field = (
                f"steps of {self.pixel_um[0]:.4g} µm; {self.columns} heights, {width:.4g} mm long"
            )
        else:
            field = (
                f"pixels of {self.pixel_um[0]:.4g} × {self.pixel_um[1]:.4g} µm; {self.columns} × "
                f"{self.rows} pixels, {width:.4g} × {height:.4g} mm"
            )
        said = (
            f"{self.file} ({self.kind}), for confirmation: heights in {self.unit_in_file}, from "
            f"{self.lowest_um:.4g} to {self.highest_um:.4g} µm; {field}; {self.unseen:.1%} not seen"
        )
        return ". ".join((said, *self.cautions))


def read_height_map(
    path: str | Path, *, height_unit: str | None = None,
    pixel_um: float | tuple[float, float] | None = None,
) -> HeightFile:  # fmt: skip
    """Read a height map: X3P, SDF, or another format that SurfaceTopography knows."""
    # Heights come as they are: no tilt is taken out, nothing is filled in.
    path = Path(path)
    given = unit_given(height_unit)
    pixel = _pair(pixel_um)
    data = content_of(path)
    reader = opened_file(path.name, data)
    if not reader.channels:
        raise refused_file(path.name, "holds no heights that can be read. Export X3P")
    kind, channel = str(reader.format()), reader.default_channel
    if faults := list(_channel_faults(path.name, channel)):
        raise SurveyError(faults)
    if faults := list(_said_faults(path.name, kind, channel, given, pixel)):
        raise SurveyError(faults)
    told = unit_said(channel)
    # SurfaceTopography gives SDF in µm, and has reckoned it over from the metres in the file.
    unit = told if kind in STANDARD else given or told
    heights_um = heights_in(path.name, reader, channel)
    heights_um *= UM_PER[unit]
    heights_um.setflags(write=False)
    own = _pixel_um(channel)
    size = (own or pixel) if kind in STANDARD else (pixel or own)
    return HeightFile(
        path.name,
        hashlib.sha256(data).hexdigest(),
        kind.upper(),
        heights_um,
        size or (math.nan, math.nan),
        STANDARD.get(kind, unit),
        tuple(_cautions(reader, kind, (told, given), (own, pixel))),
    )


def unit_given(height_unit: str | None) -> str | None:
    """Unit given by the caller, in our spelling; None if it is left to the file."""
    given = None if height_unit is None else SPELT.get(height_unit, height_unit)
    if given is not None and given not in UM_PER:
        raise ValueError(
            f'height_unit = "{height_unit}" is not offered; take one of {", ".join(UM_PER)}.'
        )
    return given


def _pair(pixel_um: float | tuple[float, float] | None) -> tuple[float, float] | None:
    """Pixel size along a row and along a column."""
    if pixel_um is None:
        return None
    pair = (pixel_um, pixel_um) if isinstance(pixel_um, int | float) else tuple(pixel_um)
    if len(pair) != 2 or not all(math.isfinite(one) and one > 0 for one in pair):
        raise ValueError(
            f"pixel_um = {pixel_um} is not a pixel size; give one or two numbers above 0, in µm."
        )
    return float(pair[0]), float(pair[1])


def content_of(path: Path) -> bytes:
    """Bytes of a file that may be read at all."""
    if not path.is_file():
        raise refused_file(path.name, "there is no such file")
    if path.stat().st_size > MOST_BYTES:
        raise refused_file(
            path.name,
            f"holds {path.stat().st_size:,} B; at most {MOST_BYTES:,} B are read. Export a part",
        )
    data = path.read_bytes()
    if not data.strip():
        raise refused_file(path.name, "this file is empty")
    return data


def opened_file(file: str, data: bytes) -> Any:
    """The file as the library opens it, after a look at what it might do to the reader."""
    library = load_library()
    faults: list[Fault] = []
    kind = None
    if data.startswith(b"PK\x03\x04"):
        faults, kind = zip_faults(file, data), "x3p" if b"main.xml" in data else None
    elif data.startswith((b"aISO-1.0", b"bISO-1.0")):
        faults, kind = list(sdf_faults(file, data)) if data.startswith(b"a") else [], "sdf"
    elif b"<!ENTITY" in data:
        faults = [Fault(file, None, "", "", "defines entities, which a height map does not need")]
    elif is_text(data):
        faults, kind = text_faults(file, data)
    if faults:
        raise SurveyError(faults)
    try:
        with redirect_stdout(io.StringIO()):  # some of its readers print what they make of a file
            reader = library.open_topography(io.BytesIO(data), format=kind)
    except library.CannotDetectFileFormat:
        raise refused_file(file, "this is not a height map that can be read. Export X3P") from None
    except (*BROKEN, library.ReadFileError, library.UnknownFileFormat) as error:
        why = f"can't be read as {str(kind).upper()}: {in_one_line(error)}"
        raise refused_file(file, why) from error
    if reader.format() in UNKNOWABLE:
        raise refused_file(file, "this is not a height map that can be recognised; export X3P")
    return reader


def load_library() -> Any:
    """Load SurfaceTopography, which warns that it will not compute on several machines."""
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", "Could not import mpi4py", ImportWarning)
            import SurfaceTopography.IO as library
    except ImportError as missing:
        raise ImportError(
            "read_height_map needs SurfaceTopography: pip install 'heritagecheck[surface]'"
        ) from missing
    return library


def _channel_faults(file: str, channel: Any) -> Iterator[Fault]:
    """Measurements that are no height map."""
    if channel.dim != 2:
        yield Fault(
            file, None, "", "",
            "holds a profile, not a height map: one line can't represent an area. "
            "Measure a field",
        )  # fmt: skip
    elif math.prod(channel.nb_grid_pts) > MOST_PIXELS:
        size = " × ".join(f"{count:,}" for count in channel.nb_grid_pts)
        yield Fault(
            file, None, "pixels", size,
            f"at most {MOST_PIXELS:,} are read. Export a part of the field, or larger pixels",
        )  # fmt: skip
    if channel.data_kind is not None and channel.data_kind.value != "height":
        yield Fault(file, None, "channel", str(channel.name), "holds no heights")


def _said_faults(
    file: str, kind: str, channel: Any, given: str | None, pixel: tuple[float, float] | None
) -> Iterator[Fault]:
    """Fault of a unit or pixel size that is missing or contradicts a standard."""
    told, own = unit_said(channel), _pixel_um(channel)
    yield from unit_faults(file, kind, told, given)
    if own is None and pixel is None:
        yield Fault(
            file, None, "pixel_um", "nothing",
            "give pixel_um=, the pixel size in µm, because the file does not state it",
        )  # fmt: skip
    if kind in STANDARD and own and pixel and not np.allclose(own, pixel, rtol=1e-3):
        yield Fault(
            file, None, "pixel_um", f"{pixel[0]:g} × {pixel[1]:g}",
            f"the file says {own[0]:g} × {own[1]:g} µm",
        )  # fmt: skip


def unit_faults(file: str, kind: str, told: str, given: str | None) -> Iterator[Fault]:
    """Fault of a height unit that neither file nor caller gives, or that contradicts a standard."""
    by_standard = STANDARD.get(kind.lower())
    if by_standard and given not in {None, by_standard}:
        yield Fault(file, None, "height_unit", str(given), f"{kind.upper()} is in {by_standard}")
    if told not in UM_PER and given is None:
        yield Fault(
            file, None, "height_unit", told or "nothing",
            f"give height_unit=, one of {', '.join(UM_PER)}, because the file does not state it",
        )  # fmt: skip


def unit_said(channel: Any) -> str:
    """Unit that the library gives; empty where there is none."""
    word = "" if channel.unit is None else str(channel.unit)
    return SPELT.get(word, word)


def _pixel_um(channel: Any) -> tuple[float, float] | None:
    """Pixel size by the file; None where it leaves it open."""
    factor = UM_PER.get(unit_said(channel))
    sizes = channel.physical_sizes
    if factor is None or sizes is None or len(sizes) != len(channel.nb_grid_pts):
        return None
    pair = [
        float(size) * factor / count for size, count in zip(sizes, channel.nb_grid_pts, strict=True)
    ]
    return (pair[0], pair[1]) if all(math.isfinite(one) and one > 0 for one in pair) else None


def heights_in(file: str, reader: Any, channel: Any) -> NDArray[np.float64]:
    """Heights in the unit of the library, row by row; NaN where nothing was measured."""
    # The library makes no map without a size; the pixel count is passed in its place and not used.
    sizes = None if channel.physical_sizes is not None else channel.nb_grid_pts
    try:
        found = reader.topography(channel_index=channel.index, physical_sizes=sizes).heights()
    except (*BROKEN, load_library().ReadFileError) as error:
        raise refused_file(file, f"its heights can't be read: {in_one_line(error)}") from error
    heights = np.ma.filled(np.ma.asarray(found, dtype=np.float64), np.nan).T.copy()
    del found
    heights[~np.isfinite(heights)] = np.nan
    if np.isnan(heights).all():
        raise refused_file(file, "no pixel has a height")
    return heights


def _cautions(
    reader: Any,
    kind: str,
    units: tuple[str, str | None],
    pixels: tuple[tuple[float, float] | None, tuple[float, float] | None],
) -> Iterator[str]:
    """What to look at before a map is relied on."""
    channels = len(reader.channels)
    if channels > 1:
        yield f"It holds {channels} channels; the one read is {reader.default_channel.name}"
    if kind in STANDARD:
        return
    yield (
        f"{kind.upper()} comes out of some libraries a thousand times higher than out of others. "
        "Compare the highest and lowest point with the instrument's display, or export X3P"
    )
    told, given = units
    if given is not None and given != told:
        yield f"Heights were read in {given}, as given; the file says {told or 'nothing'}"
    own, pixel = pixels
    if own and pixel and not np.allclose(own, pixel, rtol=1e-3):
        yield f"The pixel size was given; the file says {own[0]:g} × {own[1]:g} µm"

"""What a screen keeps of a file of heights once it was read: its words and its picture."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from heritagecheck.evidence.surface.map_pair import check_surface, roughness_of, tilt_um_per_mm
from heritagecheck.figures.height_map import draw_profile, relief_jpeg
from heritagecheck.sentences import ended
from heritagecheck.survey.instruments.height_files import HeightFile


@dataclass(frozen=True, slots=True)
class MapFile:
    """
    A file of heights without its heights, of which there may be sixteen million.

    `trouble` says why it can't be taken as it is read, and is empty where it can; `said` is what
    it says of itself, a sentence each; `picture` its relief, or its line, with the kind of that.
    """

    kind: str
    unit_in_file: str
    pixel_um: tuple[float, float]
    rows: int
    columns: int
    lowest_um: float
    highest_um: float
    unseen: float
    trouble: str
    said: tuple[str, ...]
    picture: tuple[bytes, str]


def map_file(file: HeightFile) -> MapFile:
    """What is kept of a file."""
    trouble = ""
    try:
        check_surface(file)
    except ValueError as why:
        trouble = str(why)
    if file.rows == 1:
        svg = draw_profile(file.heights_um[0], file.pixel_um[0]).svg
        picture = svg.encode(), "image/svg+xml"
    else:
        picture = relief_jpeg(file.heights_um, file.pixel_um), "image/jpeg"
    said = tuple(map(ended, _said(file, rough=not trouble)))
    return MapFile(
        file.kind, file.unit_in_file, file.pixel_um, file.rows, file.columns, file.lowest_um,
        file.highest_um, file.unseen, trouble, said, picture,
    )  # fmt: skip


def _said(file: HeightFile, *, rough: bool) -> Iterator[str]:
    """What the file says of itself, a sentence each."""
    width, height = file.extent_mm
    across, down = file.pixel_um
    tilt = tilt_um_per_mm(file)
    yield f"Format {file.kind}, heights in {file.unit_in_file}"
    if file.rows == 1:
        yield f"Profile of {file.columns} heights, one every {across:.4g} µm, {width:.4g} mm long"
    else:
        size = f"{file.columns} × {file.rows} pixels of {across:.4g} × {down:.4g} µm"
        yield f"Map of {size}, {width:.4g} × {height:.4g} mm"
    yield f"Heights from {file.lowest_um:.4g} to {file.highest_um:.4g} µm"
    yield f"{file.unseen:.1%} of it has no height"
    if file.rows == 1:
        yield f"Tilt {tilt[0]:.2g} µm per mm along the line"
    else:
        yield f"Tilt {tilt[0]:.2g} µm per mm along a row, {tilt[1]:.2g} µm per mm down"
    try:
        yield from (str(roughness_of(file)),) if rough else ()
    except ValueError as why:
        yield f"No roughness: {why}"
    yield from file.cautions

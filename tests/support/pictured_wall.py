"""A picture of a wall, drawn when a test asks for it, and a survey whose zones lie on it."""

import io
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

import heritagecheck as hc
from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.survey import Survey

COURSE, STONE = 60, 110  # pixels: height and width of a block
# Outlines in metres on a wall of 12 m by 8 m: a square, one with an opening, and one in two parts.
OUTLINES = {
    "N04": "0.5 0.5; 4.5 0.5; 4.5 7.5; 0.5 7.5",
    "N09": "5 1; 8 1; 8 6; 5 6 | 6 2; 7 2; 7 4; 6 4",
    "N12": "8.5 5; 11.5 5; 11.5 7.5; 8.5 7.5 | 9 1; 11 1; 10 3",
}


def wall(width: int = 1200, height: int = 800, *, turned: float = 0.0) -> Image.Image:
    """Blocks with pale joints, darker towards the foot; a red mark at each end of 10 m."""
    noise = np.random.default_rng(7)
    grain = noise.normal(0, 9, (height, width, 1)) + np.linspace(40, -50, height)[:, None, None]
    pixels = np.clip(np.array([128, 122, 112]) + grain, 0, 255).astype(np.uint8)
    image = Image.fromarray(pixels)
    pen = ImageDraw.Draw(image)
    for row, top in enumerate(range(0, height, COURSE)):
        pen.line([(0, top), (width, top)], (196, 190, 178), 3)
        for left in range(-(row % 2) * STONE // 2, width, STONE):
            pen.line([(left, top), (left, top + COURSE)], (196, 190, 178), 3)
    for x in (width // 12, 11 * width // 12):
        pen.ellipse([x - 5, height // 2 - 5, x + 5, height // 2 + 5], (220, 20, 20))
    white = (255, 255, 255)
    return image.rotate(turned, Image.Resampling.BICUBIC, expand=True, fillcolor=white)


def saved(image: Image.Image, kind: str = "JPEG", **given: object) -> bytes:
    """Content of a file that holds a picture."""
    file = io.BytesIO()
    image.save(file, kind, **given)  # type: ignore[arg-type]
    return file.getvalue()


def on_a_wall(
    folder: Path, *, drawing: bytes | None, outlined: tuple[str, ...] = tuple(OUTLINES)
) -> Survey:
    """Give the example survey, three zones of which lie on a wall, or on none that is drawn."""
    survey = hc.demo_survey()
    item = Elevation(elevation="wall", name="Yard wall")
    if drawing is not None:
        (folder / "wall.jpg").write_bytes(drawing)
        item = Elevation(
            elevation="wall", name="Yard wall", drawing="wall.jpg", width_m=12, height_m=8
        )
    zones = tuple(
        zone.changed(
            elevation="wall", outline=OUTLINES[zone.zone] if zone.zone in outlined else None
        )
        if zone.zone in OUTLINES
        else zone
        for zone in survey.all(Zone)
    )
    elevations = (*survey.all(Elevation), item)
    records = {**survey.records, "zones": zones, "elevations": elevations}
    return Survey(records, folder)

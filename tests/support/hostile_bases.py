"""Good inputs of every kind, small, to be mutated."""

from __future__ import annotations

import re
import runpy
import shutil
from pathlib import Path

import colour_cxf
import numpy as np
from PIL import Image

import heritagecheck as hc
from heritagecheck.survey.exchange.workbook import write_workbook
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import TABLES, Elevation, TileReading
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.survey import Survey

FILES = Path(__file__).parents[1] / "survey" / "instrument_files"
WITH_FILES = {"attachments", "photos", "height_maps"}
SAMPLE = Path(colour_cxf.__file__).parent / "tests" / "resources" / "sample.cxf"


def small_survey() -> Survey:
    """The closed legs of the example alone."""
    found = {
        table: () if table in WITH_FILES else tuple(one for one in records if _is_of_the_legs(one))
        for table, records in hc.demo_survey().records.items()
    }
    return Survey(found, example_folder())


def _is_of_the_legs(record: object) -> bool:
    """Whether a record belongs to the closed legs, or to the survey as a whole."""
    if isinstance(record, Elevation):
        return record.elevation == "legs"
    return not isinstance(record, TileReading) and getattr(record, "zone", "C").startswith("C")


def made(folder: Path) -> Path:
    """Make all of them in a folder."""
    survey = small_survey()
    survey.export(folder / "survey")
    survey.export(folder / "survey.zip")
    write_workbook(folder / "sheets.xlsx", dict.fromkeys(TABLES, ()) | dict(survey.records))
    DatabaseSurvey(folder / "empty.db").close()
    hc.import_survey(folder / "survey", folder / "kept.db", who="conservator").close()
    hc.assess(survey).save(folder)
    for name in ("meter.txt", "meter.csv", "meter.toml"):
        shutil.copy(FILES / name, folder)
    text = SAMPLE.read_text(encoding="utf-8-sig")
    (folder / "meter.cxf").write_text(_fewer_objects(text), encoding="utf-8")
    (folder / "heights").mkdir()
    _height_maps(folder / "heights")
    (folder / "photographs").mkdir()
    _photographs(folder / "photographs")
    return folder


def _fewer_objects(text: str) -> str:
    """A CxF3 file with its first three objects."""
    ends = [one.end() for one in re.finditer(r"</(\w+:)?Object>", text)]
    return text[: ends[2]] + text[ends[-1] :]


def _height_maps(folder: Path) -> None:
    """One small surface in each format that can be written here."""
    forms = runpy.run_path(str(FILES.parent / "test_height_files.py"))
    heights = np.random.default_rng(3).normal(0, 4, (12, 9)).round(3)
    rows, columns = np.indices(heights.shape)
    (folder / "a.x3p").write_bytes(forms["x3p"](heights))
    (folder / "a.sdf").write_bytes(forms["sdf"](heights))
    np.save(folder / "a.npy", heights)
    np.savetxt(folder / "matrix.txt", heights)
    points = np.column_stack([columns.ravel() * 2.0, rows.ravel() * 2.0, heights.ravel()])
    np.savetxt(folder / "points.xyz", points, fmt="%.3f")
    line = "\n".join(f"{step / 2:g};{one:g}" for step, one in enumerate(heights.ravel()))
    (folder / "line.txt").write_text(f"X [µm];Z [µm]\n{line}", encoding="utf-8")
    lines = "\n".join(" ".join(f"{one:g}" for one in row) for row in heights)
    (folder / "grid.asc").write_text(
        "# Channel: Main\n# Width: 0.18 mm\n# Height: 0.24 mm\n# Value units: m\n" + lines
    )


def _photographs(folder: Path) -> None:
    """One small picture in each format."""
    shade = np.random.default_rng(4).integers(0, 255, (48, 64, 3), dtype=np.uint8)
    picture = Image.fromarray(shade)
    exif = Image.Exif()
    exif[274] = 6
    exif[36867] = "2026:05:13 09:30:00"
    picture.save(folder / "a.jpg", exif=exif, quality=90)
    picture.save(folder / "b.jpg", progressive=True)
    picture.save(folder / "a.png")
    picture.save(folder / "a.tif")
    picture.save(folder / "b.tif", compression="tiff_lzw")
    picture.save(folder / "c.tif", compression="tiff_adobe_deflate", exif=exif)

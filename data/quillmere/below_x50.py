"""What instruments saw on panels below ×50: height maps and sections. Every record is made up."""

from __future__ import annotations

import struct
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from heritagecheck.survey.store.attachments import attachment_of

SIDE, PIXEL_UM = 128, 8.0
HEIGHT_STEP_M = 5e-9
LAID_ON, READ_STONE, READ_STEEL = date(2026, 7, 3), date(2026, 9, 7), date(2026, 8, 24)
TREATED = "32 32; 96 32; 96 96; 32 96"
SHEET = "instruments/T06-sections.csv"
# Flakes of dark mica: middle from the left and from the top, half their width [µm].
FLAKES = ((330.0, 380.0, 60.0), (560.0, 620.0, 45.0), (650.0, 330.0, 50.0))
LABORATORY = "materials laboratory"
CONSTANTS = "½S2 = 5.8 /TPa of the {211} planes, as the laboratory states it"


class Map(NamedTuple):
    """One height map: its code, where it was measured, and what it shows."""

    code: str
    panel: str
    moment: str
    instrument: str
    measured_on: date
    before: str | None
    treated: str | None


MAPS = (
    Map("H1", "N06-pulse-1", "before", "focus variation, ×20", LAID_ON, None, TREATED),
    Map("H2", "N06-pulse-1", "after", "focus variation, ×20", READ_STONE, "H1", None),
    Map("H3", "T06-pulse-2", "after", "focus variation, ×10", READ_STEEL, None, None),
)


def waves(x_um: NDArray[Any], y_um: NDArray[Any]) -> NDArray[np.float64]:
    """Tooled granite as a sum of waves, so that it can be read anywhere between two pixels."""
    draws = np.random.default_rng([1887, 50])
    found = np.zeros(np.broadcast(x_um, y_um).shape)
    for _ in range(160):
        across, along = draws.normal(0, 2 * np.pi / 160, 2)
        found += draws.normal(0, 1.1) * np.cos(across * x_um + along * y_um + draws.uniform(0, 7))
    return found


def mica(x_um: NDArray[Any], y_um: NDArray[Any]) -> NDArray[np.bool_]:
    """Where dark mica lies: three flakes in the treated square."""
    found = np.zeros(np.broadcast(x_um, y_um).shape, dtype=bool)
    for left, top, size in FLAKES:
        found |= (x_um - left) ** 2 + 2 * (y_um - top) ** 2 < size**2
    return found


def heights_um(code: str) -> NDArray[np.float64]:
    """Heights of one map, with the noise of the instrument."""
    noise = np.random.default_rng([1889, *code.encode()]).normal(0, 0.1, (SIDE, SIDE))
    row, column = np.mgrid[:SIDE, :SIDE]
    x_um, y_um = column * PIXEL_UM, row * PIXEL_UM
    if code == "H3":
        groove = np.abs((x_um % 160.0) - 80.0) < 40.0
        return np.where(groove, -44.0 + 3 * np.sin(y_um / 37.0), 0.0) + 4 * noise
    if code == "H1":
        return waves(x_um, y_um) + noise
    # Put back under the instrument a pixel and a half beside where it was, and a little tilted.
    x_um, y_um = x_um + 11.4, y_um - 5.2
    inside = (np.abs(x_um - 64 * PIXEL_UM) < 32 * PIXEL_UM) & (
        np.abs(y_um - 64 * PIXEL_UM) < 32 * PIXEL_UM
    )
    lost = inside * np.where(mica(x_um, y_um), 5.5, 1.2)
    return waves(x_um, y_um) - lost + 0.0008 * x_um - 0.0005 * y_um + noise


def as_sdf(heights: NDArray[np.float64]) -> bytes:
    """A height map in the binary form of ISO 25178-71, with 16-bit heights."""
    head = struct.pack(
        "<8s10s12s12sHHddddBBB", b"bISO-1.0", b"invented  ", b"070920260000", b"070920260000",
        SIDE, SIDE, PIXEL_UM * 1e-6, PIXEL_UM * 1e-6, HEIGHT_STEP_M, HEIGHT_STEP_M, 0, 5, 0,
    )  # fmt: skip
    return head + np.round(heights * 1e-6 / HEIGHT_STEP_M).astype("<i2").tobytes()


class Profile(NamedTuple):
    """One profile of the laboratory: where, what, and its readings."""

    name: str
    panel: str | None
    spot: str | None
    moment: str
    quantity: str
    measured_on: date
    depths_um: tuple[float, ...]
    values: tuple[float, ...]
    errors: tuple[float, ...] | None = None


HARDNESS_UM = (6.0, 15.0, 25.0, 40.0, 60.0, 90.0)
STRESS_UM = (5.0, 20.0, 50.0)
GRAIN_UM = (12.0, 40.0, 80.0, 140.0, 220.0)
# At the panel's own setting nothing is altered; at four times its fluence the steel has melted.
PROFILES = (
    Profile("T06-HV-control", None, None, "control", "hardness", READ_STEEL, HARDNESS_UM,
            (127, 124, 130, 128, 126, 129)),
    Profile("T06-HV-panel", "T06-pulse-1", None, "after", "hardness", READ_STEEL, HARDNESS_UM,
            (129, 127, 125, 130, 127, 126)),
    Profile("T06-HV-spot", "T06-pulse-1", "T06-pulse-1-S09", "after", "hardness", READ_STEEL,
            HARDNESS_UM, (231, 224, 137, 128, 126, 128)),
    Profile("T06-grain-control", None, None, "control", "grain_size", READ_STEEL, GRAIN_UM,
            (21.5, 23.0, 22.1, 24.0, 22.8)),
    Profile("T06-grain-spot", "T06-pulse-1", "T06-pulse-1-S09", "after", "grain_size", READ_STEEL,
            GRAIN_UM, (4.1, 21.0, 23.4, 22.6, 23.1)),
    Profile("T06-stress-before", "T06-pulse-1", None, "before", "stress_along", LAID_ON, STRESS_UM,
            (-38, -21, -9), (9, 8, 8)),
    Profile("T06-stress-control-July", None, None, "control", "stress_along", LAID_ON, STRESS_UM,
            (-35, -18, -11), (9, 8, 8)),
    Profile("T06-stress-control-August", None, None, "control", "stress_along", READ_STEEL,
            STRESS_UM, (-41, -13, -4), (9, 8, 8)),
)  # fmt: skip
HOW = {
    "hardness": "Vickers indents HV 0.01 on a polished section",
    "grain_size": "intercepts on an etched section, five fields",
    "stress_along": "X-ray diffraction, sin²ψ, layers removed by electropolishing",
}


def file_of(one: Map) -> str:
    """Name of the file of a map."""
    return f"instruments/{one.code}-{one.panel}-{one.moment}.sdf"


def write_files(folder: Path) -> None:
    """Write the height maps, and the sheet of the laboratory."""
    for one in MAPS:
        (folder / file_of(one)).write_bytes(as_sdf(heights_um(one.code)))
    lines = ["profile,quantity,depth [µm],value,standard error"]
    for profile in PROFILES:
        errors = profile.errors or ("",) * len(profile.values)
        for depth, value, error in zip(profile.depths_um, profile.values, errors, strict=True):
            lines.append(f"{profile.name},{profile.quantity},{depth:g},{value:g},{error}")
    text = "\n".join([*lines, ""])
    (folder / SHEET).write_text(text, encoding="utf-8", newline="")


def attached(folder: Path) -> list[dict[str, Any]]:
    """Attachments of these files."""
    maps = [
        attachment_of(
            folder / file_of(one), kind="height_map", attachment=f"map {one.code}",
            file=file_of(one), zone=one.panel.partition("-")[0], panel=one.panel,
            taken_on=one.measured_on, taken_by="conservator",
        )
        for one in MAPS
    ]  # fmt: skip
    sheet = attachment_of(
        folder / SHEET, kind="document", attachment="sections T06", file=SHEET, zone="T06",
        panel="T06-pulse-1", taken_on=READ_STEEL, taken_by=LABORATORY,
    )  # fmt: skip
    return [record.model_dump() for record in (*maps, sheet)]


def height_maps() -> list[dict[str, Any]]:
    """Rows of the height maps, as the conservator confirmed them."""
    found = []
    for one in MAPS:
        written = np.round(heights_um(one.code) * 1e-6 / HEIGHT_STEP_M) * HEIGHT_STEP_M * 1e6
        found.append({
            "height_map": one.code, "attachment": f"map {one.code}",
            "zone": one.panel.partition("-")[0], "panel": one.panel, "moment": one.moment,
            "height_unit": "m", "pixel_x_um": PIXEL_UM, "pixel_y_um": PIXEL_UM, "rows": SIDE,
            "columns": SIDE, "lowest_um": round(float(written.min()), 3),
            "highest_um": round(float(written.max()), 3), "unseen": 0.0,
            "instrument": one.instrument, "measured_on": one.measured_on,
            "confirmed_by": "conservator", "before_map": one.before, "bare": "yes",
            "treated": one.treated,
        })  # fmt: skip
    return found


def section_readings() -> list[dict[str, Any]]:
    """Rows of the profiles, from the sheet of the laboratory."""
    found = []
    for one in PROFILES:
        errors = one.errors or (None,) * len(one.values)
        readings = zip(one.depths_um, one.values, errors, strict=True)
        for number, (depth, value, error) in enumerate(readings, start=1):
            found.append({
                "section_reading": f"{one.name}-{number}", "zone": "T06", "panel": one.panel,
                "spot": one.spot, "profile": one.name, "profile_size": len(one.values),
                "moment": one.moment, "quantity": one.quantity, "depth_um": depth, "value": value,
                "standard_error": error, "method": HOW[one.quantity],
                "elastic_constants": CONSTANTS if one.errors else None,
                "file": "sections T06", "measured_on": one.measured_on, "measured_by": LABORATORY,
            })  # fmt: skip
    return found

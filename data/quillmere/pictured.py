"""Photographs of the example survey: invented walls, rendered, each with a colour chart."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from scene import ZONE_FROM, render

TAKEN_ON = date(2026, 9, 10)
ROWS, COLUMNS, PIXEL_MM = 900, 1200, 0.5
# Where the upper left corner of each picture lies on its elevation [m from the left, from the top],
# what the wall shows, and whether an even board was photographed in the same light.
SHOTS: dict[str, dict[str, Any]] = {
    "P1": {
        "zone": "N04", "at": (4.85, 7.0), "board": False,
        "wall": {"seed": 41, "cover": 0.22, "soiling": "black", "chart": (960, 770, 300, 6)},
    },
    "P2": {
        "zone": "E04", "at": (9.25, 7.6), "board": True,
        "wall": {"seed": 42, "cover": 0.6, "soiling": "green", "light": "uneven",
                 "chart": (930, 130, 320, -4)},
    },
    "P3": {
        "zone": "E05", "at": (6.6, 7.6), "board": False,
        "wall": {"seed": 43, "cover": 0.7, "soiling": "black", "streaks": True,
                 "chart": (980, 780, 300, 184)},
    },
}  # fmt: skip


def photograph(folder: Path) -> list[dict[str, Any]]:
    """
    Render every photograph, and board, into a folder.

    Parameters
    ----------
    folder : Path
        Folder of the survey.

    Returns
    -------
    list of dict
        Photograph's code, file, zone and the notes of its attachment; boards among them.
    """
    (folder / "photographs").mkdir(exist_ok=True)
    files = []
    for code, shot in SHOTS.items():
        scene = render(
            rows=ROWS, columns=COLUMNS, pixel_mm=PIXEL_MM, grain_mm=3.0, dark_minerals=0.09,
            **shot["wall"],
        )  # fmt: skip
        pictures = [(f"{code}.jpg", scene.pixels, "Rendered, not photographed: an invented wall")]
        if shot["board"]:
            pictures.append(
                (f"{code}-board.jpg", scene.flat_field, "An even grey board in the same light")
            )
        for name, pixels, note in pictures:
            Image.fromarray(pixels).save(folder / "photographs" / name, quality=85)
            files.append({
                "attachment": name.removesuffix(".jpg"), "file": f"photographs/{name}",
                "zone": shot["zone"], "note": note,
            })  # fmt: skip
    return files


def photos() -> list[dict[str, Any]]:
    """
    Photographs as they were tied to the drawing, not yet measured.

    Returns
    -------
    list of dict
        Rows of the table.
    """
    wide, high = COLUMNS * PIXEL_MM / 1000, ROWS * PIXEL_MM / 1000
    # Joints and corners that were measured on the wall; the fifth and sixth check the others.
    seen = ((0.02, 0.03), (0.97, 0.02), (0.98, 0.96), (0.03, 0.97), (0.52, 0.41), (0.31, 0.78))
    found = []
    for code, shot in SHOTS.items():
        left, top = shot["at"]
        draws = np.random.default_rng([1887, *code.encode()]).normal(0, 0.0015, (len(seen), 2))
        points = (
            f"{x * COLUMNS:.0f} {y * ROWS:.0f} "
            f"{left + x * wide + across:.3f} {top + y * high + down:.3f}"
            for (x, y), (across, down) in zip(seen, draws, strict=True)
        )
        edge = round(ZONE_FROM * COLUMNS) - 10
        found.append({
            "photo": code, "attachment": code, "zone": shot["zone"], "state": "dry",
            "points": "; ".join(points),
            "clean_stone": f"8 8; {edge} 8; {edge} {ROWS - 8}; 8 {ROWS - 8}",
            "board": f"{code}-board" if shot["board"] else None,
            "taken_on": TAKEN_ON, "taken_by": "conservator",
        })  # fmt: skip
    return found

"""White tile, readings by eye and trial spots of the example survey. Every record is made up."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

METER = "portable sphere d/8"
READ_ON = date(2026, 9, 9)
ZONES_IN_SESSION = 6
# The battery failed on the way down: the tile had drifted, and the set is to be read again.
DRIFTED = "E13"
TILE = (96.84, -0.12, 1.31)

BY_EYE = {"N12": ("5GY 5/2", "5GY 6/2", "5GY 5/3")}

# Doses and their unit, from which dose on a spot came clean, from which it was damaged.
SPOTS: dict[str, tuple[tuple[float, ...], str, float, float]] = {
    "N15-pulse-1": ((0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 1.8, 2.2), "J/cm²", 1.4, 0.5),
    "N15-pulse-2": ((0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 1.8, 2.2), "J/cm²", 1.4, 0.7),
    "N06-powder-1": ((1.6, 1.9, 2.2, 2.5, 2.8, 3.1), "bar", 2.5, 2.5),
    "N06-powder-2": ((1.6, 1.9, 2.2, 2.5, 2.8, 3.1), "bar", 2.2, 2.8),
}


def sessions(zones: list[str]) -> dict[str, str]:
    """
    Session in which each zone was read, in the order of the walk.

    Parameters
    ----------
    zones : list of str
        Zones with readings of the meter.

    Returns
    -------
    dict of str to str
        Zone to session.
    """
    steady = [zone for zone in zones if zone != DRIFTED]
    found = {
        zone: f"9 September {place // ZONES_IN_SESSION + 1}" for place, zone in enumerate(steady)
    }
    return {**found, DRIFTED: "9 September last"}


def tile_readings(names: list[str]) -> list[dict[str, Any]]:
    """
    White tile at the start of each session, during it and at its end.

    Parameters
    ----------
    names : list of str
        Sessions.

    Returns
    -------
    list of dict
        Rows of the table.
    """
    found = []
    for name in dict.fromkeys(names):
        draws = np.random.default_rng([1889, *name.encode()])
        drift = (0.0, 0.18, 0.33, 0.52) if name.endswith("last") else (0.0, 0.03, 0.05, 0.06)
        for number, (minutes, moved) in enumerate(zip((0, 40, 80, 115), drift, strict=True), 1):
            L_star, a_star, b_star = np.array(TILE) + draws.normal(0, 0.015, 3) - (moved, 0, 0)
            found.append(
                {
                    "tile_reading": f"{name}, tile {number}".replace(",", ""), "session": name,
                    "tile_readings_in_session": 4, "minutes": minutes,
                    "L_star": round(float(L_star), 2), "a_star": round(float(a_star), 2),
                    "b_star": round(float(b_star), 2), "instrument": METER, "read_on": READ_ON,
                    "read_by": "conservator",
                }
            )  # fmt: skip
    return found


def by_eye() -> list[dict[str, Any]]:
    """
    Colours matched to chips from the rope, where no meter could go.

    Returns
    -------
    list of dict
        Rows of the table of readings.
    """
    return [
        {
            "reading": f"{zone}-M{number:02d}", "zone": zone, "set_name": f"{zone}-by-eye",
            "set_size": len(notations), "target": "soiled", "munsell": notation, "state": "dry",
            "geometry": "visual", "illuminant": "C/2", "instrument": "Munsell chips, north light",
            "read_on": READ_ON, "read_by": "rope-access conservator",
        }
        for zone, notations in BY_EYE.items()
        for number, notation in enumerate(notations, 1)
    ]  # fmt: skip


def spots() -> list[dict[str, Any]]:
    """
    Trial spots, each with one dose.

    Returns
    -------
    list of dict
        Rows of the table.
    """
    return [
        {
            "spot": f"{panel}-S{number}", "panel": panel, "zone": panel.partition("-")[0],
            "spots_on_panel": len(doses), "dose": dose, "dose_unit": unit,
            "cleaned": "yes" if dose >= clean_from else "no",
            "damaged": "yes" if dose >= damaged_from else "no",
            "damaged_component": "biotite" if dose >= damaged_from else None,
            "read_on": date(2026, 9, 7), "read_by": "conservator, blind to the setting",
        }
        for panel, (doses, unit, clean_from, damaged_from) in SPOTS.items()
        for number, dose in enumerate(doses, 1)
    ]  # fmt: skip

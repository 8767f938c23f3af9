"""White tile, readings by eye and trial spots of the example survey. Every record is made up."""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

import numpy as np

METER = "portable sphere d/8"
READ_ON = date(2026, 9, 9)
READ_STONE, READ_STEEL = date(2026, 9, 7), date(2026, 8, 24)
ZONES_IN_SESSION = 6
# The battery failed on the way down: the tile had drifted, and the set is to be read again.
DRIFTED = "E13"
TILE = (96.84, -0.12, 1.31)

BY_EYE = {"N12": ("5GY 5/2", "5GY 6/2", "5GY 5/3")}

# Doses, their quantity and unit, pulses or passes at each, and whether the surface was wetted;
# then, for each component looked at, which spots came clean and which were damaged, with the
# scatter of the wall.
CRUST_DOSES = (0.3, 0.4, 0.5, 0.6, 0.75, 0.95, 1.2, 1.5)
PAINT_DOSES = (0.2, 0.35, 0.45, 0.5, 0.55, 0.7, 1.0, 1.4, 1.5, 1.6, 1.8)
POWDER_DOSES = (1.6, 1.9, 2.2, 2.3, 2.4, 2.5, 2.6, 2.8, 3.1)
STEEL_DOSES = (0.6, 0.8, 1.2, 1.6, 2.4, 3.2, 6.0, 9.0, 12.0, 0.8, 1.2, 1.6, 0.6, 0.8)
STEEL_PASSES = (20, 20, 20, 20, 20, 20, 20, 20, 20, 10, 10, 10, 40, 40)


class SpotsOfPanel(NamedTuple):
    """Spots laid on one panel, each on the component that it names."""

    doses: tuple[float, ...]
    quantity: str
    unit: str
    passes: tuple[int | None, ...]
    wetted: str | None
    seen: dict[str, tuple[str, str]]


def granite(clean: str, biotite: str, feldspar: str, quartz: str) -> SpotsOfPanel:
    """Spots of the laser on black crust: three at each dose, each on another mineral."""
    damaged = {"biotite": biotite, "feldspar": feldspar, "quartz": quartz}
    seen = {component: (clean, marks) for component, marks in damaged.items()}
    return SpotsOfPanel(CRUST_DOSES, "peak_fluence", "J/cm²", (60,) * len(CRUST_DOSES), "no", seen)


def steel(clean: str, marks: str) -> SpotsOfPanel:
    """Spots of the laser on old paint over steel, ten, twenty and forty times over."""
    return SpotsOfPanel(
        STEEL_DOSES, "peak_fluence", "J/cm²", STEEL_PASSES, "no", {"steel": (clean, marks)}
    )


def bare(
    doses: tuple[float, ...], quantity: str, unit: str, clean: str, passes: int | None = None
) -> SpotsOfPanel:
    """Spots of water or gel on stone that no component makes weaker, none of them damaged."""
    seen = {"": (clean, "." * len(doses))}
    return SpotsOfPanel(doses, quantity, unit, (passes,) * len(doses), None, seen)


MIST_DOSES = (10, 10, 15, 15, 20, 20, 25, 25, 30, 35, 45, 60, 80, 80, 100, 100, 120, 120)
WASH_DOSES = (3, 3, 4, 4, 5, 6, 7, 8, 10, 13, 16, 20, 20, 24, 24, 28, 28)
GEL_DOSES = (0.25, 0.25, 0.5, 0.5, 0.75, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 6.0, 8.0, 8.0)

SPOTS = {
    "N09-mist-1": bare(MIST_DOSES, "time_per_day", "min a day", "....++++++++++++++"),
    "N09-mist-2": bare(MIST_DOSES, "time_per_day", "min a day", "...+++++++++++++++"),
    "N09-mist-3": bare(MIST_DOSES, "time_per_day", "min a day", ".....+++++++++++++"),
    "N09-mist-4": bare(MIST_DOSES, "time_per_day", "min a day", "....++.+++++++++++"),
    "N09-mist-5": bare(MIST_DOSES, "time_per_day", "min a day", "..++++++++++++++++"),
    "N09-mist-6": bare(MIST_DOSES, "time_per_day", "min a day", "....+.++++++++++++"),
    "E15-wash-1": bare(WASH_DOSES, "pressure", "bar", "..+++++++++++++++", 2),
    "E15-wash-2": bare(WASH_DOSES, "pressure", "bar", ".+++.++++++++++++", 2),
    "E15-wash-3": bare(WASH_DOSES, "pressure", "bar", "...++++++++++++++", 2),
    "E15-wash-4": bare(WASH_DOSES, "pressure", "bar", "..+++++++++++++++", 2),
    "E15-wash-5": bare(WASH_DOSES, "pressure", "bar", ".++++++++++++++++", 2),
    "E15-wash-6": bare(WASH_DOSES, "pressure", "bar", "..+.+++++++++++++", 2),
    "E16-gel-1": bare(GEL_DOSES, "dwell", "h", "...+++++++++++++"),
    "E16-gel-2": bare(GEL_DOSES, "dwell", "h", "..++.+++++++++++"),
    "E16-gel-3": bare(GEL_DOSES, "dwell", "h", "....++++++++++++"),
    "E16-gel-4": bare(GEL_DOSES, "dwell", "h", "..++++++++++++++"),
    "N06-pulse-1": granite("+.++++++", "......++", ".......+", "........"),
    "N06-pulse-2": granite(".+++++++", ".......+", "........", "........"),
    "N06-pulse-3": granite("..++++++", "......++", ".......+", "........"),
    "N06-pulse-4": granite(".+++++++", ".....+++", "........", "........"),
    "N06-pulse-5": granite(".+++++++", "......++", "........", "........"),
    "N06-pulse-6": granite("..++++++", "......++", ".......+", "........"),
    "N15-pulse-1": SpotsOfPanel(
        PAINT_DOSES, "peak_fluence", "J/cm²", (8,) * len(PAINT_DOSES), "no",
        {"biotite": (".......+.++", "..+.+++++++")},
    ),
    "N15-pulse-2": SpotsOfPanel(
        PAINT_DOSES, "peak_fluence", "J/cm²", (8,) * len(PAINT_DOSES), "no",
        {"biotite": ("........+++", "...++++++++")},
    ),
    "N06-powder-1": SpotsOfPanel(
        POWDER_DOSES, "pressure", "bar", (None,) * len(POWDER_DOSES), "no",
        {"biotite": ("...++++++", "......+.+")},
    ),
    "N06-powder-2": SpotsOfPanel(
        POWDER_DOSES, "pressure", "bar", (None,) * len(POWDER_DOSES), "no",
        {"biotite": ("...++++++", ".....+.++")},
    ),
    "T06-pulse-1": steel("..+++++++..+.+", ".......++....."),
    "T06-pulse-2": steel("...++++++..+.+", "........+....."),
    "T06-pulse-3": steel("..+++++++.++.+", "........+....."),
    "T06-pulse-4": steel(".++++++++..+++", ".......++....."),
}  # fmt: skip


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
        for number, (minutes, moved) in enumerate(zip((0, 30, 60, 80), drift, strict=True), 1):
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
    found = []
    for panel, laid in SPOTS.items():
        number = 0
        for component, (cleaned, damaged) in laid.seen.items():
            for dose, passes, came_off, harmed in zip(
                laid.doses, laid.passes, cleaned, damaged, strict=True
            ):
                number += 1
                found.append(
                    {
                        "spot": f"{panel}-S{number:02d}", "panel": panel,
                        "zone": panel.partition("-")[0], "spots_on_panel": spots_laid(laid),
                        "dose": dose, "dose_quantity": laid.quantity, "dose_unit": laid.unit,
                        "passes": passes,
                        "cleaned": "yes" if came_off == "+" else "no",
                        "damaged": "yes" if harmed == "+" else "no",
                        "damaged_component": (component or None) if harmed == "+" else None,
                        "damage_kind": _kind(panel, component) if harmed == "+" else None,
                        "read_on": READ_STEEL if component == "steel" else READ_STONE,
                        "read_by": "conservator, blind to the setting",
                        "component": component or None,
                        "wetted": laid.wetted,
                    }
                )  # fmt: skip
    return found


def _kind(panel: str, component: str) -> str:
    """What a laser or an abrasive did to a component."""
    if "pulse" not in panel:
        return "grains"
    return "heat_tint" if component == "steel" else "melted"


def spots_laid(laid: SpotsOfPanel) -> int:
    """
    How many spots a panel carries.

    Parameters
    ----------
    laid : SpotsOfPanel
        Its spots.

    Returns
    -------
    int
    """
    return len(laid.doses) * len(laid.seen)

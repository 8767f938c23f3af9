"""What was dialled for the trial panels of the example survey. Every record is made up."""

from __future__ import annotations

from typing import Any

# Quantity, and its value with the unit (a span as two values), or its word.
Dialled = tuple[str, str] | tuple[str, float, str] | tuple[str, float, float, str]

GRIT: tuple[Dialled, ...] = (
    ("pressure", 6, "bar"), ("pressure_read_at", "nozzle"), ("medium", "steel_grit"),
    ("metal_hardness", 50, "HRC"), ("grain_size", 300, "µm"), ("medium_flow", 5, "kg/min"),
    ("distance", 300, "mm"), ("angle", 60, "°"), ("preparation_grade", "Sa 2 1/2"),
)  # fmt: skip
SCANNED: tuple[Dialled, ...] = (
    ("peak_fluence", 2.9, "J/cm²"), ("pulse_duration", 100, "ns"), ("repetition_rate", 20, "kHz"),
    ("spot_diameter", 0.8, "mm"), ("measured_at", "wall"), ("speed", 4, "m/s"),
    ("hatch", 0.2, "mm"), ("angle", 90, "°"), ("preparation_grade", "St 3"),
)  # fmt: skip
DIALLED: dict[str, tuple[Dialled, ...]] = {
    "N09-mist": (
        ("pressure", 3, "bar"), ("water_flow", 1, "L/min"), ("temperature", "unheated"),
        ("time_per_day", 40, "min a day"), ("acid", "none"), ("tool", "natural_brush"),
    ),
    "N06-powder": (
        ("pressure", 2.5, "bar"), ("pressure_read_at", "nozzle"), ("medium", "calcite"),
        ("grain_size", 50, "µm"), ("distance", 100, "mm"), ("angle", 45, "°"),
    ),
    "N06-pulse": (
        ("peak_fluence", 0.6, "J/cm²"), ("pulse_duration", 8, "ns"), ("repetition_rate", 10, "Hz"),
        ("spot_diameter", 4, "mm"), ("measured_at", "wall"), ("angle", 90, "°"),
    ),
    "N13-lift": (("tool", "spatula"),),
    "N15-pulse": (
        ("peak_fluence", 1.5, "J/cm²"), ("pulse_duration", 10, "ns"),
        ("repetition_rate", 10, "Hz"), ("spot_diameter", 4, "mm"), ("measured_at", "wall"),
        ("angle", 90, "°"),
    ),
    "E15-wash": (
        ("pressure", 9, "bar"), ("pressure_read_at", "nozzle"), ("nozzle", "fan"),
        ("fan_angle", 40, "°"), ("distance", 250, "mm"), ("water_flow", 6, "L/min"),
        ("temperature", "unheated"), ("acid", "none"),
        ("product", "non-ionic detergent without phosphate"),
    ),
    "E16-gel": (
        ("product", "neutral solvent gel"), ("concentration", "undiluted"), ("ph", 7, "pH"),
        ("acid", "none"), ("dwell", 2, "h"), ("temperature", 18, "°C"), ("rinse", 5, "L/m²"),
    ),
    "T01-grit": GRIT,
    "T03-grit": GRIT,
    "T06-pulse": SCANNED,
    "T07-pulse": SCANNED,
    "T13-tool": (("tool", "disc"),),
}  # fmt: skip


def settings(zones: dict[str, str]) -> list[dict[str, Any]]:
    """
    What was dialled, a row a series and quantity.

    Parameters
    ----------
    zones : dict of str to str
        Series to the zone on which it lies.

    Returns
    -------
    list of dict
        Rows of the table.
    """
    found = []
    for series, dialled in DIALLED.items():
        for quantity, *told in dialled:
            row: dict[str, Any] = {"series": series, "zone": zones[series], "quantity": quantity}
            if len(told) == 1:
                row["words"] = told[0]
            else:
                *values, row["unit"] = told
                row |= zip(("value", "value_to"), values, strict=False)
            found.append(row)
    return found

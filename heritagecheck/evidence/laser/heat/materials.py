"""What heat meets in stone, steel and what lies on them, with the range each property has."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

from heritagecheck.evidence.laser.beam import single
from heritagecheck.tables.row_types import ThermalProperty

Which = Literal["value", "low", "high"]
START_C = 20.0
# From what no solid or liquid has, upwards and downwards: a slip of unit is refused.
POSSIBLE = {
    "conductivity": (0.01, 500, "W/(m·K)"),
    "conductivity_falls": (0, 0.01, "1/K"),
    "density": (100, 25_000, "kg/m³"),
    "heat_capacity": (100, 5000, "J/(kg·K)"),
    "heat_capacity_rises": (0, 0.01, "1/K"),
    "known_to": (50, 3500, "°C"),
    "absorbed": (0.01, 1, "share"),
    "absorption_depth": (0, 1e6, "µm"),
    "melts_at": (50, 3500, "°C"),
    "latent_heat": (1, 2000, "kJ/kg"),
    "alters_from": (50, 3500, "°C"),
}
NOT_ALWAYS = ("melts_at", "latent_heat", "alters_from")


@dataclass(frozen=True, slots=True)
class Material:
    """
    One material with the value of each property, and the least and most it may be.

    k = k20 / (1 + falls × rise) and c = c20 × (1 + rises × rise), with the rise above 20 °C.
    """

    code: str
    properties: Mapping[str, tuple[float, float, float]]
    alters_how: str
    alters_source: str

    def __post_init__(self) -> None:
        """Refuse a property that is missing, out of range, or outside its own range."""
        for name, (least, most, unit) in POSSIBLE.items():
            if name not in self.properties:
                if name in NOT_ALWAYS:
                    continue
                raise ValueError(f"{self.code}: its {name} [{unit}] is not known.")
            value, low, high = self.properties[name]
            if not least <= low <= value <= high <= most:
                raise ValueError(
                    f"{self.code}, {name} = {value:g} ({low:g} to {high:g}) {unit}: it must lie "
                    f"within its own range, and that from {least:g} to {most:g} {unit}."
                )

    @property
    def name(self) -> str:
        """Its name in words."""
        return self.code.replace("_", " ")

    def get(self, name: str, which: Which = "value") -> float:
        """One property, or an end of its range."""
        return self.properties[name][("value", "low", "high").index(which)]

    @property
    def known_to_c(self) -> float:
        """Temperature up to which its properties, or those of its melt, are known."""
        names = ("known_to", "melts_at")
        return max(self.get(name) for name in names if name in self.properties)

    def turns_at_k(self, which: Which = "value") -> float:
        """Rise at which it melts, or above which its properties are not known, in K."""
        name = "melts_at" if "melts_at" in self.properties else "known_to"
        return self.get(name, which) - START_C

    def measured(self, values: Mapping[str, float]) -> Material:
        """The same material with values measured on site in place of those of the table."""
        if unknown := sorted(set(values) - set(POSSIBLE)):
            raise ValueError(
                f"measured names {', '.join(unknown)}: no property is called so. Known: "
                f"{', '.join(POSSIBLE)}."
            )
        numbers = {name: single(name, value) for name, value in values.items()}
        for name, number in numbers.items():
            least, most, unit = POSSIBLE[name]
            if not (math.isfinite(number) and least <= number <= most):
                raise ValueError(
                    f"measured {name} = {number:g}: for a real material it lies from {least:g} to "
                    f"{most:g} {unit}. Is it in another unit?"
                )
        exact = {name: (number,) * 3 for name, number in numbers.items()}
        return Material(
            self.code, {**self.properties, **exact}, self.alters_how, self.alters_source
        )


@cache
def materials() -> dict[str, Material]:
    """All materials of `tables/thermal_properties.csv`, by their codes."""
    rows: dict[str, dict[str, ThermalProperty]] = {}
    for row in ThermalProperty.rows():
        rows.setdefault(row.material, {})[row.property] = row
    return {code: _of_rows(code, found) for code, found in rows.items()}


def _of_rows(code: str, found: Mapping[str, ThermalProperty]) -> Material:
    """One material of its rows."""
    alters = found.get("alters_from")
    return Material(
        code,
        {name: (row.value, row.low, row.high) for name, row in found.items()},
        alters.note if alters else "",
        f"{alters.source_id}, {alters.evidence}" if alters else "",
    )


def material(code: str) -> Material:
    """The material of this code."""
    known = materials()
    if code not in known:
        raise ValueError(
            f"material = {code!r}: its thermal properties are not in the table. Known: "
            f"{', '.join(known)}."
        )
    return known[code]

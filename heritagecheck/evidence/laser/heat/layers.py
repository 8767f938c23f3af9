"""What heat meets on a wall: materials, with the range of each property, in layers of cells."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal, NamedTuple

import numpy as np

from heritagecheck.evidence.laser.beam import FloatArray, single
from heritagecheck.evidence.laser.heat.conduction import Cells
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


# -- Layers cut into cells -------------------------------------------------------------------------

GROWTH = 0.12  # how much wider each cell is than the one before, away from a face
_CELLS_TO_LENGTH = 40  # cells next to a face, to the depth that heat reaches in a pulse
_REACH = 4  # the back face, in lengths sqrt(4 D t) of the whole time


class Layer(NamedTuple):
    """A material, how thick it is, and what hinders heat where it rests on the next."""

    material: Material
    thickness_um: float
    contact_m2_k_w: float = 0.0


@dataclass(frozen=True, slots=True)
class Corner:
    """Which end of its range each property of each layer takes in one set."""

    absorbed: Which
    depth: tuple[Which, ...]
    spread: tuple[Which, ...]


def central(count: int) -> Corner:
    """Every property at its value."""
    values: list[Which] = ["value"] * count
    return Corner("value", tuple(values), tuple(values))


def corners(count: int) -> list[Corner]:
    """Every choice of ends, for a number of layers; heat capacity and conductivity go together."""
    # Both make a surface cooler where they are high, so their ends bound the temperature.
    ends: tuple[Which, ...] = ("low", "high")
    found = [Corner(one, (), ()) for one in ends]
    for _ in range(count):
        found = [
            Corner(one.absorbed, (*one.depth, depth), (*one.spread, spread))
            for one in found
            for depth in ends
            for spread in ends
        ]
    return found


def diffusivity_m2_s(material: Material, which: Which = "value") -> float:
    """How fast heat spreads in it at 20 °C: k/(rho c)."""
    return material.get("conductivity", which) / (
        material.get("density", which) * material.get("heat_capacity", which)
    )


def cell_edges_m(thicknesses_m: list[float], first_m: float) -> tuple[FloatArray, list[int]]:
    """Edges of cells that are finest at every face, and the first cell of each layer."""
    edges, starts = [0.0], []
    for number, thick in enumerate(thicknesses_m):
        starts.append(len(edges) - 1)
        last = number + 1 == len(thicknesses_m)
        half = thick if last else thick / 2
        count = max(2, math.ceil(math.log1p(GROWTH * half / first_m) / GROWTH))
        grown = np.expm1(np.linspace(0, math.log1p(GROWTH * half / first_m), count + 1))
        down = edges[-1] + grown * first_m / GROWTH
        edges += [*down[1:]]
        if not last:
            mirrored = edges[-1] + half - grown[::-1] * first_m / GROWTH
            edges += [*mirrored[1:]]
    return np.array(edges), starts


def cells(
    layers: list[Layer], sets: list[Corner], pulse_s: float, lasts_s: float
) -> tuple[Cells, int]:
    """Cells of the layers for every set, and the first cell of the last layer."""
    # The finest cells follow the layer in which heat moves least during a pulse; the back face
    # is where even the fastest has not brought heat to.
    slow = min(diffusivity_m2_s(one.material, "low") for one in layers)
    base = layers[-1]
    fast = max(diffusivity_m2_s(base.material, end) for end in ("low", "value", "high"))
    thick = [1e-6 * one.thickness_um for one in layers]
    thick[-1] = min(thick[-1], _back_m(base, fast, lasts_s))
    first = min(math.sqrt(4 * slow * pulse_s) / _CELLS_TO_LENGTH, min(thick) / 4)
    edges, starts = cell_edges_m(thick, first)
    width = np.diff(edges)
    of_layer = np.searchsorted(starts, np.arange(width.size), side="right") - 1
    contact = np.zeros(width.size)
    for number, start in enumerate(starts[1:]):
        contact[start - 1] = layers[number].contact_m2_k_w
    rows = {name: np.empty((len(sets), width.size)) for name in Cells._fields[2:]}
    for row, corner in enumerate(sets):
        for name, values in _properties(layers, corner).items():
            rows[name][row] = np.array(values)[of_layer]
        rows["taken_in"][row] = _taken_in(layers, corner, edges, starts)
    return Cells(width, contact, **rows), starts[-1]


def _back_m(base: Layer, fast: float, lasts_s: float) -> float:
    """How deep the cells of the last layer reach: beyond its heat, and most of its light."""
    light = 1e-6 * base.material.get("absorption_depth", "high")
    return max(_REACH * math.sqrt(4 * fast * lasts_s), 5 * light)


def _properties(layers: list[Layer], corner: Corner) -> dict[str, list[float]]:
    """What the solver needs of each layer, at the ends that a set takes."""
    found: dict[str, list[float]] = {name: [] for name in Cells._fields[2:-1]}
    for one, spread in zip(layers, corner.spread, strict=True):
        of = one.material
        density = of.get("density", spread)
        found["resistivity_m_k_w"].append(1 / of.get("conductivity", spread))
        found["resistivity_rise_per_k"].append(of.get("conductivity_falls"))
        found["capacity_j_m3_k"].append(density * of.get("heat_capacity", spread))
        found["capacity_rise_per_k"].append(of.get("heat_capacity_rises", spread))
        found["turn_k"].append(of.turns_at_k())
        latent = of.get("latent_heat") if "latent_heat" in of.properties else 0.0
        found["latent_j_m3"].append(1e3 * density * latent)
    return found


def _taken_in(
    layers: list[Layer], corner: Corner, edges: FloatArray, starts: list[int]
) -> FloatArray:
    """Share of the light that ends in each cell: weaker by 1/e in each absorption depth."""
    found = np.zeros(edges.size - 1)
    entering = layers[0].material.get("absorbed", corner.absorbed)
    for number, start in enumerate(starts):
        stop = starts[number + 1] if number + 1 < len(starts) else edges.size - 1
        away = edges[start : stop + 1] - edges[start]
        depth = 1e-6 * layers[number].material.get("absorption_depth", corner.depth[number])
        left = np.exp(-away / depth) if depth else np.where(away > 0, 0.0, 1.0)
        found[start:stop] = entering * -np.diff(left)
        entering *= left[-1]
    return found

"""What was calculated of a heated surface, and why a number is missing."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from heritagecheck.evidence.laser.beam import FloatArray
from heritagecheck.evidence.laser.heat.layers import Material
from heritagecheck.sentences import count_of

NoNumber = Literal["electrons", "spot", "sideways", "melting"]

OF_ONE_DIMENSION = (
    "Calculated along the depth only, for these properties and a Gaussian beam; removal, vapour "
    "and plasma are left out."
)
NEVER_A_PASS = (
    "A temperature below a limit does not show that nothing is harmed: only panels do. Limits of "
    "alteration were found by slow heating."
)


@dataclass(frozen=True, slots=True)
class Span:
    """A temperature by the values of all properties, and its least and most over their ranges."""

    value_c: float
    low_c: float
    high_c: float

    def told(self, known_to_c: float) -> str:
        """Say it to the digits that the properties support, and no number beyond them."""
        if self.low_c > known_to_c:
            return f"more than {_degrees(known_to_c)} °C"
        high = (
            f"more than {_degrees(known_to_c)}"
            if self.high_c > known_to_c
            else _degrees(self.high_c)
        )
        if self.value_c > known_to_c:
            least = _degrees(self.low_c)
            return f"{high} °C ({least} °C or more over the range of its properties)"
        return (
            f"{_degrees(self.value_c)} °C ({_degrees(self.low_c)} to {high} °C over the range of "
            "its properties)"
        )


def _degrees(value_c: float) -> str:
    """A temperature to two digits, below 100 °C to a whole degree."""
    return f"{float(f'{value_c:.2g}'):,.0f}" if value_c >= 100 else f"{value_c:.0f}"


@dataclass(frozen=True, slots=True)
class HeatCourse:
    """What a picture shows: temperatures by the values of all properties, least and most."""

    time_s: FloatArray
    surface_c: FloatArray  # three rows: by the values, least, most
    depth_um: FloatArray
    hottest_c: FloatArray  # three rows, the hottest that each depth gets
    layer_um: float


@dataclass(frozen=True, slots=True)
class SurfaceTemperature:
    """
    How hot a surface gets over pulses; None where one dimension gives no number, and then why.

    With a layer, `peak` and `left` are of the surface under it, and `layer_peak` is of its top.
    """

    surface: Material
    layer: Material | None
    pulses: int
    followed: int
    peak: Span | None
    layer_peak: Span | None
    left: Span | None
    molten_um: tuple[float, float] | None
    no_number: dict[NoNumber, str]
    course: HeatCourse | None = field(repr=False)

    @property
    def alters_from_c(self) -> float | None:
        """Lowest temperature from which the surface is known to alter; None where not listed."""
        known = "alters_from" in self.surface.properties
        return self.surface.get("alters_from", "low") if known else None

    @property
    def alters_source(self) -> str:
        """Where that temperature comes from."""
        return self.surface.alters_source

    @property
    def known_to_c(self) -> float:
        """Temperature up to which the properties of the surface, or its melt, are known."""
        return self.surface.known_to_c

    @property
    def may_alter(self) -> bool:
        """Whether the peak may reach that temperature, by the ranges of its properties."""
        limit = self.alters_from_c
        return limit is not None and self.peak is not None and self.peak.high_c >= limit

    def __str__(self) -> str:
        """Say it in sentences, with what it is not."""
        return " ".join(
            [*self.sentences(), *self.no_number.values(), OF_ONE_DIMENSION, NEVER_A_PASS]
        )

    def sentences(self) -> list[str]:
        """Calculated temperatures, compared with the limit of alteration."""
        found = []
        name, known = self.surface.name, self.known_to_c
        under = f" under {self.layer.name}" if self.layer else ""
        over = f" over {count_of(self.followed, 'pulse')}" if self.followed > 1 else ""
        if self.peak is not None:
            found.append(
                f"Calculated peak temperature of {name}{under}{over}: {self.peak.told(known)}."
            )
        if self.layer_peak is not None and self.layer is not None:
            found.append(
                f"Peak at the top of {self.layer.name}: "
                f"{self.layer_peak.told(self.layer.known_to_c)}."
            )
        if self.molten_um is not None and self.molten_um[1] > 0:
            found.append(
                f"Melting reaches {self.molten_um[0]:.2g} µm deep, at most {self.molten_um[1]:.2g} "
                "µm over the range of its properties."
            )
        if self.left is not None:
            found.append(f"Left just before the next pulse: {self.left.told(known)}.")
        if self.alters_from_c is not None:
            found.append(
                f"Alteration of {name} from {self.alters_from_c:,g} °C: "
                f"{self.surface.alters_how[0].lower()}{self.surface.alters_how[1:]} "
                f"({self.alters_source})."
            )
        return found

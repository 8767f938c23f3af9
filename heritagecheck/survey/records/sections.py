"""Profiles from the surface to the core: what a laboratory reads on a section of a panel."""

from __future__ import annotations

from datetime import date
from typing import Literal

from heritagecheck.survey.records.record import (
    Key,
    OptionalCount,
    OptionalNumber,
    OptionalText,
    Record,
    Words,
    Wrong,
    column,
    rule,
)

SectionQuantity = Literal["grain_size", "hardness", "element", "stress_along", "stress_across"]
STRESSES = frozenset({"stress_along", "stress_across"})
# Unit, lowest and highest value of each quantity.
RANGES: dict[str, tuple[str, float, float]] = {
    "grain_size": ("µm", 0.01, 10_000), "hardness": ("HV", 1, 3_000),
    "element": ("% by mass", 0, 100), "stress_along": ("MPa", -3_000, 3_000),
    "stress_across": ("MPa", -3_000, 3_000),
}  # fmt: skip


class SectionReading(Record):
    """One reading of a profile from the surface to the core."""

    section_reading: Key = column("Code of the reading")
    zone: Key = column("Zone")
    panel: OptionalText = column(
        "Trial panel; empty for a control beside all panels", title="Trial panel", default=None
    )
    spot: OptionalText = column("Trial spot, where it shows one", title="Trial spot", default=None)
    profile: Key = column("Profile that it belongs to", title="Profile")
    profile_size: int = column("Readings in that profile", ge=1, le=10_000)
    moment: Literal["before", "after", "control"] = column(
        "Before or after treatment, or on an untreated control", title="Before, after or control"
    )
    quantity: SectionQuantity = column("What was measured")
    element: OptionalText = column(
        "Of a composition: which element, such as C", title="Element", default=None
    )
    depth_um: float = column(
        "Depth below the surface, middle of what was read",
        title="Depth",
        unit="µm",
        gt=0,
        le=100_000,
    )
    value: float = column(
        "Value: grain intercept [µm], hardness [HV], element [% by mass], stress [MPa]; tension is "
        "positive",
        title="Value",
    )
    standard_error: OptionalNumber = column(
        "Its standard error, in the same unit", title="Standard error", default=None, gt=0
    )
    count: OptionalCount = column(
        "Fields, indents or tilts that it rests on",
        title="Fields, indents or tilts",
        default=None,
        ge=1,
        le=100_000,
    )
    elastic_constants: OptionalText = column(
        "Of a stress: the elastic constants used, with their unit, such as ½S2 = 5.8 /TPa",
        title="Elastic constants",
        default=None,
    )
    method: Words = column("How it was measured")
    file: OptionalText = column(
        "Attachment that holds it, such as the laboratory's sheet", title="File", default=None
    )
    measured_on: date = column("Date")
    measured_by: Words = column("Laboratory, or role", title="Measured by")
    note: OptionalText = column("In words", title="Note", default=None)

    @rule
    def _in_range(self) -> Wrong:
        unit, low, high = RANGES[self.quantity]
        if not low <= self.value <= high:
            yield "value", f"{self.quantity} runs from {low:g} to {high:g} {unit}. Check the unit"

    @rule
    def _complete(self) -> Wrong:
        if (self.quantity == "element") != (self.element is not None):
            yield "element", "name an element where its share was measured, and only then"
        if self.moment != "control" and self.panel is None:
            yield "panel", "name the panel; only a control may lie beside all panels"
        if self.quantity in STRESSES:
            if self.standard_error is None:
                yield (
                    "standard_error",
                    "give the standard error of a stress, as the laboratory does",
                )
            if self.elastic_constants is None:
                yield (
                    "elastic_constants",
                    "a stress needs the elastic constants with which it was worked out. Ask the "
                    "laboratory",
                )
        elif self.elastic_constants is not None:
            yield "elastic_constants", "give them for a stress only"

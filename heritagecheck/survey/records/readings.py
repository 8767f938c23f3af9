"""What was measured on a zone: colour readings, the meter's white tile, site tests, sections."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import date
from typing import Annotated, Literal

from heritagecheck.errors import Codes, Fields, Message
from heritagecheck.survey.records.record import (
    Key,
    Maybe,
    OptionalCount,
    OptionalNumber,
    OptionalText,
    Record,
    State,
    Words,
    Wrong,
    YesNo,
    all_or_none,
    column,
    optional,
    rule,
    term,
)  # fmt: skip
from heritagecheck.tables.row_types import Quantity

Geometry = Literal["SCI", "SCE", "45/0", "visual", "photograph"]
# Those whose sensitivity `tables/substrate_sensitivity.csv` rates.
Mineral = Literal["biotite", "hornblende", "k_feldspar", "muscovite", "plagioclase", "quartz"]
# Hue, value and chroma as ASTM D1535 writes them, or N and the value of a grey.
MUNSELL = re.compile(
    r"(10|\d(\.\d+)?)(R|YR|Y|GY|G|BG|B|PB|P|RP) \d{1,2}(\.\d+)?/\d{1,2}(\.\d+)?"
    r"|N ?\d{1,2}(\.\d+)?/?"
)

_SAY_WHY_NONE = Message("write under ", Fields("not_measured_because"), " why there is none")
# Quantities measured below ×50, which may be those of one spot.
_ON_SPOTS = ("depth_removed_um", "roughness_change_pct")


class Reading(Record):
    """One colour reading."""

    reading: Key = column("Code of the reading")
    zone: Key = column("Zone")
    set_name: Key = column("Set of readings taken together")
    set_size: int = column("Readings in that set", ge=1, le=10_000)
    target: Literal["soiled", "reference", "panel"] = column("What was read")
    panel: OptionalText = optional("Trial panel, where one was read", title="Trial panel")
    L_star: OptionalNumber = optional("L*", unit="1", ge=0, le=100)
    a_star: OptionalNumber = optional("a*", unit="1", ge=-128, le=128)
    b_star: OptionalNumber = optional("b*", unit="1", ge=-128, le=128)
    munsell: OptionalText = optional(
        "Munsell notation, where the colour was matched to chips by eye", title="Munsell notation"
    )
    state: Annotated[State | None, Maybe] = optional(
        "Wet or dry; empty where nothing was read", title="Wet or dry"
    )
    geometry: Geometry = column(
        "Geometry of the meter; visual where matched by eye; photograph where read from one",
        title="Geometry",
    )
    aperture_mm: OptionalNumber = optional(
        "Aperture of the meter, or side of the square in a photograph",
        title="Aperture",
        unit="mm",
        gt=0,
        le=100,
    )
    illuminant: Literal["D65/10", "D65/2", "D50/2", "C/2"] = column("Illuminant and observer")
    instrument: Words = column("Meter or camera, by kind")
    session: OptionalText = optional(
        "Session with the meter, where its white tile was read", title="Session with the meter"
    )
    read_on: date = column("Date", title="Date of reading")
    read_by: Words = column("Role", title="Read by")
    not_measured_because: OptionalText = optional("Why there is no reading")
    file: OptionalText = optional("Attachment it was read from, if any", title="File")
    photo: OptionalText = optional("Photograph it was read from, if any", title="Photograph")
    place: OptionalText = optional(
        "Stone, or part of the zone, that was read; readings of one place count as a cluster",
        title="Stone or place",
    )

    @rule
    def _measured_or_said_why(self) -> Wrong:
        yield from all_or_none(self, Fields("L_star", "a_star", "b_star"))
        measured = None not in {self.L_star, self.a_star, self.b_star}
        if (measured or self.munsell is not None) == (self.not_measured_because is not None):
            yield "L_star", Message("give a reading, or ", _SAY_WHY_NONE)
        if self.state is None and self.not_measured_because is None:
            yield "state", "write dry, damp or wet for what was read"
        if (self.target == "panel") != (self.panel is not None):
            yield "panel", "name a panel if the target is panel, and only then"

    @rule
    def _by_eye_or_by_meter(self) -> Wrong:
        if self.munsell is not None and not MUNSELL.fullmatch(self.munsell):
            yield (
                "munsell",
                "write hue, value and chroma, such as 10YR 6/4, or N and a value, such as N 5/",
            )
        if self.munsell is not None and self.geometry != "visual":
            yield "geometry", "write visual, because a Munsell notation is matched by eye"
        if self.geometry == "visual" and self.L_star is not None:
            yield "L_star", "leave it empty; a colour matched by eye has a Munsell notation only"
        if (self.geometry == "visual") != (self.aperture_mm is None):
            yield (
                "aperture_mm",
                "give it for a meter or a photograph; leave it empty for a match by eye",
            )
        if (self.geometry == "photograph") != (self.photo is not None):
            yield "photo", "name a photograph if the geometry is photograph, and only then"


# Readings or places a side of a comparison: three spreads and their slants need more than four.
FEWEST_COMPARED = 5


def colour_sets(readings: Iterable[Reading]) -> dict[str, set[str]]:
    """Sets of colour readings of soiled and clean stone that are recorded, by zone."""
    found: dict[str, set[str]] = {}
    for one in readings:
        if one.target != "panel":
            found.setdefault(one.zone, set()).add(one.set_name)
    return found


def sets_from_few_places(
    readings: Iterable[Reading],
) -> Iterator[tuple[tuple[str, str], int, int]]:
    """Zone and set, dry readings, and places of sets from too few places to be compared."""
    sets: dict[tuple[str, str], list[str]] = {}
    for one in readings:
        if one.state == "dry" and one.target != "panel":
            place = (one.place or "").strip().casefold()
            sets.setdefault((one.zone, one.set_name), []).append(place)
    for key, dry in sets.items():
        places = set(dry)
        if any(places) and len(places) < FEWEST_COMPARED <= len(dry):
            yield key, len(dry), len(places)


class TileReading(Record):
    """One reading of the meter's white tile: at the start of a session, during it, at its end."""

    tile_reading: Key = column("Code of the tile reading")
    session: Key = column("Session with the meter")
    tile_readings_in_session: int = column("Tile readings in that session", ge=1, le=1000)
    minutes: float = column(
        "Minutes since the session began",
        title="Minutes into the session",
        unit="min",
        ge=0,
        le=1440,
    )
    L_star: float = column("L*", unit="1", ge=0, le=110)
    a_star: float = column("a*", unit="1", ge=-128, le=128)
    b_star: float = column("b*", unit="1", ge=-128, le=128)
    instrument: Words = column("Meter, by kind")
    read_on: date = column("Date", title="Date of reading")
    read_by: Words = column("Role", title="Read by")


class SiteTest(Record):
    """One measured number other than a colour."""

    site_test: Key = column("Code of the test")
    zone: Key = column("Zone")
    panel: OptionalText = optional("Trial panel, where it was tested", title="Trial panel")
    quantity: Annotated[str, term("quantities")] = column("What was measured", terms="quantities")
    value: OptionalNumber = optional("Result, in the unit of the quantity", title="Result")
    spread: OptionalNumber = optional(
        "Standard deviation, in the same unit", title="Standard deviation", ge=0
    )
    set_name: Key = column("Set of tests taken together")
    set_size: int = column("Tests in that set", ge=1, le=10_000)
    method: Words = column("How it was measured")
    tested_on: date = column("Date", title="Date of test")
    tested_by: Words = column("Role", title="Tested by")
    not_measured_because: OptionalText = optional("Why there is no result")
    detection_limit: OptionalNumber = optional(
        "Lowest result that the method can tell from none, in the same unit; write 0 as the result "
        "where it found none",
        title="Detection limit",
        gt=0,
    )
    full_depth: Annotated[YesNo | None, Maybe] = optional(
        "Does the chip hold every coat down to the substrate?", title="Chip of full depth"
    )
    coating: OptionalText = optional(
        "Coating from which the chip was taken, where there are several", title="Coating"
    )
    file: OptionalText = optional(
        "Attachment that it was worked out from, such as a height map", title="Worked out from"
    )
    mineral: Annotated[Mineral | None, Maybe] = optional(
        "Of a depth on one mineral alone: which one", title="On which mineral"
    )
    spot: OptionalText = optional(
        "Of a depth or roughness on one trial spot: which spot", title="Trial spot"
    )

    @property
    def of_lead(self) -> bool:
        """Whether it is a test for lead."""
        return Quantity.named(self.quantity).of_lead

    @rule
    def _in_range(self) -> Wrong:
        if (self.value is None) == (self.not_measured_because is None):
            yield "value", Message("give a result, or ", _SAY_WHY_NONE)
        quantity = Quantity.named(self.quantity)
        low, high = quantity.low, quantity.high
        if self.value is not None and not low <= self.value <= high:
            yield (
                "value",
                Message(
                    Codes(self.quantity),
                    f" runs from {low:g} to {high:g} {quantity.unit}. Was a decimal point lost?",
                ),
            )
        if self.mineral is not None and self.quantity != "depth_removed_um":
            why = Message("name a mineral for ", Codes("depth_removed_um"), " only")
            yield "mineral", why
        if self.spot is not None and self.quantity not in _ON_SPOTS:
            yield "spot", Message("name a spot for ", Codes(*_ON_SPOTS, sign=" or "), " only")
        elif self.spot is not None and self.panel is None:
            yield "panel", "name the panel on which the spot lies"


def complete_values(
    tests: Iterable[SiteTest], quantity: str, *, panel: str | None = None
) -> list[float] | None:
    """Values of one quantity on a zone or panel; None where one of the set is missing."""
    # A set with a gap is never read as if it were whole.
    found = [test for test in tests if test.quantity == quantity and test.panel == panel]
    values = [test.value for test in found if test.value is not None]
    whole = bool(found) and len(values) == len(found) == found[0].set_size
    return values if whole else None


# -- Profiles from the surface to the core ---------------------------------------------------------

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
    panel: OptionalText = optional(
        "Trial panel; empty for a control beside all panels", title="Trial panel"
    )
    spot: OptionalText = optional("Trial spot, where it shows one", title="Trial spot")
    profile: Key = column("Profile that it belongs to", title="Profile")
    profile_size: int = column("Readings in that profile", ge=1, le=10_000)
    moment: Literal["before", "after", "control"] = column(
        "Before or after treatment, or on an untreated control", title="Before, after or control"
    )
    quantity: SectionQuantity = column("What was measured")
    element: OptionalText = optional("Of a composition: which element, such as C", title="Element")
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
    standard_error: OptionalNumber = optional(
        "Its standard error, in the same unit", title="Standard error", gt=0
    )
    count: OptionalCount = optional(
        "Fields, indents or tilts that it rests on",
        title="Fields, indents or tilts",
        ge=1,
        le=100_000,
    )
    elastic_constants: OptionalText = optional(
        "Of a stress: the elastic constants used, with their unit, such as ½S2 = 5.8 /TPa",
        title="Elastic constants",
    )
    method: Words = column("How it was measured")
    file: OptionalText = optional(
        "Attachment that holds it, such as the laboratory's sheet", title="File"
    )
    measured_on: date = column("Date")
    measured_by: Words = column("Laboratory, or role", title="Measured by")
    note: OptionalText = optional("In words", title="Note")

    @rule
    def _in_range(self) -> Wrong:
        unit, low, high = RANGES[self.quantity]
        if not low <= self.value <= high:
            limits = f" runs from {low:g} to {high:g} {unit}. Check the unit"
            yield "value", Message(Codes(self.quantity), limits)

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

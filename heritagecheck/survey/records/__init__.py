"""The records of a survey: the only list of fields, from which tables, forms and schema derive."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Annotated, Any, Literal, cast

from pydantic import Field, ValidationInfo, field_validator, model_validator

from heritagecheck import tables
from heritagecheck.survey.records import quantities
from heritagecheck.survey.records.beds import listed_beds
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.survey.records.record import (
    PLAIN_NUMBER,
    AnyRecord,
    FileName,
    Key,
    Maybe,
    OptionalCount,
    OptionalDate,
    OptionalNumber,
    OptionalText,
    Record,
    Words,
    column,
    listed,
    listed_parts,
    rule,
    term,
)

Significance = Literal["high", "medium", "low"]
Condition = Literal[
    "sound", "slightly_weathered", "friable", "scaling", "cracked", "corroding", "not_assessed"
]
Finish = Literal[
    "rock_faced", "tooled", "fine_tooled", "sawn", "honed", "polished", "fired", "glazed", "cast",
    "rolled", "forged",
]  # fmt: skip
Access = Literal[
    "ground", "ladder", "scaffold", "scaffold_enclosed", "rope", "platform", "confined"
]
LayerValue = Literal[
    "not_valued", "significant", "protective", "rare", "original_surface", "partly", "not_assessed"
]
State = Literal["dry", "damp", "wet"]
Geometry = Literal["SCI", "SCE", "45/0", "visual", "photograph"]
AttachmentKind = Literal[
    "photograph", "height_map", "instrument_file", "drawing", "document", "other"
]
YesNo = Literal["yes", "no"]
DamageKind = Literal[
    "grains", "heat_tint", "oxide_lost", "cracked", "melted", "tooling_lost", "mark_lost",
    "plate_lost", "visible", "other",
]  # fmt: skip
# Hue, value and chroma as ASTM D1535 writes them, or N and the value of a grey.
MUNSELL = re.compile(
    r"(10|\d(\.\d+)?)(R|YR|Y|GY|G|BG|B|PB|P|RP) \d{1,2}(\.\d+)?/\d{1,2}(\.\d+)?"
    r"|N ?\d{1,2}(\.\d+)?/?"
)


class Structure(Record):
    """The structure surveyed."""

    structure: Words = column("Name of the structure")
    asked: Words = column("What was asked of this survey")
    surveyed_by: Words = column("Who surveyed (roles, no names)")
    survey_date: date = column("Date on which the survey closed")
    significance: Words = column("Why the structure matters, in a sentence")
    licence: OptionalText = column(
        "Licence under which these records go to others, as SPDX writes it", default=None
    )
    call_first: OptionalText = column(
        "Whom a contractor calls first when work stops: role, and how to reach it", default=None
    )
    beds: OptionalText = column(
        "Every quarry bed and coating system that zones may name, each after its stone or metal, "
        "separated by semicolons, such as granite: grey granite, bed A; granite: pale, bed B",
        default=None,
    )

    @rule
    def _beds_are_a_list(self) -> Iterator[str]:
        try:
            listed_beds(self.beds)
        except ValueError as why:
            yield str(why)

    @property
    def listed_beds(self) -> dict[str, tuple[str, ...]]:
        """Beds and coating systems that zones may name, by their stone or metal."""
        return listed_beds(self.beds)


class Elevation(Record):
    """One side of the structure, with its drawing."""

    elevation: Key = column("Code of the elevation")
    name: Words = column("Its name")
    drawing: FileName = column("File of its drawing, beside the tables")
    width_m: float = column("Width of the drawing", unit="m", gt=0)
    height_m: float = column("Height of the drawing", unit="m", gt=0)


class Zone(Record):
    """The largest area on which one decision can be defended."""

    zone: Key = column("Code of the zone, as chalked on the wall")
    elevation: Key = column("Elevation on which it lies")
    name: Words = column("What it is, in words")
    area_m2: float = column("Area", unit="m²", gt=0, le=100_000)
    substrate: Annotated[str, term("substrates")] = column("Substrate", terms="substrates")
    finish: Finish = column("Finish of the surface")
    condition: Condition = column("Condition of the substrate")
    exposure: Annotated[str, term("exposure")] = column("Exposure", terms="exposure")
    access: Access = column("How it is reached")
    significance: Significance = column("Significance of this zone")
    significance_reason: Words = column("Reason for that grade, in a sentence")
    soilings: Words = column(
        "Codes of every soiling seen, outermost first, separated by semicolons"
    )
    biotite_pct: OptionalNumber = column(
        "Dark mica by point count", unit="% area", default=None, ge=0, le=100
    )
    bed_or_system: OptionalText = column(
        "Quarry bed of the stone, or coating system of the metal, as the structure lists it",
        default=None,
    )
    panels_laid: OptionalCount = column(
        "Trial panels laid on this zone; 0 where none was", default=None, ge=0, le=1000
    )
    colour_sets: OptionalCount = column(
        "Sets of colour readings of soiled and clean stone, by meter, eye and photograph; needed "
        "where a photograph stands in for the meter",
        default=None, ge=0, le=100,
    )  # fmt: skip
    next_access: OptionalDate = column("When the zone can next be reached", default=None)
    surveyed_on: date = column("Date")
    surveyed_by: Words = column("Role of the surveyor")
    note: OptionalText = column("Anything else", default=None)
    coatings: OptionalCount = column(
        "Coatings of different history, each to be tested for lead; 0 where there is none",
        default=None, ge=0, le=50,
    )  # fmt: skip
    not_tried: OptionalText = column(
        "Gentler methods that were not tried, each with its reason, separated by semicolons, such "
        "as hand_tools: leaves no profile for the coating; dry_ice: no supplier",
        default=None,
    )

    @field_validator("soilings", mode="before")
    @classmethod
    def _soilings_as_listed(cls, value: Any) -> Any:
        return listed_parts(value, tables.codes("soilings"))

    @rule
    def _soilings_are_terms(self) -> Iterator[str]:
        unknown = [code for code in self.soiling_codes if code not in tables.codes("soilings")]
        if unknown:
            yield (
                f"soilings: {', '.join(unknown)} is none of: {', '.join(tables.codes('soilings'))}"
            )
        kinds = tables.keyed("soilings", "soiling")
        coatings = {code for code, row in kinds.items() if row["kind"] == "coating"}
        seen = [code for code in self.soiling_codes if code in coatings]
        if self.coatings == 0 and seen:
            yield (f"coatings: {', '.join(seen)} is among the soilings, so it can't be 0")

    @rule
    def _not_tried_are_methods(self) -> Iterator[str]:
        for part in filter(None, map(str.strip, (self.not_tried or "").split(";"))):
            method, _, reason = part.partition(":")
            if method.strip() not in tables.codes("methods") or not reason.strip():
                yield (
                    f"not_tried: {part} is no code of a method with a reason, such as "
                    f"hand_tools: leaves no profile. Codes: {', '.join(tables.codes('methods'))}"
                )

    @property
    def reasons_not_tried(self) -> dict[str, str]:
        """Methods that the team left untried, and why."""
        said = (part.partition(":") for part in (self.not_tried or "").split(";"))
        return {method.strip(): reason.strip() for method, colon, reason in said if colon}

    @property
    def soiling_codes(self) -> tuple[str, ...]:
        """Soilings, outermost first."""
        return tuple(code.strip() for code in self.soilings.split(";"))

    @property
    def confined(self) -> bool:
        """Whether whoever works there is in a confined space."""
        return self.exposure == "closed_section" or self.access == "confined"


class Layer(Record):
    """One layer on a zone: soiling, growth, salt or coating, and whether it is itself of value."""

    layer: Key = column("Code of the layer")
    zone: Key = column("Zone")
    soiling: Annotated[str, term("soilings")] = column("What it is", terms="soilings")
    cover_pct: OptionalNumber = column("Cover", unit="% area", default=None, ge=0, le=100)
    thickness_mm: OptionalNumber = column("Thickness", unit="mm", default=None, ge=0, le=500)
    value: LayerValue = column("Is the layer itself significant, protective or rare?")
    value_reason: OptionalText = column("Why, and who said so", default=None)
    made_of: Annotated[str | None, term("materials"), Maybe] = column(
        "What a layer of value is made of", terms="materials", default=None
    )


class Observation(Record):
    """One question answered at the wall or at the desk."""

    observation: Key = column("Code of the observation")
    zone: Key = column("Zone")
    topic: Annotated[str, term("topics")] = column("Question", terms="topics")
    finding: OptionalText = column("Answer, one of the findings of its question", default=None)
    not_recorded_because: OptionalText = column("Why there is no answer", default=None)
    owner: OptionalText = column("Who owns the cure, where one is scheduled", default=None)
    due: OptionalDate = column("When it is due", default=None)
    seen_on: date = column("Date")
    seen_by: Words = column("Role")
    note: OptionalText = column("In words", default=None)

    @field_validator("finding", mode="before")
    @classmethod
    def _finding_as_listed(cls, value: Any, info: ValidationInfo) -> Any:
        topic = info.data.get("topic")
        return value if not isinstance(topic, str) else listed(value, _findings_of(topic))

    @rule
    def _finding_fits(self) -> Iterator[str]:
        allowed = _findings_of(self.topic)
        if (self.finding is None) == (self.not_recorded_because is None):
            yield "finding: give an answer, or the reason why there is none"
        if self.finding is not None and self.finding not in allowed:
            yield f"finding: {self.topic} takes one of: {', '.join(allowed)}"
        if self.finding == "scheduled" and not (self.owner and self.due):
            yield "finding: a scheduled cure needs an owner and a due date"
        if self.topic == "cause_other" and self.finding not in {None, "none"} and not self.note:
            yield "note: name the other source here"


def _findings_of(topic: str) -> list[str]:
    """The answers that a question takes."""
    return tables.keyed("topics", "topic")[topic]["findings"].split("|")


class Reading(Record):
    """One colour reading."""

    reading: Key = column("Code of the reading")
    zone: Key = column("Zone")
    set_name: Key = column("Set of readings taken together")
    set_size: int = column("Readings in that set", ge=1, le=10_000)
    target: Literal["soiled", "reference", "panel"] = column("What was read")
    panel: OptionalText = column("Trial panel, where one was read", default=None)
    L_star: OptionalNumber = column("L*", unit="1", default=None, ge=0, le=100)
    a_star: OptionalNumber = column("a*", unit="1", default=None, ge=-128, le=128)
    b_star: OptionalNumber = column("b*", unit="1", default=None, ge=-128, le=128)
    munsell: OptionalText = column(
        "Munsell notation, where the colour was matched to chips by eye", default=None
    )
    state: State = column("Wet or dry")
    geometry: Geometry = column(
        "Geometry of the meter; visual where matched by eye; photograph where read from one"
    )
    aperture_mm: OptionalNumber = column(
        "Aperture of the meter, or side of the square in a photograph",
        unit="mm", default=None, gt=0, le=100,
    )  # fmt: skip
    illuminant: Literal["D65/10", "D65/2", "D50/2", "C/2"] = column("Illuminant and observer")
    instrument: Words = column("Meter or camera, by kind")
    session: OptionalText = column(
        "Session with the meter, where its white tile was read", default=None
    )
    read_on: date = column("Date")
    read_by: Words = column("Role")
    not_measured_because: OptionalText = column("Why there is no reading", default=None)
    file: OptionalText = column("Attachment it was read from, if any", default=None)
    photo: OptionalText = column("Photograph it was read from, if any", default=None)
    place: OptionalText = column(
        "Stone, or part of the zone, that was read; readings of one place count as a cluster",
        default=None,
    )

    @rule
    def _measured_or_said_why(self) -> Iterator[str]:
        given = [value is not None for value in (self.L_star, self.a_star, self.b_star)]
        if any(given) and not all(given):
            yield "L_star: give L_star, a_star and b_star together"
        if (all(given) or self.munsell is not None) == (self.not_measured_because is not None):
            yield "L_star: give a reading, or the reason why there is none"
        if (self.target == "panel") != (self.panel is not None):
            yield "panel: name the panel exactly where the target is a panel"

    @rule
    def _by_eye_or_by_meter(self) -> Iterator[str]:
        if self.munsell is not None and not MUNSELL.fullmatch(self.munsell):
            yield (
                "munsell: hue, value and chroma, such as 10YR 6/4, or N and a value, such as N 5/"
            )
        if self.munsell is not None and self.geometry != "visual":
            yield "geometry: a Munsell notation is matched by eye: write visual"
        if self.geometry == "visual" and self.L_star is not None:
            yield "L_star: what was matched by eye has a Munsell notation, no L*"
        if (self.geometry == "visual") != (self.aperture_mm is None):
            yield "aperture_mm: a meter has an aperture, the eye has none"
        if (self.geometry == "photograph") != (self.photo is not None):
            yield "photo: name the photograph exactly where one was read"


class TileReading(Record):
    """One reading of the meter's white tile: at the start of a session, during it, at its end."""

    tile_reading: Key = column("Code of the tile reading")
    session: Key = column("Session with the meter")
    tile_readings_in_session: int = column("Tile readings in that session", ge=1, le=1000)
    minutes: float = column("Minutes since the session began", unit="min", ge=0, le=1440)
    L_star: float = column("L*", unit="1", ge=0, le=110)
    a_star: float = column("a*", unit="1", ge=-128, le=128)
    b_star: float = column("b*", unit="1", ge=-128, le=128)
    instrument: Words = column("Meter, by kind")
    read_on: date = column("Date")
    read_by: Words = column("Role")


class SiteTest(Record):
    """One measured number that is no colour."""

    site_test: Key = column("Code of the test")
    zone: Key = column("Zone")
    panel: OptionalText = column("Trial panel, where it was tested", default=None)
    quantity: Annotated[str, term("quantities")] = column("What was measured", terms="quantities")
    value: OptionalNumber = column("Result, in the unit of the quantity", default=None)
    spread: OptionalNumber = column("Standard deviation, in the same unit", default=None, ge=0)
    set_name: Key = column("Set of tests taken together")
    set_size: int = column("Tests in that set", ge=1, le=10_000)
    method: Words = column("How it was measured")
    tested_on: date = column("Date")
    tested_by: Words = column("Role")
    not_measured_because: OptionalText = column("Why there is no result", default=None)
    detection_limit: OptionalNumber = column(
        "Lowest result that the method can tell from none, in the same unit; write 0 as the result "
        "where it found none",
        default=None, gt=0,
    )  # fmt: skip
    full_depth: Annotated[YesNo | None, Maybe] = column(
        "Does the chip hold every coat down to the substrate?", default=None
    )
    coating: OptionalText = column(
        "Coating from which the chip was taken, where there are several", default=None
    )

    @rule
    def _in_range(self) -> Iterator[str]:
        if (self.value is None) == (self.not_measured_because is None):
            yield "value: give a result, or the reason why there is none"
        quantity = tables.keyed("quantities", "quantity")[self.quantity]
        low, high = float(quantity["low"]), float(quantity["high"])
        if self.value is not None and not low <= self.value <= high:
            yield (
                f"value: {self.quantity} runs from {low:g} to {high:g} {quantity['unit']}. "
                "Was a decimal point lost?"
            )


class Panel(Record):
    """One trial panel, with its setting and what it showed."""

    panel: Key = column("Code of the panel")
    zone: Key = column("Zone on which it lies")
    series: Key = column("Series of like panels")
    panels_in_series: int = column("Panels laid in that series", ge=1, le=1000)
    soiling: Annotated[str, term("soilings")] = column("Soiling treated", terms="soilings")
    method: Annotated[str, term("methods")] = column("Method", terms="methods")
    setting: Words = column(
        "Setting in words, for people; what decides stands in the fields and in the table settings"
    )
    done_on: date = column("Done on")
    read_on: OptionalDate = column("Last read on", default=None)
    not_read_because: OptionalText = column("Why it was not read", default=None)
    winter_included: Annotated[YesNo | None, Maybe] = column(
        "Did a winter pass over it?", default=None
    )
    control_kept: Annotated[YesNo | None, Maybe] = column("Is a control kept?", default=None)
    x50_fields: OptionalCount = column("Fields read at ×50", default=None, ge=0, le=10_000)
    x50_fields_weakest: OptionalCount = column(
        "Of these, fields that hold the weakest component", default=None, ge=0, le=10_000
    )
    damaged_fields: OptionalCount = column("Fields with damage", default=None, ge=0, le=10_000)
    damaged_component: OptionalText = column("What was damaged first", default=None)
    residual_pct: OptionalNumber = column("Soiling left", unit="% area", default=None, ge=0, le=100)
    delta_b: OptionalNumber = column(
        "Yellowing against the control (change of b*)", unit="1", default=None, ge=-60, le=60
    )
    late_effects: Annotated[
        Literal["none", "salts", "growth", "yellowing", "rust", "other"] | None, Maybe
    ] = column("Late effects", default=None)
    setting_quantity: Annotated[str | None, term("setting_quantities"), Maybe] = column(
        "Quantity of the four settings below, such as pressure or peak_fluence",
        terms="setting_quantities", default=None,
    )  # fmt: skip
    setting_unit: Annotated[str | None, term("setting_units"), Maybe] = column(
        "Their unit", terms="setting_units", default=None
    )
    cleaning_low: OptionalNumber = column("Cleaning setting, lowest", default=None, gt=0)
    cleaning_high: OptionalNumber = column("Cleaning setting, highest", default=None, gt=0)
    damage_low: OptionalNumber = column(
        "First damage, lowest; or the highest setting tried without damage", default=None, gt=0
    )
    damage_high: OptionalNumber = column(
        "First damage, highest; empty where none was found", default=None, gt=0
    )
    grade_reached: Annotated[YesNo | None, Maybe] = column(
        "Steel: preparation grade reached?", default=None
    )
    required_adhesion_mpa: OptionalNumber = column(
        "Steel: adhesion required", unit="MPa", default=None, ge=0, le=50
    )
    required_profile_low_um: OptionalNumber = column(
        "Steel: profile required, from", unit="µm", default=None, ge=0, le=500
    )
    required_profile_high_um: OptionalNumber = column(
        "Steel: profile required, to", unit="µm", default=None, ge=0, le=500
    )
    read_by: OptionalText = column("Role of the reader", default=None)
    reader_blind: Annotated[YesNo | None, Maybe] = column(
        "Was the reader blind to the setting?", default=None
    )
    spots_laid: OptionalCount = column(
        "Trial spots laid on this panel; 0 where none was", default=None, ge=0, le=10_000
    )
    note: OptionalText = column("In words", default=None)
    passes: OptionalCount = column(
        "Pulses or passes of the setting", default=None, ge=1, le=1_000_000
    )
    wetted: Annotated[YesNo | None, Maybe] = column(
        "Was the surface wetted before treating?", default=None
    )
    also_treated: OptionalText = column(
        "Codes of other soilings taken off the same panel, separated by semicolons", default=None
    )
    after_series: OptionalText = column(
        "Series laid on the same place before this one, where methods follow one another",
        default=None,
    )
    damage_kind: Annotated[DamageKind | None, Maybe] = column(
        "Worst damage: grains are single grains or flakes that only ×50 shows; visible is any "
        "that the eye sees; a required profile on steel is not damage",
        default=None,
    )
    fields_before: OptionalCount = column(
        "Fields read at ×50 before treatment, or on the control", default=None, ge=0, le=10_000
    )
    damaged_before: OptionalCount = column(
        "Of these, fields already damaged", default=None, ge=0, le=10_000
    )
    before_on: Annotated[Literal["panel", "control"] | None, Maybe] = column(
        "Where those were read: the panel before treatment, or its control", default=None
    )
    joint_included: Annotated[YesNo | None, Maybe] = column(
        "Does the panel take in a joint and what stands beside it?", default=None
    )

    @field_validator("also_treated", mode="before")
    @classmethod
    def _treated_as_listed(cls, value: Any) -> Any:
        return listed_parts(value, tables.codes("soilings"))

    @rule
    def _also_treated_are_terms(self) -> Iterator[str]:
        unknown = [code for code in self.treated if code not in tables.codes("soilings")]
        if unknown:
            yield (
                f"also_treated: {', '.join(unknown)} is none of: "
                f"{', '.join(tables.codes('soilings'))}"
            )
        if self.after_series == self.series:
            yield "after_series: a series can't come after itself; name the one before"

    @property
    def treated(self) -> tuple[str, ...]:
        """All soilings that were taken off the panel, the first named first."""
        also = (part.strip() for part in (self.also_treated or "").split(";"))
        return (self.soiling, *filter(None, also))

    @rule
    def _consistent(self) -> Iterator[str]:
        if (self.read_on is None) == (self.not_read_because is None):
            yield "read_on: give the date of reading, or why it was not read"
        if self.read_on is not None and self.read_on < self.done_on:
            yield "read_on: a panel can't be read before it was done"
        for part in (self.x50_fields_weakest, self.damaged_fields):
            if part is not None and (self.x50_fields is None or part > self.x50_fields):
                yield "x50_fields: fewer fields were read than are counted beside it"
        for low, high in (("cleaning_low", "cleaning_high"), ("damage_low", "damage_high")):
            if getattr(self, high) is not None and (
                getattr(self, low) is None or getattr(self, low) > getattr(self, high)
            ):
                yield f"{low}: {low} can't lie above {high} or be missing beside it"
        for field in ("cleaning_low", "cleaning_high", "damage_low", "damage_high"):
            value = getattr(self, field)
            yield from _scale_faults(
                ("setting_quantity", "setting_unit", field), self.setting_quantity,
                self.setting_unit, value,
            )  # fmt: skip

    @rule
    def _fields_before(self) -> Iterator[str]:
        given = [self.fields_before, self.damaged_before, self.before_on]
        if any(one is None for one in given) != all(one is None for one in given):
            yield ("fields_before: give fields_before, damaged_before and before_on together")
        elif (self.damaged_before or 0) > (self.fields_before or 0):
            yield "damaged_before: more fields are damaged than were read"

    @rule
    def _no_contradiction(self) -> Iterator[str]:
        below = (
            self.damage_high is not None
            and self.cleaning_low is not None
            and self.damage_high < self.cleaning_low
        )
        if below and self.x50_fields and self.damaged_fields == 0:
            yield (
                "damaged_fields: damage began below the cleaning setting, so the panel can't be "
                "without any. Correct the settings or count the damaged fields"
            )

    @property
    def scale(self) -> Scale:
        """What its four settings stand in."""
        return Scale(self.setting_quantity, self.setting_unit)


class Setting(Record):
    """One quantity that was dialled for a series of panels: its number with the unit, or words."""

    series: Key = column("Series of panels")
    zone: Key = column("Zone on which they lie")
    quantity: Annotated[str, term("setting_quantities")] = column(
        "Quantity", terms="setting_quantities"
    )
    value: OptionalNumber = column("Its value; where it ran over a span, the lowest", default=None)
    value_to: OptionalNumber = column(
        "Where it ran over a span, the highest; else empty", default=None
    )
    unit: Annotated[str | None, term("setting_units"), Maybe] = column(
        "Unit of the value", terms="setting_units", default=None
    )
    words: OptionalText = column(
        "In place of a value: one of the words that the quantity takes", default=None
    )

    @field_validator("words", mode="before")
    @classmethod
    def _words_as_listed(cls, value: Any, info: ValidationInfo) -> Any:
        quantity = info.data.get("quantity")
        terms = () if not isinstance(quantity, str) else quantities.terms_of(quantity)
        return value if quantities.ANY_WORDS in terms else listed(value, terms)

    @rule
    def _told_in_one_way(self) -> Iterator[str]:
        name = self.name
        if self.quantity == "passes":
            yield "quantity: pulses or passes belong in the field passes of the panels"
        if (self.value is None) == (self.words is None):
            yield f"value: give {name} as a value with its unit, or in words"
            return
        if self.words is not None:
            terms = quantities.terms_of(self.quantity)
            if quantities.ANY_WORDS not in terms and self.words not in terms:
                yield (f"words: {name} is one of: {', '.join(terms) or 'no words, but a value'}")
            if self.unit is not None or self.value_to is not None:
                yield "unit: words have no unit and no span"
            return
        if self.unit is None:
            allowed = quantities.units_of(self.quantity)
            yield f"unit: {name} is written in one of: {', '.join(allowed)}"
            return
        for field in ("value", "value_to"):
            yield from _scale_faults(
                ("quantity", "unit", field), self.quantity, self.unit, getattr(self, field)
            )
        assert self.value is not None
        if self.value_to is not None and self.value_to < self.value:
            yield "value_to: the highest can't lie below the lowest"

    @property
    def highest(self) -> float | None:
        """Its value at the highest; None where it is told in words."""
        return self.value if self.value_to is None else self.value_to

    @property
    def name(self) -> str:
        """The quantity as a sentence names it."""
        return quantities.name_of(self.quantity)

    @property
    def told(self) -> str:
        """Its value as a sentence writes it."""
        if self.value is None:
            return (self.words or "").replace("_", " ")
        span = "" if self.value_to is None else f" to {self.value_to:g}"
        return f"{self.value:g}{span} {Scale(self.quantity, self.unit)}"


def _scale_faults(
    fields: tuple[str, str, str], quantity: str | None, unit: str | None, value: float | None
) -> Iterator[str]:
    """A unit that its quantity does not take, or a number that no such setting can have."""
    if None in (quantity, unit):
        return
    assert quantity is not None
    if why := quantities.why_not_taken(quantity, value, unit):
        yield f"{fields[2] if 'runs from' in why else fields[1]}: {why}"


class Spot(Record):
    """One trial spot on a panel: one dose, and whether it cleaned and damaged."""

    spot: Key = column("Code of the spot")
    panel: Key = column("Trial panel on which it lies")
    zone: Key = column("Zone on which it lies")
    spots_on_panel: int = column("Spots laid on that panel", ge=1, le=10_000)
    dose: OptionalNumber = column("Setting varied from spot to spot", default=None, gt=0)
    dose_quantity: Annotated[str | None, term("setting_quantities"), Maybe] = column(
        "What it is, such as pressure or peak_fluence", terms="setting_quantities", default=None
    )
    dose_unit: Annotated[str | None, term("setting_units"), Maybe] = column(
        "Its unit", terms="setting_units", default=None
    )
    passes: OptionalCount = column("Pulses or passes", default=None, ge=1, le=1_000_000)
    cleaned: Annotated[YesNo | None, Maybe] = column("Did the soiling come off?", default=None)
    damaged: Annotated[YesNo | None, Maybe] = column("Is there damage at ×50?", default=None)
    damaged_component: OptionalText = column("What was damaged first", default=None)
    read_on: OptionalDate = column("Read on", default=None)
    read_by: OptionalText = column("Role of the reader", default=None)
    not_read_because: OptionalText = column("Why it was not read", default=None)
    component: OptionalText = column(
        "Component under the spot, such as biotite, where one was looked at", default=None
    )
    wetted: Annotated[YesNo | None, Maybe] = column(
        "Was the surface wetted before treating?", default=None
    )
    note: OptionalText = column("In words", default=None)
    damage_kind: Annotated[DamageKind | None, Maybe] = column(
        "Worst damage, named as on a panel", default=None
    )

    @rule
    def _read_or_said_why(self) -> Iterator[str]:
        given = [value is not None for value in (self.cleaned, self.damaged, self.read_on)]
        if any(given) and not all(given):
            yield "cleaned: give cleaned, damaged and read_on together"
        if all(given) == (self.not_read_because is not None):
            yield "cleaned: give what the spot showed, or why it was not read"
        if self.dose is None and self.dose_unit is not None:
            yield "dose_unit: a unit needs its setting"
        yield from _scale_faults(
            ("dose_quantity", "dose_unit", "dose"), self.dose_quantity, self.dose_unit, self.dose
        )

    @property
    def scale(self) -> Scale:
        """What its dose stands in."""
        return Scale(self.dose_quantity, self.dose_unit)


class Attachment(Record):
    """One file that belongs to the survey, known by its content."""

    attachment: Key = column("Code of the attachment")
    kind: AttachmentKind = column("What it is")
    file: FileName = column("Name of the file, with its folder below the survey's own")
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] = column(
        "SHA-256 of its content, in hexadecimal digits"
    )
    bytes: int = column("Size", unit="B", ge=0, le=10_000_000_000)
    zone: OptionalText = column("Zone it shows, if one", default=None)
    panel: OptionalText = column("Trial panel it shows, if one", default=None)
    taken_on: OptionalDate = column("Date on which it was made", default=None)
    taken_by: OptionalText = column("Role of its maker", default=None)
    note: OptionalText = column("In words", default=None)


class HeightMap(Record):
    """One height map, as whoever knows the surface confirmed its unit, pixel size and extent."""

    height_map: Key = column("Code of the height map")
    attachment: Key = column("Attachment that holds it")
    zone: Key = column("Zone")
    panel: OptionalText = column("Trial panel, where it shows one", default=None)
    moment: Literal["before", "after", "reference"] = column("Before or after trial, or untreated")
    height_unit: Literal["m", "mm", "µm", "nm"] = column("Unit of the heights in the file")
    pixel_x_um: float = column("Pixel size along a row", unit="µm", gt=0, le=100_000)
    pixel_y_um: float = column("Pixel size along a column", unit="µm", gt=0, le=100_000)
    rows: int = column("Rows", ge=1, le=1_000_000)
    columns: int = column("Columns", ge=1, le=1_000_000)
    lowest_um: float = column("Lowest height", unit="µm")
    highest_um: float = column("Highest height", unit="µm")
    unseen: float = column("Share of pixels without a height", unit="1", ge=0, le=1)
    instrument: Words = column("Instrument, by kind")
    measured_on: date = column("Date")
    confirmed_by: Words = column("Role of whoever confirmed unit and size")

    @rule
    def _lowest_lies_lowest(self) -> Iterator[str]:
        if self.lowest_um > self.highest_um:
            yield "lowest_um: the lowest height can't lie above the highest"


class Photo(Record):
    """
    One photograph as it shows one zone, with what makes it a measurement.

    What is measured in it stays empty until `heritagecheck.photograph.measure` fills it in.
    """

    photo: Key = column("Code of the photograph")
    attachment: Key = column("Attachment that holds it")
    zone: Key = column("Zone it is measured for")
    state: State = column("Wet or dry")
    points: Words = column(
        "Points on the wall: x y in the picture [pixel], then metres from the left and from the "
        "top of the drawing; four points or more, separated by semicolons"
    )
    clean_stone: OptionalText = column(
        "Outline of clean stone of the same kind in the picture: x y [pixel]; three corners or "
        "more, separated by semicolons",
        default=None,
    )
    chart_corners: OptionalText = column(
        "Corners of the colour chart's patches, x y [pixel], where they were pointed at by hand: "
        "from the first patch (dark skin) along the long side, four corners, separated by "
        "semicolons",
        default=None,
    )
    board: OptionalText = column(
        "Attachment: photograph of an even grey board, same camera, place and light", default=None
    )
    taken_on: date = column("Date")
    taken_by: Words = column("Role")
    chart_error: OptionalNumber = column(
        "Mean error of the chart's patches, each left out in turn",
        unit="ΔE00", default=None, ge=0, le=3,
    )  # fmt: skip
    error_L: OptionalNumber = column(
        "Standard error of L* by chart and light", unit="1", default=None, ge=0, le=20
    )
    error_a: OptionalNumber = column(
        "Standard error of a* by the chart", unit="1", default=None, ge=0, le=20
    )
    error_b: OptionalNumber = column(
        "Standard error of b* by the chart", unit="1", default=None, ge=0, le=20
    )
    note: OptionalText = column("In words", default=None)

    @rule
    def _numbers(self) -> Iterator[str]:
        yield from _row_faults("points", self.points, 4, least=4)
        yield from _row_faults("clean_stone", self.clean_stone, 2, least=3)
        yield from _row_faults("chart_corners", self.chart_corners, 2, least=4)
        if (self.chart_corners or "").count(";") > 3:
            yield "chart_corners: four corners, no more"
        measured = [self.chart_error, self.error_L, self.error_a, self.error_b]
        if any(one is None for one in measured) != all(one is None for one in measured):
            yield "chart_error: what is measured comes together, or not at all"

    @property
    def tie_points(self) -> tuple[tuple[float, ...], ...]:
        """Points on the wall: x, y [pixel], from the left, from the top [m]."""
        return _rows_of("points", self.points, 4, least=4)

    @property
    def clean_outline(self) -> tuple[tuple[float, ...], ...]:
        """Corners of the clean stone: x, y [pixel]; none where none is shown."""
        return _rows_of("clean_stone", self.clean_stone, 2, least=3)

    @property
    def chart_outline(self) -> tuple[tuple[float, ...], ...]:
        """Corners of the chart's patches: x, y [pixel]; none where the chart is to be found."""
        return _rows_of("chart_corners", self.chart_corners, 2, least=4)


def _rows_of(field: str, text: str | None, wide: int, least: int) -> tuple[tuple[float, ...], ...]:
    """Numbers written as rows separated by semicolons."""
    if text is None:
        return ()
    found = []
    for row in text.split(";"):
        cells = row.split()
        if len(cells) != wide or not all(PLAIN_NUMBER.fullmatch(cell) for cell in cells):
            comma = (
                "" if "," not in row else "with decimal points; a comma may also separate thousands"
            )
            raise ValueError(
                f"{field}: {row.strip() or 'an empty row'} is not {wide} plain numbers separated "
                f"by blanks{comma and ', ' + comma}; rows are separated by semicolons, such as "
                + ("120 340 1.25 3.1; 980 338 3.4 3.1" if wide == 4 else "120 340; 980 338")
            )
        found.append(tuple(float(cell) for cell in cells))
    if len(found) < least:
        raise ValueError(f"{field}: {len(found)} rows; {least} or more are needed")
    return tuple(found)


def _row_faults(field: str, text: str | None, wide: int, least: int) -> Iterator[str]:
    """Why numbers can't be read as rows."""
    try:
        _rows_of(field, text, wide, least)
    except ValueError as why:
        yield str(why)


class AgreedPolicy(Record):
    """What the team agreed before any answer was shown."""

    alpha: float = column("Share of simulations that may favour leaving", unit="1", gt=0, lt=0.5)
    agreed_share: float = column("Share of members who must pass", unit="1", gt=0, le=1)
    fabric_cap_high: float = column(
        "Harm to fabric exceeded in at most 5 % of simulations, high significance", ge=0, le=10
    )
    fabric_cap_medium: float = column("The same, medium significance", ge=0, le=10)
    fabric_cap_low: float = column("The same, low significance", ge=0, le=10)
    margin: float = column("Damage margin asked", ge=1, le=20)
    margin_high: float = column("Damage margin asked where significance is high", ge=1, le=20)
    damage_limit: float = column(
        "Share of ×50 fields or trial spots that may be damaged, upper bound, low significance; "
        "at every significance where the four below are empty",
        unit="1", gt=0, lt=1,
    )  # fmt: skip
    horizon_years: float = column("Years looked ahead", unit="years", gt=0, le=200)
    power: Literal[1, 2] = column("Power in the sum of harm: 2, or 1 on request")
    agreed_on: date = column("Agreed on")
    damage_limit_medium: OptionalNumber = column(
        "The same, medium significance", unit="1", default=None, gt=0, lt=1
    )
    damage_limit_high: OptionalNumber = column(
        "The same, high significance", unit="1", default=None, gt=0, lt=1
    )
    damage_seen: OptionalNumber = column(
        "Share of ×50 fields or trial spots that may be seen damaged", unit="1",
        default=None, ge=0, lt=1,
    )  # fmt: skip
    damage_seen_high: OptionalNumber = column(
        "The same, high significance", unit="1", default=None, ge=0, lt=1
    )

    @model_validator(mode="before")
    @classmethod
    def _whole_power(cls, values: Any) -> Any:
        if isinstance(values, dict) and str(values.get("power", "")).strip() in {"1", "2"}:
            return {**values, "power": int(values["power"])}
        return values

    @rule
    def _stricter_where_more_is_at_stake(self) -> Iterator[str]:
        if not self.fabric_cap_high <= self.fabric_cap_medium <= self.fabric_cap_low:
            yield "fabric_cap_high: a cap can't be looser where significance is higher"
        if self.margin_high < self.margin:
            yield "margin_high: the margin can't be smaller where significance is high"

    @rule
    def _damage_by_significance(self) -> Iterator[str]:
        medium, high = self.damage_limit_medium, self.damage_limit_high
        seen, seen_high = self.damage_seen, self.damage_seen_high
        if medium is None or high is None or seen is None or seen_high is None:
            if {medium, high, seen, seen_high} != {None}:
                yield (
                    "damage_limit_medium: give damage_limit_medium, damage_limit_high, damage_seen "
                    "and damage_seen_high together, or none of them"
                )
            return
        if not high <= medium <= self.damage_limit:
            yield ("damage_limit_high: a limit can't be looser where significance is higher")
        if not (seen_high <= seen <= medium and seen_high <= high):
            yield (
                "damage_seen: no more may be seen damaged than its bound allows, nor more where "
                "significance is high"
            )


class View(Record):
    """One member's weight for one criterion, elicited as a swing on the harm scale."""

    member: Words = column("Member, by role")
    criterion: Literal[
        "fabric", "historic evidence", "appearance", "people", "environment", "resources"
    ] = column("Criterion")
    swing: float = column("How much its worst matters, 0 to 100", unit="1", ge=0, le=100)


TABLES: dict[str, type[Record]] = {
    "structure": Structure,
    "elevations": Elevation,
    "zones": Zone,
    "layers": Layer,
    "observations": Observation,
    "tile_readings": TileReading,
    "readings": Reading,
    "site_tests": SiteTest,
    "panels": Panel,
    "settings": Setting,
    "spots": Spot,
    "attachments": Attachment,
    "height_maps": HeightMap,
    "photos": Photo,
    "policy": AgreedPolicy,
    "views": View,
}

TABLE_OF = {model: table for table, model in TABLES.items()}

KEYS: dict[str, tuple[str, ...]] = {
    "structure": ("structure",),
    "elevations": ("elevation",),
    "zones": ("zone",),
    "layers": ("layer",),
    "observations": ("observation",),
    "tile_readings": ("tile_reading",),
    "readings": ("reading",),
    "site_tests": ("site_test",),
    "panels": ("panel",),
    "settings": ("series", "quantity"),
    "spots": ("spot",),
    "attachments": ("attachment",),
    "height_maps": ("height_map",),
    "photos": ("photo",),
    "policy": ("agreed_on",),
    "views": ("member", "criterion"),
}

LINKS: dict[str, dict[str, str]] = {
    "zones": {"elevation": "elevations"},
    "layers": {"zone": "zones"},
    "observations": {"zone": "zones"},
    "readings": {
        "zone": "zones", "panel": "panels", "file": "attachments", "photo": "photos",
    },
    "site_tests": {"zone": "zones", "panel": "panels"},
    "panels": {"zone": "zones"},
    "settings": {"zone": "zones"},
    "spots": {"zone": "zones", "panel": "panels"},
    "attachments": {"zone": "zones", "panel": "panels"},
    "height_maps": {"attachment": "attachments", "zone": "zones", "panel": "panels"},
    "photos": {"attachment": "attachments", "zone": "zones", "board": "attachments"},
}  # fmt: skip


def all_of(
    records: Mapping[str, tuple[Record, ...]], model: type[AnyRecord]
) -> tuple[AnyRecord, ...]:
    """
    All records of one kind.

    Parameters
    ----------
    records : mapping of str to tuple of Record
        Table name to its records.
    model : type of Record
        The kind, such as `Zone`.

    Returns
    -------
    tuple of Record
    """
    return cast("tuple[AnyRecord, ...]", records[TABLE_OF[model]])

"""What was tried: panels, the settings of their series, and the spots on them."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import ValidationInfo, field_validator

from heritagecheck import tables
from heritagecheck.errors import Codes, Fields, Message, Must
from heritagecheck.survey.records import quantities
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.survey.records.record import (
    Key,
    Maybe,
    OptionalCount,
    OptionalDate,
    OptionalNumber,
    OptionalText,
    Record,
    Words,
    Wrong,
    YesNo,
    all_or_none,
    column,
    listed,
    listed_parts,
    not_listed,
    optional,
    parts_of_list,
    rule,
    term,
)  # fmt: skip

DamageKind = Literal[
    "grains", "heat_tint", "oxide_lost", "cracked", "melted", "tooling_lost", "mark_lost",
    "plate_lost", "visible", "other",
]  # fmt: skip
# What instruments find below ×50; limits are in `tables/below_x50.csv`.
BELOW_X50 = ("depth_removed", "roughness_change", "altered_layer", "stress_change")

_SAY_WHY_NOT_READ = Message("write under ", Fields("not_read_because"), " why not")


class Panel(Record):
    """One trial panel, with its setting and what it showed."""

    panel: Key = column("Code of the panel")
    zone: Key = column("Zone on which it lies", title="Zone")
    series: Key = column("Series of like panels")
    panels_in_series: int = column("Panels laid in that series", ge=1, le=1000)
    soiling: Annotated[str, term("soilings")] = column("Soiling treated", terms="soilings")
    method: Annotated[str, term("methods")] = column("Method", terms="methods")
    setting: Words = column(
        "Setting in words, for people; only the fields and the table settings decide",
        title="Setting in words",
    )
    done_on: date = column("Laid on")
    read_on: OptionalDate = optional("Last read on")
    not_read_because: OptionalText = optional("Why it was not read")
    winter_included: Annotated[YesNo | None, Maybe] = optional(
        "Did a winter pass over it?", title="Winter passed"
    )
    control_kept: Annotated[YesNo | None, Maybe] = optional("Is a control kept?")
    x50_fields: OptionalCount = optional("Fields read at ×50", ge=0, le=10_000)
    x50_fields_weakest: OptionalCount = optional(
        "Of these, fields that hold the weakest component",
        title="Fields with the weakest component",
        ge=0,
        le=10_000,
    )
    damaged_fields: OptionalCount = optional("Fields with damage", ge=0, le=10_000)
    damaged_component: OptionalText = optional("What was damaged first")
    residual_pct: OptionalNumber = optional("Soiling left", unit="% area", ge=0, le=100)
    delta_b: OptionalNumber = optional(
        "Yellowing against the control (change of b*)", title="Yellowing", unit="1", ge=-60, le=60
    )
    late_effects: Annotated[
        Literal["none", "salts", "growth", "yellowing", "rust", "other"] | None, Maybe
    ] = optional("Late effects")
    setting_quantity: Annotated[str | None, term("setting_quantities"), Maybe] = optional(
        "Quantity of the four settings below, such as pressure or peak_fluence",
        title="Quantity of the settings",
        terms="setting_quantities",
    )
    setting_unit: Annotated[str | None, term("setting_units"), Maybe] = optional(
        "Their unit", title="Unit of the settings", terms="setting_units"
    )
    cleaning_low: OptionalNumber = optional("Cleaning setting, lowest", gt=0)
    cleaning_high: OptionalNumber = optional("Cleaning setting, highest", gt=0)
    damage_low: OptionalNumber = optional(
        "First damage, lowest; or the highest setting tried without damage",
        title="First damage, lowest",
        gt=0,
    )
    damage_high: OptionalNumber = optional(
        "First damage, highest; empty where none was found", title="First damage, highest", gt=0
    )
    grade_reached: Annotated[YesNo | None, Maybe] = optional("Steel: preparation grade reached?")
    required_adhesion_mpa: OptionalNumber = optional(
        "Steel: adhesion required", unit="MPa", ge=0, le=50
    )
    required_profile_low_um: OptionalNumber = optional(
        "Steel: profile required, from", unit="µm", ge=0, le=500
    )
    required_profile_high_um: OptionalNumber = optional(
        "Steel: profile required, to", unit="µm", ge=0, le=500
    )
    read_by: OptionalText = optional("Role of the reader")
    reader_blind: Annotated[YesNo | None, Maybe] = optional(
        "Was the reader blind to the setting?", title="Reader blind to the setting"
    )
    spots_laid: OptionalCount = optional(
        "Trial spots laid on this panel; 0 where none was",
        title="Trial spots laid",
        ge=0,
        le=10_000,
    )
    note: OptionalText = optional("In words", title="Note")
    passes: OptionalCount = optional(
        "Pulses or passes of the setting", title="Pulses or passes", ge=1, le=1_000_000
    )
    wetted: Annotated[YesNo | None, Maybe] = optional(
        "Was the surface wetted before treating?", title="Wetted before"
    )
    also_treated: OptionalText = optional(
        "Codes of other soilings taken off the same panel, separated by semicolons",
        title="Other soilings taken off",
        terms_within="soilings",
    )
    after_series: OptionalText = optional(
        "Series laid on the same place before this one, where methods follow one another",
        title="Series laid before",
    )
    damage_kind: Annotated[DamageKind | None, Maybe] = optional(
        "Worst damage: grains are single grains or flakes that only ×50 shows; visible is any "
        "that the eye sees; a required profile on steel is not damage",
        title="Worst damage",
    )
    fields_before: OptionalCount = optional(
        "Fields read at ×50 before treatment, or on the control",
        title="Fields read before",
        ge=0,
        le=10_000,
    )
    damaged_before: OptionalCount = optional(
        "Of these, fields already damaged", title="Fields damaged before", ge=0, le=10_000
    )
    before_on: Annotated[Literal["panel", "control"] | None, Maybe] = optional(
        "Where those were read: the panel before treatment, or its control",
        title="Fields before, where read",
    )
    joint_included: Annotated[YesNo | None, Maybe] = optional(
        "Does the panel include a joint and what adjoins it?", title="Joint included"
    )
    measured_below: OptionalText = optional(
        "What was measured on it that ×50 does not show, separated by semicolons: depth_removed, "
        "roughness_change, altered_layer, stress_change",
        title="Measured below ×50",
    )

    @field_validator("measured_below", mode="before")
    @classmethod
    def _measured_as_listed(cls, value: Any) -> Any:
        return listed_parts(value, BELOW_X50)

    @rule
    def _measured_are_terms(self) -> Wrong:
        yield from not_listed("measured_below", self.measures, BELOW_X50, of="measurements")

    @property
    def measures(self) -> tuple[str, ...]:
        """Measurements on it that ×50 does not show."""
        return parts_of_list(self.measured_below)

    def also_measured(self, measure: str) -> Panel:
        """The panel with one more measurement below ×50."""
        names = dict.fromkeys((*self.measures, measure))
        return self.changed(measured_below="; ".join(names))

    @field_validator("also_treated", mode="before")
    @classmethod
    def _treated_as_listed(cls, value: Any) -> Any:
        return listed_parts(value, tables.codes("soilings"))

    @rule
    def _also_treated_are_terms(self) -> Wrong:
        yield from not_listed("also_treated", self.treated, tables.codes("soilings"), of="soilings")
        if self.after_series == self.series:
            yield "after_series", "a series can't come after itself; name the one before"

    @property
    def treated(self) -> tuple[str, ...]:
        """All soilings that were taken off the panel, the main one first."""
        return (self.soiling, *parts_of_list(self.also_treated))

    @rule
    def _consistent(self) -> Wrong:
        if (self.read_on is None) == (self.not_read_because is None):
            yield "read_on", Message("give the date of reading, or ", _SAY_WHY_NOT_READ)
        if self.read_on is not None and self.read_on < self.done_on:
            yield "read_on", "a panel can't be read before it was done"
        for name in ("x50_fields_weakest", "damaged_fields"):
            part = getattr(self, name)
            if part is not None and (self.x50_fields is None or part > self.x50_fields):
                more = (
                    "has no count to be part of" if self.x50_fields is None else "is more than this"
                )
                yield "x50_fields", Message(Fields(name), f" = {part} {more}; correct one of them")
        for low, high in (("cleaning_low", "cleaning_high"), ("damage_low", "damage_high")):
            if getattr(self, high) is not None and (
                getattr(self, low) is None or getattr(self, low) > getattr(self, high)
            ):
                yield low, Must("must be given with ", Fields(high), ", and must not be above it")
        for field in ("cleaning_low", "cleaning_high", "damage_low", "damage_high"):
            value = getattr(self, field)
            yield from _scale_faults(
                "setting_unit", field, self.setting_quantity, self.setting_unit, value
            )

    @rule
    def _fields_before(self) -> Wrong:
        yield from all_or_none(self, Fields("fields_before", "damaged_before", "before_on"))
        of, damaged = self.fields_before, self.damaged_before
        if of is not None and damaged is not None and damaged > of:
            why = Must(f"must be {of} or fewer, as ", Fields("fields_before"), " says")
            yield "damaged_before", why

    @rule
    def _no_contradiction(self) -> Wrong:
        below = (
            self.damage_high is not None
            and self.cleaning_low is not None
            and self.damage_high < self.cleaning_low
        )
        if below and self.x50_fields and self.damaged_fields == 0:
            yield (
                "damaged_fields",
                "can't be 0, because damage began below the cleaning setting. "
                "Correct the settings or count the damaged fields",
            )

    @property
    def scale(self) -> Scale:
        """Quantity and unit of its four settings."""
        return Scale(self.setting_quantity, self.setting_unit)


class Setting(Record):
    """One quantity of the setting of a series of panels: a number with its unit, or words."""

    series: Key = column("Series of panels")
    zone: Key = column("Zone on which they lie", title="Zone")
    quantity: Annotated[str, term("setting_quantities")] = column(
        "Quantity", terms="setting_quantities"
    )
    value: OptionalNumber = optional(
        "Its value; where it ran over a span, the lowest", title="Value, or lowest"
    )
    value_to: OptionalNumber = optional(
        "Where it ran over a span, the highest; else empty", title="Highest of the span"
    )
    unit: Annotated[str | None, term("setting_units"), Maybe] = optional(
        "Unit of the value", title="Unit", terms="setting_units"
    )
    words: OptionalText = optional(
        "In place of a value: one of the words that the quantity takes", title="In words"
    )

    @field_validator("words", mode="before")
    @classmethod
    def _words_as_listed(cls, value: Any, info: ValidationInfo) -> Any:
        quantity = info.data.get("quantity")
        terms = () if not isinstance(quantity, str) else quantities.terms_of(quantity)
        return value if quantities.ANY_WORDS in terms else listed(value, terms)

    @rule
    def _number_or_words(self) -> Wrong:
        name = self.name
        if self.quantity == "passes":
            yield "quantity", "write pulses or passes in the field passes of the panels"
        if (self.value is None) == (self.words is None):
            yield "value", f"give {name} as a value with its unit, or in words"
            return
        if self.words is not None:
            terms = quantities.terms_of(self.quantity)
            if quantities.ANY_WORDS not in terms and self.words not in terms:
                allowed = ("write one of: ", Codes(*terms)) if terms else ("give value and unit",)
                yield "words", Message(f"for {name}, ", *allowed)
            if self.unit is not None or self.value_to is not None:
                empty = Fields("value_to")
                yield "unit", Message("leave unit and ", empty, " empty where words are given")
            return
        if self.unit is None:
            yield "unit", quantities.unit_fault(self.quantity, None)
            return
        for field in ("value", "value_to"):
            number = getattr(self, field)
            yield from _scale_faults("unit", field, self.quantity, self.unit, number)
        if self.value is not None and self.value_to is not None and self.value_to < self.value:
            yield "value_to", Must(f"must be {self.value:g} or more, as value is {self.value:g}")

    @property
    def highest(self) -> float | None:
        """Its highest value; None if it is given in words."""
        return self.value if self.value_to is None else self.value_to

    @property
    def name(self) -> str:
        """The quantity as a sentence names it."""
        return quantities.name_of(self.quantity)

    @property
    def told(self) -> str:
        """Its value, as written in a sentence."""
        if self.value is None:
            return (self.words or "").replace("_", " ")
        span = (
            f"{self.value:g}" if self.value_to is None else f"{self.value:g} to {self.value_to:g}"
        )
        if self.unit == "pH":
            return f"pH {span}"
        return f"{span}{'' if self.unit == '°' else ' '}{Scale(self.quantity, self.unit)}"

    @property
    def in_words(self) -> str:
        """Quantity and value, as a list of settings shows them."""
        if self.value is None:
            return f"{self.told} ({self.name})"
        return self.told if self.unit == "pH" else f"{self.name} {self.told}"


class Spot(Record):
    """One trial spot on a panel: one dose, and whether it cleaned and damaged."""

    spot: Key = column("Code of the spot")
    panel: Key = column("Trial panel on which it lies", title="Trial panel")
    zone: Key = column("Zone on which it lies", title="Zone")
    spots_on_panel: int = column("Spots laid on that panel", ge=1, le=10_000)
    dose: OptionalNumber = optional("Setting varied from spot to spot", title="Dose", gt=0)
    dose_quantity: Annotated[str | None, term("setting_quantities"), Maybe] = optional(
        "What it is, such as pressure or peak_fluence",
        title="Quantity of the dose",
        terms="setting_quantities",
    )
    dose_unit: Annotated[str | None, term("setting_units"), Maybe] = optional(
        "Its unit", title="Unit of the dose", terms="setting_units"
    )
    passes: OptionalCount = optional("Pulses or passes", ge=1, le=1_000_000)
    cleaned: Annotated[YesNo | None, Maybe] = optional("Did the soiling come off?")
    damaged: Annotated[YesNo | None, Maybe] = optional("Is there damage at ×50?")
    damaged_component: OptionalText = optional("What was damaged first")
    read_on: OptionalDate = optional("Read on")
    read_by: OptionalText = optional("Role of the reader")
    not_read_because: OptionalText = optional("Why it was not read")
    component: OptionalText = optional(
        "Component under the spot, such as biotite, where one was looked at",
        title="Component under the spot",
    )
    wetted: Annotated[YesNo | None, Maybe] = optional(
        "Was the surface wetted before treating?", title="Wetted before"
    )
    note: OptionalText = optional("In words", title="Note")
    damage_kind: Annotated[DamageKind | None, Maybe] = optional(
        "Worst damage, named as on a panel", title="Worst damage"
    )

    @rule
    def _read_or_said_why(self) -> Wrong:
        yield from all_or_none(self, Fields("cleaned", "damaged", "read_on"))
        was_read = None not in {self.cleaned, self.damaged, self.read_on}
        if was_read == (self.not_read_because is not None):
            yield "cleaned", Message("give what the spot showed, or ", _SAY_WHY_NOT_READ)
        if self.dose is None and self.dose_unit is not None:
            yield "dose_unit", "give a dose with this unit, or leave the unit empty"
        yield from _scale_faults("dose_unit", "dose", self.dose_quantity, self.dose_unit, self.dose)

    @property
    def scale(self) -> Scale:
        """Quantity and unit of its dose."""
        return Scale(self.dose_quantity, self.dose_unit)

    def share_of(self, panel: Panel) -> float | None:
        """Its dose as a share of the panel's harshest setting; None if they can't be compared."""
        high = panel.cleaning_high
        if high is None or self.dose is None or not self.scale.same_quantity(panel.scale):
            return None
        # A change of unit may leave a last digit that is no difference.
        return round(self.scale.moved(self.dose, panel.scale) / high, 9)

    def harsher_than(self, panel: Panel) -> bool:
        """Whether its dose is known to be above the panel's own setting."""
        share = self.share_of(panel)
        return share is not None and share > 1


def _scale_faults(
    unit_field: str, field: str, quantity: str | None, unit: str | None, value: float | None
) -> Wrong:
    """Faults of a unit that does not fit its quantity, or of a number out of range."""
    if quantity is None or unit is None:
        return
    if why := quantities.unit_fault(quantity, unit):
        yield unit_field, why
    elif value is not None and (why := quantities.range_fault(quantity, value, unit)):
        yield field, why

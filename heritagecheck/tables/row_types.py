"""Rows of the rated tables as typed records, read once: one class a table."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from heritagecheck import tables
from heritagecheck.tables.conditions import IF_NAMED

Terms = Annotated[
    tuple[str, ...], BeforeValidator(lambda cell: tuple(filter(None, cell.split("|"))))
]
MaybeNumber = Annotated[float | None, BeforeValidator(lambda cell: cell or None)]
MaybeText = Annotated[str | None, BeforeValidator(lambda cell: cell or None)]


def _ratio(cell: str) -> Fraction:
    """An exact number; the tables give 1000/60 and 1e-15 alike."""
    top, _, bottom = cell.partition("/")
    return Fraction(top) / Fraction(bottom or "1")


Ratio = Annotated[Fraction, BeforeValidator(_ratio)]


class Row(BaseModel):
    """One row of a table; `table` names its file, `code` the column of its names."""

    model_config = ConfigDict(frozen=True)
    table: ClassVar[str]
    code: ClassVar[str] = ""

    @classmethod
    def rows(cls) -> tuple[Self, ...]:
        """All rows of the table, in its order."""
        found: tuple[Self, ...] = _parsed(cls)
        return found

    @classmethod
    def named(cls, code: str) -> Self:
        """The row of this name."""
        found: Self = _by_code(cls)[code]
        return found


@cache
def _parsed(kind: Any) -> Any:
    """Rows of one table."""
    return tuple(kind.model_validate(row) for row in tables.rows(kind.table))


@cache
def _by_code(kind: Any) -> Any:
    """Rows of one table by their names."""
    return {getattr(row, kind.code): row for row in _parsed(kind)}


class Method(Row):
    """A way of cleaning, with its family and what it brings along."""

    table, code = "methods", "method"
    method: str
    name: str
    brief: str
    ladder: int
    family: str
    hazard_family: str
    liquid: bool
    window: str
    evidence: str


class Substrate(Row):
    """What is cleaned; `parent` is the sound stone of a weathered one."""

    table, code = "substrates", "substrate"
    substrate: str
    name: str
    kind: Literal["masonry", "metal"]
    parent: MaybeText
    parent_extra: MaybeNumber
    acid_sensitive: str
    silica: str
    weakest_components: MaybeText


class Soiling(Row):
    """A soiling; `rated_as` is another one that is removed like it."""

    table, code = "soilings", "soiling"
    soiling: str
    name: str
    kind: str
    rated_as: MaybeText
    dry_method: str
    dry_brief: str
    change_credible: bool
    ages: bool


class HarmRating(Row):
    """Harm of leaving or of treating on one criterion, and when it applies."""

    table = "harm_ratings"
    row: str
    criterion: str
    option: Literal["leave", "treat"]
    methods: str
    when: str
    mean: float
    averted: Literal["yes", "no", ""]
    grows: Literal["yes", "no", ""]
    reason: str
    evidence: str


class RatedPair(Row):
    """Harm and suitability of a method on a substrate and a soiling."""

    table = "method_risk"
    row_id: str
    method: str
    substrate: str
    soiling: str
    suitability: str
    risk: float
    reason: str
    rule: str
    source_id: str
    evidence: str


class HardStop(Row):
    """A rule that rules methods out; `lifts` where a season or a control can lift it."""

    table = "hard_stops"
    rule: str
    stop: Literal["hard", "ruled out"]
    methods: str
    when: str
    lifts: bool
    reason: str
    source_id: str


class Contraindication(HardStop):
    """A reason against a method on a zone."""

    table = "contraindications"


class Material(Row):
    """A material of value."""

    table, code = "materials", "material"
    material: str
    name: str
    meaning: str


class MaterialHarm(Row):
    """A material of value that some methods leave as it is."""

    table = "material_harm"
    material: str
    methods: str
    when: str


class Suitability(Row):
    """How much of a soiling a method of this suitability removes."""

    table, code = "suitability", "suitability"
    suitability: str
    removed_share: float
    spread: float


class SourceGrade(Row):
    """How far a rating of a source of this grade may be wrong, upwards and downwards."""

    table, code = "source_grades", "evidence"
    evidence: str
    in_words: str
    spread_up: float
    spread_down: float


class HarmAnchor(Row):
    """One step of the harm scale; some have a colour difference."""

    table = "harm_scale"
    criterion: str
    harm: float
    meaning: str
    delta_e00: MaybeNumber
    source_id: str


class Sensitivity(Row):
    """A property of a component of a stone, or its sensitivity to a family of hazards."""

    table = "substrate_sensitivity"
    substrate: str
    component: str
    row_type: str
    hazard_family: str
    sensitivity_0_10: MaybeNumber
    evidence: str


class Housekeeping(Row):
    """Small maintenance that published guidance does without trial panels."""

    table = "housekeeping"
    row: str
    name: str
    substrates: Terms
    soilings: Terms
    methods: Terms
    conditions: Terms
    coating_states: Terms
    max_cover_pct: float
    max_area_m2: float
    lead: str
    fabric_harm: float
    source_id: str
    evidence: str
    note: str


class Topic(Row):
    """A question asked at the wall."""

    table, code = "topics", "topic"
    topic: str
    question: str
    findings: Terms
    kind: str
    asked_where: str
    where_words: str
    gate: str
    what_to_do: str

    @property
    def asked_of(self) -> str:
        """Zones of which it is asked, in words."""
        kinds = {"all": "every zone", IF_NAMED: "only where there is one"}
        where = f", where {self.where_words}" if self.where_words else ""
        return kinds.get(self.kind, self.kind) + where


class Quantity(Row):
    """A quantity measured by hand."""

    table, code = "quantities", "quantity"
    quantity: str
    name: str
    unit: str
    low: float
    high: float
    what_to_do: str

    @property
    def of_lead(self) -> bool:
        """Whether it is a test for lead."""
        return self.quantity in {"lead_xrf_mg_cm2", "lead_lab_pct"}


class SettingQuantity(Row):
    """A quantity of a setting, with the units or words it takes, and the families that have it."""

    table, code = "setting_quantities", "quantity"
    quantity: str
    name: str
    units: Terms
    shown: str
    low: MaybeNumber
    high: MaybeNumber
    terms: Terms
    families: Terms


class SettingUnit(Row):
    """A unit of a setting: its dimension, its size in it, and the value at which it begins."""

    table, code = "setting_units", "unit"
    unit: str
    dimension: str
    factor: Ratio
    zero: Ratio
    spellings: Terms

    @property
    def written(self) -> tuple[str, ...]:
        """Every way to write it."""
        return (self.unit, *self.spellings)


class SettingAsked(Row):
    """What the record of a setting must give of a method or family, and what gives it."""

    table = "settings_asked"
    asked_of: Terms
    kind: str
    setting: str
    unit: str
    told_by: Terms
    why: str
    source_id: str


class Word(Row):
    """A word of the trade, with its code where a field takes it."""

    table = "vocabulary"
    category: str
    term: str
    term_code: str = Field(alias="code")
    definition: str
    source_id: str

    @classmethod
    def coded(cls, category: str) -> tuple[Self, ...]:
        """The words of a category that are codes of a field."""
        return tuple(one for one in cls.rows() if one.category == category and one.term_code)


class Source(Row):
    """Source of a row, and how much of it was read."""

    table, code = "sources", "source_id"
    source_id: str
    citation: str
    seen: str


class ChartPatch(Row):
    """A patch of the colour chart, with its published colour."""

    table = "chart_patches"
    name: str
    l_star: float = Field(alias="L_star")
    a_star: float
    b_star: float


class ColourDirection(Row):
    """How a soiling usually shifts the colour of stone; an empty end is open."""

    table = "colour_directions"
    soiling: str
    dl_low: MaybeNumber = Field(alias="dL_low")
    dl_high: MaybeNumber = Field(alias="dL_high")
    da_low: MaybeNumber
    da_high: MaybeNumber
    db_low: MaybeNumber
    db_high: MaybeNumber
    dc_low: MaybeNumber = Field(alias="dC_low")
    dc_high: MaybeNumber = Field(alias="dC_high")
    where: str
    traps: str
    evidence: str


class RandomIndex(Row):
    """Consistency that random comparisons of so many things have on average."""

    table = "random_index"
    compared: int
    index: float


class MonitoringRow(Row):
    """What is watched on a zone, and how often."""

    table = "monitoring"
    when: str
    indicator: str
    method: str
    trigger: str
    interval_days: int


class SiteRule(Row):
    """A rule of the site: start panel, hold point, stop, condition, ban, or urgent precaution."""

    table = "site_rules"
    kind: str
    when: str
    methods: str
    words: str


class Ageing(Row):
    """How long panels of some families must age before they are read."""

    table = "ageing"
    kind: str
    families: Terms
    significance: Terms
    days: int
    winter: bool
    shorter_if_urgent: bool


class Validity(Row):
    """How many years an outcome holds, or a record may be old."""

    table, code = "validity", "of"
    of: str
    years: int


class ExpectedDamage(Row):
    """Share of fields that a method of this rating is expected to damage."""

    table = "damage_prior"
    rating: float
    mean_share: float


class BelowX50(Row):
    """
    Limits of what instruments find below ×50, by significance, and the harm that it counts.

    Where `purpose` is coated there are none: the panel names the profile that a coating requires.
    """

    table, code = "below_x50", "row"
    row: str
    measure: str
    name: str
    unit: str
    kind: Literal["masonry", "metal"]
    purpose: Literal["any", "bare", "coated"]
    finish: Terms
    high: MaybeNumber
    medium: MaybeNumber
    low: MaybeNumber
    harm_2: MaybeNumber
    harm_5: MaybeNumber
    harm_8: MaybeNumber
    why: str

    @property
    def harm_steps(self) -> tuple[float, ...]:
        """Sizes that count as harm 0, 2, 5 and 8; empty where the change is meant."""
        sizes = tuple(one for one in (self.harm_2, self.harm_5, self.harm_8) if one is not None)
        return (0.0, *sizes) if sizes else ()


class LaserThreshold(Row):
    """A threshold of ablation or damage by a laser, published or remembered."""

    table = "laser_thresholds"
    row: str
    pulse: str
    value: float
    plus_minus: float
    damages: Terms
    evidence: str


class ThermalProperty(Row):
    """One property of a material that is heated: its value and the range it is found in."""

    table = "thermal_properties"
    material: str
    property: str
    value: float
    low: float
    high: float
    unit: str
    note: str
    source_id: str
    source_seen: str
    evidence: str


class SettingLimit(Row):
    """What methods or families take of one quantity: a span, some terms, or both."""

    table = "setting_limits"
    limit_of: Terms
    when: str
    quantity: str
    least: MaybeNumber
    most: MaybeNumber
    unit: MaybeText
    allowed: Terms
    why: str


class PolicyOffer(Row):
    """A value of the policy that is offered to a team, and what it means at the wall."""

    table, code = "policy_offered", "field"
    field: str
    title: str
    value: float
    unit: str
    low: float
    high: float
    sentence: str
    evidence: str


class Abrasive(Row):
    """What a blasting medium is by itself."""

    table, code = "abrasives", "medium"
    medium: str
    name: str
    mohs: MaybeNumber
    silica_pct: MaybeNumber


class CautionRow(Row):
    """A hazard, its control, and of which zones and methods both are said."""

    table, code = "cautions", "caution"
    caution: str
    about: str
    hazard: str
    methods: str
    when: str
    words: str
    source_id: str


class OutcomeCaution(Row):
    """The caution that an outcome carries."""

    table, code = "outcome_cautions", "outcome"
    outcome: str
    words: str
    source_id: str


class ProfileCutoff(Row):
    """Cut-off of a profile, which is its section length too, by its roughness."""

    table, code = "profile_cutoffs", "setting_class"
    setting_class: str
    ra_most_um: MaybeNumber
    cutoff_um: float


class StressWord(Row):
    """A line of the head or a column of a stress file: its unit, range and other names."""

    table = "stress_words"
    name: str
    place: Literal["head", "column"]
    shown: str
    dimension: str
    low: MaybeNumber
    high: MaybeNumber
    spellings: Terms


class StressUnit(Row):
    """A unit of a stress file: what it measures, and its size in the unit that we keep."""

    table = "stress_units"
    unit: str
    dimension: str
    factor: Ratio
    spellings: Terms


class BlastComparator(Row):
    """A segment of a comparator of blast-cleaned steel, and what a lower profile is called."""

    table = "blast_comparators"
    abrasive: Literal["grit", "shot"]
    profile_um: float
    name_up_to: str


class CoatingTexture(Row):
    """How wide or deep a texture is cut so that a coating holds."""

    table, code = "coating_texture", "measure"
    measure: str
    low_um: float
    high_um: float
    evidence: str

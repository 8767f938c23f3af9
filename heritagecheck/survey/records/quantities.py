"""Quantities of a setting: which units and words each takes, and numbers moved between units."""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from heritagecheck import tables
from heritagecheck.tables.row_types import Method, SettingQuantity, SettingUnit

ANY_WORDS = "*"


class Scale(NamedTuple):
    """Quantity and unit of the numbers of a setting; None where not recorded."""

    quantity: str | None
    unit: str | None

    def __str__(self) -> str:
        """Unit as a page writes it; of fluence with its basis, such as J/cm² peak."""
        return " ".join(part for part in (self.unit or "", self._shown) if part)

    @property
    def _shown(self) -> str:
        return "" if self.quantity is None else SettingQuantity.named(self.quantity).shown

    @property
    def known(self) -> bool:
        """Whether both are recorded."""
        return None not in self

    @property
    def doubt(self) -> str:
        """What is not known of it, in words; empty if all is known."""
        if self.unit is None:
            return "the unit of the setting is not recorded"
        if self.quantity is not None:
            return ""
        names = [row.name for row in SettingQuantity.rows() if self.unit in row.units]
        if {"peak fluence", "mean fluence"} <= set(names):
            return f"whether {self.unit} is the peak fluence or the mean is not recorded"
        return f"what was measured in {self.unit} is not recorded"

    def same_quantity(self, other: Scale) -> bool:
        """Whether numbers on two scales can be compared."""
        return self.known and other.known and self.quantity == other.quantity

    def moved(self, value: float, other: Scale) -> float:
        """A number on this scale, converted to another of the same quantity."""
        if not self.same_quantity(other):
            raise ValueError(
                f"{self.quantity} in {self.unit} can't be given as {other.quantity} in "
                f"{other.unit}: the two differ in what they measure."
            )
        assert self.unit is not None
        assert other.unit is not None
        return in_unit(value, self.unit, other.unit)


def in_unit(value: float, unit: str, other: str) -> float:
    """Convert a number into another unit of the same dimension (NIST SP 811)."""
    # Exact fractions, so that a number comes back from its own unit unchanged.
    if unit == other:
        return value
    mine, theirs = _unit(unit), _unit(other)
    if mine.dimension != theirs.dimension:
        raise ValueError(f"{unit} is a unit of {mine.dimension}, {other} of {theirs.dimension}.")
    return float((Fraction(value) - mine.zero) * mine.factor / theirs.factor + theirs.zero)


def units_of(quantity: str) -> tuple[str, ...]:
    """Units in which a quantity may be written."""
    return SettingQuantity.named(quantity).units


def terms_of(quantity: str) -> tuple[str, ...]:
    """Words allowed for a quantity in place of a number."""
    terms = SettingQuantity.named(quantity).terms
    return tables.codes("abrasives") if terms == ("abrasives",) else terms


def terms_in_words(quantity: str) -> str:
    """Words allowed for a quantity, as a page of help lists them."""
    terms = terms_of(quantity)
    if ANY_WORDS in terms:
        return "in your own words"
    return f"in place of a value: {', '.join(terms)}" if terms else ""


def unit_fault(quantity: str, unit: str | None) -> str:
    """What is wrong with the unit of a quantity, in words; empty if nothing."""
    allowed, name = units_of(quantity), name_of(quantity)
    if unit in allowed:
        return ""
    return f"{name} must be in one of: {', '.join(allowed)}" if allowed else f"{name} has no unit"


def range_fault(quantity: str, value: float, unit: str) -> str:
    """Why no setting has this number, in words; empty if one may."""
    row = SettingQuantity.named(quantity)
    own, low, high = row.units[0], row.low or 0.0, row.high or 0.0
    if low <= in_unit(value, unit, own) <= high:
        return ""
    return f"{row.name} runs from {low:g} to {high:g} {own}. Was a decimal point lost?"


def has(method: str, quantity: str) -> bool:
    """Whether a method has a quantity: no laser has an acid."""
    families = SettingQuantity.named(quantity).families
    return "all" in families or Method.named(method).family in families


def name_of(quantity: str) -> str:
    """Name of a quantity within a sentence."""
    return SettingQuantity.named(quantity).name


def _unit(unit: str) -> SettingUnit:
    """Row of a unit."""
    if unit not in tables.codes("setting_units"):
        raise ValueError(f"{unit} is not a unit of tables/setting_units.csv.")
    return SettingUnit.named(unit)

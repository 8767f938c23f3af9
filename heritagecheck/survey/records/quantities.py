"""Quantities of a setting: which units and words each takes, and numbers moved between units."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import NamedTuple

from heritagecheck import tables
from heritagecheck.tables.row_types import Method

ANY_WORDS = "*"


class Scale(NamedTuple):
    """What the numbers of a setting stand in: quantity and unit; None where not recorded."""

    quantity: str | None
    unit: str | None

    def __str__(self) -> str:
        """Unit as a page writes it; of fluence with its basis, such as J/cm² peak."""
        return " ".join(part for part in (self.unit or "", self._shown) if part)

    @property
    def _shown(self) -> str:
        return "" if self.quantity is None else _row(self.quantity)["shown"]

    @property
    def known(self) -> bool:
        """Whether both are recorded."""
        return None not in self

    @property
    def doubt(self) -> str:
        """What is not known of it, in words; empty where nothing is."""
        if self.unit is None:
            return "the unit of the setting is not recorded"
        if self.quantity is not None:
            return ""
        names = [row["name"] for row in tables.rows("setting_quantities") if self._fits(row)]
        if {"peak fluence", "mean fluence"} <= set(names):
            return f"whether {self.unit} is the peak fluence or the mean is not recorded"
        return f"what was measured in {self.unit} is not recorded"

    def _fits(self, row: dict[str, str]) -> bool:
        return self.unit in row["units"].split("|")

    def same_quantity(self, other: Scale) -> bool:
        """Whether numbers on two scales can be held against one another."""
        return self.known and other.known and self.quantity == other.quantity

    def moved(self, value: float, other: Scale) -> float:
        """A number on this scale as it reads on another of the same quantity."""
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
    (dimension, factor, zero), (same, divisor, other_zero) = _unit(unit), _unit(other)
    if dimension != same:
        raise ValueError(f"{unit} is a unit of {dimension}, {other} of {same}.")
    return float((Fraction(value) - zero) * factor / divisor + other_zero)


def units_of(quantity: str) -> tuple[str, ...]:
    """Units in which a quantity may be written."""
    return tuple(filter(None, _row(quantity)["units"].split("|")))


def terms_of(quantity: str) -> tuple[str, ...]:
    """Words by which a quantity may be told."""
    terms = _row(quantity)["terms"]
    return tables.codes(terms) if terms == "abrasives" else tuple(filter(None, terms.split("|")))


def told_as(quantity: str) -> str:
    """Words by which a quantity may be told, as a page of help lists them."""
    terms = terms_of(quantity)
    if ANY_WORDS in terms:
        return "in your own words"
    return f"in place of a value: {', '.join(terms)}" if terms else ""


def unit_fault(quantity: str, unit: str | None) -> str:
    """What is wrong with the unit of a quantity, in words; empty where nothing is."""
    allowed, name = units_of(quantity), name_of(quantity)
    if unit in allowed:
        return ""
    return f"{name} must be in one of: {', '.join(allowed)}" if allowed else f"{name} has no unit"


def range_fault(quantity: str, value: float, unit: str) -> str:
    """Why no setting has this number, in words; empty where one may."""
    row, own = _row(quantity), units_of(quantity)[0]
    low, high = float(row["low"]), float(row["high"])
    if low <= in_unit(value, unit, own) <= high:
        return ""
    return f"{row['name']} runs from {low:g} to {high:g} {own}. Was a decimal point lost?"


def has(method: str, quantity: str) -> bool:
    """Whether a method has a quantity: no laser has an acid."""
    families = _row(quantity)["families"].split("|")
    return "all" in families or Method.named(method).family in families


def name_of(quantity: str) -> str:
    """A quantity as a sentence names it."""
    return _row(quantity)["name"]


def _row(quantity: str) -> dict[str, str]:
    """Row of a quantity."""
    return tables.keyed("setting_quantities", "quantity")[quantity]


@cache
def _unit(unit: str) -> tuple[str, Fraction, Fraction]:
    """Dimension of a unit, its size in that dimension, and the value at which it begins."""
    known = tables.keyed("setting_units", "unit")
    if unit not in known:
        raise ValueError(f"{unit} is not a unit of tables/setting_units.csv.")
    row = known[unit]
    # The table gives 1000/60 and 1e-15 alike.
    top, _, bottom = row["factor"].partition("/")
    return row["dimension"], Fraction(top) / Fraction(bottom or "1"), Fraction(row["zero"])

"""Names of methods as the trade says them, and as they are done on a soiling."""

from __future__ import annotations

from collections.abc import Iterable

from heritagecheck.tables.row_types import Method, Soiling


def method_name(code: str, soilings: Iterable[str] = ()) -> str:
    """
    Name of a method as the trade says it; what may not be swept dry is not brushed dry by name.

    Examples
    --------
    >>> method_name("dry_brush_vacuum", ["guano"])
    'Lifting damp by hand, then filtered vacuum'
    """
    dry = _dry_by_hand(code, soilings)
    return Method.named(code).name if dry is None else dry.dry_method


def brief_method(code: str, soilings: Iterable[str] = ()) -> str:
    """
    Name of a method in a word or two.

    Examples
    --------
    >>> brief_method("nebulised_water"), brief_method("laser_ultrashort")
    ('Nebulised water', 'Ultrashort laser')
    """
    dry = _dry_by_hand(code, soilings)
    return Method.named(code).brief if dry is None else dry.dry_brief


def _dry_by_hand(code: str, soilings: Iterable[str]) -> Soiling | None:
    """The first of the soilings for which a dry method has a name of its own."""
    if Method.named(code).family != "dry":
        return None
    return next((row for row in map(Soiling.named, soilings) if row.dry_method), None)

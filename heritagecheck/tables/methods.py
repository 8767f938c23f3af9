"""What the tables say of a method: its names, its rated harm, the gentler of two."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from heritagecheck.tables.row_types import Method, RatedPair, Soiling, Substrate

# -- Names -----------------------------------------------------------------------------------------


def method_name(code: str, soilings: Iterable[str] = ()) -> str:
    """
    Name of a method as the trade says it; what may not be swept dry is not brushed dry by name.

    Examples
    --------
    >>> method_name("dry_brush_vacuum", ["guano"])
    'Damping and lifting by hand, then filtered vacuum'
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


# -- Rated harm ------------------------------------------------------------------------------------


@cache
def risk_index() -> dict[tuple[str, str, str], RatedPair]:
    """Rated rows by method, substrate and soiling."""
    return {(row.method, row.substrate, row.soiling): row for row in RatedPair.rows()}


@cache
def rated_harm(method: str, substrate: str, soiling: str) -> float | None:
    """
    Harm to the fabric that `tables/method_risk.csv` rates for a method, 0 (none) to 10 (worst).

    Of the parent substrate where the substrate has no row; None where nobody rated the pair.
    """
    names = {soiling, Soiling.named(soiling).rated_as or soiling}
    for stone in (substrate, Substrate.named(substrate).parent):
        found = [
            row.risk
            for name in names
            if stone and (row := risk_index().get((method, stone, name))) is not None
        ]
        if found:
            return max(found)
    return None


@cache
def no_harsher(one: str, other: str, substrate: str, soiling: str) -> bool:
    """
    Whether a method is rated no harsher to the fabric than another.

    By the ladder of `tables/methods.csv` where one of the two is not rated.
    """
    mine = rated_harm(one, substrate, soiling)
    yours = rated_harm(other, substrate, soiling)
    if mine is None or yours is None:
        return Method.named(one).ladder <= Method.named(other).ladder
    return mine <= yours


def sisters(one: str, other: str) -> bool:
    """Whether two methods are of one family, so that harm by one counts for the other."""
    return Method.named(one).family == Method.named(other).family

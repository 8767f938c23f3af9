"""Rated harm of a method on a substrate and soiling, and which of two methods is the gentler."""

from __future__ import annotations

from functools import cache

from heritagecheck.tables import keyed, rows


@cache
def risk_index() -> dict[tuple[str, str, str], dict[str, str]]:
    """
    Rated rows by method, substrate and soiling.

    Returns
    -------
    dict
    """
    return {(row["method"], row["substrate"], row["soiling"]): row for row in rows("method_risk")}


@cache
def rated_harm(method: str, substrate: str, soiling: str) -> float | None:
    """
    Harm to the fabric that `tables/method_risk.csv` rates for a method.

    Parameters
    ----------
    method, substrate, soiling : str
        Codes.

    Returns
    -------
    float or None
        0 (none) to 10 (worst); of the parent substrate where the substrate itself has no row; None
        where nobody rated the pair.
    """
    named = {soiling, keyed("soilings", "soiling")[soiling]["rated_as"] or soiling}
    for stone in (substrate, keyed("substrates", "substrate")[substrate]["parent"]):
        found = [
            float(row["risk"])
            for name in named
            if (row := risk_index().get((method, stone, name))) is not None
        ]
        if found:
            return max(found)
    return None


@cache
def no_harsher(one: str, other: str, substrate: str, soiling: str) -> bool:
    """
    Whether a method is rated no harsher than another.

    Parameters
    ----------
    one, other : str
        Codes of the methods.
    substrate, soiling : str
        Codes of what is cleaned, and of what is taken off.

    Returns
    -------
    bool
        By the rated harm to the fabric; by the ladder of `tables/methods.csv` where one of the two
        is not rated.
    """
    mine = rated_harm(one, substrate, soiling)
    yours = rated_harm(other, substrate, soiling)
    if mine is None or yours is None:
        methods = keyed("methods", "method")
        return int(methods[one]["ladder"]) <= int(methods[other]["ladder"])
    return mine <= yours


def sisters(one: str, other: str) -> bool:
    """
    Whether two methods are of one family, so that harm by one speaks of the other.

    Parameters
    ----------
    one, other : str
        Codes of the methods.

    Returns
    -------
    bool
    """
    methods = keyed("methods", "method")
    return methods[one]["family"] == methods[other]["family"]

"""Names of methods as the trade says them, and as they are done on a soiling."""

from __future__ import annotations

import re
from collections.abc import Iterable

from heritagecheck.tables import keyed


def method_name(code: str, soilings: Iterable[str] = ()) -> str:
    """
    Name of a method as the trade says it.

    Parameters
    ----------
    code : str
        Code of `tables/methods.csv`.
    soilings : iterable of str
        Codes of what it takes off: what may not be swept dry is not brushed dry by name.

    Returns
    -------
    str

    Examples
    --------
    >>> method_name("dry_brush_vacuum", ["guano"])
    'Lifting damp by hand, then filtered vacuum'
    """
    method = keyed("methods", "method")[code]
    if method["family"] == "dry":
        for soiling in soilings:
            if name := keyed("soilings", "soiling")[soiling]["dry_method"]:
                return name
    return method["name"]


def brief_method(code: str, soilings: Iterable[str] = ()) -> str:
    """
    Name of a method without what stands in brackets or behind a comma or slash.

    Parameters
    ----------
    code : str
        Code of `tables/methods.csv`.
    soilings : iterable of str
        Codes of what it takes off.

    Returns
    -------
    str

    Examples
    --------
    >>> brief_method("nebulised_water"), brief_method("laser_ultrashort")
    ('Nebulised water', 'Ultrashort laser')
    """
    whole = re.sub(r" \([^)]*\)", "", method_name(code, soilings))
    name = re.split(r", | / |: ", whole)[0]
    return name.removesuffix(" with soft brush").removesuffix(" then wait")

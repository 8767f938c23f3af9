"""How long trial panels of a method must age before they are judged."""

from __future__ import annotations

from heritagecheck.tables import keyed, rows


def ageing_asked(kind: str, method: str, significance: str) -> dict[str, str]:
    """
    Row of `ageing.csv` that fits a panel.

    Parameters
    ----------
    kind : str
        ``"masonry"`` or ``"metal"``.
    method : str
        Code of the method tried.
    significance : str
        Significance of the zone: ``"high"``, ``"medium"`` or ``"low"``.

    Returns
    -------
    dict
        Column to cell; `days` is the age asked [days], `winter` whether one must have passed.

    Examples
    --------
    >>> ageing_asked("masonry", "nebulised_water", "medium")["days"]
    '90'
    """
    family = keyed("methods", "method")[method]["family"]
    return next(
        row
        for row in rows("ageing")
        if row["kind"] == kind
        and family in row["families"].split("|")
        and significance in row["significance"].split("|")
    )

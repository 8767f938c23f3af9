"""How long trial panels of a method must age before they are judged."""

from __future__ import annotations

from heritagecheck.tables.row_types import Ageing, Method


def ageing_asked(kind: str, method: str, significance: str) -> Ageing:
    """
    Days that panels must age, and whether a winter must pass.

    Examples
    --------
    >>> ageing_asked("masonry", "nebulised_water", "medium").days
    90
    """
    family = Method.named(method).family
    return next(
        row
        for row in Ageing.rows()
        if row.kind == kind and family in row.families and significance in row.significance
    )

"""What was dialled for a series, and whether the words beside its panels say the same."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from heritagecheck.survey.records import Panel, Setting
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.survey.settings.old_words import read

Span = tuple[float, float]


def dialled(scale: Scale, settings: Sequence[Setting], passes: int | None) -> Span | None:
    """
    What was dialled of the quantity that the panels were varied in.

    Parameters
    ----------
    scale : Scale
        Quantity and unit of the panels.
    settings : sequence of Setting
        What was dialled for the series.
    passes : int or None
        Pulses or passes of the panels.

    Returns
    -------
    tuple of float, or None
        Lowest and highest, in the unit of the panels; None where it is not recorded.
    """
    if scale.quantity == "passes":
        return None if passes is None else (passes, passes)
    return next(
        (
            (own.moved(one.value, scale), own.moved(one.highest, scale))
            for one in settings
            if (own := Scale(one.quantity, one.unit)).same_quantity(scale)
            and one.value is not None
            and one.highest is not None
        ),
        None,
    )


def words_against(panels: Sequence[Panel], settings: Sequence[Setting]) -> str:
    """
    Say where the words beside panels give a number that is recorded otherwise.

    Parameters
    ----------
    panels : sequence of Panel
        Panels of one series, which share the words.
    settings : sequence of Setting
        What was dialled for it.

    Returns
    -------
    str
        The first difference; empty where the words say nothing else, as far as they can be read.

    Notes
    -----
    The words decide nothing. Where they differ they are printed on no sheet that is worked by.
    """
    return next(_differences(panels, settings), "")


def meet(one: Span, other: Span) -> bool:
    """
    Whether two spans share a value; what a sum in binary leaves is no gap.

    Parameters
    ----------
    one, other : tuple of float
        Lowest and highest, in one unit.

    Returns
    -------
    bool
    """
    low, high = max(one[0], other[0]), min(one[1], other[1])
    return low <= high or math.isclose(low, high)


def written(span: Span) -> str:
    """
    Span in words; one number where both ends are the same.

    Parameters
    ----------
    span : tuple of float
        Lowest and highest.

    Returns
    -------
    str
    """
    low, high = span
    return f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"


def _differences(panels: Sequence[Panel], settings: Sequence[Setting]) -> Iterator[str]:
    """Every number of the words that is recorded otherwise."""
    recorded = {one.quantity: one for one in settings}
    for seen in read(panels[0].setting, panels[0].method)[0]:
        scale, own = Scale(seen.quantity, seen.unit), recorded.get(seen.quantity)
        told = None if own is None or seen.quantity == "tool" else own.words
        if own is not None and told and seen.words and told != seen.words:
            yield f"{seen.words.replace('_', ' ')} is written, {own.told} recorded"
        if seen.value is None:
            continue
        said = (seen.value, seen.value if seen.value_to is None else seen.value_to)
        found = None if own is None else dialled(scale, [own], None)
        if found is not None and not all(map(math.isclose, found, said)):
            yield f"{written(said)} {scale} is written, {written(found)} recorded"
        elif found is None and scale.quantity is not None:
            yield from _beside_panels(said, scale, panels)


def _beside_panels(said: Span, scale: Scale, panels: Sequence[Panel]) -> Iterator[str]:
    """A number of the words that lies outside the settings of a panel."""
    for panel in panels:
        low, high = panel.cleaning_low, panel.cleaning_high
        if low is not None and high is not None and panel.scale.same_quantity(scale):
            span = panel.scale.moved(low, scale), panel.scale.moved(high, scale)
            if not meet(said, span):
                yield f"{written(said)} {scale} is written, {written(span)} recorded"

"""Whether the records of a series agree on what was dialled: a setting told twice is told alike."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from heritagecheck.survey.old_words import read
from heritagecheck.survey.quantities import Scale
from heritagecheck.survey.records import Panel, Setting

Span = tuple[float, float]


def setting_doubt(panels: Sequence[Panel], settings: Sequence[Setting]) -> str:
    """
    Say where the records of one series contradict one another about its setting.

    Parameters
    ----------
    panels : sequence of Panel
        All panels of the series, their four settings in one unit.
    settings : sequence of Setting
        What was dialled for it.

    Returns
    -------
    str
        The first contradiction in words; empty where there is none.

    Notes
    -----
    Held against one another are the settings at which each panel came clean, what was dialled,
    passes and wetting panel by panel, and the sentence written beside them, as far as it can be
    read. The sentence still decides nothing: it can only show that somebody has to look again.
    """
    return next(_contradictions(panels, settings), "")


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


def _contradictions(panels: Sequence[Panel], settings: Sequence[Setting]) -> Iterator[str]:
    """Every pair of records that can't both be right."""
    for name, field in (("pulses or passes", "passes"), ("wetting", "wetted")):
        if len({getattr(panel, field) for panel in panels} - {None}) > 1:
            yield f"panels of one series differ in {name}"
    spans = [
        (panel, (panel.cleaning_low, panel.cleaning_high))
        for panel in panels
        if panel.cleaning_low is not None and panel.cleaning_high is not None
    ]
    scale = panels[0].scale
    if spans and max(low for _, (low, _) in spans) > min(high for _, (_, high) in spans):
        yield "no setting cleaned on every panel: their settings do not overlap"
    set_to = dialled(scale, settings, panels[0].passes)
    for panel, span in spans:
        if set_to is not None and not _meet(set_to, span):
            yield (
                f"{_written(set_to)} {scale} was dialled, and panel {panel.panel} came clean at "
                f"{_written(span)}"
            )
    yield from _against_words(panels[0], settings, [span for _, span in spans])


def _against_words(
    panel: Panel, settings: Sequence[Setting], spans: Sequence[Span]
) -> Iterator[str]:
    """Numbers of the sentence that are recorded otherwise; the panels of a series share it."""
    recorded = {one.quantity: one for one in settings}
    for seen in read(panel.setting, panel.method)[0]:
        if seen.value is None:
            continue
        said = (seen.value, seen.value if seen.value_to is None else seen.value_to)
        scale = Scale(seen.quantity, seen.unit)
        own = recorded.get(seen.quantity)
        found = None if own is None else dialled(scale, [own], None)
        if found is not None and not _same(found, said):
            yield (
                f"{Scale(seen.quantity, seen.unit)} {_written(said)} is written beside the panels, "
                f"and {_written(found)} recorded"
            )
        elif own is None and scale.same_quantity(panel.scale):
            moved = scale.moved(said[0], panel.scale), scale.moved(said[1], panel.scale)
            if any(not _meet(moved, span) for span in spans):
                yield (
                    f"{_written(said)} {scale} is written beside the panels, and they came clean "
                    "at another setting"
                )


def _meet(one: Span, other: Span) -> bool:
    """Whether two spans share a value; what a sum in binary leaves is no gap."""
    low, high = max(one[0], other[0]), min(one[1], other[1])
    return low <= high or math.isclose(low, high)


def _same(one: Span, other: Span) -> bool:
    """Whether two spans are one."""
    return all(math.isclose(a, b, rel_tol=1e-6) for a, b in zip(one, other, strict=True))


def _written(span: Span) -> str:
    """Span in words; one number where both ends are the same."""
    low, high = span
    return f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"

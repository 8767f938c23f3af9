"""Whether the records of a series agree on what was dialled: a setting told twice is told alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from heritagecheck.survey.records import Panel, Setting
from heritagecheck.survey.settings.series_setting import dialled, meet, written


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
    Held against one another are the settings at which each panel came clean, what was dialled, and
    passes and wetting panel by panel. The words beside the panels decide nothing, and are not read.
    """
    return next(_contradictions(panels, settings), "")


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
        if set_to is not None and not meet(set_to, span):
            yield (
                f"{written(set_to)} {scale} was dialled, and panel {panel.panel} came clean at "
                f"{written(span)}"
            )

"""Records of one series that contradict: they may be saved, but its setting is then not known."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from heritagecheck.survey.records import Panel, Setting
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.survey.settings.old_words import read
from heritagecheck.survey.settings.series_setting import Span, dialled, meet, written


def setting_contradiction(panels: Sequence[Panel], settings: Sequence[Setting]) -> str:
    """First contradiction about the setting of one series, in words; empty where there is none."""
    # The words beside the panels decide nothing, and are not read.
    return next(_contradictions(panels, settings), "")


def words_against(panels: Sequence[Panel], settings: Sequence[Setting]) -> str:
    """Say where the words beside panels give a number that is recorded otherwise."""
    return next(_differences(panels, settings), "")


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

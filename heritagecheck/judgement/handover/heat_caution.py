"""The caution that calculated heat is: it stands beside a laser setting, and decides nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.trials.series_heat import alterations, by_laser
from heritagecheck.judgement.handover.work_setting import WorkSetting
from heritagecheck.sentences import joined
from heritagecheck.tables.cautions import Caution

HAZARD, ABOUT, SOURCE = "Calculated heat", "fabric", "CARSLAW-59"


def with_heat(
    usual: Sequence[Caution], panels: PanelSeries | None, setting: WorkSetting, substrate: str
) -> tuple[Caution, ...]:
    """Usual cautions, and with those of the fabric what heat may alter at a laser setting."""
    found = None if panels is None else heat_caution(panels, setting, substrate)
    if found is None:
        return tuple(usual)
    fabric = [place for place, one in enumerate(usual) if one.about == ABOUT]
    after = fabric[-1] + 1 if fabric else len(usual)
    return (*usual[:after], found, *usual[after:])


def heat_caution(panels: PanelSeries, setting: WorkSetting, substrate: str) -> Caution | None:
    """What the setting of a laser alters by calculation, or may alter; None where it is neither."""
    said = joined(_said(panels, setting, substrate))
    if not said:
        return None
    words = f"Calculated, not measured, {said}. Look for it at ×50 before work goes on."
    return Caution(HAZARD, words, SOURCE, ABOUT)


def _said(panels: PanelSeries, setting: WorkSetting, substrate: str) -> Iterator[str]:
    """What each step of the work that a laser does may alter."""
    steps = setting.steps or (None,) * (len(panels.before) + 1)
    for step, series in zip(steps, (*panels.before, panels), strict=True):
        if not by_laser(series):
            continue
        within, at = None, "the setting of the panels"
        if step is not None and step.least is not None and step.most is not None:
            within, at = (step.least, step.most), step.span
        if found := alterations(series, substrate, within):
            yield f"at {at}: {joined(found)}"

"""Which cautions go with an outcome, a zone, its methods, and the heat of a laser setting."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from heritagecheck.evidence.laser.heat.setting_heat import Heating, said_of_heat
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.trials.series_heat import by_laser, heating, why_no_heat
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.gate import TRIAL
from heritagecheck.judgement.handover.work_setting import WorkSetting
from heritagecheck.judgement.options import Option
from heritagecheck.sentences import joined
from heritagecheck.tables.cautions import ALWAYS, Caution, of_outcome, usual_cautions


def cautions_of(
    outcome: str,
    evidence: ZoneEvidence,
    chosen: Option | None,
    candidates: Sequence[Option],
) -> Iterable[Caution]:
    """Usual cautions of a zone and of the methods that are spoken of there."""
    spoken = [chosen] if chosen else []
    if outcome == TRIAL:
        spoken += candidates
    yield of_outcome(outcome)
    told = [
        method
        for option in spoken
        for method in (option.methods if option.series is None else option.series.worked_with)
    ]
    yield from usual_cautions(evidence.facts, told)
    yield of_outcome(ALWAYS)


# -- Calculated heat: printed with a laser setting, decides nothing --------------------------------

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
    said = " ".join(_said(panels, setting, substrate))
    return Caution(HAZARD, f"{said} {_to_do(panels)}", SOURCE, ABOUT) if said else None


def heatings(panels: PanelSeries, setting: WorkSetting, substrate: str) -> Iterator[Heating]:
    """What is calculated for that caution."""
    for series, within, _ in _by_laser(panels, setting):
        if not why_no_heat(series, substrate):
            yield heating(series, substrate, within)


def _by_laser(
    panels: PanelSeries, setting: WorkSetting
) -> Iterator[tuple[PanelSeries, tuple[float, float] | None, str]]:
    """Panels of each step of the work that a laser does, its range, and both in words."""
    steps = setting.steps or (None,) * (len(panels.before) + 1)
    for step, series in zip(steps, (*panels.before, panels), strict=True):
        if not by_laser(series):
            continue
        if step is not None and step.least is not None and step.most is not None:
            yield series, (step.least, step.most), step.span
        else:
            yield series, None, "the setting of the panels"


def _said(panels: PanelSeries, setting: WorkSetting, substrate: str) -> Iterator[str]:
    """A sentence for each step of the work that a laser does and that may alter something."""
    for series, within, at in _by_laser(panels, setting):
        if why_no_heat(series, substrate):
            yield (
                f"At {at}, alteration by heat cannot be excluded: too little is known to "
                "calculate it."
            )
        elif found := said_of_heat(heating(series, substrate, within))["alterations"]:
            yield f"By calculation only, at {at}: {joined(found)}."


def _to_do(panels: PanelSeries) -> str:
    """What to do about it, given what panels showed: a calculation never overrides observation."""
    if panels.fields and panels.damaged == 0:
        return (
            "The panels showed no damage at ×50: look again where work begins, and stop if any is "
            "seen."
        )
    return "Look for it at ×50 where work begins, and stop if it is seen."

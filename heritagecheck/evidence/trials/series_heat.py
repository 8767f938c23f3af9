"""Heat that the recorded setting of a laser series brings: a caution, never a pass."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from heritagecheck.evidence.laser.heat.heated_surface import (
    NEVER_A_PASS,
    OF_ONE_DIMENSION,
    SurfaceTemperature,
)
from heritagecheck.evidence.laser.heat.layers import materials
from heritagecheck.evidence.laser.heat.setting_heat import Heating, heated, said_of_heat
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.trials.series import SeriesTrial
from heritagecheck.sentences import joined
from heritagecheck.survey.records import Setting
from heritagecheck.survey.records.quantities import in_unit
from heritagecheck.tables.row_types import Method, Substrate

# What a pulse needs, in which unit, and whether the highest or the lowest of a span is the hottest.
_OF_A_PULSE = (
    ("peak_fluence", "peak fluence", "J/cm²", "fluence_j_cm2", max),
    ("pulse_duration", "pulse duration", "ns", "pulse_ns", min),
    ("spot_diameter", "spot on the wall", "µm", "radius_um", min),
)
AT_ITS_HOTTEST = (
    "Calculated for the recorded setting at its hottest. A caution for a range of work takes the "
    "hottest end of that range."
)


def heated_surfaces(substrate: str) -> tuple[str, ...]:
    """What may be altered on a zone: the weakest components of its substrate, then that itself."""
    # Once the soiling is off, the light meets them bare; then they are hottest.
    row = Substrate.named(substrate)
    weakest = tuple((row.weakest_components or "").split("|"))
    return tuple(one for one in (*weakest, row.parent or row.substrate) if one in materials())


def missing_for_heat(panels: PanelSeries) -> tuple[str, ...]:
    """What the recorded setting of a laser series lacks for its heat to be calculated."""
    told = {one.quantity for one in panels.settings if one.value is not None}
    missing = [name for quantity, name, *_ in _OF_A_PULSE if quantity not in told]
    repeated = "speed" in told or panels.passes != 1
    if repeated and "repetition_rate" not in told:
        missing.append("pulse rate")
    if "speed" not in told and panels.passes is None:
        missing.append("pulses per spot")
    return tuple(missing)


def why_no_heat(panels: PanelSeries, substrate: str) -> str:
    """Why the heat of a laser series is not calculated; empty where it is."""
    if panels.setting_contradiction:
        return "the records of its setting contradict one another"
    if missing := missing_for_heat(panels):
        return f"not recorded: {joined(list(missing), ', ')}"
    if not heated_surfaces(substrate):
        return f"the thermal properties of {Substrate.named(substrate).name} are not in the table"
    return ""


def temperatures(trial: SeriesTrial) -> tuple[SurfaceTemperature, ...]:
    """How hot each surface gets by the recorded setting; nothing where that lacks something."""
    panels, substrate = trial.panels, trial.zone.substrate
    if not by_laser(panels) or why_no_heat(panels, substrate):
        return ()
    return heated(heating(panels, substrate))


def by_laser(panels: PanelSeries) -> bool:
    """Whether the panels were worked by a laser."""
    return Method.named(panels.method).family == "laser"


def heat_lines(trial: SeriesTrial) -> tuple[str, ...]:
    """Sentences on the heat of a series for its next trial; empty for other methods."""
    panels, substrate = trial.panels, trial.zone.substrate
    if not by_laser(panels):
        return ()
    if why := why_no_heat(panels, substrate):
        return (f"The heat of this setting is not calculated: {why}.",)
    lines = said_of_heat(heating(panels, substrate))["lines"]
    wet = ("A film of water is not in the calculation.",) if panels.wetted else ()
    return (AT_ITS_HOTTEST, *lines, *wet, OF_ONE_DIMENSION, NEVER_A_PASS)


def heating(
    panels: PanelSeries, substrate: str, within: tuple[float, float] | None = None
) -> Heating:
    """
    What a laser setting heats, and how, at its hottest.

    `within` is the range of the work in the scale of the panels, of which the hottest end counts;
    without one the setting of the panels does. Where `why_no_heat` says why, there is none.
    """
    if within is not None and panels.scale.quantity == "passes":
        panels = replace(panels, passes=round(within[1]))
    elif within is not None:
        panels = replace(panels, settings=tuple(_within(panels, within)))
    return Heating(heated_surfaces(substrate), _setting(panels))


def _within(panels: PanelSeries, within: tuple[float, float]) -> Iterator[Setting]:
    """The recorded setting with the range of the work in place of what was dialled."""
    low, high = within
    varied = {"value": low, "value_to": high, "unit": panels.scale.unit}
    for one in panels.settings:
        yield one.model_copy(update=varied) if one.quantity == panels.scale.quantity else one


def _setting(panels: PanelSeries) -> dict[str, Any]:
    """The recorded setting as `surface_temperature` takes it, at its hottest."""
    settings = {one.quantity: one for one in panels.settings if one.value is not None}
    found: dict[str, Any] = {
        name: _in(settings[quantity], unit, end) for quantity, _, unit, name, end in _OF_A_PULSE
    }
    found["radius_um"] /= 2
    if "repetition_rate" in settings:
        found["rate_hz"] = _in(settings["repetition_rate"], "Hz", max)
    if "speed" in settings:
        return found | {"speed_mm_s": _in(settings["speed"], "mm/s", min)}
    return found | {"pulses": panels.passes}


def _in(setting: Setting, unit: str, end: Any) -> float:
    """A recorded value in a unit; of a span the end that is the hottest."""
    assert setting.value is not None
    assert setting.highest is not None
    assert setting.unit is not None
    return in_unit(end(setting.value, setting.highest), setting.unit, unit)

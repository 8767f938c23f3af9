"""Heat that the recorded setting of a laser series brings: a caution, never a pass."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from heritagecheck import answer_cache
from heritagecheck.evidence.laser.heat.heated_surface import (
    NEVER_A_PASS,
    OF_ONE_DIMENSION,
    SurfaceTemperature,
)
from heritagecheck.evidence.laser.heat.materials import START_C, materials
from heritagecheck.evidence.laser.heat.surface_temperature import surface_temperature
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
_LEFT_COUNTS = 0.1  # of the peak's rise: from there on heat left is spoken of


def heated_surfaces(trial: SeriesTrial) -> tuple[str, ...]:
    """What may be altered on the zone of a series: its weakest components, then its substrate."""
    # Once the soiling is off, the light meets them bare; then they are hottest.
    row = Substrate.named(trial.zone.substrate)
    weakest = tuple((row.weakest_components or "").split("|"))
    return tuple(one for one in (*weakest, row.parent or row.substrate) if one in materials())


def missing_for_heat(trial: SeriesTrial) -> tuple[str, ...]:
    """What the recorded setting of a laser series lacks for its heat to be calculated."""
    told = {one.quantity for one in trial.panels.settings if one.value is not None}
    missing = [name for quantity, name, *_ in _OF_A_PULSE if quantity not in told]
    repeated = "speed" in told or trial.panels.passes != 1
    if repeated and "repetition_rate" not in told:
        missing.append("pulse rate")
    if "speed" not in told and trial.panels.passes is None:
        missing.append("pulses per spot")
    return tuple(missing)


def why_no_heat(trial: SeriesTrial) -> str:
    """Why the heat of a laser series is not calculated; empty where it is."""
    if trial.panels.setting_contradiction:
        return "the records of its setting contradict one another"
    if missing := missing_for_heat(trial):
        return f"not recorded: {joined(list(missing), ', ')}"
    if not heated_surfaces(trial):
        substrate = Substrate.named(trial.zone.substrate).name
        return f"the thermal properties of {substrate} are not in the table"
    return ""


def temperatures(trial: SeriesTrial) -> tuple[SurfaceTemperature, ...]:
    """How hot each surface gets by the recorded setting; nothing where that lacks something."""
    if not by_laser(trial) or why_no_heat(trial):
        return ()
    setting = _setting(trial)
    return tuple(surface_temperature(one, **setting) for one in heated_surfaces(trial))


def by_laser(trial: SeriesTrial) -> bool:
    """Whether the panels were worked by a laser."""
    return Method.named(trial.panels.method).family == "laser"


def heat_lines(trial: SeriesTrial) -> tuple[str, ...]:
    """What is said of the heat of a series beside its next trial; empty for other methods."""
    if not by_laser(trial):
        return ()
    if why := why_no_heat(trial):
        return (f"The heat of this setting is not calculated: {why}.",)
    asked = f"heat {heated_surfaces(trial)} {sorted(_setting(trial).items())}"
    lines = answer_cache.kept(asked, lambda: {"lines": list(_lines(temperatures(trial)))})["lines"]
    wet = ("A film of water is not in the calculation.",) if trial.panels.wetted else ()
    return (*lines, *wet, OF_ONE_DIMENSION, NEVER_A_PASS)


def _setting(trial: SeriesTrial) -> dict[str, Any]:
    """The recorded setting as `surface_temperature` takes it, at its hottest."""
    settings = {one.quantity: one for one in trial.panels.settings if one.value is not None}
    found: dict[str, Any] = {
        name: _in(settings[quantity], unit, end) for quantity, _, unit, name, end in _OF_A_PULSE
    }
    found["radius_um"] /= 2
    if "repetition_rate" in settings:
        found["rate_hz"] = _in(settings["repetition_rate"], "Hz", max)
    if "speed" in settings:
        return found | {"speed_mm_s": _in(settings["speed"], "mm/s", min)}
    return found | {"pulses": trial.panels.passes}


def _in(setting: Setting, unit: str, end: Any) -> float:
    """A recorded value in a unit; of a span the end that is the hottest."""
    assert setting.value is not None
    assert setting.highest is not None
    assert setting.unit is not None
    return in_unit(end(setting.value, setting.highest), setting.unit, unit)


def _lines(found: tuple[SurfaceTemperature, ...]) -> Iterator[str]:
    """Each surface in its sentences, then what the next trial takes from them."""
    for one in found:
        yield " ".join([*one.sentences(), *one.no_number.values()])
    altered = [one.surface.name for one in found if one.may_alter]
    if altered:
        yield (
            f"The next trial begins at a lower fluence, and {joined(altered, ', ')} is read at ×50 "
            "for this alteration."
        )
    if any(map(_left_counts, found)):
        yield "Heat left between pulses adds to the next one: lower the pulse rate."
    if any(one.followed < one.pulses or one.pulses > 1 for one in found):
        yield "Further pulses, lines and passes add heat: wait between passes."


def _left_counts(one: SurfaceTemperature) -> bool:
    """Whether heat left between pulses is a part of the peak that counts."""
    if one.left is None:
        return False
    rise = one.left.high_c - START_C
    return one.peak is None or rise > _LEFT_COUNTS * (one.peak.high_c - START_C)

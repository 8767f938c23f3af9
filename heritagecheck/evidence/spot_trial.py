"""Trial spots of one series of panels, read together: removal, damage, and the window between."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from heritagecheck.evidence._dose import DoseResponse, dose_response
from heritagecheck.evidence._window import Window, tested_window
from heritagecheck.survey.records import Panel, Spot

# One spot as the fit takes it: dose, cleaned, damaged, component, panel.
Row = tuple[float, bool, bool, str, str]


@dataclass(frozen=True, slots=True, eq=False)
class SpotTrial:
    """What the spots of one series show, or why they can't be read together."""

    series: str
    dose_unit: str
    rows: tuple[Row, ...]
    removal: DoseResponse | None
    damage: DoseResponse | None
    window: Window | None
    why_not: str

    def __str__(self) -> str:
        if self.window is None:
            return f"Spots of {self.series}: not read together, because {self.why_not}"
        return f"Spots of {self.series} [{self.dose_unit}]: {self.window}"


def spot_trial(panels: Sequence[Panel], spots: Iterable[Spot]) -> SpotTrial | None:
    """
    Read the spots of one series of panels together.

    Parameters
    ----------
    panels : sequence of Panel
        All panels of the series on record.
    spots : iterable of Spot
        Spots; those on these panels are used.

    Returns
    -------
    SpotTrial or None
        None where no panel says that spots were laid: those on record are then left aside.

    Notes
    -----
    Spots are read together only where every panel that was laid is here, says how many spots it
    carries, and has them all, read and at one unit of dose. So no spot that is lost makes a window
    look wider. Damage is asked of each component under the spots by itself where every spot names
    its own; else of all spots as one.
    """
    names = {panel.panel for panel in panels}
    found = [spot for spot in spots if spot.panel in names]
    if not any(panel.spots_laid for panel in panels):
        return None
    series = panels[0].series
    units = {spot.dose_unit for spot in found if spot.dose_unit is not None}
    unit = min(units) if len(units) == 1 else ""
    why_not = _gap(panels, found, units)
    if why_not:
        return SpotTrial(series, unit, (), None, None, None, why_not)
    rows = tuple(
        (spot.dose or 0.0, spot.cleaned == "yes", spot.damaged == "yes", spot.component or "",
         spot.panel)
        for spot in found
    )  # fmt: skip
    removal, damage, window = _fitted(rows)
    return SpotTrial(series, unit, rows, removal, damage, window, "")


def _gap(panels: Sequence[Panel], spots: Sequence[Spot], units: set[str]) -> str:
    """Why spots can't be read together; empty where they can."""
    if len(panels) < panels[0].panels_in_series:
        return f"{len(panels)} of {panels[0].panels_in_series} panels are on record"
    for panel in panels:
        here = sum(spot.panel == panel.panel for spot in spots)
        if panel.spots_laid is None:
            return f"panel {panel.panel} does not say how many spots were laid"
        if panel.spots_laid != here:
            return f"panel {panel.panel} carries {panel.spots_laid} spots, {here} are on record"
    unread = [spot.spot for spot in spots if spot.cleaned is None or spot.dose is None]
    if unread:
        return f"spot {unread[0]} was not read, or its dose is not recorded"
    if len(units) > 1:
        return f"doses stand in {' and in '.join(sorted(units))}"
    return ""


@lru_cache(maxsize=256)
def _fitted(rows: tuple[Row, ...]) -> tuple[DoseResponse, DoseResponse, Window]:
    """Both curves and the window; the same spots tell about every zone of their bed."""
    dose, cleaned, damaged, component, panel = zip(*rows, strict=True)
    named = component if all(component) else None
    removal = dose_response(dose, cleaned, panel=panel)
    damage = dose_response(dose, damaged, named, panel=panel)
    return removal, damage, tested_window(removal, damage)

"""Which screen of the trials of a zone is shown where."""

from __future__ import annotations

from heritagecheck.screens.app import Desk
from heritagecheck.screens.trials.below_x50 import BelowX50Screen
from heritagecheck.screens.trials.height_map import HeightMapScreen
from heritagecheck.screens.trials.panel import PanelScreen
from heritagecheck.screens.trials.panels import PanelsScreen, SeriesScreen
from heritagecheck.screens.trials.section import SectionScreen
from heritagecheck.screens.trials.series_setting import SeriesSettingScreen
from heritagecheck.screens.trials.spots import SpotsScreen
from heritagecheck.screens.trials.trial_screen import TrialScreen


def trials_screen(desk: Desk, *parts: str) -> TrialScreen:
    """
    The screen of a route below a zone.

    Parameters
    ----------
    desk : Desk
        What all screens share.
    *parts : str
        Code of the zone; then ``panels``, ``panels/new``, ``series/SERIES``,
        ``series/SERIES/setting``, ``series/SERIES/panel/PANEL``, ``series/SERIES/spots/PANEL``,
        ``below``, ``below/map/ATTACHMENT`` or ``below/section/PROFILE``.
    """
    zone, what, *rest = parts
    if what == "panels":
        return (SeriesSettingScreen if rest else PanelsScreen)(desk, zone, what, *rest)
    if what == "below":
        of_below: type[TrialScreen] = {
            (): BelowX50Screen, ("map",): HeightMapScreen, ("section",): SectionScreen,
        }[tuple(rest[:1])]  # fmt: skip
        return of_below(desk, zone, what, *rest)
    series, *more = rest
    screen: type[TrialScreen] = {
        (): SeriesScreen, ("setting",): SeriesSettingScreen, ("panel",): PanelScreen,
        ("spots",): SpotsScreen,
    }[tuple(more[:1])]  # fmt: skip
    return screen(desk, zone, what, series, *more)

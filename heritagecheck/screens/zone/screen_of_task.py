"""Which screen shows which task of a zone."""

from __future__ import annotations

from heritagecheck.screens.app import Desk, Screen
from heritagecheck.screens.trials.routes import trials_screen
from heritagecheck.screens.zone.answer import AnswerScreen
from heritagecheck.screens.zone.at_hand import ZoneAtHand
from heritagecheck.screens.zone.colour import ColourScreen
from heritagecheck.screens.zone.findings import FindingsScreen
from heritagecheck.screens.zone.photographs import PhotographsScreen
from heritagecheck.screens.zone.site_tests import SiteTestsScreen
from heritagecheck.screens.zone.soiling import SoilingScreen
from heritagecheck.screens.zone.what_it_is import WhatItIsScreen
from heritagecheck.screens.zone.zone_screen import ZoneScreen

SCREENS: dict[str, type[ZoneScreen]] = {
    screen.task: screen
    for screen in (
        WhatItIsScreen,
        SoilingScreen,
        FindingsScreen,
        SiteTestsScreen,
        ColourScreen,
        PhotographsScreen,
        AnswerScreen,
    )
}


def screen_of_task(desk: Desk, code: str = "", task: str = "what", *more: str) -> Screen:
    """
    The screen of one task; an unknown task leads to what the zone is.

    Parameters
    ----------
    desk : Desk
        What all screens share.
    code : str
        Code of the zone.
    task : str
        Next word of the route, such as ``findings``.
    *more : str
        What follows it, such as the code of a series.
    """
    if task in {"panels", "series", "below"} and ZoneAtHand.of(desk, code).record() is not None:
        return trials_screen(desk, code, task, *more)
    return SCREENS.get(task, WhatItIsScreen)(desk, code)

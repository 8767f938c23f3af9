"""Which screen shows which task of a zone."""

from __future__ import annotations

from heritagecheck.screens.app import Desk
from heritagecheck.screens.zone.answer import AnswerScreen
from heritagecheck.screens.zone.findings import FindingsScreen
from heritagecheck.screens.zone.soiling import SoilingScreen
from heritagecheck.screens.zone.what_it_is import WhatItIsScreen
from heritagecheck.screens.zone.zone_screen import ZoneScreen

SCREENS: dict[str, type[ZoneScreen]] = {
    screen.task: screen for screen in (WhatItIsScreen, SoilingScreen, FindingsScreen, AnswerScreen)
}


def screen_of_task(desk: Desk, code: str = "", task: str = "what") -> ZoneScreen:
    """
    The screen of one task; an unknown task leads to what the zone is.

    Parameters
    ----------
    desk : Desk
        What all screens share.
    code : str
        Code of the zone.
    task : str
        Last word of the route, such as ``findings``.

    Returns
    -------
    ZoneScreen
    """
    return SCREENS.get(task, WhatItIsScreen)(desk, code)

"""The screens of a survey, and the pages that open on them in a notebook or an app."""

from __future__ import annotations

from functools import partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote_plus

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.screens.app import App, Desk, Screen, ScreenOf
from heritagecheck.survey.places import open_survey
from heritagecheck.survey.records import Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey

if TYPE_CHECKING:
    from heritagecheck.screens.live_page import LivePage
    from heritagecheck.survey.survey import Survey


# First word of a route to the module and name of its screen; the start page has the empty word.
SCREENS = {
    "": ("start", "StartScreen"),
    "answers": ("answers", "AnswersScreen"),
    "policy": ("policy", "PolicyScreen"),
    "structure": ("start", "StructureScreen"),
    "elevation": ("elevation", "ElevationScreen"),
    "elevations": ("elevation", "ElevationsScreen"),
    "outline": ("outline", "OutlineScreen"),
    "zone": ("routes", "screen_of_zone"),
    "zones": ("zones", "ZonesScreen"),
}


# What follows the code of a zone: a task, or a screen of its trials.
OF_ZONE = {
    "what": ("zone.what_it_is", "WhatItIsScreen"),
    "soiling": ("zone.soiling", "SoilingScreen"),
    "findings": ("zone.findings", "FindingsScreen"),
    "tests": ("zone.site_tests", "SiteTestsScreen"),
    "colour": ("zone.colour", "ColourScreen"),
    "photographs": ("zone.photographs", "PhotographsScreen"),
    "answer": ("zone.answer", "AnswerScreen"),
}
OF_TRIALS = {
    "panels": ("trials.panels", "PanelsScreen"),
    "panels/new": ("trials.series_setting", "SeriesSettingScreen"),
    "series": ("trials.panels", "SeriesScreen"),
    "series/setting": ("trials.series_setting", "SeriesSettingScreen"),
    "series/panel": ("trials.panel", "PanelScreen"),
    "series/spots": ("trials.spots", "SpotsScreen"),
    "below": ("trials.below_x50", "BelowX50Screen"),
    "below/map": ("trials.height_map", "HeightMapScreen"),
    "below/section": ("trials.section", "SectionScreen"),
}


def screens() -> dict[str, ScreenOf]:
    """First word of a route to its screen, which is imported when somebody first goes there."""
    return {word: partial(_screen, *where) for word, where in SCREENS.items()}


def _screen(module: str, name: str, desk: Desk, *parts: str) -> Screen:
    """A screen of a module that the start page does not need: most judge, draw or write."""
    made: ScreenOf = getattr(import_module(f"heritagecheck.screens.{module}"), name)
    return made(desk, *parts)


def screen_of_zone(desk: Desk, code: str = "", task: str = "what", *more: str) -> Screen:
    """
    The screen of one task of a zone; an unknown task leads to what the zone is.

    Parameters
    ----------
    desk : Desk
        What all screens share.
    code : str
        Code of the zone.
    task : str
        Next word of the route, such as ``findings``; trials need a zone that is saved.
    *more : str
        What follows it: nothing, or as in ``panels/new``, ``series/SERIES``,
        ``series/SERIES/setting``, ``series/SERIES/panel/PANEL``, ``series/SERIES/spots/PANEL``,
        ``below/map/ATTACHMENT`` and ``below/section/PROFILE``.
    """
    if task in OF_TRIALS and any(zone.zone == code for zone in desk.survey.all(Zone)):
        part = more[1:2] if task == "series" else more[:1]
        return _screen(*OF_TRIALS["/".join((task, *part))], desk, code, task, *more)
    return _screen(*OF_ZONE.get(task, OF_ZONE["what"]), desk, code)


def start_page(place: str | Path) -> LivePage:
    """
    The screens of a survey, from the start page on.

    Parameters
    ----------
    place : str or Path
        The survey's database: a file such as ``survey.db``, or ``postgresql+psycopg://…``.

    Returns
    -------
    LivePage
        A widget that shows itself in a notebook or an app.

    Raises
    ------
    SurveyError
        There is no such survey.
    ImportError
        anywidget is not installed.
    """
    return _page(open_survey(place), "")


def elevation_map(survey: Survey) -> LivePage:
    """
    The zones of a survey on their elevations and as a list; each leads to its zone.

    Parameters
    ----------
    survey : Survey
        The survey, from its database.

    Returns
    -------
    LivePage
        A widget that shows itself in a notebook or an app.

    Raises
    ------
    SurveyError
        The survey is not in a database.
    ImportError
        anywidget is not installed.
    """
    return _page(survey, "zones")


def zone_form(survey: Survey, zone: str = "") -> LivePage:
    """
    The form of a zone, open on what the zone is.

    Parameters
    ----------
    survey : Survey
        The survey, from its database.
    zone : str
        Code of the zone; where none is given, the page opens on the zones, to choose or begin one.

    Returns
    -------
    LivePage
        A widget that shows itself in a notebook or an app.

    Raises
    ------
    SurveyError
        The survey is not in a database.
    ImportError
        anywidget is not installed.
    """
    return _page(survey, f"zone/{quote_plus(zone)}" if zone else "zones")


def _page(survey: Survey, route: str) -> LivePage:
    """The screens of a survey, open on one of them."""
    from heritagecheck.screens.live_page import LivePage

    if not isinstance(survey, DatabaseSurvey):
        why = "it lies in no database, into which the screens save; import it into a database first"
        raise SurveyError([Fault("survey", None, "", "", why)], nothing="opened")
    return LivePage(App(survey, screens(), route), kept_as=survey.name)

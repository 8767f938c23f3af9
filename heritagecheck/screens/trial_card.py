"""The trial card: choose a series of trial panels and see on one screen what it shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from heritagecheck.documents.trial_sheet import series_of, trial_sheet
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.screens.chosen_card import chosen_card
from heritagecheck.survey.records import Panel
from heritagecheck.tables import keyed

if TYPE_CHECKING:
    import ipywidgets


def trial_card(assessment: Assessment, series: str) -> ipywidgets.VBox:
    """
    Card of one series of trial panels, with a list from which to choose another.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.
    series : str
        Code of the series shown first.

    Returns
    -------
    ipywidgets.VBox
        The list over the card.

    Raises
    ------
    SurveyError
        The survey holds no such series.
    ImportError
        ipywidgets is not installed.
    """
    methods = {panel.series: panel.method for panel in assessment.survey.all(Panel)}
    return chosen_card(
        "Series",
        [
            (f"{code}  {keyed('methods', 'method')[methods[code]]['name']}", code)
            for code in series_of(assessment)
        ],
        series,
        lambda code: trial_sheet(assessment, code),
    )

"""The zone card: choose a zone and see its whole reasoning on one screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from heritagecheck.documents.zone_sheet import zone_sheet
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.screens.chosen_card import chosen_card

if TYPE_CHECKING:
    import ipywidgets


def zone_card(assessment: Assessment, zone: str) -> ipywidgets.VBox:
    """
    Card of one zone, with a list from which to choose another.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.
    zone : str
        Code of the zone shown first.

    Returns
    -------
    ipywidgets.VBox
        The list over the card.

    Raises
    ------
    SurveyError
        The assessment holds no such zone.
    ImportError
        ipywidgets is not installed.
    """
    return chosen_card(
        "Zone",
        [(f"{one.zone}  {one.name}", one.zone) for one in assessment.recommendations],
        zone,
        lambda code: zone_sheet(assessment, code),
    )

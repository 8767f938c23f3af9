"""Cards in a notebook: choose a zone or a series of panels, and see all of it on one screen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from heritagecheck.cards import Card
from heritagecheck.documents.trial_sheet import series_of, trial_sheet
from heritagecheck.documents.zone_sheet import zone_sheet
from heritagecheck.figures.svg import carried_faces
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.records import Panel
from heritagecheck.tables.row_types import Method

if TYPE_CHECKING:
    import ipywidgets


def chosen_card(
    name: str, choices: Sequence[tuple[str, str]], first: str, card_of: Callable[[str], Card]
) -> ipywidgets.VBox:
    """Card of one thing, with a list from which to choose another."""
    try:
        import ipywidgets
    except ImportError as error:
        raise ImportError("The card needs ipywidgets: pip install 'heritagecheck[lab]'") from error
    page = ipywidgets.HTML(
        card_of(first).html, layout=ipywidgets.Layout(width="auto", min_width="0")
    )
    type_faces = ipywidgets.HTML(
        f"<style>{carried_faces()}</style>", layout=ipywidgets.Layout(height="0", margin="0")
    )
    choice = ipywidgets.Dropdown(
        options=list(choices),
        value=first,
        description=name,
        layout=ipywidgets.Layout(width="auto", max_width="34rem", flex="0 0 auto"),
    )

    def show(change: dict[str, Any]) -> None:
        page.value = card_of(change["new"]).html

    choice.observe(show, names="value")
    return ipywidgets.VBox(
        [type_faces, choice, page], layout=ipywidgets.Layout(width="100%", min_width="0")
    )


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
        [(f"{code}  {Method.named(methods[code]).name}", code) for code in series_of(assessment)],
        series,
        lambda code: trial_sheet(assessment, code),
    )

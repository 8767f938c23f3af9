"""The zone card: choose a zone and see its whole reasoning on one screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from heritagecheck.documents.typefaces import carried_faces
from heritagecheck.documents.zone_sheet import zone_sheet
from heritagecheck.judgement.recommendation import Assessment

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
    try:
        import ipywidgets
    except ImportError as error:
        raise ImportError("zone_card needs ipywidgets: pip install 'heritagecheck[lab]'") from error
    page = ipywidgets.HTML(
        zone_sheet(assessment, zone).html, layout=ipywidgets.Layout(width="auto", min_width="0")
    )
    type_faces = ipywidgets.HTML(
        f"<style>{carried_faces()}</style>", layout=ipywidgets.Layout(height="0", margin="0")
    )
    choice = ipywidgets.Dropdown(
        options=[(f"{one.zone}  {one.name}", one.zone) for one in assessment.recommendations],
        value=zone,
        description="Zone",
        layout=ipywidgets.Layout(width="auto", max_width="34rem", flex="0 0 auto"),
    )

    def show(change: dict[str, Any]) -> None:
        page.value = zone_sheet(assessment, change["new"]).html

    choice.observe(show, names="value")
    return ipywidgets.VBox(
        [type_faces, choice, page], layout=ipywidgets.Layout(width="100%", min_width="0")
    )

"""A list over a card: what is chosen in the list is what the card shows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from heritagecheck.cards import Card
from heritagecheck.documents.typefaces import carried_faces

if TYPE_CHECKING:
    import ipywidgets


def chosen_card(
    name: str, choices: Sequence[tuple[str, str]], first: str, card_of: Callable[[str], Card]
) -> ipywidgets.VBox:
    """
    Card of one thing, with a list from which to choose another.

    Parameters
    ----------
    name : str
        What is chosen, before the list.
    choices : sequence of tuple of str
        Words of each choice, and its code.
    first : str
        Code shown first.
    card_of : callable
        Gives the card of a code.

    Returns
    -------
    ipywidgets.VBox
        The list over the card.

    Raises
    ------
    ImportError
        ipywidgets is not installed.
    """
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

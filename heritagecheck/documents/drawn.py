"""How figures are put on a page: as a drawing in it, with words for who can't see them."""

from __future__ import annotations

import base64
import re

from markupsafe import Markup, escape

from heritagecheck.cards import Picture


def anchor(kind: str, code: str) -> str:
    """
    Name of a place on the page.

    Parameters
    ----------
    kind, code : str
        What stands there, such as ``"sheet"``, and of which zone.

    Returns
    -------
    str
    """
    return f"{kind}-{_name(code)}"


def drawn(
    picture: Picture, css_class: str = "", *, group: bool = False, paper: bool = False
) -> Markup:
    """
    A picture for a page, which says in words what it shows.

    Parameters
    ----------
    picture : Picture
        The picture.
    css_class : str
        Class for the style sheet.
    group : bool
        True where its parts can be chosen, so that they must stay readable one by one.
    paper : bool
        True for a PDF: the picture then stands apart from the style of the page.

    Returns
    -------
    markupsafe.Markup
    """
    if paper:
        return Markup('<img class="{}" alt="{}" src="{}">').format(
            css_class, picture.alt, _address(picture)
        )
    head, _, rest = picture.svg.partition(">")
    head = re.sub(r'\s(role|aria-label|class)="[^"]*"', "", head)
    rest = re.sub(r"^\s*<title>[^<]*</title>", "", rest)
    role = "group" if group else "img"
    given = Markup(' class="{}" role="{}" aria-label="{}"').format(css_class, role, picture.alt)
    return Markup(f"{head}{given}><title>{escape(picture.alt)}</title>{rest}")


def _address(picture: Picture) -> str:
    """Picture as an address that carries it."""
    return f"data:image/svg+xml;base64,{base64.b64encode(picture.svg.encode()).decode()}"


def paper_key(outcome: str) -> Markup:
    """
    Key of an outcome on paper: mere decoration beside its name.

    Parameters
    ----------
    outcome : str
        One of the four outcomes.

    Returns
    -------
    markupsafe.Markup
    """
    return Markup('<span class="key {}"></span>').format(outcome.replace(" ", "-"))


def _name(code: str) -> str:
    """Turn the code of a zone into part of a name that a page can hold."""
    return re.sub(r"[^\w-]", "-", code)

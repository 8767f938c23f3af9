"""How figures are put on a page: as a drawing in it, with words for who can't see them."""

from __future__ import annotations

import base64
import re

from markupsafe import Markup, escape

from heritagecheck.cards import Picture
from heritagecheck.survey.drawings.drawing import faults_of, look_at
from heritagecheck.survey.drawings.elevations import elevation_of
from heritagecheck.survey.survey import Survey


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


def why_not_drawn(survey: Survey, elevation: str) -> str:
    """
    Why an elevation has no picture.

    Parameters
    ----------
    survey : Survey
        The survey.
    elevation : str
        Code of the elevation.

    Returns
    -------
    str
        What is wrong with its drawing and what to do, without a full stop; empty where it can be
        shown.
    """
    item = elevation_of(survey, elevation)
    faults = faults_of(look_at(survey.file(item.drawing)), item)
    if not faults:
        return ""
    more = f" ({len(faults) - 1} more in heritagecheck check)" if len(faults) > 1 else ""
    return (
        f"the drawing {item.drawing} can't be shown: {faults[0].rstrip('.')}{more}. Correct it, "
        "then write the report again"
    )


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

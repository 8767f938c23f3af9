"""How figures are put on a page: as a drawing in it, with words for who can't see them."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

from heritagecheck.cards import Picture
from heritagecheck.documents.typefaces import FONTS
from heritagecheck.evidence.spot_trial import SpotTrial
from heritagecheck.figures import (
    draw_colour,
    draw_harm,
    draw_trial,
    trial_heights,
)
from heritagecheck.judgement.recommendation import Recommendation

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TRIAL_WIDTH, TRIAL_HEIGHT = 6.4, 2.3


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


def harm_picture(recommendation: Recommendation) -> Picture:
    """
    Harm of leaving and of treating, as SVG with the same bytes each time.

    Parameters
    ----------
    recommendation : Recommendation
        For one zone.

    Returns
    -------
    Picture
    """
    return draw_harm(recommendation)


def colour_picture(recommendation: Recommendation) -> Picture:
    """
    Readings of a zone in CIELAB, as SVG with the same bytes each time.

    Parameters
    ----------
    recommendation : Recommendation
        For one zone whose colour was compared.

    Returns
    -------
    Picture
    """
    drawn = draw_colour(recommendation)
    assert drawn is not None, "asked for only where colour was compared"
    return drawn


def trial_picture(spots: SpotTrial) -> Picture:
    """
    Trial spots of a series with their curves and window, as SVG with the same bytes each time.

    Parameters
    ----------
    spots : SpotTrial
        Spots of one series, read together.

    Returns
    -------
    Picture
    """
    heights = trial_heights(spots)
    with _plot(f"trial-{spots.series}", (TRIAL_WIDTH, TRIAL_HEIGHT * sum(heights) + 1)) as plot:
        drawn_on = plot.figure.subplots(
            len(heights), 1, sharex=True, squeeze=False, height_ratios=heights
        )
        draw_trial(spots, list(drawn_on[:, 0]))
    return Picture(
        plot.svg,
        f"Each trial spot of {spots.series} at its setting, cleaned or not, damaged or not, by "
        f"what lay under it; and how likely cleaning and damage are at each setting. {spots}",
    )


@dataclass
class _Plot:
    """A figure, and its SVG once it is drawn."""

    figure: Figure
    svg: str = ""


@contextmanager
def _plot(name: str, size: tuple[float, float]) -> Iterator[_Plot]:
    """Give a figure in our type; what was drawn becomes SVG whose names no other figure has."""
    import matplotlib as mpl
    from matplotlib import font_manager
    from matplotlib.figure import Figure

    if not any(font.name == "Source Sans 3" for font in font_manager.fontManager.ttflist):
        font_manager.fontManager.addfont(FONTS / "SourceSans3-Regular.ttf")
    rules: dict[Any, Any] = {
        "svg.fonttype": "none", "svg.hashsalt": name, "font.size": 8,
        "font.family": "Source Sans 3",
    }  # fmt: skip
    with mpl.rc_context(rules):
        plot = _Plot(Figure(figsize=size))
        plot.figure.set_layout_engine("constrained", h_pad=0, w_pad=0)
        yield plot
        target = io.StringIO()
        plot.figure.savefig(
            target, format="svg", metadata={"Date": None, "Creator": None}, transparent=True
        )
    text = target.getvalue()
    svg = re.sub(r"<metadata>.*?</metadata>", "", text[text.index("<svg") :], flags=re.DOTALL)
    plot.svg = re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{_name(name)}-", svg)


def _name(code: str) -> str:
    """Turn the code of a zone into part of a name that a page can hold."""
    return re.sub(r"[^\w-]", "-", code)

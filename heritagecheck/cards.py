"""How a result shows itself: a picture as SVG, a block as HTML, a text as a sentence."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from heritagecheck.sentence_table import Table

# Part of its own width below which a picture is not shrunk but pushed aside with a finger.
LEAST_SHOWN = 0.8
PHONE = 320.0  # pixel: the room of the narrowest screen
# A summary carries its look itself: it may stand in a notebook without any of our style sheets.
FRAME = "max-width:44rem;border-left:3px solid #8b877e;padding-left:.8rem;line-height:1.4"
LEFT = 'style="text-align:left;vertical-align:top"'


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing that notebooks and pages show alike."""

    svg: str
    alt: str

    def __str__(self) -> str:
        """Say in words what the picture shows."""
        return self.alt

    @property
    def size(self) -> tuple[float, float]:
        """Width and height that it asks for, in pixels; none where it takes what room there is."""
        head = self.svg.partition(">")[0]
        width, height = (re.search(rf'\s{side}="([\d.]+)"', head) for side in ("width", "height"))
        return (float(width[1]), float(height[1])) if width and height else (0.0, 0.0)

    def _repr_html_(self) -> str:
        head, _, rest = self.svg.partition(">")
        width, _ = self.size
        style = (
            f"display:block;width:100%;height:auto;min-width:{LEAST_SHOWN * width:g}px;"
            f"max-width:{width:g}px"
        )
        svg = f'{head} style="{style}">{rest}' if width else self.svg
        # What is pushed aside with a finger is to be reached by the keyboard as well.
        reached = ' tabindex="0"' if LEAST_SHOWN * width > PHONE else ""
        return (
            f'<div role="img" aria-label="{escape(self.alt)}"{reached} '
            f'style="max-width:60rem;overflow-x:auto">{svg}</div>'
        )


def table(rows: Iterable[Sequence[Any]], columns: Sequence[str]) -> Table:
    """A table from its rows."""
    from heritagecheck.sentence_table import Table

    return Table(list(rows), columns=list(columns))


def summary(
    head: str,
    sentence: str,
    lines: Iterable[tuple[str, object]] = (),
    *,
    cautions: Iterable[tuple[str, str]] = (),
    more: str = "",
) -> str:
    """Short card of a result for a notebook, as HTML; lines that say nothing are left out."""
    rows = "".join(
        f"<tr><th {LEFT}>{escape(name)}</th><td {LEFT}>{escape(str(words))}</td></tr>"
        for name, words in lines
        if str(words)
    )
    hazards = "".join(f"<p><b>{escape(name)}.</b> {escape(words)}</p>" for name, words in cautions)
    return (
        f'<div style="{FRAME}"><p><strong>{escape(head)}</strong></p><p>{escape(sentence)}</p>'
        + (f"<table>{rows}</table>" if rows else "")
        + (f"<p><strong>Cautions</strong></p>{hazards}" if hazards else "")
        + (f'<p class="for-code">More: <code>{escape(more)}</code></p>' if more else "")
        + "</div>"
    )


@dataclass(frozen=True, slots=True)
class Card:
    """A block of a page that notebooks show as it stands in the report."""

    html: str
    text: str

    def __str__(self) -> str:
        """Give the answer in a sentence."""
        return self.text

    def _repr_html_(self) -> str:
        return self.html

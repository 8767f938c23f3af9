"""How a result shows itself: a picture as SVG, a block as HTML, a text as a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing that notebooks and pages show alike."""

    svg: str
    alt: str

    def __str__(self) -> str:
        """Say in words what the picture shows."""
        return self.alt

    def _repr_html_(self) -> str:
        return (
            f'<div role="img" aria-label="{escape(self.alt)}" style="max-width:60rem">'
            f"{self.svg}</div>"
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

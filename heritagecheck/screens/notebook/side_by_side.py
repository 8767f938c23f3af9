"""Two things beside one another, each under its name."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import Any


@dataclass(frozen=True, slots=True)
class Pair:
    """
    Two things side by side; where the page is narrower than both, one under the other.

    `heads` say what each is about; `narrowest` is the room that each needs, in pixels.
    """

    both: tuple[Any, Any]
    heads: tuple[str, str] = ("", "")
    narrowest: int = 400

    def __str__(self) -> str:
        """Say both in words."""
        both = zip(self.heads, self.both, strict=True)
        return "\n".join(f"{head}: {item}" if head else str(item) for head, item in both)

    def _repr_html_(self) -> str:
        columns = f"repeat(auto-fit,minmax(min(100%,{self.narrowest}px),1fr))"
        halves = "".join(
            f'<div style="min-width:0">{f"<p><b>{escape(head)}</b></p>" if head else ""}'
            f"{_html_of(item)}</div>"
            for head, item in zip(self.heads, self.both, strict=True)
        )
        return (
            f'<div style="display:grid;gap:0.6rem 1.6rem;grid-template-columns:{columns}">'
            f"{halves}</div>"
        )


def _html_of(item: Any) -> str:
    """An item as HTML; words as a paragraph."""
    if isinstance(item, str):
        return f"<p>{escape(item)}</p>"
    return str(item._repr_html_())

"""What a step shows besides words: a table to sort, pictures side by side, a wall to tap."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from html import escape
from typing import TYPE_CHECKING, Any

from heritagecheck.cards import Picture
from heritagecheck.sentences import count_of

if TYPE_CHECKING:
    import pandas as pd


PICK = "pick:"  # begins the address of a zone on an elevation that can be pressed
LINK = re.compile(f'href="{PICK}([^"]*)"')
FEW = 10  # rows shown before somebody asks for all


@dataclass(frozen=True, slots=True)
class RowsState:
    """How somebody wants to see a table."""

    by: str = ""
    falling: bool = False
    every_row: bool = False
    every_column: bool = False

    def pressed(self, do: str, column: str) -> RowsState:
        """After a press on the head of a column, or on what shows more."""
        if do == "more":
            return replace(self, every_row=not self.every_row)
        if do == "columns":
            return replace(self, every_column=not self.every_column)
        return replace(self, by=column, falling=self.by == column and not self.falling)


@dataclass(frozen=True, eq=False)
class Rows:
    """
    A table.

    Parameters
    ----------
    frame : pandas.DataFrame
        All of it.
    first : mapping of str to str
        Columns that are shown, in the order of need, to what they are called on the screen; every
        column where none is named.
    called : str
        What a row is, in the singular, such as ``"zone"``.
    picks : str
        Column that holds codes, ``"zone"`` or ``"series"``: a press on one chooses it.
    few : int
        So many rows are shown before somebody asks for all.
    terms : collection of str
        Columns of codes such as ``leave_it``, which are shown as words.
    """

    frame: pd.DataFrame
    first: Mapping[str, str] | None = None
    called: str = "row"
    picks: str = ""
    few: int = FEW
    terms: Collection[str] = ()

    def __str__(self) -> str:
        """Count the rows, and give the first column where it is short."""
        return f"{count_of(len(self.frame), self.called)}."

    def view(self, state: RowsState) -> dict[str, Any]:
        """What the template shows."""
        every = [str(column) for column in self.frame.columns]
        first = dict(self.first or {column: column.replace("_", " ") for column in every})
        rest = [column for column in every if column not in first]
        shown = [*first, *rest] if state.every_column else list(first)
        frame = self.frame
        if state.by in shown:
            frame = frame.sort_values(state.by, ascending=not state.falling, kind="stable")
        cut = frame if state.every_row else frame.head(self.few)
        return {
            "heads": [
                (one, first.get(one, one.replace("_", " ")), _order(one, state)) for one in shown
            ],
            "rows": [[(one, self._words(one, value)) for one, value in zip(shown, row, strict=True)]
                     for row in cut[shown].itertuples(index=False, name=None)],
            "all": count_of(len(frame), self.called),
            "cut": len(frame) > self.few,
            "rest": rest,
            "state": state,
            "picks": self.picks,
        }  # fmt: skip

    def _words(self, column: str, value: Any) -> str:
        """A value as it is shown."""
        words = written(value)
        return words.replace("_", " ") if column in self.terms else words


def _order(column: str, state: RowsState) -> str:
    """Sort order of a column, as a screen reader announces it."""
    if state.by != column:
        return "none"
    return "descending" if state.falling else "ascending"


def written(value: Any) -> str:
    """A value as a table has room for it."""
    import pandas as pd

    if isinstance(value, (list, tuple, set)):
        return ", ".join(map(written, value))
    if pd.isna(value):
        return ""
    if isinstance(value, float):
        return f"{value:.3g}" if abs(value) < 1000 else f"{value:,.0f}"
    return str(value)


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


@dataclass(frozen=True, slots=True)
class Wall:
    """An elevation on which a press on a zone chooses it; drawn with `link=PICK`."""

    picture: Picture

    def __str__(self) -> str:
        """Say in words what it shows."""
        return str(self.picture)

    def _repr_html_(self) -> str:
        # Links are in it, so it is a group to a screen reader, no longer one picture.
        shown = self.picture._repr_html_().replace('role="img"', 'role="group"', 1)
        return LINK.sub(r'href="#" data-do="pick" data-arg="\1"', shown)


@dataclass(frozen=True, slots=True)
class Beside:
    """Pictures side by side, as many as there is room for."""

    pictures: tuple[Picture, ...]

    def __str__(self) -> str:
        """Say in words what they show."""
        return "\n".join(map(str, self.pictures))

    def _repr_html_(self) -> str:
        shown = "".join(f"<div>{one._repr_html_()}</div>" for one in self.pictures)
        return f'<div class="beside">{shown}</div>'

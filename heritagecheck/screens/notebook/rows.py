"""A table of a step: a few columns in the order of need, sorted by a press, the rest on demand."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from heritagecheck.sentences import count_of

if TYPE_CHECKING:
    import pandas as pd

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
    """In which order a column stands, as a screen reader says it."""
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

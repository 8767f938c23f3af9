"""A table that shows whole sentences; apart from cards, as loading pandas takes long."""

from __future__ import annotations

import pandas as pd

LEFT = (
    ".hc-table{overflow-x:auto} .hc-table th,.hc-table td{text-align:left!important;"
    "vertical-align:top;white-space:normal!important;max-width:28rem}"
)


class Table(pd.DataFrame):
    """
    A table of whole sentences, with nothing for what is missing.

    A notebook shows a long one as pandas does: its first and last rows, and how many there are.
    """

    @property
    def _constructor(self) -> type[Table]:
        """Stay such a table when rows or columns are taken."""
        return Table

    def __repr__(self) -> str:
        """Give it as text, with no more digits than anybody reads."""
        with pd.option_context("display.float_format", "{:.3g}".format):
            return super().__repr__()

    def _repr_html_(self) -> str:
        most, few = pd.get_option("display.max_rows"), pd.get_option("display.min_rows")
        long = most is not None and len(self) > most
        shown = pd.DataFrame(
            pd.concat([self.head(few // 2), self.tail(few // 2)]) if long else self
        )
        # pandas leaves out NaN where asked, but writes the word where a date or text is None.
        shown = shown.map(lambda cell: "" if cell is None else cell)
        with pd.option_context("display.max_colwidth", None):
            html = shown.to_html(index=False, na_rep="", float_format="{:.3g}".format, border=0)
        note = (
            f"<p>First and last {few // 2} of {len(self):,} rows; "
            "<code>print(table.to_string())</code> shows all of a table, "
            "<code>table.head(20)</code> its first 20.</p>"
            if long
            else ""
        )
        return f"<style>{LEFT}</style><div class='hc-table'>{html}</div>{note}"

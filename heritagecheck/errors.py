"""What is wrong with a survey, fault by fault, in the words of the form."""

from __future__ import annotations

import errno
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    import pandas as pd


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to correct: where it stands, what came, what is allowed."""

    table: str
    row: int | None
    field: str
    value: str
    allowed: str
    column: str = ""

    def __str__(self) -> str:
        """Give the fault as one line; rows and columns are named as a spreadsheet shows them."""
        where = self.table if self.row is None else f"{self.table}, row {self.row}"
        where += f", column {self.column}" if self.column else ""
        what = f"{self.field} = {self.value}" if self.field and self.value else self.field
        return f"{where}: {what}: {self.allowed}" if what else f"{where}: {self.allowed}"


class SurveyError(ValueError):
    """
    Records that can't be taken as they stand: every fault at once, and nothing half done.

    Parameters
    ----------
    faults : iterable of Fault
        Everything that is wrong, all at once.
    nothing : str
        What was not done because of it, such as ``"read"`` or ``"saved"``.
    """

    def __init__(self, faults: Iterable[Fault], *, nothing: str = "read") -> None:
        self._faults = tuple(faults)
        things = "thing" if len(self._faults) == 1 else "things"
        lines = "\n".join(f"  {fault}" for fault in self._faults)
        super().__init__(
            f"{len(self._faults)} {things} to correct. Nothing was {nothing}.\n{lines}"
        )

    @property
    def faults(self) -> pd.DataFrame:
        """The faults as a table: table, row, field, value, allowed, column of the spreadsheet."""
        import pandas as pd

        return pd.DataFrame(
            [asdict(fault) for fault in self._faults],
            columns=["table", "row", "field", "value", "allowed", "column"],
        )


def in_words(error: OSError) -> str:
    """
    Say in plain words why a file could not be read or written.

    Parameters
    ----------
    error : OSError
        What the system complains of, or a complaint of ours.

    Returns
    -------
    str
        Which file, and why.
    """
    if error.errno is None:
        return str(error)
    words = _ON_DISK.get(error.errno, (error.strerror or str(error)).lower())
    return f"{error.filename}: {words}" if error.filename else words


_ON_DISK = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk is full",
    errno.EROFS: "this disk may only be read",
    errno.EACCES: "this user has no permission for it",
    errno.EPERM: "this user has no permission for it",
}


class StoreError(OSError):
    """The place where a survey is kept can't be used; what was saved before is as it was."""


class ReportError(RuntimeError):
    """
    A file of a report could not be written; the others were.

    Parameters
    ----------
    reasons : mapping of str to str
        Name of each file that is missing to why.
    written : sequence of Path
        The files that were written all the same.
    """

    def __init__(self, reasons: Mapping[str, str], written: Sequence[Path]) -> None:
        self.written = tuple(written)
        super().__init__(
            "; ".join(f"{name} was not written: {why}" for name, why in reasons.items())
        )

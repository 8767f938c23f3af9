"""What is wrong with a survey, fault by fault, in the words of the form."""

from __future__ import annotations

import errno
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    import pandas as pd


# What a fault names as the value of an empty field.
NOTHING = "nothing"


class Fields(str):
    """Names of fields; a form shows their titles instead."""

    names: tuple[str, ...]

    def __new__(cls, *names: str) -> Self:
        """Join the names as a table shows them: a, b and c."""
        *first, last = names
        whole = super().__new__(cls, " and ".join(filter(None, (", ".join(first), last))))
        whole.names = names
        return whole

    def __getnewargs__(self) -> tuple[str, ...]:  # type: ignore[override]
        """Arguments with which a copy is made."""
        return self.names


class Codes(str):
    """Codes of a list, or names of tables; a form shows their labels instead."""

    codes: tuple[str, ...]
    sign: str

    def __new__(cls, *codes: str, sign: str = ", ") -> Self:
        """Join the codes as a table shows them."""
        whole = super().__new__(cls, sign.join(codes))
        whole.codes, whole.sign = codes, sign
        return whole

    def __getnewargs_ex__(self) -> tuple[tuple[str, ...], dict[str, str]]:
        """Arguments with which a copy is made."""
        return self.codes, {"sign": self.sign}


class Message(str):
    """
    What is wrong, as text with `Fields` and `Codes` in it.

    As a string it is what a table shows; a form puts in its own words, part by part.
    """

    parts: tuple[str, ...]

    def __new__(cls, *parts: str) -> Self:
        """Join the parts; those of another message are taken one by one."""
        whole = super().__new__(cls, "".join(parts))
        whole.parts = tuple(
            one for part in parts for one in (part.parts if isinstance(part, Message) else (part,))
        )
        return whole

    def __getnewargs__(self) -> tuple[str, ...]:  # type: ignore[override]
        """Arguments with which a copy is made."""
        return self.parts


class Must(Message):
    """What a value must be, hold or have: a sentence that lacks its subject, the value itself."""


class WithCodes(Message):
    """A refusal followed by the codes that are allowed; `bare` is it without them."""

    bare: Message

    def __new__(cls, bare: str, *codes: str) -> Self:
        """Put both into one text, as a message shows it."""
        whole = super().__new__(cls, bare, ". ", *codes)
        whole.bare = Message(bare)
        return whole

    def __getnewargs__(self) -> tuple[str, ...]:  # type: ignore[override]
        """Arguments with which a copy is made."""
        return (self.bare, *self.parts[len(self.bare.parts) + 1 :])


def names_of(field: str) -> tuple[str, ...]:
    """Names of the fields of which a fault speaks."""
    return field.names if isinstance(field, Fields) else (field,)


@dataclass(frozen=True, slots=True)
class Fault:
    """
    One thing to correct: where it stands, what came, what is allowed.

    `of_column` is asked once, in place of `allowed`, where several cells of a column leave it open.
    """

    table: str
    row: int | None
    field: str
    value: str
    allowed: str
    column: str = ""
    of_column: str = ""

    def __str__(self) -> str:
        """Give the fault as one line; rows and columns are named as a spreadsheet shows them."""
        where = self.table if self.row is None else f"{self.table}, row {self.row}"
        where += f", column {self.column}" if self.column else ""
        came = " is empty" if self.value == NOTHING else f" = {self.value}"
        what = self.field + came if self.field and self.value else self.field
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
        self.each = tuple(faults)
        lines = self.sentences
        things = "thing" if len(lines) == 1 else "things"
        told = "\n".join(f"  {line}" for line in lines)
        super().__init__(f"{len(lines)} {things} to correct. Nothing was {nothing}.\n{told}")

    @property
    def sentences(self) -> list[str]:
        """The faults as sentences; what a whole column leaves open is asked once."""
        return _lines(self.each)

    @property
    def faults(self) -> pd.DataFrame:
        """The faults as a table: table, row, field, value, allowed, column of the spreadsheet."""
        import pandas as pd

        return pd.DataFrame(
            [asdict(fault) for fault in self.each],
            columns=["table", "row", "field", "value", "allowed", "column"],
        )


def _lines(faults: Sequence[Fault]) -> list[str]:
    """Faults as lines; what a whole column leaves open is asked once."""
    alike: dict[object, list[Fault]] = {}
    for number, fault in enumerate(faults):
        column = (fault.table, fault.field, fault.column, fault.of_column)
        alike.setdefault(column if fault.of_column else number, []).append(fault)
    return [str(some[0]) if len(some) == 1 else _of_column(some) for some in alike.values()]


def _of_column(faults: Sequence[Fault]) -> str:
    """One question for many cells of a column."""
    first = faults[0]
    where = f"{first.table}, column {first.column}" if first.column else first.table
    rows = [fault.row for fault in faults if fault.row is not None]
    row, which = (f" in row {first.row}", f". Rows: {_in_runs(rows)}") if rows else ("", "")
    cells = f"{len(faults)} cells such as {first.value}{row}"
    return f"{where}: {first.field}, {cells}: {first.of_column}{which}"


def _in_runs(numbers: Sequence[int]) -> str:
    """Rising whole numbers as short as they can be told, such as 2 to 4, 7."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    )


def in_words(error: OSError) -> str:
    """Say in plain words why a file could not be read or written."""
    if error.errno is None:
        return str(error)
    words = _ON_DISK.get(error.errno, (error.strerror or str(error)).lower())
    return f"{error.filename}: {words}" if error.filename else words


_ON_DISK = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk is full",
    errno.EROFS: "this disk is read-only",
    errno.EACCES: "this user has no permission",
    errno.EPERM: "this user has no permission",
}


def in_one_line(error: ValueError | ImportError) -> str:
    """Say what is wrong on one line, every fault of records included."""
    return " ".join(error.sentences) if isinstance(error, SurveyError) else str(error)


def refused_file(file: str, why: str) -> SurveyError:
    """The one fault of a file that is not read at all."""
    return SurveyError([Fault(file, None, "", "", why)])


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

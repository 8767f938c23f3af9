"""A workbook of field sheets read as plain rows: every cell is understood, or asked about."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from openpyxl.utils import get_column_letter

from heritagecheck.errors import Fault
from heritagecheck.survey.exchange.workbook.cell import plain_cell, shown
from heritagecheck.survey.exchange.workbook.file import FoundSheet, found_sheets, opened
from heritagecheck.survey.exchange.workbook.shape import kind_of, text_of_cell
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.cells import Ambiguous, Unclear, commas_are_decimal
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import Row
from heritagecheck.survey.settings.old_settings import as_now, in_old_form

if TYPE_CHECKING:
    from openpyxl.cell.read_only import ReadOnlyCell


@dataclass(frozen=True, eq=False)
class WorkbookRows:
    """
    Rows of a workbook, to be read once, and where each field stands.

    Parameters
    ----------
    raw : dict of str to iterable of Row
        Table to its rows; a table without a sheet is left out.
    letters : dict of str to dict of str to str
        Table to field to the letter of its column.
    rows : int
        Rows of all sheets, counted with those that were prepared and are still empty.
    """

    raw: dict[str, Iterable[Row]]
    letters: dict[str, dict[str, str]]
    rows: int

    @property
    def words_are_read(self) -> bool:
        """Whether its settings stand in sentences alone, as older releases wrote them."""
        panels = self.letters.get("panels")
        if panels is None or "settings" in self.raw:
            return False
        return in_old_form("panels", panels)

    def placed(self, faults: Iterable[Fault]) -> tuple[Fault, ...]:
        """
        Faults with the column in which each stands.

        Parameters
        ----------
        faults : iterable of Fault
            Found in the rows.

        Returns
        -------
        tuple of Fault
            A fault that speaks of two fields is placed at the first.
        """
        return tuple(
            fault if fault.column or fault.row is None else replace(
                fault, column=self.letters.get(fault.table, {}).get(fields_of(fault)[0], "")
            )
            for fault in faults
        )  # fmt: skip


def fields_of(fault: Fault) -> list[str]:
    """
    Fields of which a fault speaks.

    Parameters
    ----------
    fault : Fault
        Such as that a zone and topic were answered twice.

    Returns
    -------
    list of str
    """
    return fault.field.split(" and ")


def workbook_rows(path: str | Path, faults: list[Fault]) -> WorkbookRows:
    """
    Rows of every table in a workbook of field sheets.

    Parameters
    ----------
    path : str or Path
        The workbook: ``.xlsx`` or ``.xlsm``. A sheet bears the name of its table; others must be
        empty, but for those that explain. Hidden sheets, rows and columns are read as well.
    faults : list of Fault
        What is wrong is added to it, also while the rows are read.

    Returns
    -------
    WorkbookRows

    Raises
    ------
    SurveyError
        It is no workbook, or it is locked, broken, or unpacks to far more than a survey holds.
    """
    path = Path(path)
    before = len(faults)
    sheets = found_sheets(opened(path), faults)
    if not sheets and len(faults) == before:
        faults.append(
            Fault(path.name, None, "", "", f"it holds none of the sheets: {', '.join(TABLES)}")
        )
    raw: dict[str, Iterable[Row]] = {}
    for table, sheet in sheets.items():
        wrong = list(sheet.faults())
        faults.extend(wrong)
        raw[table] = () if wrong else _rows(sheet, faults)
    letters = {table: sheet.letters for table, sheet in sheets.items()}
    return WorkbookRows(raw, letters, sum(sheet.rows for sheet in sheets.values()))


def _rows(found: FoundSheet, faults: list[Fault]) -> Iterator[Row]:
    """Read the rows of one sheet."""
    commas = cache(lambda: _commas_are_decimal(found))
    stray: set[int] = set()
    fields, headings, model = found.fields, found.headings, TABLES[found.table]
    old = in_old_form(found.table, fields.values())
    for number, cells in found.lines():
        row: dict[str, Any] = {}
        for place, cell in enumerate(cells):
            if cell.value is None:
                continue
            if place in fields:
                row[fields[place]] = _plain_or_unclear(cell, model, fields[place], commas, place)
            elif place not in headings and place not in stray and shown(cell):
                stray.add(place)
                faults.append(_stray(found, number, place, cell))
        yield number, as_now(found.table, row) if old else row


def _plain_or_unclear(
    cell: ReadOnlyCell, model: type[Record], field: str, commas: Callable[[], bool], place: int
) -> Any:
    """What a cell says, or the question that it leaves."""
    try:
        return plain_cell(cell, model, field, commas)
    except ValueError as question:
        of_column = question.of_column if isinstance(question, Ambiguous) else ""
        return Unclear(shown(cell), str(question), get_column_letter(place + 1), of_column)


def _stray(found: FoundSheet, number: int, place: int, cell: ReadOnlyCell) -> Fault:
    """Tell of the first cell in a column that has no heading."""
    return Fault(
        found.table, number, "", "",
        f"{shown(cell)!r} has no heading; move it below a heading, or delete the column",
        get_column_letter(place + 1),
    )  # fmt: skip


def _commas_are_decimal(found: FoundSheet) -> bool:
    """Whether some number that is kept as text shows that the sheet's commas are decimal signs."""
    model = TABLES[found.table]
    places = [place for place, name in found.fields.items() if kind_of(model, name) == "number"]
    return commas_are_decimal(
        text_of_cell(str(cells[place].value)).strip()
        for _, cells in found.lines()
        for place in places
        if place < len(cells) and cells[place].data_type == "s"
    )

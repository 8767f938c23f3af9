"""Tables of others taken into a survey's database: all or nothing, or the good rows alone."""

from __future__ import annotations

import dataclasses
import shutil
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from heritagecheck.errors import Fault, Fields, SurveyError
from heritagecheck.progress import Told, followed
from heritagecheck.survey.checks.contradictions import contradictions
from heritagecheck.survey.exchange.csv_tables import (
    differences,
    folder_rows,
    words_are_read,
    written_cells,
)
from heritagecheck.survey.exchange.package import unpacked
from heritagecheck.survey.records import KEYS, TABLES, Attachment, Elevation, Panel
from heritagecheck.survey.records.old_settings import not_read_of, settings_from_words
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import Row, RowsRead, in_order, read_rows
from heritagecheck.survey.store.attachments import attachment_of, missing_file, sha256_of
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.journal import Place, Save, head, key_of, made_by, shown_key
from heritagecheck.survey.store.rows import merged, now
from heritagecheck.survey.store.saving import Imported, shown
from heritagecheck.survey.store.sqlite_file import free_name, remove_sqlite

if TYPE_CHECKING:
    from heritagecheck.survey.exchange.workbook import WorkbookRows

RowPlace = tuple[str, int]
# Records stored already, and those made from a file, have no row.
NO_ROW = 0


@dataclass(frozen=True, eq=False)
class _Source:
    """Source of an import: its rows with their faults, and the folder of its files."""

    path: Path
    folder: Path
    raw: Mapping[str, Iterable[Row]]
    faults: list[Fault]
    suffix: str
    rows: int
    book: WorkbookRows | None
    words_are_read: bool
    differences: tuple[str, ...] = ()


def import_survey(
    source: str | Path,
    into: str | Path,
    *,
    only_valid: bool = False,
    replace: bool = False,
    files: str | Path | None = None,
    who: str | None = None,
    reason: str = "",
    progress: Told | None = None,
) -> DatabaseSurvey:
    """
    Take tables into a survey's database, new or known.

    Parameters
    ----------
    source : str or Path
        Folder or ``.zip`` of a survey's tables, or an ``.xlsx`` workbook of field sheets.
    into : str or Path
        Database, as `open_survey` takes it; a file is made where there is none.
    only_valid : bool
        Take the good rows, and write the others into a workbook beside the source, with the
        reasons, to be corrected and imported.
    replace : bool
        Where a record is known with other values, take those of the source; the journal keeps the
        old ones.
    files : str or Path, optional
        Folder of the attachments, as `open_survey` takes it.
    who : str, optional
        Who imports, by role.
    reason : str
        Why; the name of the source where none is given.
    progress : callable, optional
        Told how many rows were looked at so far, and how many there are; else a notebook shows it
        by itself.

    Returns
    -------
    DatabaseSurvey
        The survey; its `imported` says what was taken.

    Raises
    ------
    SurveyError
        Everything that is wrong, with table or sheet, row, field, value, and what is allowed;
        nothing was taken.
    StoreError
        The database could not be written; nothing was taken.
    """
    made = made_by(who, reason or f"import of {Path(source).name}")
    return taken_in(
        Path(source), into, made, only_valid=only_valid, replace=replace, files=files,
        progress=progress,
    )  # fmt: skip


def taken_in(
    path: Path,
    into: str | Path,
    made: Save,
    *,
    only_valid: bool = False,
    replace: bool = False,
    files: str | Path | None = None,
    progress: Told | None = None,
) -> DatabaseSurvey:
    """The same, as somebody did it at some time."""
    with ExitStack() as stack:
        told = stack.enter_context(followed(progress, "rows"))
        found = _opened(path, stack)
        if found.differences:
            said = "; ".join((made.reason, *found.differences))
            made = dataclasses.replace(made, reason=said)
        rows = read_rows(_counted(found, told), faults=found.faults, suffix=found.suffix)
        new = "://" not in str(into) and not Path(into).exists()
        survey = DatabaseSurvey(into, files=files)
        kept_in = survey.files_folder
        new_files = new and kept_in is not None and not kept_in.exists()
        try:
            survey.imported = _taken(
                survey, found, rows, only_valid=only_valid, replace=replace, made=made
            )
        except BaseException:
            survey.close()
            if new:  # nothing is in it
                remove_sqlite(Path(into))
            if new_files and kept_in is not None:
                shutil.rmtree(kept_in, ignore_errors=True)
            raise
    return survey


def _opened(path: Path, stack: ExitStack) -> _Source:
    """The rows of a source, whatever it is."""
    faults: list[Fault] = []
    if path.suffix.lower() in {".xlsx", ".xlsm"}:
        from heritagecheck.survey.exchange.workbook import workbook_rows

        book = workbook_rows(path, faults)
        return _Source(
            path, path.parent, book.raw, faults, "", book.rows, book, book.words_are_read
        )
    folder = stack.enter_context(unpacked(path)) if path.suffix.lower() == ".zip" else path
    return _Source(
        path, folder, folder_rows(folder, faults), faults, ".csv", _lines(folder), None,
        words_are_read(folder), differences(folder),
    )  # fmt: skip


def _lines(folder: Path) -> int:
    """Lines of all tables in a folder: about as many as rows."""
    return sum(path.read_bytes().count(b"\n") for path in folder.glob("*.csv"))


def _counted(source: _Source, progress: Told) -> dict[str, Iterator[Row]]:
    """The same rows, counted as they are read."""
    total, count = max(source.rows, 1), 0

    def passed(rows: Iterable[Row]) -> Iterator[Row]:
        nonlocal count
        for row in rows:
            yield row
            count += 1
            if count % 500 == 0:
                progress(min(count, total), total)

    def ended() -> Iterator[Row]:
        progress(total, total)
        yield from ()

    raw = {table: passed(rows) for table, rows in source.raw.items()}
    last = list(TABLES)[-1]
    return {**raw, last: chain(raw.get(last, ()), ended())}


def _taken(
    survey: DatabaseSurvey,
    source: _Source,
    rows: RowsRead,
    *,
    only_valid: bool,
    replace: bool,
    made: Save,
) -> Imported:
    """Take what can be taken, or refuse all of it."""
    places: dict[Place, tuple[Record, int]] = {}
    faults = [*rows.faults, *_twice(rows, source.suffix, places)]
    only_valid = only_valid and not any(_of_whole_table(fault, source) for fault in faults)
    # Where the others are taken, whatever names a refused row has to wait with it.
    unread = frozenset() if only_valid else rows.unread
    partly = {} if only_valid else _partly(rows, places)
    refused: set[RowPlace] = _rows_of(faults, source.suffix)
    told = list(faults)
    while True:
        # Of a large survey even a copy of the list of its places takes much memory.
        wanted = places if not (refused or only_valid) else {
            place: pair for place, pair in places.items() if (place[0], pair[1]) not in refused
        }  # fmt: skip
        wanted |= _drawings(source, wanted)
        with survey.reading() as connection:
            wanted |= _settings_told(connection, source, wanted)
            faults = list(_standing_against(connection, wanted, partly, source, unread))
            faults += [] if replace else _other_values(connection, wanted, source)
            _, agreed_at = head(connection)
        more = _rows_of(faults, source.suffix) - refused
        told += faults
        if not more or not only_valid:
            break
        refused |= more
    kept = {place: record for place, (record, _) in wanted.items()}
    told += _file_faults(survey, source, kept)
    told = list(source.book.placed(told)) if source.book else told
    if told and (not only_valid or any(fault.row is None for fault in told)):
        raise SurveyError(in_order(told), nothing="imported")
    del places, wanted, partly  # of a large survey they are an eighth of the memory
    _keep_files(survey, source, kept)
    # Before anything is saved: rows that cannot be written out for correction must not be lost.
    to_correct = _written_down(source, told, refused)
    counts = survey.keep(kept, made, replace=replace, agreed_at=agreed_at)
    return Imported(
        *counts, len(refused), to_correct, not_read_of(kept.values()), source.differences
    )


def _written_down(source: _Source, told: Iterable[Fault], refused: set[RowPlace]) -> Path | None:
    """Workbook next to the source with the rows to correct; None if there are none."""
    if not refused:
        return None
    from heritagecheck.survey.exchange.workbook import write_rows_to_correct

    target = free_name(source.path.absolute().with_suffix(".xlsx"), "to-correct")
    cells = source.path if source.book else written_cells(source.folder, refused)
    return write_rows_to_correct(target, cells, told)


def _twice(rows: RowsRead, suffix: str, places: dict[Place, tuple[Record, int]]) -> Iterator[Fault]:
    """Rows whose key occurs earlier in the source; the keys of the others are noted."""
    for table, records in rows.records.items():
        for record, number in zip(records, rows.numbers[table], strict=True):
            key = key_of(table, record)
            _, first = places.setdefault((table, key), (record, number))
            if first != number:
                yield _again(table, key, number, first, suffix)
        seen: dict[str, int] = {}
        for number, record in rows.refused.get(table, ()):
            if vars(record).keys() >= set(KEYS[table]):
                key = key_of(table, record)
                good = places.get((table, key))
                first = seen.setdefault(key, number) if good is None else good[1]
                if first != number:
                    yield _again(table, key, number, first, suffix)


def _again(table: str, key: str, number: int, first: int, suffix: str) -> Fault:
    """Fault of a key that occurs a second time."""
    return Fault(
        table + suffix, number, Fields(*KEYS[table]), shown_key(key),
        f"already given in row {first}; each may occur once",
    )  # fmt: skip


def _of_whole_table(fault: Fault, source: _Source) -> bool:
    """Whether a fault spoils a table: of its rows nobody can say which are good."""
    headings_or_merged = fault.row in {None, 1} or fault.field in {"heading", "merged cells"}
    # In a workbook only a cell outside the headings has no field; it may be in any row.
    return headings_or_merged or (source.book is not None and not fault.field)


def _rows_of(faults: Iterable[Fault], suffix: str) -> set[RowPlace]:
    """Rows that faults name."""
    return {
        (fault.table.removesuffix(suffix), fault.row) for fault in faults if fault.row is not None
    }


def _partly(
    rows: RowsRead, places: Mapping[Place, tuple[Record, int]]
) -> dict[Place, tuple[Record, int]]:
    """Refused rows as far as they could be read, so that others can be checked against them."""
    found: dict[Place, tuple[Record, int]] = {}
    for table, refused in rows.refused.items():
        for number, record in refused:
            named = vars(record).keys() >= set(KEYS[table])
            place = table, key_of(table, record) if named else f"row {number}"
            if place not in places:
                found.setdefault(place, (record, number))
    return found


def _standing_against(
    connection: sa.Connection,
    wanted: Mapping[Place, tuple[Record, int]],
    partly: Mapping[Place, tuple[Record, int]],
    source: _Source,
    unread: frozenset[str],
) -> Iterator[Fault]:
    """Contradictions of rows among each other and with stored records."""
    together = {**wanted, **partly} if partly else wanted
    records = merged(connection, {place: record for place, (record, _) in together.items()})
    rows = {id(record): number for record, number in together.values()}
    numbers = {
        table: [rows.get(id(record), NO_ROW) for record in found]
        for table, found in records.items()
    }
    for fault in contradictions(records, numbers, source.suffix, unread):
        yield dataclasses.replace(fault, row=fault.row or None)


def _other_values(
    connection: sa.Connection, wanted: Mapping[Place, tuple[Record, int]], source: _Source
) -> Iterator[Fault]:
    """What the survey has already, with other values."""
    before = now(connection, wanted)
    for place, (record, number) in wanted.items():
        known = before[place].record
        for field in () if known is None else type(record).model_fields:
            mine, theirs = getattr(record, field), getattr(known, field)
            if mine != theirs:
                yield Fault(
                    place[0] + source.suffix, number or None, field, shown(mine),
                    f"the survey already has {shown(theirs)} here; to take the values of this "
                    "file, import it with replace",
                )  # fmt: skip


def _drawings(
    source: _Source, wanted: Mapping[Place, tuple[Record, int]]
) -> dict[Place, tuple[Record, int]]:
    """Records for drawings next to the tables that no table of attachments lists."""
    records = [record for record, _ in wanted.values()]
    listed = {record.file for record in records if isinstance(record, Attachment)}
    found: dict[Place, tuple[Record, int]] = {}
    for record in records:
        if not isinstance(record, Elevation) or record.drawing is None or record.drawing in listed:
            continue
        path = source.folder / record.drawing
        if path.is_file():
            drawing = attachment_of(
                path, kind="drawing", attachment=f"drawing {record.elevation}", file=record.drawing
            )
            found["attachments", key_of("attachments", drawing)] = drawing, NO_ROW
    return found


def _settings_told(
    connection: sa.Connection, source: _Source, wanted: Mapping[Place, tuple[Record, int]]
) -> dict[Place, tuple[Record, int]]:
    """Settings from sentences of older tables; those stored as fields stay as they are."""
    if not source.words_are_read:
        return {}
    panels = [record for record, _ in wanted.values() if isinstance(record, Panel)]
    found: dict[Place, Record] = {
        ("settings", key_of("settings", one)): one for one in settings_from_words(panels)
    }
    known = now(connection, found)
    return {place: (one, NO_ROW) for place, one in found.items() if not known[place].version}


def _file_faults(
    survey: DatabaseSurvey, source: _Source, kept: Mapping[Place, Record]
) -> Iterator[Fault]:
    """Attachments whose content is neither with the source nor with the survey."""
    for record in kept.values():
        if isinstance(record, Attachment) and not survey.has(record):
            path = source.folder / record.file
            if not path.is_file() or sha256_of(path) != record.sha256:
                yield missing_file(record, "altered" if path.is_file() else "missing")


def _keep_files(survey: DatabaseSurvey, source: _Source, kept: Mapping[Place, Record]) -> None:
    """Keep the content of every attachment that is taken."""
    for record in kept.values():
        if not isinstance(record, Attachment):
            continue
        path = source.folder / record.file
        if path.is_file() and sha256_of(path) == record.sha256:
            survey.keep_file(path, record)  # this also repairs a stored copy that was altered

"""Where a survey is: opened from a database or tables, begun in a new folder, or the example."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache, partial
from pathlib import Path
from typing import Any

from heritagecheck import tables
from heritagecheck.errors import Fault, SurveyError, refused_file
from heritagecheck.survey.checks.contradictions import contradictions
from heritagecheck.survey.checks.gaps import gaps_before_assessment
from heritagecheck.survey.exchange.csv_tables import folder_rows, words_are_read
from heritagecheck.survey.exchange.importing import taken_in
from heritagecheck.survey.records import KEYS, LINKS, MAY_BE_EMPTY, ONE_ROW, TABLES
from heritagecheck.survey.records.fields import allowed_words, unit_of
from heritagecheck.survey.records.old_settings import with_settings_from_words
from heritagecheck.survey.records.quantities import terms_in_words
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import RowsRead, in_order, read_rows
from heritagecheck.survey.store import postgresql
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.journal import Save
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.row_types import (
    Method,
    PolicyOffer,
    Quantity,
    SettingQuantity,
    Topic,
    Word,
)
from heritagecheck.whole_file import unfinished, written_whole

# -- Opened ----------------------------------------------------------------------------------------

SUFFIXES = (".db", ".sqlite", ".sqlite3")


def open_survey(place: str | Path, *, files: str | Path | None = None) -> Survey:
    """
    Open a survey.

    Parameters
    ----------
    place : str or Path
        A database: a file such as ``"quillmere.db"``, made where there is none, or
        ``"postgresql+psycopg://…"`` for a team. Or a folder of tables, to be read only.
    files : str or Path, optional
        Folder of the attachments of a database; beside a file where none is named.

    Returns
    -------
    Survey
        A `DatabaseSurvey` where it is a database; what is saved in it stays.

    Raises
    ------
    SurveyError
        A folder's tables: everything that is wrong, all at once. Or there is nothing of that name.
    StoreError
        The database can't be used.
    ImportError
        PostgreSQL without its driver.
    """
    text = str(place)
    path = Path(text)
    if "://" not in text and (path.is_dir() or path.suffix.lower() not in SUFFIXES):
        if path.is_file():
            raise refused_file(
                path.name, f"a survey is a folder of tables or a database ({', '.join(SUFFIXES)}); "
                "import_survey takes a workbook or an archive into one"
            )  # fmt: skip
        return read_folder(path)
    from heritagecheck.survey.store.database_survey import DatabaseSurvey

    return DatabaseSurvey(place, files=files)


def build(raw: Mapping[str, Iterable[Mapping[str, Any]]], *, folder: Path | None = None) -> Survey:
    """Make a survey from plain rows."""
    numbered = {table: enumerate(rows, start=2) for table, rows in raw.items()}
    return whole(read_rows(numbered, faults=[]), folder=folder)


def whole(found: RowsRead, *, folder: Path | None, suffix: str = "") -> Survey:
    """Make a survey of rows that were looked at, if nothing is wrong or missing."""
    faults = [
        *found.faults,
        *gaps_before_assessment(found.records, suffix, found.broken),
        *contradictions(*found.all_rows(), suffix, found.unread),
    ]
    if faults:
        raise SurveyError(in_order(faults))
    return Survey(found.records, folder)


def read_folder(folder: str | Path) -> Survey:
    """Read a survey from a folder of CSV tables."""
    folder = Path(folder)
    faults: list[Fault] = []
    raw = folder_rows(folder, faults)
    found = read_rows(raw, faults=faults, suffix=".csv")
    if words_are_read(folder):
        found = with_settings_from_words(found)
    return whole(found, folder=folder, suffix=".csv")


# -- Begun in a folder of one's own ----------------------------------------------------------------

PAGES = Path(__file__).parent / "pages"
DATABASE = "survey.db"
WORKBOOK = "field-sheets.xlsx"
# Lies in the folder for as long as parts of it are missing.
UNFINISHED = ".heritagecheck-start-unfinished"
Make = Callable[[Path], object]


def start_survey(folder: str | Path, *, more: Mapping[str, Make] | None = None) -> Path:
    """Make the folder in which a structure of one's own is surveyed."""
    folder = Path(folder)
    mark = folder / UNFINISHED
    if folder.is_file() or (folder.is_dir() and any(folder.iterdir()) and not mark.is_file()):
        raise FileExistsError(
            f"{folder} exists and is not empty. Nothing was written; name a new folder."
        )
    parts = _parts() | dict(more or {})
    folder.mkdir(parents=True, exist_ok=True)
    mark.touch()
    for name, make in parts.items():
        path = folder / name
        # What an interrupted call made may have been filled in since.
        if not path.exists():
            path.parent.mkdir(exist_ok=True)
            with written_whole(path) as half:
                make(half)
        elif unfinished(path).is_dir():
            shutil.rmtree(unfinished(path))
    mark.unlink()
    return folder


def _parts() -> dict[str, Make]:
    """Files of the folder: the name of each, and what writes it."""
    from heritagecheck.survey.exchange.workbook import write_workbook

    return {
        "drawings/README.md": partial(shutil.copyfile, PAGES / "drawings.md"),
        DATABASE: lambda path: DatabaseSurvey(path).close(),
        WORKBOOK: lambda path: write_workbook(path, dict.fromkeys(TABLES, ())),
        "fields.md": lambda path: path.write_text(fields_page(), encoding="utf-8"),
        **{
            f"notebooks/{notebook.name}": partial(shutil.copyfile, notebook)
            for notebook in sorted(notebooks_folder().glob("*.ipynb"))
        },
        "README.md": partial(shutil.copyfile, PAGES / "README.md"),
    }


def survey_place(given: str) -> str:
    """Where the survey is that somebody names on the command line."""
    if "://" in given:
        if not given.startswith(postgresql.BEGINS):
            what = f"a database on a server is named as {postgresql.FORM}"
            raise refused_file("this address", what)
        return given
    path = Path(given)
    if path.is_dir() and (path / DATABASE).is_file():
        return str(path / DATABASE)
    if not path.exists():
        kind = "file" if path.suffix.lower() in SUFFIXES else "folder"
        raise refused_file(given, f"there is no such {kind}")
    return given


# -- Files that come with the package --------------------------------------------------------------

PACKAGE = Path(__file__).parents[1]


def example_folder() -> Path:
    """Folder of the example survey, in an install as in a checkout."""
    return _first("example survey", PACKAGE / "quillmere", PACKAGE.parent / "data" / "quillmere")


def notebooks_folder() -> Path:
    """Folder of the notebooks, in an install as in a checkout."""
    return _first("folder of notebooks", PACKAGE / "notebooks", PACKAGE.parent / "notebooks")


def _first(what: str, installed: Path, checkout: Path) -> Path:
    """Give the first place that exists; what was installed goes first."""
    for place in (installed, checkout):
        if place.is_dir():
            return place
    raise FileNotFoundError(
        f"The {what} lies neither in {installed} nor in {checkout}: install heritagecheck again."
    )


def demo_survey() -> DatabaseSurvey:
    """
    Survey of the invented Quillmere Pumping Station.

    Returns
    -------
    DatabaseSurvey
        Zones on three elevations of a granite engine house and a riveted water tower, and in the
        tower's closed legs. Every record is made up for the demonstration. It is a copy of its own
        in a folder that goes when Python ends: try whatever you like.

    Raises
    ------
    FileNotFoundError
        The example lies neither in the installed package nor in the checkout.
    """
    made = _made_once()
    copy = Path(tempfile.mkdtemp(dir=made.parent)) / "quillmere.db"
    shutil.copyfile(made, copy)
    return DatabaseSurvey(copy, files=made.with_name("quillmere.files"))


@cache
def _made_once() -> Path:
    """A database with the example, from which every copy is made."""
    folder = Path(tempfile.mkdtemp(prefix="heritagecheck-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    # At a fixed time, so that two reports of the example are the same, byte for byte.
    made = Save("2026-09-18T16:00:00.000+00:00", "conservator", "import of quillmere")
    taken_in(example_folder(), folder / "quillmere.db", made).close()
    return folder / "quillmere.db"


# -- What each field means -------------------------------------------------------------------------

TOP = """# What each field means

One part for each table, then one for each list of codes.
*Required: yes* means that no row may leave the cell empty. Nothing else is ever guessed:
an empty cell means that nobody knows.
"""
EXPLAINED = ("substrates", "soilings", "exposure")


def fields_page() -> str:
    """Every field of every table: what it means, its unit, what is allowed."""
    parts = [TOP]
    parts += [_table_part(name, model) for name, model in TABLES.items()]
    for name in EXPLAINED:
        parts.append(_part(f"Codes: {name}", ("code", "what it is", "meaning"), _codes(name)))
    for name, headings, lines in (
        ("methods", ("code", "what it is"), _methods()),
        ("topics", ("code", "question", "findings", "asked of", "if unknown"), _topics()),
        ("quantities", ("code", "what it is", "unit", "from", "to"), _quantities()),
        ("setting_quantities", ("code", "what it is", "units", "words"), _setting_quantities()),
    ):
        parts.append(_part(f"Codes: {name}", headings, lines))
    offered = ("field", "what it is", "offered", "what it means at the wall")
    parts.append(_part("Values offered for policy.csv", offered, _offered()))
    return "\n".join(parts)


def _table_part(name: str, model: type[Record]) -> str:
    """One table of the survey: what a row is, then its fields."""
    rows = "Exactly one row" if name in ONE_ROW else "One row each"
    empty = " May stay empty." if name in MAY_BE_EMPTY else ""
    about = f"{rows}: {' '.join((model.__doc__ or '').split())}{empty}"
    headings = ("field", "what it means", "unit", "what is allowed", "required")
    return _part(f"{name}.csv", headings, _fields(name, model), about=about)


def _fields(name: str, model: type[Record]) -> Iterator[Sequence[str]]:
    """One line for each field of a table."""
    for field, info in model.model_fields.items():
        allowed = allowed_words(model, field)
        if (field,) == KEYS[name] and name not in ONE_ROW:
            allowed += "; each may occur once"
        if field in LINKS.get(name, {}):
            allowed += f"; it is listed in {LINKS[name][field]}.csv"
        yield (
            field,
            str(info.description),
            unit_of(model, field),
            allowed,
            "yes" if info.is_required() else "no",
        )


def _codes(name: str) -> Iterator[Sequence[str]]:
    """Codes of one table, in the words of the vocabulary."""
    words = {one.term_code: one for one in Word.rows()}
    for code in tables.codes(name):
        yield code, words[code].term, words[code].definition


def _methods() -> Iterator[Sequence[str]]:
    """Methods of cleaning by their names."""
    for row in Method.rows():
        yield row.method, row.name


def _topics() -> Iterator[Sequence[str]]:
    """Questions asked at the wall and the desk, with the findings they take."""
    for row in Topic.rows():
        yield row.topic, row.question, ", ".join(row.findings), row.asked_of, row.what_to_do


def _quantities() -> Iterator[Sequence[str]]:
    """Quantities that a site test may give, with their limits."""
    for row in Quantity.rows():
        yield row.quantity, row.name, row.unit, f"{row.low:g}", f"{row.high:g}"


def _setting_quantities() -> Iterator[Sequence[str]]:
    """Quantities that a setting may give, with their units or words."""
    for row in SettingQuantity.rows():
        yield row.quantity, row.name, ", ".join(row.units), terms_in_words(row.quantity)


def _offered() -> Iterator[Sequence[str]]:
    """Values of the policy that are offered to a team."""
    for row in PolicyOffer.rows():
        yield row.field, row.title, f"{row.value:g}", row.sentence


def _part(
    title: str, headings: Sequence[str], lines: Iterable[Sequence[str]], *, about: str = ""
) -> str:
    """One part of the page: a heading and a table."""
    shown = [headings, ["---"] * len(headings), *lines]
    body = "\n".join(
        "| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in shown
    )
    return f"## {title}\n\n{about}{chr(10) * 2 if about else ''}{body}\n"

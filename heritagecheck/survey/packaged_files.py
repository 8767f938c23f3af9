"""What comes with the package: the example survey, which is all invented, and the notebooks."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path

from heritagecheck.survey.exchange.importing import taken_in
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.journal import Save

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

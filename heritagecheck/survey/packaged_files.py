"""Where the example survey and the notebooks lie that come with the package."""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).parents[1]


def example_folder() -> Path:
    """
    Folder of the example survey, in an install as in a checkout.

    Returns
    -------
    Path

    Raises
    ------
    FileNotFoundError
        It lies neither in the installed package nor in the checkout.
    """
    return _first("example survey", PACKAGE / "quillmere", PACKAGE.parent / "data" / "quillmere")


def notebooks_folder() -> Path:
    """
    Folder of the notebooks, in an install as in a checkout.

    Returns
    -------
    Path

    Raises
    ------
    FileNotFoundError
        It lies neither in the installed package nor in the checkout.
    """
    return _first("folder of notebooks", PACKAGE / "notebooks", PACKAGE.parent / "notebooks")


def _first(what: str, installed: Path, checkout: Path) -> Path:
    """Give the first place that exists; what was installed goes first."""
    for place in (installed, checkout):
        if place.is_dir():
            return place
    raise FileNotFoundError(
        f"The {what} lies neither in {installed} nor in {checkout}: install heritagecheck again."
    )

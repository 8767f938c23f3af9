"""A page of our templates becomes a tagged PDF, without clock or network."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from heritagecheck.documents.tree import page_of
from heritagecheck.documents.typefaces import FONTS
from heritagecheck.documents.typesetter import typeset

if TYPE_CHECKING:
    from typst import PDFStandard

STYLES = Path(__file__).parent / "templates"
# Kept readable for decades, and by ear.
STANDARDS: list[PDFStandard] = ["a-2a", "ua-1"]
# Only this one takes files along.
WITH_FILES: list[PDFStandard] = ["a-3a", "ua-1"]
# A survey that has no date yet was closed on none; the file then says nothing of our day.
NO_DATE = date(1970, 1, 1)
# What is only measured needs no drawing: its height is known from its ratio.
BLANK = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'


def as_pdf(
    html: str,
    style: str,
    *,
    title: str,
    edge: Mapping[str, str],
    day: date | None,
    values: Mapping[str, Any] = MappingProxyType({}),
    beside: Mapping[str, bytes] = MappingProxyType({}),
    measured: bool = False,
) -> bytes:
    """
    Set a page as a PDF.

    Parameters
    ----------
    html : str
        What is to be set, with its pictures in it.
    style : str
        File of the style among the templates, such as ``"report.typ"``.
    title : str
        Title of the document, which a reader by ear hears first.
    edge : mapping of str to str
        Words at the edge of every sheet, under the names that the style uses.
    day : date or None
        Date of the document.
    values : mapping of str to plain data
        What else the style needs.
    beside : mapping of str to bytes
        PDF files to be attached, under their names.
    measured : bool
        True where the style measures its parts before it sets them.

    Returns
    -------
    bytes
        Tagged PDF (PDF/A-2a, or with files PDF/A-3a; PDF/UA-1) in A4. The same page gives the
        same bytes.

    Raises
    ------
    OSError
        There is no room for its parts, or no permission.
    RuntimeError
        The page could not be set.

    Notes
    -----
    What is measured is laid out, and Typst keeps all that it laid out; so that is a run of its own.
    """
    told, pictures = _told(html, edge, {**values, "title": title, "beside": list(beside)})
    how = {"font_paths": [FONTS], "ignore_system_fonts": True}
    if measured:
        files = _files(style, told) | dict.fromkeys(pictures, BLANK)
        found = typeset("query", files, selector="<measured>", field="value", **how)
        told = f'{told[:-1]}, "measured": {found.decode()}}}'
    return typeset(
        "compile",
        {**_files(style, told), **pictures, **beside},
        format="pdf",
        pdf_standards=WITH_FILES if beside else STANDARDS,
        timestamp=datetime.combine(day or NO_DATE, time(), UTC),
        **how,
    )


def _told(
    html: str, edge: Mapping[str, str], values: Mapping[str, Any]
) -> tuple[str, dict[str, bytes]]:
    """What a style reads, as JSON, and the drawings of a page; its tree, which is large, goes."""
    page = page_of(html, edge)
    told = json.dumps({**values, **page.edge, "tree": page.tree, "unseen": page.unseen})
    return told, {f"{place}.svg": svg.encode() for place, svg in enumerate(page.pictures)}


def _files(style: str, told: str) -> dict[str, bytes]:
    """Files of a style, with the values that it reads."""
    return {
        "main.typ": (STYLES / style).read_bytes(),
        "paper.typ": (STYLES / "paper.typ").read_bytes(),
        "given.json": told.encode(),
    }

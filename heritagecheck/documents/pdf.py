"""The one door to Typst: a page of our templates becomes a tagged PDF, without clock or network."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from heritagecheck.documents.tree import page_of
from heritagecheck.documents.typefaces import FONTS

if TYPE_CHECKING:
    from typst import PDFStandard

STYLES = Path(__file__).parent / "templates"
# Kept readable for decades, and by ear.
STANDARDS: list[PDFStandard] = ["a-2a", "ua-1"]
# A survey that has no date yet was closed on none; the file then says nothing of our day.
NO_DATE = date(1970, 1, 1)


def as_pdf(
    html: str,
    style: str,
    *,
    title: str,
    edge: Mapping[str, str],
    day: date | None,
    values: Mapping[str, Any] = MappingProxyType({}),
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

    Returns
    -------
    bytes
        Tagged PDF (PDF/A-2a and PDF/UA-1) in A4. The same page gives the same bytes.

    Raises
    ------
    RuntimeError
        The page could not be set.
    """
    import typst

    page = page_of(html, edge)
    given = {**values, **page.edge, "title": title}
    given |= {"tree": page.tree, "pictures": page.pictures, "unseen": page.unseen}
    return typst.compile(
        STYLES / style,
        root=STYLES,
        font_paths=[FONTS],
        ignore_system_fonts=True,
        format="pdf",
        sys_inputs={"page": json.dumps(given, ensure_ascii=False)},
        pdf_standards=STANDARDS,
        timestamp=datetime.combine(day or NO_DATE, time(), UTC),
    )

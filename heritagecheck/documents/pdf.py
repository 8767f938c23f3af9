"""The one door to WeasyPrint: pages of HTML become a tagged PDF, without clock or network."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import weasyprint

NEEDS = (
    "A PDF needs WeasyPrint (pip install 'heritagecheck[report]') and "
    "the library pango (on Debian: apt install libpango-1.0-0 libpangoft2-1.0-0 "
    "libharfbuzz-subset0)"
)
AMISS = "The PDF would not show all that was asked"
MM_A_PIXEL = 25.4 / 96


@cache
def why_no_pdf() -> str:
    """
    Say why no PDF can be written here.

    Returns
    -------
    str
        One line that names what is missing and how to get it; empty where nothing is missing.
    """
    try:
        import weasyprint  # noqa: F401 - whether it can be loaded is the question
    except (ImportError, OSError) as error:
        return f"{NEEDS}: {str(error).splitlines()[0]}"
    return ""


def laid_out(html: str, cache: dict[str, Any] | None = None) -> weasyprint.Document:
    """
    Lay pages out.

    Parameters
    ----------
    html : str
        The whole document; its pictures and fonts lie in it or on this machine.
    cache : dict, optional
        Pictures already read, for laying out the same ones again.

    Returns
    -------
    weasyprint.Document

    Raises
    ------
    ImportError
        WeasyPrint or pango is missing.
    RuntimeError
        Something could not be drawn as asked.
    """
    if why_no_pdf():
        raise ImportError(why_no_pdf())
    import weasyprint
    from weasyprint.urls import FatalURLFetchingError, URLFetcher

    fetcher = URLFetcher(allowed_protocols={"file", "data"}, fail_on_errors=True)
    try:
        with _nothing_amiss():
            return weasyprint.HTML(string=html, url_fetcher=fetcher).render(
                pdf_variant="pdf/ua-1", pdf_tags=True, cache=cache
            )
    except FatalURLFetchingError as error:  # no Exception, so that WeasyPrint itself lets it pass
        raise RuntimeError(f"{AMISS}: {error}") from error


def places(document: weasyprint.Document) -> dict[str, float]:
    """
    How far down its page each named place stands.

    Parameters
    ----------
    document : weasyprint.Document
        Pages.

    Returns
    -------
    dict
        Name to distance from the upper edge. [mm]
    """
    return {
        name: place[1] * MM_A_PIXEL
        for page in document.pages
        for name, place in page.anchors.items()
    }


def as_pdf(document: weasyprint.Document) -> bytes:
    """
    Tagged PDF of laid-out pages (PDF/UA-1).

    Parameters
    ----------
    document : weasyprint.Document
        Pages.

    Returns
    -------
    bytes
        The same for the same pages: dates come from the document, names from its content.
    """
    title = f"{document.metadata.title}, {document.metadata.created}, {len(document.pages)}"
    options: dict[str, Any] = {
        "pdf_variant": "pdf/ua-1",
        "pdf_identifier": hashlib.sha256(title.encode()).digest()[:16],
    }
    with _nothing_amiss():
        found = document.write_pdf(**options)
    assert isinstance(found, bytes)
    return found


@contextmanager
def _nothing_amiss() -> Iterator[None]:
    """Turn every warning of WeasyPrint into an error: else it would leave fonts or pictures out."""
    heard: list[str] = []

    class Listening(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            heard.append(record.getMessage())

    logger = logging.getLogger("weasyprint")
    handler = Listening(logging.WARNING)
    logger.addHandler(handler)
    try:
        yield
    finally:
        logger.removeHandler(handler)
    if heard:
        raise RuntimeError(f"{AMISS}: {'; '.join(heard[:5])}")

"""Pages of one report that lead to one another."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import partial

LINK = re.compile(r'(<a\b[^>]*?\shref=")#([^"]*)"')
PLACE = re.compile(r'\sid="([^"]*)"')


def linked(pages: Mapping[str, str]) -> dict[str, str]:
    """
    Pages whose links within the report find their place, on whichever page it stands.

    Parameters
    ----------
    pages : mapping of str to str
        Names of files to pages of HTML, whose links name a place alone.

    Returns
    -------
    dict of str to str
        The same pages. A link to a place of its own page, or of none, is as it was.
    """
    places = {name: set(PLACE.findall(page)) for name, page in pages.items()}

    def found(own: str, link: re.Match[str]) -> str:
        head, place = link.groups()
        page = next((name for name in (own, *places) if place in places[name]), own)
        return f'{head}{"" if page == own else page}#{place}"'

    return {name: LINK.sub(partial(found, name), page) for name, page in pages.items()}

"""The notebooks of a survey's folder as pages that open beside its screens."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import NamedTuple
from urllib.parse import quote

FOLDER = "notebooks"


class NotebookLink(NamedTuple):
    """What a notebook asks, and where it opens: as a page without code, and in JupyterLab."""

    title: str
    page: str
    lab: str


def notebook_links(survey: str) -> list[NotebookLink]:
    """Notebooks beside a survey, in their order; none where it is on a server or has none."""
    folder = Path(survey).parent / FOLDER
    found = []
    for path in sorted(folder.glob("*.ipynb")):
        place = quote(f"{FOLDER}/{path.name}")
        title = _title(path, path.stat().st_mtime_ns)
        found.append(NotebookLink(title, f"/voila/render/{place}", f"/lab/tree/{place}"))
    return found


@cache
def _title(path: Path, changed_ns: int) -> str:
    """Heading with which a notebook begins; its name where it has none or can't be read."""
    try:
        words = "".join(json.loads(path.read_text(encoding="utf-8"))["cells"][0]["source"])
    except (OSError, ValueError, LookupError, TypeError):
        return path.stem
    heading = words.partition("\n")[0]
    return heading.lstrip("# ") if heading.startswith("#") else path.stem

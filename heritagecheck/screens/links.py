"""Links on a screen: to files of the survey, and to the notebooks of its folder."""

from __future__ import annotations

import json
import os
from functools import cache
from pathlib import Path, PurePosixPath
from typing import NamedTuple
from urllib.parse import quote

from heritagecheck.survey.records import Attachment
from heritagecheck.survey.survey import Survey

FOLDER = "notebooks"


class FileLink(NamedTuple):
    """Code of an attachment, name of its file, and where the browser finds it; empty if nowhere."""

    code: str
    name: str
    address: str


def address_of(path: Path) -> str:
    """Where the server that runs this notebook gives a file, without its host; empty if unknown."""
    from jupyter_server.serverapp import list_running_servers

    found = {}
    for server in list_running_servers():
        root = Path(server["root_dir"]).resolve()
        if path.resolve().is_relative_to(root):
            inside = path.resolve().relative_to(root).as_posix()
            found[server["pid"]] = f"{server['base_url']}files/{quote(inside)}"
    only = next(iter(found.values())) if len(found) == 1 else ""
    return found.get(os.getppid(), only)


def link_to(survey: Survey, item: Attachment) -> FileLink:
    """The way to a file."""
    path = survey.file(item.file)
    address = "" if path is None else address_of(path)
    return FileLink(item.attachment, PurePosixPath(item.file).name, address)


class NotebookLink(NamedTuple):
    """What a notebook asks, and where it opens: as a page without code, and in JupyterLab."""

    title: str
    page: str
    lab: str


def notebook_links(survey: str) -> list[NotebookLink]:
    """Notebooks next to a survey, in order; none if it is on a server or has none."""
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

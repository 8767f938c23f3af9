"""A file of the survey on a screen: its name, and the way to it where a server gives it."""

from __future__ import annotations

from pathlib import PurePosixPath
from typing import NamedTuple

from heritagecheck.screens.server import address_of
from heritagecheck.survey.records import Attachment
from heritagecheck.survey.survey import Survey


class FileLink(NamedTuple):
    """Code of an attachment, name of its file, and where the browser finds it; empty if nowhere."""

    code: str
    name: str
    address: str


def link_to(survey: Survey, item: Attachment) -> FileLink:
    """The way to a file."""
    path = survey.file(item.file)
    address = "" if path is None else address_of(path)
    return FileLink(item.attachment, PurePosixPath(item.file).name, address)

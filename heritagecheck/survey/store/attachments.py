"""Files that belong to a survey, stored under the SHA-256 of their content."""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from heritagecheck.errors import Fault, StoreError
from heritagecheck.survey.records import Attachment
from heritagecheck.survey.records.row_reading import record_of
from heritagecheck.survey.store.database_errors import why


@dataclass(frozen=True, slots=True)
class Files:
    """Folder of a survey's files; None if none was named."""

    folder: Path | None
    survey: str

    def path(self, sha256: str) -> Path:
        """Path of stored content."""
        if self.folder is None:
            raise StoreError(
                f"{self.survey} has no folder for files yet: open it with "
                "open_survey(…, files=FOLDER), a folder that all of the team can reach"
            )
        return self.folder / sha256[:2] / sha256

    def path_of(self, name: str, attachments: Iterable[Attachment]) -> Path | None:
        """Path of a file of the survey."""
        if self.folder is None:
            return None
        found = (self.path(one.sha256) for one in attachments if one.file == name)
        return next((path for path in found if path.is_file()), None)

    def keep(self, source: Path, sha256: str) -> None:
        """Copy a file into the folder, so that it is there whole or not at all."""
        target = self.path(sha256)
        if target.is_file() and sha256_of(target) == sha256:
            return
        half = target.with_name(f"{target.name}.{secrets.token_hex(4)}.unfinished")
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            with source.open("rb") as read, half.open("wb") as write:
                shutil.copyfileobj(read, write, 1 << 20)
                write.flush()
                os.fsync(write.fileno())
            if sha256_of(half) != sha256:
                raise StoreError(f"{source} was changed while it was copied; try again")
            half.replace(target)
        except BaseException as error:  # interrupted as well
            # A disk that may only be read refuses to remove even what is not there.
            with suppress(OSError):
                half.unlink()
            if isinstance(error, StoreError) or not isinstance(error, OSError):
                raise
            raise StoreError(
                f"{source} was not saved, because {why(error)}. What was saved before is unchanged"
            ) from error


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's content."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def attachment_of(
    path: Path,
    *,
    kind: str,
    attachment: str | None,
    file: str | None,
    zone: str | None = None,
    panel: str | None = None,
    taken_on: date | None = None,
    taken_by: str | None = None,
    note: str | None = None,
) -> Attachment:
    """The record of a file."""
    try:
        content, size = sha256_of(path), path.stat().st_size
    except OSError as error:
        raise StoreError(f"{path} can't be read: {error.strerror or error}") from error
    values = {
        "attachment": attachment or content[:12], "kind": kind, "file": file or path.name,
        "sha256": content, "bytes": size, "zone": zone, "panel": panel, "taken_on": taken_on,
        "taken_by": taken_by, "note": note,
    }  # fmt: skip
    return record_of(Attachment, values)


def missing_file(one: Attachment, what: str) -> Fault:
    """The fault of an attachment whose content is not what it was."""
    return Fault(
        "attachments", None, "file", one.file,
        f"{what}; put the file back whose SHA-256 is {one.sha256}, or delete {one.attachment}",
    )  # fmt: skip

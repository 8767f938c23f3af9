"""A disk of a few megabytes that can be filled, and be made one that may only be read."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

BALLAST = "ballast"
# Whoever is root may write whatever the modes of files say, unless these two rights are given up.
OVERRIDES = "-dac_override,-dac_read_search"


class NoDiskError(RuntimeError):
    """No disk can be mounted here; the message says why."""


@dataclass(frozen=True)
class SmallDisk:
    """The folder on which it is mounted."""

    folder: Path

    def fill(self, leave_bytes: int = 0) -> None:
        """Fill it with ballast until no more than so many bytes are left."""
        room = os.statvfs(self.folder)
        size = room.f_bavail * room.f_frsize - leave_bytes
        with (self.folder / BALLAST).open("wb") as ballast:
            os.posix_fallocate(ballast.fileno(), 0, size)

    def free(self) -> None:
        """Take the ballast away."""
        (self.folder / BALLAST).unlink()

    def read_only(self) -> None:
        """Let nobody write on it any more, not even root."""
        _mount("-o", "remount,ro", str(self.folder))

    def writable(self) -> None:
        """Let it be written again."""
        _mount("-o", "remount,rw", str(self.folder))


@contextmanager
def small_disk(folder: Path, size_mb: int = 8) -> Iterator[SmallDisk]:
    """Mount a small disk on an empty folder; it is gone when the block ends."""
    folder.mkdir(exist_ok=True)
    _mount("-t", "tmpfs", "-o", f"size={size_mb}m", "tmpfs", str(folder))
    try:
        yield SmallDisk(folder)
    finally:
        # Lazily, lest a failed test that left a file open hides why it failed.
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def _mount(*words: str) -> None:
    """Call mount."""
    if os.geteuid() != 0 or shutil.which("mount") is None:
        raise NoDiskError("Mounting a small disk needs Linux and root.")
    done = subprocess.run(["mount", *words], capture_output=True, text=True, check=False)
    if done.returncode:
        raise NoDiskError(f"Mounting a small disk failed: {done.stderr.strip()}")


def as_modes_say() -> list[str]:
    """Words before a command for which the modes of files hold, also where we are root."""
    if os.geteuid() != 0:
        return []
    setpriv = shutil.which("setpriv")
    if setpriv is None:
        raise NoDiskError("To heed the modes of files, root needs setpriv of util-linux.")
    return [setpriv, f"--bounding-set={OVERRIDES}", f"--inh-caps={OVERRIDES}"]

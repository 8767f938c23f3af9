"""A real PostgreSQL for the tests, started by a user that may: initdb refuses root."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import psycopg

PLACES = ("/usr/lib/postgresql/*/bin", "/opt/homebrew/opt/postgresql*/bin", "/usr/pgsql-*/bin")
UNPRIVILEGED = ("postgres", "nobody")


class NoPostgresError(Exception):
    """No PostgreSQL server is installed here."""


def programs() -> Path:
    """Folder of initdb and postgres: that of the newest version installed."""
    found = [Path(path).resolve().parent for path in [shutil.which("initdb")] if path]
    for pattern in PLACES:
        found += sorted(Path("/").glob(pattern.lstrip("/")), reverse=True)
    for folder in found:
        if (folder / "initdb").is_file() and (folder / "postgres").is_file():
            return folder
    raise NoPostgresError(
        "PostgreSQL is needed for these tests. On Debian: apt-get install postgresql"
    )


def as_user_that_may() -> list[str]:
    """Words before a command that give up root's rights; none where nobody has them."""
    if os.geteuid() != 0:
        return []
    known = {entry.pw_name for entry in pwd.getpwall()}
    name = next(name for name in UNPRIVILEGED if name in known)
    return ["setpriv", f"--reuid={name}", f"--regid={pwd.getpwnam(name).pw_gid}", "--clear-groups"]


@dataclass
class Server:
    """A cluster of its own in a folder of its own, reached on this machine alone."""

    folder: Path
    port: int
    process: subprocess.Popen[bytes]

    @property
    def address(self) -> str:
        """How a client reaches it."""
        return f"127.0.0.1:{self.port}"

    def new_database(self) -> str:
        """Address of a fresh database, as SQLAlchemy writes it."""
        name = f"t{uuid.uuid4().hex}"
        self.run(f"CREATE DATABASE {name}")
        return f"postgresql+psycopg://tester@{self.address}/{name}"

    def run(self, statement: str) -> None:
        """Do one thing as the owner of the cluster."""
        with psycopg.connect(self._plain("postgres"), autocommit=True) as connection:
            connection.execute(statement)  # type: ignore[call-overload]

    def kill(self) -> None:
        """Kill the server and all that belongs to it, as a power cut would."""
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text()
        for pid in (self.process.pid, *map(int, children.split())):
            os.kill(pid, signal.SIGKILL)
        self.process.wait()
        # The operating system gives shared memory back when its last user is gone.
        (self.folder / "data" / "postmaster.pid").unlink(missing_ok=True)

    def start(self) -> None:
        """Start it again after `kill`."""
        self.process = _started(self.folder, self.port)
        self._wait()

    def stop(self) -> None:
        """Shut it down and wait."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            self.process.wait(30)

    def _plain(self, name: str) -> str:
        """Address as psycopg itself takes it."""
        return f"postgresql://tester@{self.address}/{name}"

    def _wait(self) -> None:
        """Wait until it answers."""
        for _ in range(600):
            try:
                psycopg.connect(self._plain("postgres")).close()
                return
            except psycopg.OperationalError:
                if self.process.poll() is not None:
                    break
                time.sleep(0.05)
        raise RuntimeError((self.folder / "log").read_text("utf-8"))


def _started(folder: Path, port: int) -> subprocess.Popen[bytes]:
    """Start the server's process."""
    command = [
        *as_user_that_may(), str(programs() / "postgres"), "-D", str(folder / "data"),
        "-p", str(port), "-c", "listen_addresses=127.0.0.1", "-k", str(folder),
        "-c", "fsync=on", "-c", "max_connections=60",
    ]  # fmt: skip
    with (folder / "log").open("ab") as log:
        return subprocess.Popen(command, stdout=log, stderr=log, stdin=subprocess.DEVNULL)


@contextmanager
def postgres() -> Iterator[Server]:
    """A running server; it is gone when the block ends."""
    found = programs()
    # A short path: that of a socket may have no more than some hundred signs.
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    if os.geteuid() == 0:
        name = next(word for word in as_user_that_may() if "reuid" in word).partition("=")[2]
        shutil.chown(folder, name)
    subprocess.run(
        [*as_user_that_may(), str(found / "initdb"), "-D", str(folder / "data"), "-U", "tester",
         "--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8", "--no-sync"],
        check=True, stdout=subprocess.DEVNULL, cwd=folder,
    )  # fmt: skip
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    server = Server(folder, port, _started(folder, port))
    try:
        server._wait()
        yield server
    finally:
        server.stop()
        shutil.rmtree(folder, ignore_errors=True)

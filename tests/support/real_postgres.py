"""A real PostgreSQL for the tests, started by a user that may: initdb refuses root."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg

PLACES = ("usr/lib/postgresql/*/bin", "usr/pgsql-*/bin", "opt/homebrew/opt/postgresql*/bin",
          "usr/local/opt/postgresql*/bin")  # fmt: skip
UNPRIVILEGED = ("postgres", "nobody")
OWNER = "tester"
TO_START_S = 30
TURNS = 5


class NoPostgresError(RuntimeError):
    """PostgreSQL can't be started here; the message says how to get it."""


def programs() -> Path:
    """Folder of initdb and postgres: the one on the PATH, else that of the newest version."""
    named = shutil.which("initdb")
    found = [Path(named).resolve().parent] if named else []
    for pattern in PLACES:
        found += sorted(Path("/").glob(pattern), key=_version, reverse=True)
    for folder in found:
        if (folder / "initdb").is_file() and (folder / "postgres").is_file():
            return folder
    raise NoPostgresError("PostgreSQL is missing: apt install postgresql, or brew install it.")


def _version(folder: Path) -> int:
    """The number in a path such as /usr/lib/postgresql/15/bin; 0 where there is none."""
    digits = "".join(sign if sign.isdigit() else " " for sign in str(folder)).split()
    return int(digits[0]) if digits else 0


def user_that_may() -> str | None:
    """A user without root's rights to run the server as; None where we have none ourselves."""
    if os.geteuid() != 0:
        return None
    import pwd

    known = {entry.pw_name for entry in pwd.getpwall()}
    for name in UNPRIVILEGED:
        if name in known:
            return name
    raise NoPostgresError("PostgreSQL refuses root, and there is no user postgres or nobody.")


def _rights() -> dict[str, Any]:
    """What `subprocess` needs to run something as that user."""
    name = user_that_may()
    if name is None:
        return {}
    import pwd

    return {"user": name, "group": pwd.getpwnam(name).pw_gid, "extra_groups": []}


@dataclass
class Server:
    """
    A cluster in a folder of its own, reached on this machine alone.

    It writes through as a real one does: `fsync` is on, nothing is switched off.
    """

    folder: Path
    port: int = 0
    _process: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    @property
    def process(self) -> subprocess.Popen[bytes]:
        """The postmaster."""
        assert self._process is not None
        return self._process

    def url(self, database: str) -> str:
        """Address of a database, as SQLAlchemy writes it."""
        return f"postgresql+psycopg://{OWNER}@127.0.0.1:{self.port}/{database}"

    def new_database(self, *settings: str) -> str:
        """Make a database that holds nothing yet, and give its address."""
        name = f"t{uuid.uuid4().hex}"
        self.run(" ".join(("CREATE DATABASE", name, *settings)))
        return self.url(name)

    def drop(self, url: str) -> None:
        """Drop a database, whoever is connected to it."""
        self.run(f"DROP DATABASE {url.rpartition('/')[2]} WITH (FORCE)")

    def run(self, statement: str, database: str = "postgres") -> list[tuple[Any, ...]]:
        """Do one thing as the owner of the cluster, and give the rows that come back."""
        with self._connected(database) as connection:
            cursor = connection.execute(statement.encode())
            return cursor.fetchall() if cursor.description else []

    def own(self, folder: Path) -> None:
        """Give a folder to the user that the server runs as."""
        if name := user_that_may():
            shutil.chown(folder, name)

    def start(self) -> None:
        """Start it, on the port that it had before, and wait until it answers."""
        for _ in range(1 if self.port else TURNS):
            port = self.port or _free_port()
            self._process = _started(self.folder, port)
            if self._answers(port):
                self.port = port
                return
        raise RuntimeError(f"PostgreSQL did not start:\n{self._log()}")

    def kill(self) -> None:
        """Kill the postmaster and all its children at once, as nothing but a power cut would."""
        # Stopped, it starts no other child and tells none of them to end well.
        os.kill(self.process.pid, signal.SIGSTOP)
        children = _children(self.process.pid)
        for pid in (*children, self.process.pid):
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        self.process.wait()
        while any(map(_runs, children)):
            time.sleep(0.005)

    def stop(self) -> None:
        """End it without tidying up: nobody needs its data any more."""
        if self._process is None or self._process.poll() is not None:
            return
        self._process.send_signal(signal.SIGQUIT)
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self.kill()

    def _connected(self, database: str, port: int = 0) -> psycopg.Connection[tuple[Any, ...]]:
        """A connection by the socket in the server's own folder, which no one else may enter."""
        return psycopg.connect(
            host=str(self.folder), port=port or self.port, user=OWNER, dbname=database,
            autocommit=True,
        )  # fmt: skip

    def _answers(self, port: int) -> bool:
        """Wait until it answers; False where it ended instead."""
        until = time.monotonic() + TO_START_S
        while time.monotonic() < until and self.process.poll() is None:
            try:
                self._connected("postgres", port).close()
                return True
            except psycopg.OperationalError:
                time.sleep(0.02)
        self.stop()
        return False

    def _log(self) -> str:
        """What the server wrote."""
        return (self.folder / "log").read_text("utf-8", errors="replace")


def _children(pid: int) -> list[int]:
    """Processes that a process started."""
    listed = Path(f"/proc/{pid}/task/{pid}/children")
    if listed.exists():
        return [int(child) for child in listed.read_text().split()]
    found = subprocess.run(["pgrep", "-P", str(pid)], capture_output=True, text=True, check=False)
    return [int(child) for child in found.stdout.split()]


def _runs(pid: int) -> bool:
    """Whether a process goes on; one that only waits to be counted does not."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    state = Path(f"/proc/{pid}/stat")
    try:
        return state.read_text().rpartition(")")[2].split()[0] != "Z" if state.exists() else True
    except (FileNotFoundError, ProcessLookupError):
        return False


def _free_port() -> int:
    """A port that nobody listens on; somebody else may take it before we do."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def _started(folder: Path, port: int) -> subprocess.Popen[bytes]:
    """Start the server's process."""
    command = [
        str(programs() / "postgres"), "-D", str(folder / "data"), "-k", str(folder),
        "-p", str(port), "-c", "listen_addresses=127.0.0.1", "-c", "fsync=on",
        "-c", "max_connections=60",
    ]  # fmt: skip
    with (folder / "log").open("ab") as log:
        return subprocess.Popen(
            command, stdout=log, stderr=log, stdin=subprocess.DEVNULL, cwd=folder, **_rights()
        )


@contextmanager
def postgres() -> Iterator[Server]:
    """A running server; it and its folder are gone when the block ends."""
    found = programs()
    # A short path: that of a socket may have no more than some hundred signs.
    server = Server(Path(tempfile.mkdtemp(prefix="pg")))
    try:
        server.own(server.folder)
        made = subprocess.run(
            [str(found / "initdb"), "-D", str(server.folder / "data"), "-U", OWNER,
             "--auth=trust", "--encoding=UTF8", "--locale=C", "--no-sync"],
            capture_output=True, text=True, check=False, cwd=server.folder, **_rights(),
        )  # fmt: skip
        if made.returncode:
            raise RuntimeError(f"initdb failed:\n{made.stdout}{made.stderr}")
        server.start()
        yield server
    finally:
        server.stop()
        shutil.rmtree(server.folder, ignore_errors=True)

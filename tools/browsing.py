"""
Real Chromium and the real JupyterLab, for the README's pictures and for the tests in a browser.

Whatever a page asks of another machine is refused and written down, so that nobody has to be
offline to see that the pages would work there.
"""

from __future__ import annotations

import fcntl
import importlib.util
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.error import URLError
from urllib.parse import urlsplit
from urllib.request import urlopen

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, Route

ROOT = Path(__file__).parents[1]
# No sandbox: the machines that check our changes run as root, where Chromium refuses one. The
# others keep Chromium itself from asking the network, which would hide what our pages ask.
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
HERE = {"127.0.0.1", "localhost"}
OF_THE_PAGE = {"about", "blob", "data", "file"}
TOKEN = "heritagecheck"
READY = "Python 3 (ipykernel) | Idle"
TO_START_S = 90
TO_RUN_S = 300
# anywidget gives each widget of JupyterLab two seconds to begin: where three tests share two cores,
# that is not enough.
PATIENT = """const within = AbortSignal.timeout.bind(AbortSignal);
AbortSignal.timeout = (ms) => within(Math.max(ms, 60000));"""
# Every cell shows something: the code is folded, so its number does not say that it has run.
DONE = """() => [...document.querySelectorAll('.jp-CodeCell')]
  .every(cell => cell.querySelector('.jp-OutputArea-child'))"""


class MissingToolError(RuntimeError):
    """Something that must be installed is not there; the message says how to get it."""


@dataclass(frozen=True)
class Size:
    """Size of a screen, and whether it is touched."""

    name: str
    width_px: int
    height_px: int
    touch: bool = False


LAPTOP = Size("laptop", 1366, 768)
TABLET = Size("tablet", 820, 1180, touch=True)
PHONE = Size("phone", 390, 844, touch=True)
PROJECTOR = Size("projector", 1920, 1080)


@dataclass
class Window:
    """A page in Chromium, with all it asked for and all it complained about."""

    page: Page
    size: Size
    asked: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    @property
    def outside(self) -> list[str]:
        """What it asked of other machines."""
        return [address for address in self.asked if is_outside(address)]


def is_outside(address: str) -> bool:
    """Whether an address leads to another machine."""
    parts = urlsplit(address)
    return parts.scheme not in OF_THE_PAGE and parts.hostname not in HERE


def chromium_path() -> str:
    """Path of Chromium: the one named in CHROMIUM, else the one on the PATH."""
    found = shutil.which(os.environ.get("CHROMIUM", "chromium"))
    if found is None:
        raise MissingToolError(
            "Chromium is missing: apt install chromium, or name another in CHROMIUM."
        )
    return found


@contextmanager
def chromium() -> Iterator[Browser]:
    """Start Chromium without a screen; it ends with the block."""
    if importlib.util.find_spec("playwright") is None:
        raise MissingToolError("playwright is missing: pip install -c constraints.txt -e '.[dev]'.")
    from playwright.sync_api import sync_playwright

    path = chromium_path()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def window(browser: Browser, size: Size, scale: float = 1) -> Iterator[Window]:
    """Open a page that knows nothing of earlier ones and reaches no other machine."""
    context = browser.new_context(
        viewport={"width": size.width_px, "height": size.height_px},
        device_scale_factor=scale,
        has_touch=size.touch,
        locale="en-GB",
    )
    context.route(is_outside, _refuse)
    opened = Window(context.new_page(), size)
    page = opened.page
    page.on("request", lambda request: opened.asked.append(request.url))
    page.on("websocket", lambda socket: opened.asked.append(socket.url))
    page.on("pageerror", lambda error: opened.complaints.append(str(error)))
    page.on("console", lambda message: _hear(message, opened.complaints))
    try:
        yield opened
    finally:
        context.close()


def _refuse(route: Route) -> None:
    route.abort()


def _hear(message: Any, complaints: list[str]) -> None:
    if message.type == "error":
        complaints.append(message.text)


@contextmanager
def jupyterlab(notebooks: Path, home: Path) -> Iterator[str]:
    """
    Start the JupyterLab of this Python on a folder, as `make lab` does, and give its address.

    Settings, workspaces and history lie in `home`, so that nothing opened earlier comes back.
    """
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log = home / "jupyterlab.log"
    home.mkdir(parents=True, exist_ok=True)
    with log.open("wb") as heard:
        server = subprocess.Popen(
            _lab_command(notebooks, port),
            env=_surroundings(home),
            stdin=subprocess.DEVNULL,
            stdout=heard,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    try:
        address = f"http://127.0.0.1:{port}"
        _wait_until(lambda: _answers(server, f"{address}/api/status?token={TOKEN}", log))
        yield address
    finally:
        _stop(server)


@contextmanager
def survey_pages(folder: Path, home: Path) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """
    Open a survey's pages as `heritagecheck lab` does, and give their address and the server.

    Settings and history lie in `home`; no browser is opened.
    """
    log = home / "lab.log"
    (home / "config").mkdir(parents=True, exist_ok=True)
    (home / "config" / "jupyter_server_config.json").write_text(
        '{"ServerApp": {"allow_root": true, "open_browser": false}}', encoding="utf-8"
    )
    command = [sys.executable, "-m", "heritagecheck", "lab", str(folder)]
    surroundings = _surroundings(home)
    del surroundings["JUPYTER_CONFIG_PATH"]
    with log.open("wb") as heard, ExitStack() as stack:
        with _alone():
            server = subprocess.Popen(
                command, env=surroundings, stdin=subprocess.DEVNULL, stdout=heard,
                stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
            stack.callback(_stop, server)
            _wait_until(lambda: _told_address(log) is not None or server.poll() is not None)
            address = _told_address(log)
            if address is None:
                raise RuntimeError(
                    f"The pages did not open:\n{log.read_text(encoding='utf-8')[-2000:]}"
                )
            status = address.replace("/voila/render/start.ipynb", "/api/status")
            _wait_until(lambda: _answers(server, status, log))
        yield address, server


@contextmanager
def _alone() -> Iterator[None]:
    """Let no other test start its pages meanwhile: both would find the same port free."""
    with (Path(tempfile.gettempdir()) / "heritagecheck-pages.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _told_address(log: Path) -> str | None:
    """Address that the server told, once it did."""
    found = re.search(r"http://127\.0\.0\.1:\S+", log.read_text(encoding="utf-8"))
    return found[0] if found else None


def _lab_command(notebooks: Path, port: int) -> list[str]:
    return [
        *(sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root"),
        f"--IdentityProvider.token={TOKEN}",
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        str(notebooks),
    ]


def _surroundings(home: Path) -> dict[str, str]:
    """Variables of the server. HOME stays: a new one would hold nothing that is compiled."""
    return os.environ | {
        "JUPYTER_CONFIG_PATH": str(ROOT / "heritagecheck" / "screens" / "jupyter" / "config"),
        "JUPYTER_CONFIG_DIR": str(home / "config"),
        "JUPYTER_DATA_DIR": str(home / "data"),
        "JUPYTER_RUNTIME_DIR": str(home / "runtime"),
        "IPYTHONDIR": str(home / "ipython"),
    }


def _answers(server: subprocess.Popen[bytes], address: str, log: Path) -> bool:
    """Whether the server answers by now; an error where it has ended instead."""
    if server.poll() is not None:
        raise RuntimeError(f"JupyterLab did not start:\n{log.read_text(encoding='utf-8')[-2000:]}")
    try:
        with urlopen(address, timeout=5):
            return True
    except (URLError, TimeoutError):
        return False


def _wait_until(holds: Callable[[], bool]) -> None:
    end = time.monotonic() + TO_START_S
    while not holds():
        if time.monotonic() > end:
            raise TimeoutError(f"JupyterLab did not answer within {TO_START_S} s.")
        time.sleep(0.2)


def _stop(server: subprocess.Popen[bytes]) -> None:
    """End the server, which ends its kernels; what doesn't follow is ended the hard way."""
    server.terminate()
    try:
        server.wait(timeout=20)
    except subprocess.TimeoutExpired:
        os.killpg(server.pid, signal.SIGKILL)
        server.wait()


def run_notebook(page: Page, address: str, name: str) -> None:
    """Open a notebook in JupyterLab and run all its cells, until the last is done or one fails."""
    _end_kernels(page, address)
    page.add_init_script(PATIENT)
    page.goto(f"{address}/lab/tree/{name}?token={TOKEN}&reset")
    # Cells appear seconds before their kernel, and an order given in between is lost.
    page.get_by_text(READY).wait_for(timeout=TO_START_S * 1000)
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_text("Run All Cells", exact=True).click()
    page.wait_for_function(DONE, timeout=TO_RUN_S * 1000)
    page.get_by_text(READY).wait_for(timeout=TO_RUN_S * 1000)


def _end_kernels(page: Page, address: str) -> None:
    """End what earlier runs left: JupyterLab would give a notebook its old kernel back."""
    kernels = page.request.get(f"{address}/api/kernels?token={TOKEN}").json()
    for kernel in kernels:
        page.request.delete(f"{address}/api/kernels/{kernel['id']}?token={TOKEN}")

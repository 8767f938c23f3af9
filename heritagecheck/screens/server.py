"""The server of a survey's screens and of JupyterLab: on this computer only, offline."""

from __future__ import annotations

import os
import secrets
import shutil
import socket
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

from heritagecheck.errors import Fault, SurveyError

HERE = Path(__file__).parent
PAGE = "start.ipynb"
USUAL_PORT = 8888


def page_notebook(path: Path) -> None:
    """Write the notebook that opens the start page of the survey next to it."""
    shutil.copyfile(HERE / PAGE, path)


def free_port() -> int:
    """The usual port of notebooks, or another where that is taken."""
    for port in (USUAL_PORT, 0):
        with socket.socket() as tried:
            try:
                tried.bind(("127.0.0.1", port))
            except OSError:
                continue
            return int(tried.getsockname()[1])
    raise OSError("no port of this computer is free")


def address(port: int, token: str) -> str:
    """Where the start page is opened."""
    return f"http://127.0.0.1:{port}/voila/render/{PAGE}?token={token}"


def installed() -> bool:
    """Whether what the pages need is there; the plain install goes without."""
    return all(map(find_spec, ("anywidget", "jupyterlab", "voila")))


def serve(folder: Path, say: Callable[[str], None]) -> None:
    """
    Serve the screens of the survey in a folder until somebody stops it, and open a browser.

    Only this computer can reach them, with the token of the address; `say` is given that address.
    """
    if not installed():
        raise ImportError(
            "The screens need JupyterLab, Voilà and anywidget: pip install 'heritagecheck[lab]'"
        )
    from jupyterlab.labapp import LabApp

    if not (folder / "survey.db").is_file():
        fault = Fault(str(folder), None, "", "", "this folder holds no survey.db; name the folder "
                      "that heritagecheck start made")  # fmt: skip
        raise SurveyError([fault], nothing="opened")
    if not (folder / PAGE).exists():
        page_notebook(folder / PAGE)
    for name, ours in (
        ("JUPYTER_PATH", HERE / "jupyter"),
        ("JUPYTER_CONFIG_PATH", HERE / "jupyter" / "config"),
    ):
        before = os.environ.get(name)
        os.environ[name] = os.pathsep.join([str(ours), *([before] if before else [])])
    port, token = free_port(), secrets.token_urlsafe(18)
    say(f"The survey is open at\n  {address(port, token)}\nPress Ctrl-C to stop.")
    LabApp.launch_instance(
        [
            str(folder.resolve()),
            f"--ServerApp.port={port}",
            "--ServerApp.port_retries=0",
            f"--IdentityProvider.token={token}",
            f"--LabApp.default_url=/voila/render/{PAGE}",
        ]
    )

"""Every package that a plain install brings is ready-built for each system; nothing is compiled."""

from __future__ import annotations

import json
import platform
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LINUX = ("manylinux_2_28_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64")
WINDOWS, MAC, INTEL_MAC = ("win_amd64",), ("macosx_14_0_arm64",), ("macosx_14_0_x86_64",)
HERE = (LINUX, "{}.{}".format(*sys.version_info)) if platform.machine() == "x86_64" else None
# The oldest and the newest Python of pyproject.toml; no wheel of numba for 3.14 on an Intel Mac.
# What suits this machine is no question: `tests/test_installs.py` installs it, from wheels alone.
MACHINES = [
    machine
    for machine in (
        *((system, python) for system in (LINUX, WINDOWS, MAC) for python in ("3.11", "3.14")),
        (INTEL_MAC, "3.13"),
    )
    if machine != HERE
]


@pytest.mark.long
@pytest.mark.parametrize(
    ("system", "python"), MACHINES, ids=[f"{each[0]}-{python}" for each, python in MACHINES]
)
def test_a_plain_install_finds_a_wheel_of_everything(
    system: tuple[str, ...], python: str, tmp_path: Path
) -> None:
    """As pip says, which reads the package index but fetches no package."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    # What the Makefile pins is pinned here as well, but for Macs for which it pins nothing.
    pins = () if system == INTEL_MAC else ("--constraint", str(ROOT / "constraints.txt"))
    found = tmp_path / "found.json"
    done = subprocess.run(
        [
            sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check",
            "--dry-run", "--ignore-installed", "--target", str(tmp_path / "nowhere"),
            "--only-binary=:all:", "--python-version", python,
            *(word for name in system for word in ("--platform", name)),
            *pins, "--report", str(found), *project["dependencies"],
        ],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    packages = json.loads(found.read_text(encoding="utf-8"))["install"]

    assert len(packages) >= len(project["dependencies"])
    for package in packages:
        assert package["download_info"]["url"].endswith(".whl"), package["metadata"]["name"]

"""The package as others get it: a wheel, an editable install, a plain checkout; from anywhere."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import sysconfig
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
# Built with the tools at hand, and so without the network.
BUILDING = ("--no-deps", "--no-build-isolation")
PARTS = ("heritagecheck", "data", "notebooks")
NEEDED = ("pyproject.toml", "README.md", "LICENSE")
# Left behind by running things in the checkout; none of it is part of what is given to others.
LEFTOVERS = shutil.ignore_patterns("__pycache__", ".ipynb_checkpoints", "report")

LOOK = """
import json
import heritagecheck as hc
survey = hc.demo_survey()
print(json.dumps({
    "package": hc.__file__,
    "zones": len(survey.zones),
    "picture": hc.figures.draw_locator(survey, "N01").svg,
}))
"""


@dataclass(frozen=True)
class Install:
    """One way to have the package: its Python, its command, and where the package must lie."""

    python: Path
    command: tuple[str, ...]
    home: Path
    surroundings: dict[str, str]

    def run(self, *words: str, cwd: Path) -> str:
        """Run a command in this install, somewhere else, and give what it printed."""
        done = subprocess.run(
            words, cwd=cwd, env=self.surroundings, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        return done.stdout


@pytest.fixture(scope="module")
def checkout(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a copy of the checkout, so that building leaves nothing in the real one."""
    copy = tmp_path_factory.mktemp("checkout") / "source"
    for part in PARTS:
        shutil.copytree(ROOT / part, copy / part, ignore=LEFTOVERS)
    for name in NEEDED:
        shutil.copy(ROOT / name, copy)
    return copy


@pytest.fixture(params=["wheel", "editable", "checkout"])
def install(request: pytest.FixtureRequest, checkout: Path, tmp_path: Path) -> Install:
    """Give the package in one of three ways, in a clean environment of its own."""
    places = clean_environment(tmp_path / "venv")
    python, packages = places["python"], places["purelib"]
    surroundings = {name: text for name, text in os.environ.items() if name != "PYTHONPATH"}
    if request.param == "checkout":
        surroundings["PYTHONPATH"] = str(checkout)
        return Install(
            python, (str(python), "-P", "-m", "heritagecheck.cli"), checkout, surroundings
        )
    command = (str(places["scripts"] / "heritagecheck"),)
    if request.param == "wheel":
        pip("wheel", *BUILDING, "--wheel-dir", str(tmp_path), str(checkout))
        [wheel] = tmp_path.glob("heritagecheck-*.whl")
        pip("--python", str(python), "install", "--no-deps", "--no-index", str(wheel))
        return Install(python, command, packages, surroundings)
    pip("--python", str(python), "install", *BUILDING, "--editable", str(checkout))
    return Install(python, command, checkout, surroundings)


def clean_environment(folder: Path) -> dict[str, Path]:
    """Make an environment that borrows, behind its own, the packages of the one that runs."""
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(folder)], check=True)
    base = {"base": str(folder), "platbase": str(folder)}
    places = {name: Path(sysconfig.get_path(name, "venv", base)) for name in ("purelib", "scripts")}
    borrowed = dict.fromkeys([sysconfig.get_path("purelib"), sysconfig.get_path("platlib")])
    (places["purelib"] / "borrowed.pth").write_text("\n".join(borrowed), encoding="utf-8")
    return places | {"python": places["scripts"] / Path(sys.executable).name}


def pip(*words: str) -> None:
    """Run pip, and show what it said where it failed."""
    command = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check", *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_package_works_from_anywhere_however_it_was_installed(
    install: Install, tmp_path: Path
) -> None:
    """The example, the notebooks, the command and a picture are there, far from any checkout."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    seen = json.loads(install.run(str(install.python), "-P", "-c", LOOK, cwd=elsewhere))
    install.run(*install.command, "start", "wall", cwd=elsewhere)
    notebooks = {path.name for path in (elsewhere / "wall" / "notebooks").iterdir()}

    assert install.home in Path(seen["package"]).parents
    assert seen["zones"] == 52
    assert seen["picture"].startswith("<svg")
    assert "#1d1d1b" in seen["picture"], "the zone is not filled"
    assert notebooks == {path.name for path in (ROOT / "notebooks").glob("*.ipynb")}
    assert (elsewhere / "wall" / "survey.db").is_file()
    assert (elsewhere / "wall" / "field-sheets.xlsx").is_file()

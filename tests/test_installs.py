"""
The package as others get it: a wheel, an editable install, a plain checkout; from anywhere.

The long tests install the wheel with what it needs and nothing else, from the package index.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from zipfile import ZipFile

import pytest
from few_zones import exported_few
from small_disk import as_modes_say
from tiers import some_of

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
from heritagecheck.figures.zone_location import draw_locator
survey = hc.demo_survey()
print(json.dumps({
    "package": hc.__file__,
    "zones": len(survey.zones),
    "picture": draw_locator(survey, "N01").svg,
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


@pytest.fixture(scope="module")
def wheel(checkout: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the wheel, built once."""
    folder = tmp_path_factory.mktemp("wheel")
    pip("wheel", *BUILDING, "--wheel-dir", str(folder), str(checkout))
    [built] = folder.glob("heritagecheck-*.whl")
    return built


@pytest.fixture(params=some_of(["wheel", "editable", "checkout"], short=["wheel"]))
def install(request: pytest.FixtureRequest, checkout: Path, tmp_path: Path) -> Install:
    """Give the package in one of three ways, in a clean environment of its own."""
    places = clean_environment(tmp_path / "venv")
    python, packages = places["python"], places["purelib"]
    surroundings = {name: text for name, text in os.environ.items() if name != "PYTHONPATH"}
    if request.param == "checkout":
        surroundings["PYTHONPATH"] = str(checkout)
        return Install(python, (str(python), "-P", "-m", "heritagecheck"), checkout, surroundings)
    command = (str(places["scripts"] / "heritagecheck"),)
    if request.param == "wheel":
        wheel = request.getfixturevalue("wheel")
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


def test_the_wheel_turns_off_the_news_of_jupyterlab(wheel: Path) -> None:
    """A plain `jupyter lab` beside the install asks nobody whether it may fetch news."""
    config = "etc/jupyter/labconfig/page_config.d/heritagecheck.json"
    with ZipFile(wheel) as packed:
        (name,) = [one for one in packed.namelist() if one.endswith(f".data/data/{config}")]
        off = json.loads(packed.read(name))["disabledExtensions"]

    assert off == {"@jupyterlab/apputils-extension:announcements": True}


# -- Nothing but the wheel and what it asks for --------------------------------------------------

# Runs a command as the shell would, then writes down which libraries were loaded by then.
WATCHED = """
import sys
from pathlib import Path
from heritagecheck.__main__ import run
code = run()
maps = Path("/proc/self/maps").read_text(encoding="utf-8").splitlines()
libraries = {line.split(None, 5)[5] for line in maps if ".so" in line}
Path("libraries.txt").write_text("\\n".join(sorted(libraries)), encoding="utf-8")
sys.exit(code)
"""
# Every Linux has these, whatever is installed: the C library in its parts, and the compiler's.
EVERYWHERE = {
    "ld-linux-x86-64", "ld-linux-aarch64", "libc", "libdl", "libgcc_s", "libm", "libpthread",
    "librt", "libstdc++", "libutil",
}  # fmt: skip
# Pillow takes it where it is there, and does without it where it is not.
USED_IF_THERE = {"libfribidi"}
FEW = "N04", "N06", "N12"
OUTCOMES = ("clean", "trial first", "leave and monitor", "leave")


@dataclass(frozen=True)
class Alone:
    """An environment with the wheel and its plain dependencies, and a folder far from any other."""

    environment: Path
    elsewhere: Path

    @property
    def python(self) -> Path:
        """Its Python."""
        return self.environment / "bin" / "python"

    def run(self, *words: str, code: str = WATCHED, prefix: Sequence[str] = (), **more: str) -> str:
        """Run a command without network, programs of the system or variables of ours."""
        done = subprocess.run(
            [*off_the_network(), *prefix, str(self.python), "-P", "-c", code, *words],
            cwd=self.elsewhere, capture_output=True, text=True, check=False,
            env={"PATH": str(self.environment / "bin"), "HOME": str(self.elsewhere), **more},
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout

    def example(self) -> str:
        """Where the example lies that the wheel carries."""
        where = "from heritagecheck.survey.places import example_folder\nprint(example_folder())"
        return self.run(code=where).strip()


def off_the_network() -> list[str]:
    """Words before a command that reaches no network, where we may say so."""
    unshare = shutil.which("unshare")
    return [unshare, "--net"] if unshare is not None and os.geteuid() == 0 else []


@pytest.fixture(scope="module")
def alone(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Alone:
    """Give the wheel installed with its plain dependencies into an empty environment."""
    folder = tmp_path_factory.mktemp("alone")
    found = Alone(folder / "environment", folder / "elsewhere")
    found.elsewhere.mkdir()
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", found.environment], check=True)
    pinned = ("--constraint", str(ROOT / "constraints.txt"), "--only-binary=:all:")
    pip("--python", str(found.python), "install", "--no-compile", *pinned, str(wheel))
    return found


@pytest.fixture(scope="module")
def few_zones(alone: Alone) -> Path:
    """
    Give three zones of the example as a folder of tables: photograph, spots, heights, readings.

    All 52 on paper take longer than many a hundred tests, and ask for nothing more.
    """
    return exported_few(alone.elsewhere / "few", FEW)


@pytest.mark.long
def test_the_wheel_alone_does_the_whole_work(alone: Alone, few_zones: Path) -> None:
    """A survey is begun and the example goes from import to PDF, with no library of the system."""
    example = alone.example()
    alone.run("start", "wall")
    alone.run("import", example, "quillmere.db")
    checked = alone.run("check", "quillmere.db")
    assessed = alone.run("assess", "quillmere.db").splitlines()
    alone.run("import", str(few_zones), "few.db")
    alone.run("report", "few.db", "--to", "report")
    libraries = (alone.elsewhere / "libraries.txt").read_text(encoding="utf-8").splitlines()
    counts = [int(line[18:21]) for line in assessed if line[:18].strip() in OUTCOMES]

    assert (alone.elsewhere / "wall" / "field-sheet.pdf").read_bytes().startswith(b"%PDF")
    assert "The journal is whole" in checked
    assert sum(counts) == 52
    assert (alone.elsewhere / "report" / "report.pdf").read_bytes().startswith(b"%PDF")
    assert "</html>" in (alone.elsewhere / "report" / "report.html").read_text(encoding="utf-8")
    assert foreign(libraries, alone) == []


def foreign(libraries: list[str], alone: Alone) -> list[str]:
    """Name those that came neither with the packages, nor with Python, nor with every Linux."""
    own = (str(alone.environment), sys.base_prefix)
    extensions = Path(sysconfig.get_path("platstdlib", vars={"platbase": sys.base_prefix}))
    asked = [str(path) for path in (extensions / "lib-dynload").glob("*.so")]
    linked = subprocess.run(
        ["ldd", sys.executable, *asked], capture_output=True, text=True, check=True
    )
    allowed = (
        EVERYWHERE
        | USED_IF_THERE
        | {plain_name(word) for word in linked.stdout.split() if ".so" in word}
    )
    return [
        library
        for library in libraries
        if not library.startswith(own) and plain_name(library) not in allowed
    ]


def plain_name(library: str) -> str:
    """Name of a library without its folder and its version."""
    return Path(library).name.partition(".so")[0]


@pytest.mark.long
def test_a_read_only_install_works_for_a_user_without_a_home(alone: Alone, few_zones: Path) -> None:
    """Nothing but the report's own folder may be written; the console knows ASCII alone."""
    home = alone.elsewhere / "nobody's"
    home.mkdir(mode=0o555)
    for path in [alone.environment, *alone.environment.rglob("*")]:
        if not path.is_symlink():
            path.chmod(path.stat().st_mode & ~0o222)
    said = alone.run(
        "report", str(few_zones), "--to", "read-only", prefix=as_modes_say(),
        HOME=str(home), XDG_CACHE_HOME=str(home), LC_ALL="C", PYTHONUTF8="0",
        PYTHONCOERCECLOCALE="0", PYTHONIOENCODING="ascii", TZ="Nowhere/At_all",
    )  # fmt: skip

    assert f"Report: {alone.elsewhere.resolve() / 'read-only' / 'report.pdf'}" in said
    assert (alone.elsewhere / "read-only" / "report.pdf").read_bytes().startswith(b"%PDF")
    assert "ΔE" in (alone.elsewhere / "read-only" / "report.html").read_text(encoding="utf-8")
    assert list(home.iterdir()) == []

"""
What the package promises as a whole, read from its own files.

Public names, the way of the imports, the small install, the lists that must agree, licences,
notebooks, wording.
"""

import ast
import importlib.metadata
import importlib.util
import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from small_report import ZONES

import heritagecheck as hc

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "heritagecheck"
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def read(name: str) -> str:
    """Text of a file of the project, named from its top."""
    return (ROOT / name).read_text(encoding="utf-8")


def project() -> dict[str, Any]:
    """Return the `project` table of pyproject.toml."""
    return tomllib.loads(read("pyproject.toml"))["project"]


def run_python(code: str, *arguments: str) -> str:
    """Run code in an interpreter of its own and return what it printed."""
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


# -- Public names ------------------------------------------------------------------------------

# Modules whose names are public too; `hc.records` holds a class for each table of a survey.
ROOMS = ("colour", "figures", "laser", "photograph", "section", "surface", "trials")


def public_names() -> list[str]:
    """Every name a user may call, such as `hc.assess` and `hc.colour.compare`."""
    return [f"hc.{name}" for name in hc.__all__] + [
        f"hc.{room}.{name}" for room in ROOMS for name in getattr(hc, room).__all__
    ]


def test_public_names_are_those_of_the_table_in_developers() -> None:
    """The table says each name once, with what it gives: a new one is a decision, not a slip."""
    section = read("DEVELOPERS.md").split("## Public names\n")[1].split("\n## ")[0]
    rows = re.findall(r"^\| `(hc\.[\w.]+)` \| (.+) \|$", section, flags=re.MULTILINE)

    assert sorted(name for name, _ in rows) == sorted(public_names())
    assert f"{len(rows)} names" in section


def test_every_public_name_is_there_and_explains_itself() -> None:
    """Each name leads to something, and that something says in words what it is for."""
    silent = [
        name
        for name in hc.__all__
        if name != "__version__" and not (getattr(hc, name).__doc__ or "").strip()
    ]

    assert not silent, "\n".join(silent)
    assert re.fullmatch(r"20\d\d\.\d+", hc.__version__)


def test_public_functions_of_the_evidence_explain_themselves() -> None:
    """A function reached as `hc.colour.delta_e` has a docstring too."""
    modules = [value for name in hc.__all__ if isinstance(value := getattr(hc, name), ModuleType)]
    silent = [
        f"{module.__name__}.{name}"
        for module in modules
        for name in module.__all__
        if callable(value := getattr(module, name)) and not (value.__doc__ or "").strip()
    ]

    assert not silent, "\n".join(silent)


def test_every_record_that_a_survey_saves_has_a_public_name() -> None:
    """`hc.records` offers the record of every table, and its fields say what they ask."""
    for record in hc.records.TABLES.values():
        assert getattr(hc.records, record.__name__) is record
        assert record.__name__ in hc.records.__all__
        assert all(field.description for field in record.model_fields.values())


def test_names_not_yet_used_are_listed_all_the_same() -> None:
    """Completion in a notebook offers every public name, though none has been imported yet."""
    listed = run_python("import heritagecheck; print(*dir(heritagecheck))").split()

    assert set(hc.__all__) - set(listed) == {"__version__"}


def test_unknown_name_is_refused_in_plain_words() -> None:
    """A misspelt name says that the package has no such name."""
    with pytest.raises(AttributeError, match=r"No heritagecheck attribute asess"):
        _ = hc.asess


def test_import_alone_loads_nothing_heavy() -> None:
    """`import heritagecheck` is instant: what computes or draws is loaded when first asked for."""
    code = "import sys, heritagecheck; print(*sorted({name.split('.')[0] for name in sys.modules}))"
    loaded = set(run_python(code).split())

    assert (
        loaded & {"colour", "matplotlib", "numpy", "pandas", "pydantic", "scipy", "sklearn"}
        == set()
    )


def test_a_card_without_photographs_loads_neither_tables_nor_photographs() -> None:
    """What fills a card of a zone loads no pandas, and nothing that measures photographs."""
    code = "import sys, heritagecheck.documents.zone_sheet; print(*sys.modules)"
    loaded = set(run_python(code).split())

    assert "heritagecheck.figures.elevation" in loaded
    assert loaded & {"pandas", "heritagecheck.evidence.photograph"} == set()


# -- The way of the imports --------------------------------------------------------------------

# From the ground up. A module may import from its own storey and from those below it.
STOREYS = (
    (
        "answer_cache",
        "cards",
        "errors",
        "progress",
        "sentence_table",
        "sentences",
        "tables",
        "whole_file",
    ),
    ("survey",),
    ("evidence",),
    ("judgement",),
    ("figures",),
    ("documents",),
    ("screens", "cli", "__main__"),
)
LEVEL = {part: level for level, parts in enumerate(STOREYS) for part in parts}
FRONT_DOOR = "heritagecheck"  # it only names; nothing but the top storey goes in by it
COMPUTING = ("heritagecheck.evidence", "heritagecheck.judgement")


def modules_of(package: Path) -> dict[str, Path]:
    """Every module below a package folder by its dotted name; of a door the stub that lists it."""
    found = {}
    for path in sorted(package.rglob("*.py")):
        parts = path.relative_to(package.parent).with_suffix("").parts
        stub = path.with_suffix(".pyi")
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = (
            stub if stub.is_file() else path
        )
    return found


def imports_in(name: str, path: Path) -> Iterator[str]:
    """All that a module imports, wherever in it: at the top, for types only, inside a function."""
    package = name if path.stem == "__init__" else name.rpartition(".")[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                base = importlib.util.resolve_name("." * node.level + base, package)
            yield from (f"{base}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("import_module"):
            yield from (
                str(ast.literal_eval(each)) for each in node.args if isinstance(each, ast.Constant)
            )


def import_graph(modules: dict[str, Path]) -> dict[str, set[str]]:
    """For each module the modules of the same package that it imports; the front door left out."""
    graph: dict[str, set[str]] = {}
    for name, path in modules.items():
        if name == FRONT_DOOR:
            continue
        graph[name] = set()
        for target in imports_in(name, path):
            if target == f"{FRONT_DOOR}.__version__" or target.split(".")[0] != FRONT_DOOR:
                continue
            while target not in modules:
                target = target.rpartition(".")[0]  # noqa: PLW2901  (a name inside that module)
            graph[name].add(target)
    return graph


def level_of(name: str) -> int:
    """Storey of a module, counted from the ground; the front door lies with the top one."""
    return len(STOREYS) - 1 if name == FRONT_DOOR else LEVEL[name.split(".")[1]]


def circle_in(graph: dict[str, set[str]]) -> list[str]:
    """One circle of imports, as the way round it; empty where there is none."""
    clear: set[str] = set()

    def walk(name: str, way: list[str]) -> list[str]:
        if name in way:
            return [*way[way.index(name) :], name]
        if name not in clear:
            for target in sorted(graph.get(name, ())):
                if found := walk(target, [*way, name]):
                    return found
            clear.add(name)
        return []

    return next((found for name in sorted(graph) if (found := walk(name, []))), [])


def test_every_module_stands_in_a_storey() -> None:
    """A new folder or file at the top of the package needs a place in the order."""
    tops = {name.split(".")[1] for name in modules_of(PACKAGE) if name != FRONT_DOOR}

    assert tops - set(LEVEL) == set()


def test_imports_run_downwards_only() -> None:
    """Nothing that records, measures or judges knows the pages and screens that show it."""
    upward = [
        f"{name} imports {target}"
        for name, targets in import_graph(modules_of(PACKAGE)).items()
        for target in sorted(targets)
        if level_of(target) > level_of(name)
    ]

    assert not upward, "\n".join(upward)


def test_imports_run_in_no_circle() -> None:
    """Every module can be read before those that use it."""
    assert circle_in(import_graph(modules_of(PACKAGE))) == []


def test_upward_and_circular_imports_would_be_seen(tmp_path: Path) -> None:
    """The two tests above find a late import upwards, an import for types, and a circle."""
    texts = {
        "__init__": "from heritagecheck.screens.card import show",
        "survey/__init__": "",
        "survey/survey": "if TYPE_CHECKING:\n    from ..evidence import colour",
        "evidence/__init__": "",
        "evidence/colour": "def late():\n  from heritagecheck import plan\n  from . import trials",
        "evidence/trials": "from .colour import late\nfrom heritagecheck import __version__",
        "screens/__init__": "",
        "screens/card": "import heritagecheck as hc",
    }
    for name, text in texts.items():
        path = tmp_path / "heritagecheck" / f"{name}.py"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")

    graph = import_graph(modules_of(tmp_path / "heritagecheck"))

    assert graph["heritagecheck.survey.survey"] == {"heritagecheck.evidence.colour"}
    assert graph["heritagecheck.evidence.colour"] == {FRONT_DOOR, "heritagecheck.evidence.trials"}
    assert graph["heritagecheck.screens.card"] == {FRONT_DOOR}
    assert circle_in(graph) == [
        "heritagecheck.evidence.colour",
        "heritagecheck.evidence.trials",
        "heritagecheck.evidence.colour",
    ]


def test_computing_knows_no_widget_page_or_database() -> None:
    """What measures and judges takes records and gives records, whatever shows or stores them."""
    foreign = {"IPython", "ipywidgets", "jinja2", "matplotlib", "openpyxl", "sqlalchemy", "sqlite3"}
    known = [
        f"{name} imports {target}"
        for name, path in modules_of(PACKAGE).items()
        if name.startswith(COMPUTING)
        for target in imports_in(name, path)
        if target.split(".")[0] in foreign
    ]

    assert not known, "\n".join(known)


def test_computing_reads_no_file() -> None:
    """Files are read in the survey's storey; a sum that opened one would hide what it rests on."""
    modules = {"csv", "io", "pathlib", "tempfile", "zipfile"}
    calls = re.compile(
        r"(^|\.)(open|read_(bytes|csv|excel|json|text)|write_(bytes|text)|to_(csv|excel))$"
    )
    reading = []
    for name, path in modules_of(PACKAGE).items():
        if not name.startswith(COMPUTING):
            continue
        reading += [
            f"{name} imports {each}"
            for each in imports_in(name, path)
            if each.split(".")[0] in modules
        ]
        reading += [
            f"{name}, line {node.lineno}: {ast.unparse(node)}"
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call) and calls.search(ast.unparse(node.func))
        ]

    assert not reading, "\n".join(reading)


# -- The small install -------------------------------------------------------------------------


def closure(wanted: Iterable[str]) -> set[str]:
    """Names of the installed distributions that these requirements bring, one through another."""
    found: set[str] = set()
    seen: set[tuple[str, str]] = set()
    waiting = [Requirement(each) for each in wanted]
    while waiting:
        requirement = waiting.pop()
        name = canonicalize_name(requirement.name)
        for extra in ("", *requirement.extras):
            if (name, extra) in seen:
                continue
            seen.add((name, extra))
            found.add(name)
            for text in importlib.metadata.requires(name) or ():
                further = Requirement(text)
                if further.marker is None or further.marker.evaluate({"extra": extra}):
                    waiting.append(further)
    return found


def core() -> set[str]:
    """Distributions that a plain `pip install heritagecheck` brings."""
    return closure(project()["dependencies"])


def with_extras() -> set[str]:
    """Distributions that `pip install heritagecheck` with every extra brings."""
    extras = project()["optional-dependencies"]
    return closure([*project()["dependencies"], f"heritagecheck[{','.join(sorted(extras))}]"])


# Run at the start of a fresh interpreter: modules of packages outside the core are not found.
CORE_ONLY = """
import importlib.machinery, json, sys

hidden = set(json.loads(sys.argv[1]))

class CoreOnly(importlib.machinery.PathFinder):
    @classmethod
    def find_spec(cls, name, path=None, target=None):
        return None if name.split(".")[0] in hidden else super().find_spec(name, path, target)

sys.meta_path[sys.meta_path.index(importlib.machinery.PathFinder)] = CoreOnly
"""


def run_core_only(code: str, *arguments: str) -> str:
    """Run code as in an install without extras and return what it printed."""
    kept = {*core(), "heritagecheck"}
    hidden = [
        module
        for module, names in importlib.metadata.packages_distributions().items()
        if not kept & {canonicalize_name(name) for name in names}
    ]
    return run_python(CORE_ONLY + code, json.dumps(hidden), *arguments)


def test_hiding_the_extras_hides_them() -> None:
    """The interpreter used below really lacks the widgets and really has the tables."""
    code = """
import pandas
try:
    import ipywidgets
except ModuleNotFoundError as missing:
    print(missing)
"""
    assert run_core_only(code) == "No module named 'ipywidgets'\n"


@pytest.mark.long
def test_main_job_needs_no_extra(tmp_path: Path) -> None:
    """
    The example is opened, assessed and reported in an install without extras.

    All its zones are assessed; one of each outcome is reported, which takes a fifth of the time.
    """
    code = """
import heritagecheck as hc
survey = hc.demo_survey()
print(len(hc.assess(survey).table))
some = hc.assess(survey, zones=json.loads(sys.argv[2]))
print(*(path.name for path in hc.write_report(some, sys.argv[3])))
"""
    zones, written = run_core_only(code, json.dumps(ZONES), str(tmp_path)).splitlines()
    page = (tmp_path / "report.html").read_text(encoding="utf-8")

    assert int(zones) >= 48
    assert written == "report.html report.pdf report-records.pdf"
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF")
    assert re.findall(r'id="sheet-(\w+)"', page) == ZONES


def test_what_needs_an_extra_says_which() -> None:
    """Asking for a widget without the widgets' package tells the command that brings it."""
    code = """
import heritagecheck as hc
assessment = hc.assess(hc.demo_survey(), zones=["N04"])
try:
    hc.zone_card(assessment, "N04")
except ImportError as missing:
    print(missing)
"""
    assert "pip install 'heritagecheck[lab]'" in run_core_only(code)


# -- Lists that must agree ---------------------------------------------------------------------


def test_code_is_checked_for_the_oldest_python() -> None:
    """By mypy, whichever Python runs it: names of later releases are refused; ruff reads syntax."""
    oldest = tomllib.loads(read("pyproject.toml"))["tool"]["mypy"]["python_version"]

    assert project()["requires-python"].startswith(f">={oldest},")


def test_conda_list_agrees_with_pyproject() -> None:
    """environment.yml names the six packages of the design card, unpinned and known to pip too."""
    text = read("environment.yml")
    listed = dict(re.findall(r"^  - ([a-z][\w-]*)([^:\n]*)$", text, re.MULTILINE))
    extras = project()["optional-dependencies"]
    asked = {
        canonicalize_name(Requirement(each).name)
        for group in (project()["dependencies"], *extras.values())
        for each in group
    }
    six = {"colour-science", "ipywidgets", "jupyterlab", "nbval", "pandas", "scikit-learn"}

    assert set(listed) - {"conda-forge", "python", "pip"} == six
    assert {name: listed[name] for name in six} == dict.fromkeys(six, "")
    assert six - asked == set()
    assert listed["python"] == project()["requires-python"]
    assert "  - pip:\n      - -e .[dev]\n" in text
    assert re.findall(r"^channels:\n((?:  - .*\n)+)", text, re.MULTILINE) == ["  - conda-forge\n"]


def test_constraints_are_names_and_versions_only() -> None:
    """constraints.txt pins what pyproject.toml asks for, in order, and names no address."""
    lines = read("constraints.txt").splitlines()
    pinned = {canonicalize_name(line.split("==")[0]) for line in lines}
    odd = [line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.+!]+", line)]

    assert not odd, "\n".join(odd)
    assert lines == sorted(lines, key=str.upper)
    assert with_extras() - pinned - {"heritagecheck"} == set(), "run `make constraints`"


def makefile() -> dict[str, list[str]]:
    """Targets of the Makefile, each with its commands as one would type them."""
    targets: dict[str, list[str]] = {}
    for line in read("Makefile").splitlines():
        if start := re.match(r"([\w./-]+):(?!=)(?! export)", line):
            commands = targets.setdefault(start[1], [])
        elif line.startswith("\t"):
            commands.append(as_typed(line))
    return targets


def steps_of(target: str) -> list[str]:
    """Commands of a target, those included that it has others run side by side."""
    targets = makefile()
    found = []
    for command in targets[target]:
        others = command.removeprefix("$(TOGETHER) ")
        if others == command:
            found.append(command)
        else:
            found += [step for other in others.split() for step in steps_of(other)]
    return found


def as_typed(command: str) -> str:
    """Strip from a command what may differ: where it lies, how quiet it is, its comment."""
    for given, typed in (
        ("$(PIP_INSTALL)", "-m pip install"),
        ("$(PINS)", "-c constraints.txt"),
        ("$(PYTHON)", "python"),
        ("python3", "python"),
    ):
        command = command.replace(given, typed)
    command = re.sub(r"\$\(BIN\)/|\S*\.venv/bin/|--quiet|--disable-pip-version-check", "", command)
    command = re.sub(r"^(?:\w+=\S+ )+|\s+#.*$", "", command.strip("\t @"))
    return " ".join(command.split())


def readme_code() -> list[str]:
    """Lines of the README's code, in blocks and in running text."""
    text = read("README.md")
    blocks = re.findall(r"^```\w*\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    inline = re.findall(
        r"`([^`\n]+)`", re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    )
    return [
        as_typed(line.removeprefix("$ "))
        for part in (*blocks, *inline)
        for line in part.splitlines()
    ]


def test_readme_names_only_targets_that_exist() -> None:
    """Each `make …` of the README works, and the two that a newcomer needs are there."""
    named = {target for line in readme_code() for target in re.findall(r"\bmake ([a-z]+)", line)}

    assert named - set(makefile()) == set()
    assert {"demo", "test"} - named == set()


def test_readme_gives_the_same_steps_without_make() -> None:
    """Who has no make types what the Makefile would: install, report, checks, notebooks."""
    targets = makefile()
    sizes = [line for size in ("demo", "lab", "ready") for line in targets[f".venv/{size}"]]
    install = [line for line in sizes if "-c constraints.txt" in line]
    steps = ["python -m venv .venv", *install, *targets["demo"], *steps_of("test")]
    given = readme_code()
    missing = [step for step in steps if step not in given]

    assert len(steps) == 11, steps
    assert not missing, "\n".join(missing)


def test_every_target_explains_itself() -> None:
    """`make help` lists every target that one may call."""
    called = re.findall(r"^\.PHONY: (.*)$", read("Makefile"), re.MULTILINE)[0].split()
    explained = re.findall(r"^([a-z-]+):.*  ## \S", read("Makefile"), re.MULTILINE)

    assert sorted(explained) == sorted(called)


def test_no_test_falls_between_the_two_tiers() -> None:
    """`make test-long` runs whatever the default leaves out, so that no mark can hide a test."""
    usual = tomllib.loads(read("pyproject.toml"))["tool"]["pytest"]["ini_options"]["addopts"]

    assert [option for option in usual if option.startswith("-m")] == ["-m=not long"]
    assert '-m "long or hypothesis" --hypothesis-profile=long\n' in read("Makefile")


def test_ci_runs_both_tiers() -> None:
    """The machine that checks a change leaves nothing out, and any fault stops it."""
    script = read(".ci/run")
    *looks, tests, notebooks = steps_of("test-all")

    assert script.startswith("#!/usr/bin/env bash\n")
    assert "\nset -euo pipefail\n" in script
    assert "make test-all" in script.splitlines()[-1]
    assert looks == steps_of("test")[:-2] == ["ruff format --check", "ruff check", "mypy"]
    assert notebooks == steps_of("test")[-1]
    assert tests.endswith('-m "not small" --hypothesis-profile=long')
    # What it leaves out stands beside a larger one: nothing else gives that mark.
    tests_of_ours = (ROOT / "tests").rglob("*.py")
    marked = [path.name for path in tests_of_ours if re.search(r"mark\.small", read(str(path)))]
    assert marked == ["tiers.py"]


# -- Licences ----------------------------------------------------------------------------------

# Licences that ask for no more than a notice, as SPDX writes them.
PERMISSIVE = {
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "CC0-1.0",
    "HPND",
    "ISC",
    "MIT",
    "MIT-0",
    "MIT-CMU",
    "PSF-2.0",
    "Python-2.0",
    "Unlicense",
    "Zlib",
}

# The same licences as package metadata also spells them.
SPELLINGS = {
    "Apache 2.0": "Apache-2.0",
    "Apache License, Version 2.0": "Apache-2.0",
    "Apache Software License": "Apache-2.0",
    "BSD License": "BSD",
    "BSD 3-Clause License": "BSD-3-Clause",
    "GNU Lesser General Public License v3 or later (LGPLv3+)": "LGPL-3.0-or-later",
    "Historical Permission Notice and Disclaimer (HPND)": "HPND",
    "ISC License (ISCL)": "ISC",
    "ISC license": "ISC",
    "MIT License": "MIT",
    "MIT license": "MIT",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "PSFL": "PSF-2.0",
    "Python Software Foundation License": "PSF-2.0",
    "The Unlicense (Unlicense)": "Unlicense",
}

# Weak copyleft: its own files stay open, ours are not touched. Used unchanged, in extras only.
# Anything LGPL may join under the same two conditions; GPL and AGPL may not.
WEAK_COPYLEFT_IN_EXTRAS = {
    "axe-playwright-python": "MPL-2.0: carries axe-core, which looks at pages; never shipped",
    "certifi": "MPL-2.0: a list of root certificates, which JupyterLab's server brings",
    "fqdn": "MPL-2.0: checks host names in JupyterLab's event schemas",
    "igor2": "LGPL-3.0-or-later: reads waves of one more instrument for SurfaceTopography",
    "hypothesis": "MPL-2.0: makes examples for our tests; never shipped",
    "pathspec": "MPL-2.0: matches file names for mypy; never shipped",
    "psycopg": "LGPL-3.0-only: speaks to PostgreSQL, for a team's survey",
    "psycopg-binary": "LGPL-3.0-only: the same, ready-built",
    "text-unidecode": "Artistic-1.0-Perl, of two to choose from: never shipped",
}

# Metadata that says nothing usable, and where the licence was read instead.
READ_ELSEWHERE: dict[str, tuple[str, str]] = {
    "axe-playwright-python": ("MIT AND MPL-2.0", "its LICENSE, and the head of its axe.min.js"),
    "numpi": ("MIT", "the licence's text stands in place of its name"),
    "surfacetopography": ("MIT", "the licence's text stands in place of its name"),
    # It comes with the validator of data packages, for our tests; never shipped.
    "text-unidecode": (
        "Artistic-1.0-Perl OR GPL-1.0-or-later",
        "README of the distribution: either Artistic License or GPL or GPLv2+, as one chooses",
    ),
}


def stated_licences(name: str) -> list[str]:
    """Read the licence from metadata: its expression, else its classifiers, else its field."""
    metadata = importlib.metadata.metadata(name)
    if name in READ_ELSEWHERE:
        return [READ_ELSEWHERE[name][0]]
    if expression := metadata.get("License-Expression"):
        return [expression]
    classifiers = [
        each.rpartition(" :: ")[2]
        for each in metadata.get_all("Classifier") or ()
        if each.startswith("License ::") and not each.endswith(":: OSI Approved")
    ]
    return classifiers or [metadata.get("License") or "none stated"]


def permits(expression: str, allowed: set[str]) -> bool:
    """Whether a licence expression leaves a way that uses allowed licences only."""
    expression = SPELLINGS.get(expression, expression)
    while inner := re.search(r"\(([^()]*)\)", expression):
        verdict = "MIT" if permits(inner[1], allowed) else "refused"
        expression = expression.replace(inner[0], verdict)
    return any(
        all(SPELLINGS.get(term, term) in allowed for term in choice.split(" AND "))
        for choice in expression.split(" OR ")
    )


def refused(names: Iterable[str], allowed: set[str] = PERMISSIVE) -> list[str]:
    """Name those distributions whose licence is not allowed, each with what it states."""
    stated = {name: stated_licences(name) for name in sorted(names)}
    return [
        f"{name}: {'; '.join(licences)[:80]}"
        for name, licences in stated.items()
        if not all(permits(each, allowed) for each in licences)
    ]


def test_core_dependencies_are_permissive() -> None:
    """Whoever installs the package takes on nothing but notices."""
    assert "\n".join(refused(core())) == ""


def test_extra_dependencies_are_permissive_or_explained() -> None:
    """What the extras add is permissive too, or weak copyleft with the reason written here."""
    explained = with_extras() & set(WEAK_COPYLEFT_IN_EXTRAS)
    weak = {
        "Artistic-1.0-Perl",
        "MPL-2.0",
        "LGPL-3.0-only",
        "LGPL-3.0-or-later",
    }

    assert "\n".join(refused(with_extras() - explained)) == ""
    assert "\n".join(refused(explained, PERMISSIVE | weak)) == ""
    assert explained & core() == set()


def test_packages_under_the_lgpl_are_named_in_the_readme() -> None:
    """Whoever passes an environment with an extra on reads there which licence goes with it."""
    extras = set(project()["optional-dependencies"]) - {"dev"}
    brought = closure([f"heritagecheck[{','.join(sorted(extras))}]"]) - {"heritagecheck"}
    lesser = {name for name in brought if "LGPL" in " ".join(
        SPELLINGS.get(each, each) for each in stated_licences(name)
    )}  # fmt: skip
    (said,) = re.findall(r"^Licence: BSD-3-Clause\.\n(.*?)\Z", read("README.md"), re.S | re.M)

    assert lesser
    assert {name for name in lesser if not re.search(rf"\b{name}\b(?!-)", said)} == set()


# Libraries under the LGPL that ready-built files carry beside their own licence.
CARRIED = {"libgeos": "GEOS", "libquadmath": "libquadmath"}


def test_libraries_under_the_lgpl_in_the_plain_install_are_named_in_the_readme() -> None:
    """A permissive package may be built with one; its own licence does not say so."""
    (said,) = re.findall(r"^Licence: BSD-3-Clause\.\n(.*?)\Z", read("README.md"), re.S | re.M)
    held = {
        (name, library)
        for name in core()
        for file in importlib.metadata.files(name) or ()
        for part, library in CARRIED.items()
        if file.name.startswith(part)
    }

    assert {
        one for one in held if not {one[0], one[1]} <= set(re.findall(r"[\w-]+", said))
    } == set()
    assert all(library in said for library in CARRIED.values())


@pytest.mark.parametrize(
    ("expression", "answer"),
    [
        ("MIT", True),
        ("MIT License", True),
        ("BSD-3-Clause AND 0BSD AND MIT AND Zlib AND CC0-1.0", True),
        ("Apache-2.0 OR GPL-3.0-or-later", True),
        ("MIT AND (Apache-2.0 OR GPL-2.0-only)", True),
        ("MIT AND GPL-3.0-or-later", False),
        ("MIT AND (MPL-2.0 OR GPL-2.0-only)", False),
        ("LGPL-3.0-only", False),
        ("GNU Affero General Public License v3", False),
        ("none stated", False),
    ],
)
def test_licence_rule_reads_compound_expressions(expression: str, answer: bool) -> None:
    """Every part joined by AND must pass; of parts joined by OR one is enough."""
    assert permits(expression, PERMISSIVE) is answer


# -- Notebooks ---------------------------------------------------------------------------------


def code_cells(path: Path) -> list[tuple[str, dict[str, Any]]]:
    """Code cells of a notebook, each with its place in words."""
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return [
        (f"{path.name}, cell {number}", {**cell, "source": "".join(cell["source"])})
        for number, cell in enumerate(cells, start=1)
        if cell["cell_type"] == "code"
    ]


def all_code_cells() -> list[tuple[str, dict[str, Any]]]:
    """Code cells of all notebooks; there is at least one notebook."""
    assert NOTEBOOKS, "notebooks/ holds no notebook"
    return [cell for path in NOTEBOOKS for cell in code_cells(path)]


def test_first_notebook_leads_to_every_other() -> None:
    """Whoever begins there finds each by the question that it answers."""
    first, *others = NOTEBOOKS
    words = first.read_text(encoding="utf-8")

    assert [path.stem for path in others if f"- `{path.stem}`: " not in words] == []


def test_notebooks_carry_no_output_but_what_is_checked() -> None:
    """A cell keeps its output only where `make test` compares it, and there it must have one."""
    faults = [
        where
        for where, cell in all_code_cells()
        if bool(cell["outputs"]) is not ("nbval-check-output" in cell["metadata"].get("tags", ()))
    ]

    assert not faults, "run `make tidy`: " + "; ".join(faults)


def load_tidying() -> ModuleType:
    """Load tools/tidy_notebooks.py, which lies outside the package."""
    path = ROOT / "tools" / "tidy_notebooks.py"
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_tidying_the_notebooks_would_change_nothing() -> None:
    """Every notebook lies here as `make tidy` leaves it: a change to it is a change of words."""
    tidying = load_tidying()
    untidy = [
        path.name
        for path in NOTEBOOKS
        if (text := path.read_text(encoding="utf-8"))
        != tidying.as_text(tidying.tidy(json.loads(text)))
    ]

    assert not untidy, "run `make tidy`: " + "; ".join(untidy)


CHECKED = {"tags": ["nbval-check-output"]}


def test_tidying_keeps_words_ids_and_checked_results() -> None:
    """Outputs, counters and noise go; a checked result stays; a second run changes nothing."""
    tidying = load_tidying()
    result = {
        "output_type": "execute_result",
        "execution_count": 7,
        "metadata": {"noise": 1},
        "data": {
            "text/plain": ["48"],
            "application/vnd.jupyter.widget-view+json": {"model_id": "x"},
        },
    }
    code = {
        "cell_type": "code",
        "execution_count": 7,
        "outputs": [result],
        "metadata": {"scrolled": True},
    }
    notebook = {
        "nbformat": 4,
        "nbformat_minor": 2,
        "metadata": {"widgets": {"state": {}}},
        "cells": [
            {"cell_type": "markdown", "id": "top", "metadata": {}, "source": "# Clean it?"},
            {**code, "id": "shown", "source": "len(survey.zones)"},
            {**code, "id": "shown", "metadata": CHECKED, "source": "len(survey.zones)"},
        ],
    }

    tidied = tidying.tidy(notebook)
    heading, shown, checked = tidied["cells"]

    assert tidying.tidy(tidied) == tidied
    assert "widgets" not in tidied["metadata"]
    assert heading == {**notebook["cells"][0], "source": ["# Clean it?"]}
    assert (shown["id"], shown["outputs"], shown["execution_count"]) == ("shown", [], None)
    assert shown["metadata"] == {"jupyter": {"source_hidden": True}}
    assert checked["id"] not in {"top", "shown"}
    assert checked["outputs"][0]["data"] == {"text/plain": ["48"]}
    assert checked["execution_count"] == checked["outputs"][0]["execution_count"] == 1


def test_notebooks_import_the_package_and_nothing_else() -> None:
    """A conservator meets one import; anything more would show what the package lacks."""
    imports = [
        (path.name, ast.unparse(node))
        for path in NOTEBOOKS
        for _, cell in code_cells(path)
        for node in ast.walk(ast.parse(cell["source"]))
        if isinstance(node, ast.Import | ast.ImportFrom)
    ]

    assert imports == [(path.name, "import heritagecheck as hc") for path in NOTEBOOKS]


def test_notebook_cells_are_short_and_plain() -> None:
    """No cell is longer than five lines, and none defines or repeats anything."""
    not_plain = {
        *(ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda),
        *(ast.For, ast.AsyncFor, ast.While, ast.comprehension),
    }
    faults = []
    for where, cell in all_code_cells():
        kinds = {type(node) for node in ast.walk(ast.parse(cell["source"]))}
        length = len(cell["source"].splitlines())
        faults += [f"{where}: {kind.__name__}" for kind in kinds & not_plain]
        faults += [f"{where}: {length} lines"] if length > 5 else []

    assert not faults, "\n".join(faults)


# -- What documents name -----------------------------------------------------------------------

PROSE = [
    *(ROOT / name for name in ("README.md", "DEVELOPERS.md", "benchmarks/README.md")),
    *sorted((ROOT / "docs").glob("*.md")),
    *sorted((ROOT / "tests").rglob("README.md")),
    *NOTEBOOKS,
]
FOLDERS = ("benchmarks", "data", "docs", "heritagecheck", "notebooks", "tests", "tools")


def prose(path: Path) -> str:
    """What is written in a document, or in a notebook between its cells of code."""
    text = path.read_text(encoding="utf-8")
    if path.suffix != ".ipynb":
        return text
    cells = json.loads(text)["cells"]
    return "\n\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "markdown")


def paths_named(text: str) -> Iterator[tuple[str, str]]:
    """Each path or module that a text names, and the folder that its line named last."""
    tops = {*FOLDERS, *(path.name for path in PACKAGE.iterdir() if path.is_dir())}
    for line in text.splitlines():
        folder = ""
        for found in re.findall(r"(?<![\w./…-])[\w./*-]*\w(?:/|(?=[^\w/]|$))", line):
            if found.split("/")[0] in tops and "/" in found:
                folder = found if found.endswith("/") else found.rpartition("/")[0]
                yield found, ""
            elif re.fullmatch(r"\w+\.pyi?", found):
                yield found, folder


def is_there(name: str, folder: str, modules: set[str]) -> bool:
    """Whether a path begins at the project's top or the package's; a module lies in its folder."""
    if "/" not in name and not folder:
        return name in modules
    within = (top / part for top in (ROOT, PACKAGE) for part in {folder, "."})
    return any(next(place.glob(name.rstrip("/")), None) for place in within)


def test_every_path_that_a_document_names_exists() -> None:
    """README, DEVELOPERS, docs, and notebooks name modules and folders where they are."""
    modules = {path.name for top in FOLDERS for path in (ROOT / top).rglob("*.py")}
    lost = [
        f"{path.relative_to(ROOT)}: {folder}{name}"
        for path in PROSE
        for name, folder in paths_named(prose(path))
        if not is_there(name, folder, modules)
    ]
    links = [
        f"{path.relative_to(ROOT)} links to {target}"
        for path in PROSE
        for target in re.findall(r"\]\(([^)#:]+)", prose(path))
        if not (path.parent / target).exists()
    ]

    assert not lost + links, "\n".join(lost + links)


def test_every_public_name_in_a_document_is_public() -> None:
    """What a document writes as `hc.…` can be called so."""
    lost = []
    for path in PROSE:
        for name in re.findall(r"\bhc((?:\.[A-Za-z]\w*)+)", prose(path)):
            holder: object = hc
            for part in name.strip(".").split("."):
                holder = getattr(holder, part, None)
            lost += [f"{path.name}: hc{name}"] if holder is None else []

    assert not lost, "\n".join(lost)


def test_every_name_set_as_code_is_in_the_code() -> None:
    """Functions, fields and constants of DEVELOPERS.md and docs are words of code or tables."""
    files = (path for top in FOLDERS for path in (ROOT / top).rglob("*.py"))
    code = {word for path in files for word in re.findall(r"\w+", path.read_text("utf-8"))}
    heads = (path.read_text("utf-8").split("\n")[0] for path in PACKAGE.rglob("*.csv"))
    code.update(re.findall(r"\w+", " ".join(heads) + read("pyproject.toml") + read("Makefile")))
    no_code = re.compile(r".*\.(?:md|txt|toml|csv)")
    lost = [
        f"{path.name}: {name}"
        for path in (ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md"))
        for name in re.findall(r"`@?([A-Za-z_][\w.]*\w)`", prose(path))
        if not no_code.fullmatch(name) and set(name.split(".")) - code
    ]

    assert not lost, "\n".join(lost)


# -- Words and addresses -----------------------------------------------------------------------


def package_texts(*suffixes: str) -> Iterator[tuple[str, str]]:
    """Text files of the package, each with its name; of all kinds unless suffixes are given."""
    for path in sorted(PACKAGE.rglob("*")):
        if not path.is_file() or "__pycache__" in path.parts:
            continue
        if suffixes and path.suffix not in suffixes:
            continue
        try:
            yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue  # a picture or an archive


def lines_with(pattern: re.Pattern[str], texts: Iterable[tuple[str, str]]) -> list[str]:
    """Every place where the pattern stands: file, line, and the words around it."""
    return [
        f"{name}:{number}: …{line[max(0, found.start() - 40) : found.end() + 40].strip()}…"
        for name, text in texts
        for number, line in enumerate(text.splitlines(), start=1)
        for found in pattern.finditer(line)
    ]


ADDRESS = re.compile(
    r"\b(?:https?|ftp|wss?)://(?!(?:(?:www\.w3\.org|doi\.org)/|127\.0\.0\.1:))|(?<![:\w])//[\w-]+\.[\w.-]+/|\bcdn\b",
    re.IGNORECASE,
)


def test_package_asks_nothing_of_the_network() -> None:
    """Nothing is fetched; the only addresses are namespaces, DOIs and this computer."""
    notebooks = ((path.name, path.read_text(encoding="utf-8")) for path in NOTEBOOKS)
    # A font's licence is kept word for word, and it names its makers' pages.
    ours = (text for text in package_texts() if not text[0].endswith("-OFL.txt"))

    assert "\n".join(lines_with(ADDRESS, ours)) == ""
    assert "\n".join(lines_with(ADDRESS, notebooks)) == ""


# Words that promise more than panels can show. "Make safe" is an urgency, not a promise; a word
# like lead-safe names a way of working; `| safe` is a template filter that no reader sees.
OVERSELLING = re.compile(
    r"\b(?:proven|authori[sz]ed|safely|(?<!\b(?:make|made) )(?<!-)(?<!\| )safe)\b", re.IGNORECASE
)


def test_no_text_oversells_a_method() -> None:
    """Panels show and a tested window holds; nothing is "proven", "authorised" or "safe"."""
    assert "\n".join(lines_with(OVERSELLING, package_texts(".py", ".csv", ".html"))) == ""


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("The laser is safe for this granite.", True),
        ("Can be cleaned safely.", True),
        ("A proven method.", True),
        ("Authorised by the owner.", True),
        ("Make safe: flakes are falling.", False),
        ("Lead-safe working, provenance kept.", False),
        ("{{ drawing | safe }}", False),
    ],
)
def test_overselling_words_are_told_from_plain_ones(text: str, found: bool) -> None:
    """The search finds the promise and leaves the urgency."""
    assert bool(OVERSELLING.search(text)) is found


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("<svg xmlns='http://www.w3.org/2000/svg'>", False),
        ("https://doi.org/10.1000/1", False),
        ("a path like data//quillmere, 5 // 2, a comment // here", False),
        ("<script src='https://example.org/x.js'>", True),
        ("<script src='//fonts.example.org/x.js'>", True),
        ("loaded from a CDN", True),
    ],
)
def test_addresses_are_told_from_namespaces(text: str, found: bool) -> None:
    """The search finds what a browser would fetch and leaves what it would not."""
    assert bool(ADDRESS.search(text)) is found


def test_licence_is_ours() -> None:
    """LICENSE is the 3-clause BSD text, the contributors hold it, and pyproject.toml agrees."""
    text = read("LICENSE")

    assert text.startswith("BSD 3-Clause License\n")
    assert re.search(r"^Copyright \(c\) 20\d\d, heritagecheck contributors$", text, re.MULTILINE)
    assert "3. Neither the name of the copyright holder" in text
    assert project()["license"] == "BSD-3-Clause"


def test_changelog_names_this_version() -> None:
    """Who signs a decision can look up what this version changed."""
    assert re.search(rf"^## .*\b{re.escape(hc.__version__)}\b", read("CHANGELOG.md"), re.MULTILINE)

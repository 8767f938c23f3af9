"""Reads published tables and gives each row to test_published.py as a case of its own."""

import csv
import importlib.util
from collections.abc import Callable
from pathlib import Path

import pytest

HERE = Path(__file__).parent
NEEDED = ("id", "expected", "tolerance")
# Tables of which no row is a test of its own.
BESIDE = {"not_ours.csv", "colour_spectra.csv"}


def load_adapters() -> dict:
    """Adapters by file and quantity; --import-mode=importlib finds no module by its plain name."""
    found = {}
    for path in sorted(HERE.glob("*adapters.py")):
        spec = importlib.util.spec_from_file_location(f"published_{path.stem}", path)
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        found |= module.ADAPTERS
    return found


ADAPTERS = load_adapters()


def read_table(path: Path) -> list[dict[str, str]]:
    """Rows of one CSV file, by column."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def read_not_ours() -> dict[tuple[str, str], str]:
    """Reason why the package does not compute a quantity, by file and quantity."""
    rows = read_table(HERE / "not_ours.csv")
    return {(row["file"], row["quantity"]): row["reason"].strip() for row in rows}


def published_folder(config: pytest.Config) -> Path:
    """Folder of the tables: the one asked for, else the project's own."""
    asked = config.getoption("--published")
    return HERE if asked is None else config.invocation_params.dir / asked


def tables_in(folder: Path) -> tuple[list[Path], list[str]]:
    """Tables with adapters, and names of those without; a folder that tests nothing is an error."""
    if not folder.is_dir():
        raise pytest.Collector.CollectError(f"--published: {folder} is not a folder.")
    found = sorted(path for path in folder.glob("*.csv") if path.name not in BESIDE)
    if not found:
        raise pytest.Collector.CollectError(f"--published: {folder} holds no table (*.csv).")
    known = [path for path in found if path.name in ADAPTERS]
    if not known:
        names = ", ".join(path.name for path in found)
        raise pytest.Collector.CollectError(
            f"--published: no file in {folder} has adapters. There: {names}. "
            f"Known: {', '.join(ADAPTERS)}."
        )
    return known, [path.name for path in found if path.name not in ADAPTERS]


def rows_of(path: Path) -> list[dict[str, str]]:
    """Rows of a table with adapters, and its folder; one that cannot be tested is an error."""
    rows = [row | {"folder": str(path.parent)} for row in read_table(path)]
    if not rows:
        raise pytest.Collector.CollectError(f"{path} holds no rows.")
    missing = [name for name in NEEDED if name not in rows[0]]
    if missing:
        raise pytest.Collector.CollectError(f"{path} has no column {', '.join(missing)}.")
    return rows


def rows_in(folder: Path) -> list[tuple[str, dict[str, str]]]:
    """File name and row, for every row of every table with adapters."""
    tables, _ = tables_in(folder)
    return [(path.name, row) for path in tables for row in rows_of(path)]


@pytest.fixture
def read_folder() -> Callable[[Path], list]:
    """Reader of a folder, for the tests of the harness itself."""
    return rows_in


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """One case a row, named file.csv::id."""
    if "published_row" not in metafunc.fixturenames:
        return
    not_ours = read_not_ours()
    cases = [
        pytest.param(file, row, not_ours, ADAPTERS[file], id=f"{file}::{row['id']}")
        for file, row in rows_in(published_folder(metafunc.config))
    ]
    metafunc.parametrize(("file", "published_row", "not_ours", "adapters"), cases)


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Name the tables that were left aside for want of adapters."""
    try:
        _, ignored = tables_in(published_folder(config))
    except pytest.Collector.CollectError:
        return
    if ignored:
        terminalreporter.write_line(
            f"published: no adapters for {len(ignored)} of the tables, so not tested: "
            + ", ".join(ignored)
        )

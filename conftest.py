"""What every test run knows: the two options of our own, and hypothesis without chance."""

import gc
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from heritagecheck import answer_cache

# `make test` tries the first fifty examples of a property, `make test-long` all eighty.
settings.register_profile("short", derandomize=True, max_examples=50, deadline=None)
settings.register_profile("long", derandomize=True, max_examples=80, deadline=None)
settings.load_profile("short")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options that point the tests at tables or cases from elsewhere."""
    group = parser.getgroup("heritagecheck")
    group.addoption(
        "--published",
        metavar="FOLDER",
        default=None,
        help="a folder of published tables in the form of tests/published/README.md",
    )
    group.addoption(
        "--cases",
        metavar="FILE",
        default=None,
        help="a file of guidance cases in the form of tests/guidance/README.md",
    )


def pytest_sessionstart() -> None:
    """Forget which zone was chosen in our notebooks last: what they say depends on it."""
    Path(__file__).with_name("notebooks").joinpath(".chosen.json").unlink(missing_ok=True)


def pytest_collection_finish() -> None:
    """Look for rubbish more rarely, and not among the tests: it took a twentieth of the time."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


@pytest.fixture(scope="session", autouse=True)
def nothing_kept() -> Iterator[None]:
    """Work out each answer anew: none of an earlier run, none of a test that changes the code."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(answer_cache, "cache_folder", lambda: None)
        yield

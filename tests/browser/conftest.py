"""Chromium and the checks of accessibility for the tests of this folder, or why they lack."""

import importlib.util
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import MissingToolError, chromium


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """
    Give Chromium.

    Whoever lacks it may still run the other tests, but a change is never checked without it.
    """
    try:
        with chromium() as started:
            yield started
    except MissingToolError as missing:
        if os.environ.get("CI"):
            pytest.fail(str(missing), pytrace=False)
        pytest.skip(str(missing))


@pytest.fixture(scope="module")
def axe() -> str:
    """Give the checks of accessibility by axe, as a script; a change is never checked without."""
    found = importlib.util.find_spec("axe_playwright_python")
    if found is None or found.origin is None:
        missing = "axe is missing: pip install -c constraints.txt -e '.[dev]'."
        if os.environ.get("CI"):
            pytest.fail(missing, pytrace=False)
        pytest.skip(missing)
    return (Path(found.origin).parent / "axe.min.js").read_text("utf-8")

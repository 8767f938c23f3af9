"""Starts Chromium for the tests of this folder, or says why it can't."""

import os
from collections.abc import Iterator
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

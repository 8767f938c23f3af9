"""Gives each guidance case to test_guidance.py as a test of its own."""

from pathlib import Path

import pytest
from guidance_form import CaseError, read_cases

HERE = Path(__file__).parent


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Make one test of each case, of the file asked for or of the project's own."""
    if "case" not in metafunc.fixturenames:
        return
    asked = metafunc.config.getoption("--cases")
    paths = (
        [HERE / f"{name}_cases.csv" for name in ("guidance", "more", "layers_lead")]
        if asked is None
        else [metafunc.config.invocation_params.dir / asked]
    )
    try:
        cases = [case for path in paths for case in read_cases(path)]
    except CaseError as error:
        raise pytest.UsageError(f"--cases: {error}") from error
    metafunc.parametrize("case", cases, ids=[case["case_id"] for case in cases])

"""Gives each guidance case to test_guidance.py as a test of its own."""

from pathlib import Path

import pytest
from guidance_form import CaseError, read_cases

HERE = Path(__file__).parent
OWN = (
    "guidance_cases.csv", "more_cases.csv", "layers_lead_cases.csv", "blind_cases.csv",
    "below_x50_cases.csv", "urgent_cases.csv",
)  # fmt: skip
# Blind cases that disagree, and why; README.md tells more. One that agrees again must leave.
DISAGREES = {
    "B32": "treating does less harm in 64 % of simulations, and 90 % are required: a pale tag "
    "harms appearance by 8 (plainly at odds), not by 10 (form can no longer be read), even weights",
}


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Make one test of each case, of the file asked for or of the project's own."""
    if "case" not in metafunc.fixturenames:
        return
    asked = metafunc.config.getoption("--cases")
    paths = (
        [HERE / name for name in OWN]
        if asked is None
        else [metafunc.config.invocation_params.dir / asked]
    )
    try:
        cases = [case for path in paths for case in read_cases(path)]
    except CaseError as error:
        raise pytest.UsageError(f"--cases: {error}") from error
    known = DISAGREES if asked is None else {}
    metafunc.parametrize(
        "case",
        [
            pytest.param(
                case,
                marks=[pytest.mark.xfail(strict=True, reason=known[case["case_id"]])]
                if case["case_id"] in known
                else [],
            )
            for case in cases
        ],
        ids=[case["case_id"] for case in cases],
    )

"""Cases for the tests of gates and precaution: a clean guidance case, altered."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from guidance_form import listing_beds, pairs, read_cases, rows_of_case

import heritagecheck as hc
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.survey.places import build

GUIDANCE = Path(__file__).parent.parent / "guidance" / "guidance_cases.csv"
Rows = dict[str, list[dict[str, Any]]]


def altered(text: str, changes: dict[str, str | None]) -> str:
    """Give ``name=value; name=value`` with some values changed; None takes one away."""
    values = {**pairs(text or "", "altered case"), **changes}
    return "; ".join(f"{name}={value}" for name, value in values.items() if value is not None)


@pytest.fixture(scope="session")
def rows() -> Callable[..., Rows]:
    """Give plain rows of a guidance case with columns, findings and panel values changed."""
    cases = {case["case_id"]: case for case in read_cases(GUIDANCE)}

    def give(
        code: str,
        *,
        findings: dict[str, str | None] | None = None,
        panels: dict[str, str | None] | None = None,
        **columns: str,
    ) -> Rows:
        case = cases[code] | columns
        case["findings"] = altered(case["findings"], findings or {})
        case["panels"] = altered(case["panels"], panels or {}) if panels != {} else ""
        return rows_of_case(case)

    return give


@pytest.fixture(scope="session")
def judged(rows: Callable[..., Rows]) -> Callable[..., Recommendation]:
    """Give the recommendation for a guidance case so changed; plain rows are taken as well."""

    def give(code: str | Rows, **changes: Any) -> Recommendation:
        raw = rows(code, **changes) if isinstance(code, str) else code
        return hc.assess(build(listing_beds(raw))).recommendations[0]

    return give

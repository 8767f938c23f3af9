"""Every row of every published table, against what the package gives for its inputs."""

import math
from pathlib import Path

import pytest


def test_published_value(file, published_row, not_ours, adapters):
    """The package gives the printed value, to within the row's own tolerance."""
    quantity = published_row.get("quantity") or Path(file).stem
    if left_out := (published_row.get("left_out") or "").strip():
        pytest.skip(f"left out: {left_out}")
    if reason := not_ours.get((file, quantity)):
        pytest.skip(f"not ours: {reason}")
    if quantity not in adapters:
        pytest.fail(
            f"{file} has no adapter for the quantity {quantity!r}. Write one in adapters.py, or "
            "give the reason in not_ours.csv. Known: " + ", ".join(adapters)
        )
    expected, tolerance = published_row["expected"].strip(), published_row["tolerance"].strip()

    value = adapters[quantity](published_row)

    if tolerance == "exact":
        assert str(value) == expected
    else:
        assert 0 <= float(tolerance) < math.inf, f"tolerance = {tolerance} tests nothing"
        assert abs(float(value) - float(expected)) <= float(tolerance)

"""The same survey and seed give the same printed answers, whatever the machine is doing."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest

import heritagecheck as hc

# Prints everything that a report prints, rounded as printed.
PRINT = """
import heritagecheck as hc
found = hc.assess(hc.demo_survey())
print(found.table.round(3).to_csv())
for item in found.recommendations:
    print(item, item.settings, item.conditions, item.candidates)
    print(item.gates_table().to_csv())
    print(item.harm_table().round(3).to_csv())
    for key, test in item.against_leaving.items():
        print(key, test.passed, test.reason, f"{test.expected:.3f} {test.expected_leave:.3f}")
        print({member: round(share, 3) for member, share in test.shares.items()})
"""


def cpu_features() -> str:
    """Features of this processor that numpy would use beyond its baseline, as numpy lists them."""
    from numpy._core import _multiarray_umath as core

    return " ".join(
        name for name in core.__cpu_dispatch__ if core.__cpu_features__.get(name, False)
    )


def printed(**surroundings: str) -> str:
    """Everything printed of all zones by a fresh process in some surroundings."""
    run = subprocess.run(
        [sys.executable, "-c", PRINT],
        env=os.environ | surroundings, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr

    return run.stdout


ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
TWO_THREADS = {"OMP_NUM_THREADS": "2", "OPENBLAS_NUM_THREADS": "2"}


@pytest.fixture(scope="module")
def usual() -> str:
    """What one thread prints."""
    return printed(**ONE_THREAD)


@pytest.fixture(scope="module")
def assessment():
    """The example survey, assessed as a whole."""
    return hc.assess(hc.demo_survey())


@pytest.mark.long
def test_printed_answers_do_not_depend_on_threads_or_the_order_of_hashes(usual: str) -> None:
    """Two threads print what one does; no hash decides in what order a set is walked."""
    assert printed(**TWO_THREADS, PYTHONHASHSEED="1") == usual


@pytest.mark.long
def test_printed_answers_do_not_depend_on_the_processor(usual: str) -> None:
    """Without its special features numpy prints the same digits, with all else changed as well."""
    features = cpu_features()
    if not features:
        pytest.skip("this processor offers numpy nothing beyond its baseline")

    assert printed(**TWO_THREADS, PYTHONHASHSEED="4711", NPY_DISABLE_CPU_FEATURES=features) == usual


def test_a_zone_does_not_depend_on_which_others_are_asked(assessment) -> None:
    """Each zone alone gives its row of the whole, to the last bit."""
    survey = assessment.survey
    for item in assessment.recommendations:
        alone = hc.assess(survey, zones=[item.zone])

        row = assessment.table.query("zone == @item.zone").reset_index(drop=True)
        assert alone.table.to_csv() == row.to_csv()
        assert alone.zone(item.zone).gates == item.gates
        assert alone.zone(item.zone).harm_table().equals(item.harm_table())


def test_the_same_seed_gives_the_same_draws(assessment) -> None:
    """Seed 0 again: the same table and the same harm, to the last bit."""
    again = hc.assess(hc.demo_survey(), seed=0)

    assert again.table.equals(assessment.table)
    for first, second in zip(assessment.recommendations, again.recommendations, strict=True):
        assert first.harm_table().equals(second.harm_table())
        assert first.shares == second.shares


def test_another_seed_moves_the_draws_and_only_a_little(assessment) -> None:
    """The seed is used; what it moves lies within the spread of 4,096 draws."""
    other = hc.assess(hc.demo_survey(), seed=1)
    means = [
        np.concatenate([item.harm_table()["mean"].to_numpy() for item in found.recommendations])
        for found in (assessment, other)
    ]

    assert not np.array_equal(*means)
    assert np.abs(means[0] - means[1]).max() < 0.15


def test_assessing_one_survey_twice_leaves_no_trace(assessment) -> None:
    """Nothing is remembered between two assessments that would change the second."""
    hc.assess(hc.demo_survey(), seed=3, zones=["N09"])

    assert hc.assess(hc.demo_survey()).table.equals(assessment.table)

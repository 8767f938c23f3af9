"""Where compiled loops are kept, and what happens where nothing can be kept."""

import os
import subprocess
import sys

import numba
import pytest

from heritagecheck.evidence.photograph.pixels import compiled

LOOP = """
from heritagecheck.evidence.photograph.pixels import compiled

@compiled()
def twice(x):
    return 2 * x

print(twice(21), sum(twice.stats.cache_hits.values()))
"""


def defined_nowhere():
    """Make a function whose source lies in no file, beside which nothing can be kept."""
    scope = {}
    exec(compile("def twice(x):\n    return 2 * x\n", "/nowhere/at/all.py", "exec"), scope)
    return scope["twice"]


def test_a_loop_that_can_be_kept_nowhere_is_compiled_all_the_same():
    """By itself numba refuses it; through the door it gives its answer."""
    with pytest.raises(RuntimeError, match="no locator available"):
        numba.njit(cache=True)(defined_nowhere())

    assert compiled()(defined_nowhere())(21) == 42


def test_another_fault_of_the_compiler_is_not_hidden(monkeypatch):
    """Only the missing place is put up with."""

    def refuse(**_):
        raise RuntimeError("no compiler is installed")

    monkeypatch.setattr(numba, "njit", refuse)

    with pytest.raises(RuntimeError, match="no compiler is installed"):
        compiled()(defined_nowhere())


@pytest.mark.long
def test_a_second_process_finds_what_the_first_compiled(tmp_path):
    """What lies in the user's cache is read, not compiled anew."""
    where = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    loop = tmp_path / "loop.py"
    loop.write_text(LOOP, encoding="utf-8")
    hits = [
        subprocess.run(
            [sys.executable, loop], env=where, check=True, capture_output=True, text=True
        ).stdout.strip()
        for _ in range(2)
    ]

    assert hits == ["42 0", "42 1"]

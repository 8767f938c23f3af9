"""
How mutated inputs of every kind end: an answer, a sentence, or what must never be.

    .venv/bin/python benchmarks/hostile.py [--count 100000] [--seed 0] [--keep FOLDER]

Each is read by a worker within 10 s of computing and 1 GB, as `tests/support/hostile.py` does with
fewer in the tests. The work goes in rounds, each with other seeds, and tells after each what was
found so far; it can be stopped at any time, and started twice with other seeds for two cores.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "support"))

from hostile import ANSWERED, KINDS, REFUSED, SHARES, End, ends, nobody_is_called, told
from hostile_bases import made

ROUND = 10


def main() -> None:
    """Run as many rounds as were asked for."""
    asked = argparse.ArgumentParser(description=__doc__.strip().partition("\n")[0])
    asked.add_argument("--count", type=int, default=100_000, help="inputs in all (100000)")
    asked.add_argument("--seed", type=int, default=0, help="first seed of each kind (0)")
    asked.add_argument("--keep", type=Path, help="where inputs that end badly are kept")
    given = asked.parse_args()
    nobody_is_called()
    found: list[End] = []
    with tempfile.TemporaryDirectory() as folder:
        bases = made(Path(folder))
        turn = 0
        while len(found) < given.count:
            for kind in KINDS:
                each = SHARES[kind] * ROUND
                first = given.seed + turn * each
                for end in ends(kind, range(first, first + each), bases, given.keep):
                    found.append(end)
                    if end.verdict not in {ANSWERED, REFUSED}:
                        print(json.dumps(asdict(end)), flush=True)
            turn += 1
            print(f"\n{len(found):,} inputs\n{told(found)}", flush=True)


if __name__ == "__main__":
    main()

"""What must hold of trial spots: a spot read worse never moves an outcome towards cleaning."""

from __future__ import annotations

from copy import deepcopy

from guidance_form import rows_of_case
from hypothesis import event, given, settings
from hypothesis import strategies as st
from laid_spots import MINUTES, Rows, lay_spots
from tiers import examples

from .mutated import guidance, judged, rank

USED = 35, 45  # minutes a day at which the panels of the case were cleaned
DOSES = MINUTES * 2


@st.composite
def spotted(draw: st.DrawFn) -> Rows:
    """Draw the clean case of mist on limestone with spots that scatter about two thresholds."""
    cleans = draw(st.sampled_from((12, 22, 28, 35)))
    harms = draw(st.sampled_from((50, 80, 150, 999)))
    odd = draw(st.sets(st.integers(0, 3 * len(DOSES) - 1), max_size=4))
    return lay_spots(
        rows_of_case(guidance()["G03"]),
        lambda number, dose: ((dose > cleans) != (number in odd and dose < USED[0]),
                              (dose > harms) != (number in odd and dose > USED[1])),
    )  # fmt: skip


@settings(max_examples=examples(8, long=15))
@given(spotted(), st.data())
def test_a_spot_read_worse_never_moves_the_outcome_towards_cleaning(
    rows: Rows, data: st.DataObject
) -> None:
    """
    Damage at any dose, soiling that stays where the panels were cleaned or harsher.

    A gentler spot that stays soiled makes the curve of removal steeper (`docs/dose_response.md`).
    """
    worse = deepcopy(rows)
    number = data.draw(st.integers(0, len(rows["spots"]) - 1))
    spot = worse["spots"][number]
    damaged = spot["dose"] < USED[0] or data.draw(st.booleans())
    spot |= {"damaged": "yes"} if damaged else {"cleaned": "no"}
    before, after = judged(rows), judged(worse)
    event(f"{before.outcome} → {after.outcome}")

    assert rank(after) <= rank(before), f"{before} | {after}"

"""Damage in excess of what was there before, its bound, and damage gathered on one panel."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heritagecheck.evidence.trials.damaged_fields import (
    FieldsRead,
    SharePrior,
    damage_share_lower,
    damage_share_upper,
    effective_fields,
    excess_upper,
)

PANELS = (25, 25, 25, 25)
some_panels = st.lists(st.integers(1, 40), min_size=1, max_size=6)


def test_the_bounds_behind_the_policy_are_what_the_docs_say() -> None:
    """None damaged in 2 panels of 10 fields, 4 of 10, 4 of 25: 24.8, 13.3 and 9.7 %."""
    found = [damage_share_upper(0, fields) for fields in ((10,) * 2, (10,) * 4, PANELS)]

    assert found == pytest.approx([0.248, 0.133, 0.097], abs=6e-4)


@given(some_panels, st.data())
def test_lower_and_upper_bound_hold_the_share_between_them(
    fields: list[int], data: st.DataObject
) -> None:
    """Whatever was counted."""
    damaged = data.draw(st.integers(0, sum(fields)))
    low, high = damage_share_lower(damaged, fields), damage_share_upper(damaged, fields)

    assert 0 <= low <= damaged / sum(fields) <= high <= 1
    assert (low == 0) == (damaged == 0)


# -- Excess -------------------------------------------------------------------------------------


@given(some_panels, some_panels, st.data())
def test_what_was_there_before_helps_no_more_than_it_is_sure(
    fields: list[int], before: list[int], data: st.DataObject
) -> None:
    """The bound never lies below the share seen less the lower bound of the share before."""
    damaged = data.draw(st.integers(0, sum(fields)))
    was = data.draw(st.integers(0, sum(before)))
    found = excess_upper(damaged, fields, (was, before))
    sure = damage_share_lower(was, before)

    assert found >= damaged / sum(fields) - sure - 1e-12
    assert found <= damage_share_upper(damaged, fields) + 1e-12


@given(some_panels, st.data())
def test_a_sound_picture_from_before_changes_nothing(
    fields: list[int], data: st.DataObject
) -> None:
    """Nothing damaged before excuses nothing."""
    damaged = data.draw(st.integers(0, sum(fields)))

    assert excess_upper(damaged, fields, (0, fields)) == pytest.approx(
        damage_share_upper(damaged, fields), abs=1e-12
    )


@pytest.mark.parametrize(("excess", "before"), [(0.1, 0.1), (0.1, 0.3), (0.25, 0.05)])
def test_the_bound_of_the_excess_holds_as_often_as_it_says(excess: float, before: float) -> None:
    """Fields of a panel alike as rated, panels drawn anew 2,000 times: 95 % or more."""
    draws = np.random.default_rng(7)
    scale = (1 - 0.1) / 0.1

    def drawn(share: float) -> np.ndarray:
        panels = draws.beta(share * scale, (1 - share) * scale, size=(2000, len(PANELS)))
        return draws.binomial(PANELS, panels).sum(axis=1)

    held = [
        excess_upper(int(after), PANELS, (int(was), PANELS)) >= excess
        for after, was in zip(drawn(before + excess), drawn(before), strict=True)
    ]

    assert np.mean(held) >= 0.95 - 3 * np.sqrt(0.05 * 0.95 / 2000)


def test_the_share_seen_is_in_excess_of_what_was_seen_before() -> None:
    """Four of 100 after and three before: one in a hundred is the treatment's."""
    read = FieldsRead((1, 1, 1, 1), PANELS, (3, PANELS))

    assert read.seen == pytest.approx(0.01)
    # The bound stays careful: it takes off what was surely there.
    assert read.upper > read.seen + 0.05


@pytest.mark.parametrize("before", [(3, (25, 25, 25, 24)), (3, (25, 25, 25)), (3, (100,))])
def test_a_shorter_look_before_takes_off_only_what_was_surely_there(
    before: tuple[int, tuple[int, ...]],
) -> None:
    """Few fields, damaged by chance, would excuse much."""
    read = FieldsRead((1, 1, 1, 1), PANELS, before)

    assert read.seen == pytest.approx(0.04 - damage_share_lower(*before))
    assert read.seen > 0.01


# -- What was known before the panels -----------------------------------------------------------


@given(some_panels, st.floats(0.01, 0.6), st.floats(0.5, 20), st.data())
def test_what_was_known_before_only_raises_the_bound(
    fields: list[int], mean: float, worth: float, data: st.DataObject
) -> None:
    """Good ratings are no panels."""
    damaged = data.draw(st.integers(0, sum(fields)))
    read = FieldsRead((damaged,) + (0,) * (len(fields) - 1), tuple(fields))

    assert read.upper_given(SharePrior(mean, worth, "")) >= read.upper


def test_a_bad_rating_is_outweighed_by_more_panels() -> None:
    """Worth two panels of ten: 2 sound panels stay above 25 %, 4 go below."""
    prior = SharePrior(0.3, effective_fields((10, 10)), "rated 5.5")
    found = [FieldsRead((0,) * n, (10,) * n).upper_given(prior) for n in (2, 4, 8)]

    assert found[0] > 0.25 > found[1] > found[2]


# -- One place ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("damaged", "place"),
    [
        ((0, 0, 0, 0), None),
        ((1, 0, 1, 0), None),
        ((0, 4, 0, 0), None),
        ((0, 8, 0, 0), 1),
        ((8, 0, 12, 0), 2),
    ],
)
def test_a_panel_that_is_damaged_by_itself_is_found(
    damaged: tuple[int, ...], place: int | None
) -> None:
    """Four of 25 leave it open whether a tenth is damaged there; eight do not."""
    assert FieldsRead(damaged, PANELS).apart(0.1) == place

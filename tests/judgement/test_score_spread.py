"""Scores of expected harm: their spread by zone and their agreement, by hand."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from heritagecheck.judgement.rater_agreement import score_alpha, score_spreads
from heritagecheck.survey.records import Opinion


def said(zone: str, member: str, left: int | None, given: str = "before talk") -> Opinion:
    """Give what one member expects."""
    return Opinion(
        meeting="M1", zone=zone, member=member, given=given, outcome="leave", harm_if_left=left
    )


def test_middle_and_ends_by_hand() -> None:
    """Of 0, 2, 8 and 10 the middle is 5; who gave none is not counted as 0."""
    scores = {"a": 8, "b": 0, "c": 10, "d": 2, "e": None}
    [spread] = score_spreads(said("Z1", who, score) for who, score in scores.items())

    assert spread.middle == 5
    assert str(spread) == "0 (b), 2 (d), 8 (a), 10 (c); middle 5, 10 between lowest and highest"


def test_the_score_after_talk_counts_in_any_order() -> None:
    """And one that was not given again stays as it was given in private."""
    opinions = [
        said("Z1", "a", 2, "after talk"), said("Z1", "a", 8),
        said("Z1", "b", None, "after talk"), said("Z1", "b", 5),
    ]  # fmt: skip

    assert score_spreads(opinions)[0].scores == {"a": 2, "b": 5}


def test_only_the_order_of_scores_counts() -> None:
    """Full agreement is 1; stretching the scale changes nothing, as for any ordinal measure."""
    rows = {"Z1": (0, 2), "Z2": (5, 5), "Z3": (10, 8)}
    spreads = [
        score_spreads(
            said(zone, who, scale[score])
            for zone, scores in rows.items()
            for who, score in zip("ab", scores, strict=True)
        )
        for scale in ({0: 0, 2: 2, 5: 5, 8: 8, 10: 10}, {0: 0, 2: 1, 5: 2, 8: 3, 10: 10})
    ]
    alike = score_spreads(said(zone, who, rows[zone][0]) for zone in rows for who in "ab")

    assert score_alpha(alike, "harm_if_left") == 1
    first, second = (score_alpha(one, "harm_if_left") for one in spreads)
    assert first == second
    assert first is not None
    assert first < 1
    assert score_alpha(alike, "harm_if_cleaned") is None


def test_a_score_beyond_the_scale_is_refused() -> None:
    """The field and what it takes are named."""
    with pytest.raises(ValidationError, match="harm_if_left"):
        said("Z1", "a", 11)
